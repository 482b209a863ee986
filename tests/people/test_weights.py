"""Weights: invariants, other people's code as oracles, refusals."""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial import Delaunay

from sizing.errors import InputProblems, SizingError, SizingWarning
from sizing.people.margins import Margin
from sizing.people.named import reweight
from sizing.people.own import people_from
from sizing.people.weights import (
    _least_weight,
    _reach,
    checked_weight,
    rake,
    refuse_the_impossible,
)
from sizing.stats.formulas import kish_design_effect


def margin(variable, statistic, target, **more):
    return {"variable": variable, "statistic": statistic, "target": target, **more}


def table(*rows):
    return pd.DataFrame(list(rows))


@pytest.fixture
def people(rng):
    n = 400
    sex = rng.choice(["female", "male"], n)
    stature = rng.normal(np.where(sex == "male", 175.0, 162.0), 7)
    return pd.DataFrame(
        {
            "sex": sex,
            "region": rng.choice(["north", "east", "south"], n, p=[0.2, 0.3, 0.5]),
            "age_years": rng.integers(18, 90, n).astype(float),
            "stature_cm": stature,
            "body_mass_kg": 25 * (stature / 100) ** 2 * rng.lognormal(0, 0.2, n),
        }
    )


def iterative_proportional_fitting(counts, rows, columns):
    """Brute force on a two-way table of shares."""
    fitted = counts.astype(float)
    for _ in range(2000):
        fitted *= (rows / fitted.sum(axis=1))[:, None]
        fitted *= columns / fitted.sum(axis=0)
    return fitted


def test_raking_a_two_way_table_against_iterative_proportional_fitting(people):
    asked = table(
        margin("sex", "share", 0.6, level="female"),
        margin("region", "share", 0.4, level="north"),
        margin("region", "share", 0.4, level="east"),
    )
    w = rake(people, asked).weight
    counts = pd.crosstab(people["sex"], people["region"])
    expected = iterative_proportional_fitting(
        counts.to_numpy(), np.array([0.6, 0.4]), np.array([0.4, 0.4, 0.2])
    )
    # crosstab sorts: east, north, south.
    got = w.groupby([people["sex"], people["region"]]).sum() / len(people)
    np.testing.assert_allclose(got.to_numpy(), expected.ravel(), rtol=1e-6)


def test_weights_are_the_nearest_that_meet_the_margins(people):
    """Kullback-Leibler distance minimised directly, by another optimiser."""
    few = people.head(25)
    asked = table(
        margin("sex", "share", 0.5, level="female"),
        margin("stature_cm", "mean", 163.0, within="sex=female"),
        margin("bmi", "share", 0.4, low=25),
    )
    w = rake(few, asked).weight.to_numpy() / len(few)
    female = (few["sex"] == "female").to_numpy(dtype=float)
    bmi = (few["body_mass_kg"] / (few["stature_cm"] / 100) ** 2).to_numpy()
    rows = np.vstack(
        [
            np.ones(len(few)),
            female - 0.5,
            female * (few["stature_cm"].to_numpy() - 163.0),
            (bmi >= 25) - 0.4,
        ]
    )
    found = minimize(
        lambda p: float((p * np.log(p * len(few))).sum()),
        np.full(len(few), 1 / len(few)),
        jac=lambda p: np.log(p * len(few)) + 1,
        bounds=[(1e-9, 1)] * len(few),
        constraints={
            "type": "eq",
            "fun": lambda p: rows @ p - np.array([1, 0, 0, 0]),
            "jac": lambda p: rows,
        },
        options={"ftol": 1e-14, "maxiter": 500},
    )
    assert found.success
    np.testing.assert_allclose(w, found.x, atol=2e-6)


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 2**16),
    female=st.floats(0.1, 0.9),
    shift=st.floats(-3, 3),
    tail=st.floats(0.05, 0.6),
    scale=st.floats(1e-3, 1e6),
)
def test_margins_are_met_whatever_the_order_and_scale(seed, female, shift, tail, scale):
    draw = np.random.default_rng(seed)
    n = 120
    frame = pd.DataFrame(
        {
            "sex": draw.choice(["female", "male"], n),
            "stature_cm": draw.normal(168, 9, n),
            "bmi": draw.lognormal(np.log(27), 0.2, n),
        }
    )
    start = draw.uniform(0.2, 5, n)
    mean = float(frame.loc[frame["sex"] == "male", "stature_cm"].mean()) + shift
    asked = table(
        margin("sex", "share", female, level="female"),
        margin("stature_cm", "mean", mean, within="sex=male"),
        margin("bmi", "share", tail, low=30),
    )
    result = rake(frame, asked, weight=start)
    w = result.weight
    assert (w > 0).all()
    assert w.sum() == pytest.approx(start.sum())
    np.testing.assert_allclose(
        result.table["reached"], result.table["asked"], rtol=1e-6
    )
    assert w[frame["sex"] == "female"].sum() / w.sum() == pytest.approx(female)
    assert w[frame["bmi"] >= 30].sum() / w.sum() == pytest.approx(tail)
    assert result.design_effect == pytest.approx(1 + (w.std(ddof=0) / w.mean()) ** 2)

    order = draw.permutation(n)
    shuffled = rake(frame.iloc[order], asked, weight=start[order]).weight
    np.testing.assert_allclose(shuffled.loc[frame.index], w, rtol=1e-5)
    larger = rake(frame, asked, weight=start * scale).weight
    np.testing.assert_allclose(larger, w * scale, rtol=1e-5)


def test_a_mean_that_everybody_has_is_met():
    frame = pd.DataFrame({"stature_cm": [160.0, 160.0], "sex": ["female", "male"]})
    asked = table(
        margin("stature_cm", "mean", 160.0),
        margin("sex", "share", 0.75, level="female"),
    )
    np.testing.assert_allclose(rake(frame, asked).weight, [1.5, 0.5])
    for other in (159.9, 160.1):
        with pytest.raises(InputProblems, match="these people run from 160 to 160"):
            rake(frame, table(margin("stature_cm", "mean", other)))


def test_people_may_have_different_numbers_of_rows(people):
    times = 1 + np.arange(len(people)) % 3
    long = people.loc[people.index.repeat(times)].reset_index(names="person")
    asked = table(
        margin("stature_cm", "mean", 166.0, within="sex=female"),
        margin("age_years", "mean", 60.0),
    )
    result = rake(long, asked, person="person")
    w = result.weight
    female = long["sex"] == "female"
    assert np.average(long["stature_cm"][female], weights=w[female]) == (
        pytest.approx(166.0)
    )
    assert np.average(long["age_years"], weights=w) == pytest.approx(60.0)
    assert result.design_effect == pytest.approx(
        kish_design_effect(w.groupby(long["person"]).first())
    )
    assert result.n == len(people)


def test_missing_values_are_left_out_of_their_margin(people):
    holed = people.copy()
    holed.loc[::3, "stature_cm"] = np.nan
    w = rake(holed, table(margin("stature_cm", "mean", 170.0))).weight
    known = holed["stature_cm"].notna()
    mean = np.average(holed.loc[known, "stature_cm"], weights=w[known])
    assert mean == pytest.approx(170.0)
    assert np.ptp(w[~known]) == 0


def test_margins_in_conflict_are_named_with_how_far_each_could_go():
    frame = pd.DataFrame(
        {
            "sex": ["female", "female", "male", "male"],
            "stature_cm": [150.0, 160.0, 170.0, 180.0],
            "age_years": [30.0, 40.0, 40.0, 30.0],
        }
    )
    asked = table(
        margin("sex", "share", 0.9, level="female"),
        margin("age_years", "mean", 36.0),
        margin("stature_cm", "mean", 165.0),
    )
    with pytest.raises(SizingError) as told:
        rake(frame, asked)
    message = str(told.value)
    # 90 % women reach at most 0.9 x 160 + 0.1 x 180 = 162 cm.
    assert "can meet together the following" in message
    assert "mean height: asked 165" in message
    assert "162" in message
    assert "sex=female" in message
    assert "age" not in message


def test_a_target_at_the_rim_needs_zero_weights_and_is_refused():
    frame = pd.DataFrame({"sex": ["female", "male"], "stature_cm": [160.0, 180.0]})
    asked = table(
        margin("sex", "share", 0.5, level="female"), margin("stature_cm", "mean", 171.0)
    )
    with pytest.raises(SizingError, match="with the others met it must be 170"):
        rake(frame, asked)


def test_one_target_out_of_reach_is_said_alone():
    asked = Margin("stature_cm", "mean", 180.0)
    with pytest.raises(SizingError) as told:
        refuse_the_impossible([asked], np.ones((2, 1)), np.array([[160.0], [180.0]]))
    message = str(told.value)
    assert "together" not in message and "with the others met" not in message
    assert "it can only run from 160 to 180, both excluded" in message
    # Just inside it can be met, so nothing is refused.
    near = Margin("stature_cm", "mean", 179.9)
    refuse_the_impossible([near], np.ones((2, 1)), np.array([[160.0], [180.0]]))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (margin("stature_cm", "mean", 250.0), "cannot be met: these people run from"),
        (margin("region", "share", 0.2, level="west"), "nobody is in that class"),
        (margin("stature_cm", "share", 0.2, low=100), "everybody is in that class"),
        (
            margin("stature_cm", "mean", 160.0, within="age_years>=120"),
            "the group is empty",
        ),
        (margin("knee_height_cm", "mean", 50.0), "do not have"),
        (margin("region", "mean", 5.0), "holds words"),
    ],
)
def test_a_margin_these_people_cannot_answer_is_named(people, row, words):
    with pytest.raises(InputProblems, match=words):
        rake(people, table(row))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**20))
def test_two_means_can_be_met_exactly_inside_the_convex_hull(seed):
    """Against the triangulation of the hull, by another library."""
    draw = np.random.default_rng(seed)
    points = draw.normal(size=(int(draw.integers(4, 9)), 2))
    hull = Delaunay(points)
    target = draw.normal(scale=0.8, size=2)
    # Too near the rim, the two may fairly disagree.
    nudged = target + 0.02 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
    inside = hull.find_simplex(nudged) >= 0
    assume(inside.all() or not inside.any())
    frame = pd.DataFrame(points, columns=["east", "north"])
    asked = table(
        margin("east", "mean", float(target[0])),
        margin("north", "mean", float(target[1])),
    )
    if inside.all():
        w = rake(frame, asked).weight
        np.testing.assert_allclose(w @ points / w.sum(), target, atol=1e-6)
    else:
        with pytest.raises(SizingError, match=r"cannot be met|No positive weights"):
            rake(frame, asked)


# Weights and named populations: what their tables and refusals say, by hand


SHARE = {"variable": "sex", "statistic": "share", "level": "female"}


def asked(*rows):
    return pd.DataFrame(list(rows))


def test_the_table_of_margins_counts_people_in_group_and_class():
    frame = pd.DataFrame(
        {
            "person": ["a", "b", "c", "d"] * 2,
            "sex": ["female", "female", "male", "male"] * 2,
            "bmi": [20.0, 30.0, 24.0, 28.0, 27.0, 31.0, 25.0, 26.0],
        }
    )
    start = np.array([1.0, 2.0, 3.0, 4.0] * 2)
    wanted = asked(
        SHARE | {"target": 0.4},
        {"variable": "bmi", "statistic": "share", "low": 26.0, "target": 0.6}
        | {"within": "sex=female"},
        {"variable": "bmi", "statistic": "mean", "target": 26.0},
    )
    found = rake(frame, wanted, weight=start, person="person")
    table = found.table
    assert table["n"].tolist() == [4, 2, 4]
    assert table["n_in_class"].tolist()[:2] == [2, 2] and pd.isna(
        table["n_in_class"][2]
    )
    before = [0.3, (0.5 + 2) / 3, np.average(frame["bmi"], weights=start)]
    assert table["before"].tolist() == pytest.approx(before)
    assert table["asked"].tolist() == [0.4, 0.6, 26.0]
    assert table["reached"].tolist() == pytest.approx([0.4, 0.6, 26.0], rel=1e-6)
    assert table["low"].tolist()[1] == 26.0 and table["within"][1] == "sex=female"
    w = found.weight.to_numpy()
    assert w.sum() == pytest.approx(start.sum())
    assert (w[:4] == w[4:]).all()
    # Exponential tilting: the logarithm of what changed is linear in the margins.
    women = (frame["sex"] == "female").to_numpy()
    parts = [women - 0.4, women * ((frame["bmi"] >= 26) - 0.6), frame["bmi"] - 26]
    pull = np.column_stack([np.asarray(p)[:4] + np.asarray(p)[4:] for p in parts])
    ratio = np.log(w / start)[:4]
    design = np.column_stack([np.ones(4), pull])
    np.testing.assert_allclose(design @ np.linalg.solve(design, ratio), ratio)
    effect = 4 * (w[:4] ** 2).sum() / w[:4].sum() ** 2
    assert found.design_effect == pytest.approx(effect)


def test_how_near_margins_come_is_as_asked():
    draw = np.random.default_rng(5)
    frame = pd.DataFrame({"x": draw.normal(10, 3, 60), "y": draw.lognormal(0, 1, 60)})
    wanted = asked(
        {"variable": "x", "statistic": "mean", "target": 11.5},
        {"variable": "y", "statistic": "mean", "target": 0.8},
    )
    steps = []
    for tolerance in (1e-2, 1e-4, 1e-12):
        found = rake(frame, wanted, tolerance=tolerance)
        sd = np.sqrt(
            [((frame[c] - t) ** 2).mean() for c, t in (("x", 11.5), ("y", 0.8))]
        )
        miss = (found.table["reached"] - found.table["asked"]).abs() / sd
        assert miss.max() <= tolerance * 1.001 + 1e-13
        steps.append(found.iterations)
    assert steps == sorted(steps) and steps[0] >= 1
    # As many steps as were taken are enough, and one fewer is not.
    rake(frame, wanted, tolerance=1e-12, max_iterations=steps[-1])
    with pytest.raises(SizingError, match=f"in the {steps[-1] - 1} steps allowed"):
        rake(frame, wanted, tolerance=1e-12, max_iterations=steps[-1] - 1)
    assert rake(frame, wanted, tolerance=1.0, max_iterations=1).iterations <= 1


def test_rows_of_one_person_begin_with_one_weight():
    frame = pd.DataFrame(
        {"person": ["a", "b", "a"], "sex": ["female", "male", "female"]}
    )
    wanted = asked(SHARE | {"target": 0.5})
    same = rake(frame, wanted, weight=[1.0, 1.0, 1.0], person="person")
    # Two rows of hers and one of his share three evenly.
    assert same.weight.tolist() == pytest.approx([0.75, 1.5, 0.75])
    rake(frame, wanted, weight=[1.0, 1.0, 1.0 + 1e-11], person="person")
    with pytest.raises(SizingError, match="same person must start with one weight"):
        rake(frame, wanted, weight=[1.0, 1.0, 1.0001], person="person")
    with pytest.raises(SizingError, match="Some rows have no person"):
        rake(frame.assign(person=["a", None, "a"]), wanted, person="person")


def test_weights_that_cannot_weigh_are_named_up_to_five():
    assert checked_weight(None, 3).tolist() == [1.0] * 3
    assert checked_weight([0, 1], 2, zeros=True).tolist() == [0.0, 1.0]
    bad = [1.0, -1.0, 0.0, np.inf, np.nan, -2.0, -3.0]
    shown = "row 1: -1, row 2: 0, row 3: inf, row 4: nan, row 5: -2, counted"
    for zeros, count, words, first in (
        (False, 6, "above 0", shown),
        (
            True,
            5,
            "0 or more",
            "row 1: -1, row 3: inf, row 4: nan, row 5: -2, row 6: -3,",
        ),
    ):
        with pytest.raises(SizingError) as told:
            checked_weight(bad, 7, zeros=zeros)
        assert f"{count} of 7 weights are not numbers {words} ({first}" in str(
            told.value
        )
    with pytest.raises(SizingError, match="There are 4 weights for 2 rows"):
        checked_weight(np.ones((2, 2)), 2)
    with pytest.raises(SizingError, match="All weights are 0"):
        checked_weight([0.0, 0.0], 2, zeros=True)
    assert checked_weight([1e-9], 1)[0] == 1e-9


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"statistic": "mean", "target": 20.0}, "run from 20 to 30"),
        ({"statistic": "mean", "target": 30.0}, "run from 20 to 30"),
        ({"statistic": "mean", "target": 20.01}, None),
        ({"statistic": "mean", "target": 29.99}, None),
        ({"statistic": "share", "target": 0.5, "low": 30.01}, "nobody is in"),
        ({"statistic": "share", "target": 0.5, "low": 30.0}, None),
        ({"statistic": "share", "target": 0.5, "high": 30.01}, "everybody is in"),
        ({"statistic": "share", "target": 0.5, "high": 20.0}, "nobody is in"),
        ({"statistic": "share", "target": 0.5, "level": "25"}, None),
        ({"statistic": "share", "target": 0.5, "level": "25.0"}, None),
        ({"statistic": "share", "target": 0.5, "level": "old"}, "nobody is in"),
    ],
)
def test_a_margin_must_lie_strictly_inside_what_people_have(row, words):
    frame = pd.DataFrame({"bmi": [20.0, 25.0, 30.0]})
    wanted = asked({"variable": "bmi"} | row)
    if words is None:
        assert rake(frame, wanted).table["reached"][0] == pytest.approx(row["target"])
        return
    with pytest.raises(InputProblems, match=words):
        rake(frame, wanted)


@pytest.mark.parametrize("word", ["true", "Yes", "1"])
def test_yes_stands_for_true_and_anything_else_for_false(word):
    frame = pd.DataFrame({"walks": [True, True, False]})
    margin = Margin("walks", "share", 0.5, level=word)
    assert margin.value(frame).tolist() == [1.0, 1.0, 0.0]
    margin = Margin("walks", "share", 0.5, level="no")
    assert margin.value(frame).tolist() == [0.0, 0.0, 1.0]


def test_the_least_weight_and_the_reach_by_hand():
    """Of values -1, 0 and 3 (mean 0): the third takes w, the first 3 w, w <= 0.6.

    With mean weight 1 the weights add up to 3: 3 w + w + rest = 3 and rest >= w.
    """
    pull = np.array([[-1.0], [0.0], [3.0]])
    assert _least_weight(pull) == pytest.approx(0.6)
    assert _least_weight(np.array([[1.0], [2.0]])) == pytest.approx(0.0)
    assert _least_weight(np.array([[-1.0], [1.0]])) == pytest.approx(1.0)
    group, value = np.ones(3), np.array([5.0, 7.0, 9.0])
    assert _reach(group, value, np.empty((3, 0))) == pytest.approx((5.0, 9.0))
    # From 7 alone to three parts of 5 and one of 9.
    assert _reach(group, value, pull) == pytest.approx((6.0, 7.0))
    assert _reach(group, value, np.abs(pull) + 1) is None


def test_a_weight_of_a_millionth_is_enough_and_of_a_billionth_is_none():
    group = np.ones((2, 1))
    for rare, refused in ((1e-6, False), (1e-9, True)):
        value = np.array([[0.0], [1.0]])
        margin = Margin("sex", "share", rare, level="x")
        if refused:
            with pytest.raises(SizingError, match="it can only run from 0 to 1, both"):
                refuse_the_impossible([margin], group, value)
        else:
            refuse_the_impossible([margin], group, value)


def test_reweighted_people_keep_their_draws_and_what_was_said_of_them():
    n = 40
    frame = pd.DataFrame({"person": range(n), "sex": ["f", "m", "m", "m"] * 10})
    frame["stature_cm"] = np.linspace(150, 190, n)
    own = people_from(
        pd.concat([frame.assign(draw=d) for d in (0, 1)]), weight=[2.0] * 80
    )
    margins = asked(SHARE | {"target": 0.5, "source": "a register"})
    people = reweight(
        own, pd.concat([margins, margins]).assign(level=["female", "male"])
    )
    assert people.weight.sum() == pytest.approx(n * 2)
    by_sex = people.weight.groupby(people.frame["sex"]).sum()
    assert by_sex.tolist() == pytest.approx([40.0, 40.0])
    assert people.sources == (*own.sources, "Margin: a register")
    assert people.limits[:-1] == own.limits
    assert people.settings["iterations"] >= 1 and people.settings["seed"] == 1
    assert "raised" not in people.limits[-1]
    assert len(people.settings["margins"]) == 2


@pytest.mark.parametrize(("women", "warned"), [(29, True), (30, False), (31, False)])
def test_fewer_than_thirty_people_are_warned_of_where_weights_made_them_few(
    women, warned
):
    """Weights nearly all on the women leave about as many people as there are women."""
    sexes = ["f"] * women + ["m"] * 400
    own = people_from(pd.DataFrame({"sex": sexes, "stature_cm": 160.0}))
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        people = reweight(own, asked(SHARE | {"target": 1 - 1e-6}))
    assert people.effective_n == pytest.approx(women, rel=1e-4)
    assert [w.category for w in caught] == [SizingWarning] * warned
    if warned:
        assert "429 people as informative as 29 equally" in str(caught[0].message)
        assert caught[0].filename == __file__
    assert "1 margins: " in people.limits[-1] and "raised from" in people.limits[-1]


def test_few_people_whose_weights_were_not_to_blame_are_not_warned_of():
    own = people_from(pd.DataFrame({"sex": ["f", "m"] * 5, "stature_cm": 160.0}))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert reweight(own, asked(SHARE | {"target": 0.6})).n == 10
