"""The command ``bands`` and the pictures of bands."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from sizing.bands import edge_stability, frontier, graph
from sizing.cli import bands
from sizing.cli.main import main
from sizing.people import load_people
from sizing.plots.shares import plot_edge_stability, plot_frontier

from .oracle import make_people

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
    harms = {row["harm"]: row["estimate"] for row in found["harms"]}
    assert sum(harms.values()) == pytest.approx(1 - found["share"])
    assert found["weights"] == {"too_large": 2, "too_small": 1}
    twice = harms["too_large"] + harms["both"] + harms["too_small"] / 2
    assert found["weighed_harm"] == pytest.approx(twice)


def test_the_weight_of_a_harm_changes_the_sizes(capsys):
    found = {}
    for words in ((), ("--too-large", "5"), ("--too-small", "5")):
        assert main([*WORDS, "--json", *words]) == 0
        found[words[:1]] = json.loads(capsys.readouterr().out)
    plain, large, small = found.values()
    assert plain["objective"] == "covered" and large["objective"] == "loss"
    assert plain["share"] >= max(large["share"], small["share"]) - 1e-9
    harm = [{r["harm"]: r["estimate"] for r in one["harms"]} for one in (large, small)]
    assert harm[0]["too_large"] <= harm[1]["too_large"]
    assert main([*WORDS, "--too-large", "0"]) == 2
    assert "the weight --too-large" in capsys.readouterr().err


def test_a_search_that_would_go_on_is_given_up(capsys, monkeypatch):
    monkeypatch.setattr(graph, "MOST_WORK", 100)
    assert main([*WORDS, "--step", "0.1"]) == 2
    assert "longer than a minute" in capsys.readouterr().err


def test_no_group_is_named_for_people_of_all_ages(capsys, monkeypatch, people):
    frame = people.frame.assign(age_years=np.where(np.arange(200) % 2, 9.0, 40.0))
    mixed = replace(people, frame=frame)
    monkeypatch.setattr(bands, "load_people", lambda name, seed: mixed)
    assert main([*WORDS, "--people", "everyone"]) == 0
    out = capsys.readouterr().out
    assert "size 1" in out and "adult 1" not in out
    assert main([*WORDS, "--people", "everyone", "--group", "adult"]) == 2
    assert "of all ages" in capsys.readouterr().err


def test_text_tells_the_rival_and_the_cautions(capsys):
    assert main(WORDS) == 0
    out = capsys.readouterr().out
    assert "other half" in out and "quantiles" in out
    assert "Hip girth, cm" in out
    assert "safe working load" in out


def test_nine_sizes_on_too_fine_a_grid_are_refused_at_once(capsys):
    """Before, they went on for more than a hundred seconds and said nothing."""
    assert main(["bands", "--step", "0.1"]) == 2
    told = capsys.readouterr().err
    assert "steps of 0.5 cm or more" in told and "--widths" in told


def test_without_options_nine_sizes_and_what_more_would_cover(capsys, monkeypatch):
    all_ = load_people("everyone", draws=1)
    every = slice(None, None, 5)  # a fifth of them is quick, and wide enough
    few = replace(
        all_,
        frame=all_.frame.iloc[every].reset_index(drop=True),
        weight=all_.weight.iloc[every].reset_index(drop=True),
        evidence=all_.evidence.iloc[every].reset_index(drop=True),
        drawn=None,
    )
    monkeypatch.setattr(bands, "load_people", lambda name, seed: few)
    asked = ["bands", "--step", "5", "--splits", "0", "--tolerance", "1"]
    assert main(asked) == 0
    out = capsys.readouterr().out
    for size in ("paediatric 3", "adult 3", "bariatric 3", "safe working load"):
        assert size in out
    said = re.findall(r"(\d+) sizes? fits? (\d+) in 100 of these people, probab", out)
    sizes, shares = zip(*[(size, int(share)) for size, share in said], strict=True)
    assert sizes == ("6", "9", "12")
    assert shares == tuple(sorted(shares)) and shares[0] > 60
    assert main([*asked, "--json", "--sizes", "1", "--load-limit", "150"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [row["load_limit_kg"] for row in found["chart"]] == [150] * 3
    assert [row["sizes"] for row in found["covered_by_sizes"]] == [6, 9, 12]
    for row in found["covered_by_sizes"]:
        assert row["not_served"] == pytest.approx(1 - row["estimate"], abs=1e-5)
        harms = row["too_large"] + row["too_small"] + row["both"]
        # Whoever is over the load limit of every size meets neither.
        assert 0 < harms <= row["not_served"] + 1e-5
    assert found["judged"] and found["figures"]


@pytest.mark.parametrize(
    "words",
    [
        ["bands", "--group", "adult"],
        ["bands", "--owned", "chart.csv"],
        ["bands", "--sizes", "0"],
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
