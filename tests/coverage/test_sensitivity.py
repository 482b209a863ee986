"""What assumptions do: against coverage of people moved by hand, and formulas."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from data_sources.design_estimate import design_estimate
from sizing.charts import SizeChart, demo_chart
from sizing.coverage import compare_charts, estimate_coverage
from sizing.coverage.sensitivity import (
    ALTERATIONS,
    Sensitivity,
    assumptions,
    sensitivity,
    start,
)
from sizing.errors import SizingError
from sizing.measures import MEASURES
from sizing.pages.study import assumption_table, assumptions_drawing
from sizing.people import load_people
from sizing.people.layout import layout
from sizing.people.people import People

from .cases import invented

HIP = "hip_circumference_cm"


def walkers(rng, n=600, draws=2):
    """Return people whose weight was taken, a fifth of whom find walking hard."""
    people = invented(rng, n, draws)
    hard = (rng.random(n) < 0.2)[people.frame["person"]]
    people.evidence["body_mass_kg"] = "measured"
    return moved(people, walking_difficulty=hard)


def setting(kind: str, *, measures="", who="everyone", amount=np.nan) -> pd.DataFrame:
    row = {"assumption": "a", "setting": "s", "label": "l", "source": "test"}
    row |= {"kind": kind, "measures": measures, "who": who, "amount": amount}
    return pd.DataFrame([row])


def moved(people: People, **columns: object) -> People:
    return replace(people, frame=people.frame.assign(**columns))


def share(people: People, chart: SizeChart) -> float:
    return estimate_coverage(people, chart, replicates=50).table["estimate"].iloc[0]


def test_a_shift_against_coverage_of_people_moved_by_hand(rng):
    people, chart = walkers(rng), demo_chart()
    made = setting("shift", measures=HIP, amount=5)
    found = sensitivity(people, chart, settings=made)
    want = share(moved(people, **{HIP: people.frame[HIP] + 5}), chart)
    row = found.table.iloc[0]
    assert found.share == pytest.approx(share(people, chart))
    assert row["share"] == pytest.approx(want)
    assert row["estimate"] == pytest.approx(want - found.share)
    assert row["low"] < row["estimate"] < row["high"]


def test_a_shift_against_the_chart_moved_the_other_way(rng):
    """The same change by ``compare_charts``, whose error is a bootstrap."""
    people, chart = walkers(rng), demo_chart()
    other = chart.frame.copy()
    other[[f"{HIP}_low", f"{HIP}_high"]] -= 5
    want = compare_charts(people, chart, SizeChart(other), replicates=2000).table
    want = want.iloc[0]
    made = setting("shift", measures=HIP, amount=5)
    row = sensitivity(people, chart, settings=made).table.iloc[0]
    assert row["estimate"] == pytest.approx(want["estimate"])
    for end in ("low", "high"):
        assert row[end] == pytest.approx(want[end], abs=0.1 * (want.high - want.low))


def test_few_who_stay_leave_few_degrees_of_freedom(rng):
    """Student's t of those who stay, by their effective number, worked by hand."""
    people, chart = walkers(rng, 200, 1), demo_chart()
    adult = np.flatnonzero(people.frame["age_years"] >= 18)[:24]
    people = moved(people, walking_difficulty=people.frame["person"].isin(adult))
    made = setting("only_walking", who="adults", amount=1)
    row = sensitivity(people, chart, settings=made).table.iloc[0]
    covered = start(people, chart, layout(people), 1).covered()[0]
    w = people.weight.to_numpy()
    stay = np.where(people.frame["walking_difficulty"], w, 0.0)
    old, new = w / w.sum(), stay / stay.sum()
    each = new * (covered - covered @ new) - old * (covered - covered @ old)
    error = np.sqrt(200 / 199 * (each**2).sum())
    half = stats.t.ppf(0.975, 1 / (new**2).sum() - 1) * error
    assert 0 < covered @ new < 1
    assert row["estimate"] == pytest.approx(covered @ new - covered @ old)
    assert row["low"] == pytest.approx(max(row["estimate"] - half, -1))
    assert row["high"] == pytest.approx(min(row["estimate"] + half, 1))


def test_weights_against_coverage_of_those_who_stay(rng):
    people, chart = walkers(rng), demo_chart()
    made = setting("only_walking", who="adults", amount=1)
    row = sensitivity(people, chart, settings=made).table.iloc[0]
    here = people.frame["walking_difficulty"] & (people.frame["age_years"] >= 18)
    parts = (people.frame, people.weight, people.evidence)
    stay = People("stay", *(one[here].reset_index(drop=True) for one in parts))
    assert row["share"] == pytest.approx(share(stay, chart))
    assert row["high"] - row["low"] > 0.05


def test_measuring_error_takes_from_whom_it_should(rng):
    people, chart = walkers(rng), demo_chart()
    amounts = {"none": 0, "once": 1, "again": 1}
    made = [setting("error", amount=a).assign(setting=s) for s, a in amounts.items()]
    pairs = pd.concat(made, ignore_index=True)
    table = sensitivity(people, chart, settings=pairs).table.set_index("setting")
    assert table.loc["none", "estimate"] == 0
    assert table.loc["none", "low"] < 0 < table.loc["none", "high"]
    assert table.loc["once", "estimate"] == table.loc["again", "estimate"] != 0


def test_the_error_of_a_survey_design_against_the_survey_layer(rng):
    people = walkers(rng, draws=1)
    frame = people.frame.assign(
        stratum=rng.integers(0, 8, 600), unit=rng.integers(0, 3, 600)
    )
    people = replace(people, frame=frame)
    made = setting("shift", measures=HIP, amount=5)
    row = sensitivity(people, demo_chart(), settings=made).table.iloc[0]
    state = start(people, demo_chart(), layout(people), 1)
    after = ALTERATIONS["shift"](state, made.iloc[0]).covered()[0]
    want = design_estimate(
        after.astype(float) - state.covered()[0],
        weights=people.weight,
        stratum=frame["stratum"],
        unit=frame["unit"],
    ).iloc[0]
    assert row["estimate"] == pytest.approx(want["estimate"])
    assert row["low"] == pytest.approx(want["low"])
    assert row["high"] == pytest.approx(want["high"])
    assert "stratum and unit" in row["method"]


def test_the_headline_says_the_largest_change_either_way():
    rows = [
        {"setting": "more", "share": 0.9, "estimate": 0.05, "low": 0.01, "high": 0.1},
        {"setting": "less", "share": 0.42, "estimate": -0.4, "low": -0.5, "high": 0.3},
        {"setting": "as much", "share": 0.8, "estimate": 0.3, "low": 0.2, "high": 0.4},
    ]
    found = Sensitivity(pd.DataFrame(rows), 0.82, "chart", "people")
    assert found.headline() == (
        "Of what is assumed, this moves it most: if less, 42 % have a size. "
        "The change in points: -40 (-50 to +30)."
    )


def test_widths_against_coverage_of_the_chart_moved_by_hand(rng):
    people, chart = walkers(rng), demo_chart()
    settings_of = setting("width", measures=HIP, amount=0.8)
    found = sensitivity(people, chart, settings=settings_of)
    frame = chart.frame.copy()
    middle = (frame[f"{HIP}_low"] + frame[f"{HIP}_high"]) / 2
    for end in ("low", "high"):
        frame[f"{HIP}_{end}"] = middle + 0.8 * (frame[f"{HIP}_{end}"] - middle)
    want = estimate_coverage(people, SizeChart(frame), replicates=50).table
    assert found.widths["scale"].tolist() == [0.8, 1]
    shares = want.loc[want["outcome"] == "covered", "estimate"].item()
    assert found.widths["share"].iloc[0] == pytest.approx(shares)
    assert found.widths["share"].iloc[1] == pytest.approx(found.share)
    anew = sensitivity(people, chart, settings=settings_of, refit=lambda scale: chart)
    assert anew.table["estimate"].tolist() == [0]


def test_what_cannot_matter_is_left_out_and_kinds_are_checked(rng):
    people, chart = walkers(rng), demo_chart()
    for made in (
        setting("shift", measures="chest_circumference_cm", amount=3),
        setting("shift_drawn", measures="body_mass_kg", amount=3),
        setting("only_walking", amount=1),
    ):
        walking = moved(people, walking_difficulty=False)
        assert sensitivity(walking, chart, settings=made).table.empty
    with pytest.raises(SizingError, match="kind of setting"):
        sensitivity(people, chart, settings=setting("wish"))


def test_a_slump_shortens_heights_above_the_seat_and_not_the_back():
    people = invented(np.random.default_rng(4))
    up, along = "shoulder_height_sitting_cm", "back_along_body_cm"
    people = moved(people, **{along: people.frame[up]})
    rows = assumptions().query("assumption == 'Posture' and label == 'slumped 4 cm'")
    assert "not the back along the body" in rows["setting"].iloc[0]
    for measure, moves in ((up, True), (along, False)):
        limits = {f"{measure}_low": [55.0], f"{measure}_high": [62.0]}
        chart = SizeChart(pd.DataFrame({"size": ["one"], **limits}))
        table = sensitivity(people, chart, settings=rows).table
        assert bool(len(table) and table["estimate"].abs().max() > 0.01) == moves


def test_every_shipped_setting_is_known_and_matters_for_everyone():
    table = assumptions()
    assert set(table["kind"]) <= set(ALTERATIONS)
    assert set(" ".join(table["measures"]).split()) <= set(MEASURES)
    people = load_people("everyone", draws=2)
    found = sensitivity(people, demo_chart())
    told = found.table.groupby("assumption").size()
    # Nothing was fitted, so that nothing can be fitted for another end.
    table = table[table["kind"] != "least_harm"]
    assert set(told.index) == set(table["assumption"])
    assert len(found.table) == table.groupby(["assumption", "setting"]).ngroups
    # Only heavy bodies lie beyond the curves' support, so few can move.
    heavy = found.table.query("assumption == 'Bodies heavier than any measured'")
    assert 0 < heavy["estimate"].abs().max() < 0.02
    assert (found.table["low"] <= found.table["estimate"]).all()
    biggest = found.biggest
    assert abs(biggest["estimate"]) == found.table["estimate"].abs().max()
    assert biggest["setting"] in found.headline()
    assert "competent person" in found.summary()

    ax, alt, _ = assumptions_drawing(found)
    assert biggest["label"] in alt
    assert len(ax.patches) == len(found.table)
    assert ax.patches[0].get_width() in set(
        found.table.query("assumption == @biggest.assumption")["estimate"]
    )
    rows = assumption_table(found).rows
    assert rows[0][1] == biggest["setting"] and len(rows) == len(found.table)
