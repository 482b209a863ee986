"""What assumptions do: against coverage of people moved by hand, and formulas."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from data_sources.design_estimate import design_estimate
from sizing.charts import SizeChart, chart_from, demo_chart
from sizing.coverage import compare_charts, estimate_coverage, who_falls_between
from sizing.coverage.sensitivity import (
    ALTERATIONS,
    Sensitivity,
    _changes,
    assumptions,
    sensitivity,
    start,
)
from sizing.errors import SizingError
from sizing.measures import MEASURES
from sizing.pages.study import assumption_rows
from sizing.people import load_people
from sizing.people.body.model import moments
from sizing.people.people import People, layout
from sizing.plots.shares import plot_sensitivity

from .cases import CHART, exposed_people, invented, people_of, place_of

HIP = "hip_circumference_cm"
WEIGHT = st.just(0.0) | st.floats(0.1, 5)


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


def test_a_shift_against_the_chart_moved_the_other_way(rng):
    """The same change by ``compare_charts``, whose error is a bootstrap."""
    people, chart = walkers(rng), demo_chart()
    other = chart.frame.copy()
    other[[f"{HIP}_low", f"{HIP}_high"]] -= 5
    want = compare_charts(people, chart, SizeChart(other), replicates=2000).table
    want = want.iloc[0]
    made = setting("shift", measures=HIP, amount=5)
    found = sensitivity(people, chart, settings=made)
    row = found.table.iloc[0]
    assert found.share == pytest.approx(want["share_a"])
    assert row["share"] == pytest.approx(want["share_b"])
    assert row["estimate"] == pytest.approx(want["estimate"])
    for end in ("low", "high"):
        assert row[end] == pytest.approx(want[end], abs=0.1 * (want.high - want.low))


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

    ax = plot_sensitivity(found.table)
    assert len(ax.patches) == len(found.table)
    assert ax.patches[0].get_width() in set(
        found.table.query("assumption == @biggest.assumption")["estimate"]
    )
    rows = assumption_rows(found)
    assert rows["If instead"].iloc[0] == biggest["setting"]
    assert len(rows) == len(found.table)


def state_of(**columns):
    people = people_of(
        [150.0, 160, 170, 180],
        [1.0, 2, 3, 4],
        level=["measured", "predicted", "predicted", "measured"],
        **columns,
    )
    return start(people, CHART, layout(people), seed=1)


def altered(state, kind, **row):
    row = {"measures": "stature_cm", "who": "everyone", "amount": 1.0} | row
    return ALTERATIONS[kind](state, pd.Series(row))


def test_each_setting_moves_whom_it_names():
    state = state_of(age_years=[17.9, 17.9, 18.0, 18.0])
    moved = {
        ("shift", "everyone", 2.0): [152, 162, 172, 182],
        ("shift", "children", -2.0): [148, 158, 170, 180],
        ("shift_drawn", "everyone", 2.0): [150, 162, 172, 180],
        ("shift_drawn", "adults", 2.0): [150, 160, 172, 180],
        ("scale_drawn", "everyone", 0.1): [150, 176, 187, 180],
        ("whole_units", "everyone", 1.0): [150, 160, 170, 180],
    }
    for (kind, who, amount), expected in moved.items():
        told = altered(state, kind, who=who, amount=amount)
        assert told.values["stature_cm"].tolist() == pytest.approx(expected)
    assert altered(state, "shift", measures="span_cm hip_circumference_cm") is None
    assert altered(state_of(), "shift", who="adults") is None
    chart = altered(state, "half_open").chart.frame
    assert chart["stature_cm_high"].tolist() == pytest.approx([167.9, 189.9])
    assert chart["stature_cm_low"].tolist() == [150, 172]
    rough = replace(state, values={"stature_cm": np.array([150.5, 150.49, -0.5, 1.0])})
    whole = altered(rough, "whole_units").values["stature_cm"]
    assert whole.tolist() == [151, 150, 0, 1]
    one, two = (altered(state, "error", amount=a).values["stature_cm"] for a in (1, 2))
    gap = one - state.values["stature_cm"]
    np.testing.assert_allclose(two - state.values["stature_cm"], 2 * gap)
    assert (gap != 0).all()


def test_each_setting_weighs_whom_it_names():
    mass = np.array([40.0, 40, 39.9, 20]) * np.array([1.5, 1.6, 1.7, 1.8]) ** 2
    state = state_of(
        age_years=[17.0, 30, 30, 30],
        body_mass_kg=mass,
        walking_difficulty=pd.array([True, True, None, False], "boolean"),
    )
    assert altered(state, "equal_weights").weight.tolist() == [1, 1, 1, 1]
    # Of adults the second alone is at 40: 2 of 9 becomes half of 9.
    told = altered(state, "heavy_share", amount=0.5).weight
    assert told.tolist() == pytest.approx([1, 4.5, 4.5 * 3 / 7, 4.5 * 4 / 7])
    assert altered(state, "only_walking", amount=1).weight.tolist() == [0, 2, 0, 0]
    assert altered(state, "only_walking", amount=0).weight.tolist() == [1, 0, 3, 4]
    assert altered(state, "heavy_share", amount=2 / 9) is None
    assert altered(state_of(age_years=30.0), "heavy_share") is None
    assert altered(state_of(age_years=30.0), "only_walking", amount=1) is None
    equal = replace(state, weight=np.full(4, 3.0))
    assert altered(equal, "equal_weights") is None


def test_another_form_moves_drawn_measures_of_the_heavy_by_its_spread():
    """Rows share builds, and each is moved by the spread of forms at her own."""
    hip = "hip_circumference_cm"
    n = 8
    frame = pd.DataFrame({"person": range(n), "draw": 0, "age_years": 45.5})
    frame["sex"] = ["female", "male"] * 4
    frame["stature_cm"] = [165.0, 165, 165, 165, 170, 170, np.nan, 170]
    frame["body_mass_kg"] = [200.0, 200, 200, 70, 190, 190, 200, 190]
    frame[hip] = 150.0
    drawn = ["predicted"] * 5 + ["measured"] + ["predicted"] * 2
    people = People("x", frame, pd.Series(np.ones(n)), pd.DataFrame({hip: drawn}))
    chart = chart_from(pd.DataFrame({"size": ["a"], f"{hip}_low": [90]}), warn=False)
    state = start(people, chart, layout(people), seed=1)
    known = frame["stature_cm"].notna().to_numpy()
    build = frame.loc[known, ["body_mass_kg", "stature_cm", "age_years"]].to_numpy().T
    found = moments(frame.loc[known, "sex"].to_numpy(object), *build, measures=[hip])
    spread = np.zeros(n)
    spread[known] = found.form_shift_sd[:, 0]
    assert (spread > 0).tolist() == [True, True, True, False, True, True, False, True]
    spread[5] = 0.0
    for amount in (-1.0, 2.0):
        told = altered(state, "form", measures=hip, amount=amount).values[hip]
        assert told == pytest.approx(150 * np.exp(amount * spread))
    light = replace(people, frame=frame.assign(body_mass_kg=60.0))
    unmoved = start(light, chart, layout(light), seed=1)
    assert altered(unmoved, "form", measures=hip) is None
    nobody = replace(people, frame=frame.drop(columns="sex"))
    unknown = start(nobody, chart, layout(nobody), 1)
    assert altered(unknown, "form", measures=hip) is None
    assert altered(state_of(), "form") is None


@settings(max_examples=30)
@given(
    st.lists(st.tuples(st.booleans(), st.booleans(), WEIGHT, WEIGHT), min_size=3),
    st.booleans(),
)
def test_a_change_of_share_by_plain_sums(rows, weighed_anew):
    """Who weighs nothing is not counted; of those who stay fewer tell the share."""
    before, after, old, new = np.array(rows).T
    new = new if weighed_anew else old
    assume(old.sum() > 0 and new.sum() > 0)
    told = _changes(place_of(old), before[None] > 0, [(after[None] > 0, new)])
    n, w, were = max((old > 0).sum(), 2), new / new.sum(), old / old.sum()
    change = w @ after - were @ before
    each = w * (after - w @ after) - were * (before - were @ before)
    error = np.sqrt(n / (n - 1) * (each**2).sum())
    number = min(1 / (w**2).sum(), 1 / (were**2).sum())
    t = stats.t.ppf(0.975, max(number - 1, 1))
    half = t * error if (each != 0).any() else t**2 / (max(number - 1, 1) + 1 + t**2)
    ends = [max(change - half, -1), min(change + half, 1)]
    if error > 1e-9 or (not weighed_anew and (before == after).all()):
        got = [told[name].item() for name in ("share", "estimate", "low", "high")]
        assert got == pytest.approx([w @ after, change, *ends])


# Odds of falling between


def odds_of(people, *terms):
    return who_falls_between(people, CHART, terms=list(terms)).set_index("level")


@pytest.mark.parametrize(
    "counts",
    [
        (3, 4, 5, 2),
        (1, 1, 1, 1),
        (6, 3, 2, 9),
        # Doll and Hill, Br Med J 1950;2:739-748, table IV, men (from memory): lung
        # cancer and smoking, 14.04 in textbooks.
        (647, 622, 2, 27),
        # Whole Newton steps ran away here, and nobody was compared with anybody.
        (36, 4, 10, 990),
    ],
)
def test_an_odds_ratio_and_its_interval_by_the_four_counts(counts):
    """The sandwich error of a table of four is sqrt(1/a + 1/b + 1/c + 1/d)."""
    a, b, c, d = counts
    n = sum(counts)
    found = odds_of(exposed_people(counts), "exposed")
    usual = "yes" if a + b > c + d else "no"
    other = "no" if usual == "yes" else "yes"
    # Of two levels of like many people the first in order.
    assert set(found["reference"]) == {usual}
    row = found[found["message"] == ""].iloc[0]
    ratio = a * d / (b * c)
    right = ratio if row.name == "yes" else 1 / ratio
    assert row["estimate"] == pytest.approx(right)
    error = np.sqrt(n / (n - 1) * sum(1 / k for k in counts))
    half = stats.t.ppf(0.975, max(n - 2, 1)) * error
    assert np.log([row["low"], row["high"]]) == pytest.approx(
        [np.log(right) - half, np.log(right) + half]
    )
    assert found["n"].to_dict() == {"yes": a + b, "no": c + d}
    assert found["n_between"].to_dict() == {"yes": a, "no": c}
    assert found.loc[usual, ["estimate", "low", "high"]].tolist() == [1, 1, 1]
    assert row.name == other


def test_the_usual_reference_goes_before_the_level_of_most_people():
    counts = (6, 9, 4, 3)
    people = exposed_people(counts).frame
    age = np.where(np.arange(22) % 3 == 0, 50.0, 30.0)
    told = odds_of(exposed_people(counts, age_years=age), "age_band")
    assert set(told["reference"]) == {"40 to 59"}
    told = odds_of(exposed_people(counts, age_years=age + 40), "age_band")
    assert set(told["reference"]) == {"60 to 79"}
    sex = np.where(people["exposed"] == "yes", "male", "female")
    told = odds_of(exposed_people(counts, sex=sex), "sex")
    assert set(told["reference"]) == {"female"}
    assert told.loc["male", "estimate"] == pytest.approx(6 * 3 / (9 * 4))
