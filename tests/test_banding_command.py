"""The command ``bands`` and the pictures of bands."""

import json

import numpy as np
import pytest
from banding_oracle import make_people

from sizing.banding import edge_stability, frontier
from sizing.cli import bands
from sizing.cli.main import main
from sizing.plots.bands import plot_edge_stability, plot_frontier

HIP, SIT = "hip_circumference_cm", "sitting_height_cm"


@pytest.fixture(scope="module")
def people():
    rng = np.random.default_rng(2)
    values = np.round(rng.normal((100, 90), (8, 4), (200, 2)), 1)
    return make_people(values, sex=np.where(np.arange(200) % 2, "male", "female"))


@pytest.fixture(autouse=True)
def few_people(monkeypatch, people):
    monkeypatch.setattr(bands, "load_people", lambda name, seed: people)


WORDS = ["bands", "--widths", f"{HIP}=10", f"{SIT}=6", "--sizes", "2", "--splits", "2"]


def test_json_holds_the_chart_and_its_figures(capsys):
    assert main([*WORDS, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["chart"]) == 2
    assert found["share"] <= found["upper_bound"]
    assert {row["chart"] for row in found["figures"]} >= {"fitted", "rival"}
    assert found["cautions"]


def test_text_tells_the_rival_and_the_cautions(capsys):
    assert main(WORDS) == 0
    out = capsys.readouterr().out
    assert "other half" in out and "quantiles" in out
    assert "hip circumference (cm)" in out
    assert "safe working load" in out


@pytest.mark.parametrize(
    "words",
    [
        ["bands", "--widths", "hip=10", "--sizes", "2"],
        ["bands", "--widths", f"{HIP}=wide", "--sizes", "2"],
        ["bands", "--widths", f"{HIP}=10", "--sizes", "0"],
    ],
)
def test_mistakes_are_told_in_one_message(words, capsys):
    assert main(words) == 2
    error = capsys.readouterr().err
    assert error.startswith("sizing: ") and "Traceback" not in error


def test_pictures_show_the_tables(people):
    widths = {HIP: 10, SIT: 6}
    table = frontier(people, widths=widths, sizes=(2, 3), scales=(0.8, 1), splits=2)
    ax = plot_frontier(table)
    lines = [line for line in ax.lines if line.get_linestyle() != "None"]
    drawn = {tuple(line.get_ydata()) for line in lines}
    assert drawn == {tuple(part["estimate"]) for _, part in table.groupby("sizes")}
    moves = edge_stability(people, widths=widths, sizes=2, replicates=5)
    ax = plot_edge_stability(moves, HIP)
    marks = {float(x) for line in ax.lines for x in np.atleast_1d(line.get_xdata())}
    assert set(moves.loc[moves["measure"] == HIP, "estimate"]) <= marks
