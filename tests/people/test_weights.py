"""Weights: invariants, other people's code as oracles, refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial import Delaunay

from sizing.errors import InputProblems, SizingError
from sizing.people.margins import Margin
from sizing.people.weights import rake, refuse_the_impossible
from sizing.stats.weighted import kish_design_effect


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
