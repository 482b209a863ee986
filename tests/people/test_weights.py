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
from sizing.people import weights
from sizing.people.margins import Margin
from sizing.people.named import reweight
from sizing.people.own import people_from
from sizing.people.weights import rake
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
            "stature_cm": stature,
            "body_mass_kg": 25 * (stature / 100) ** 2 * rng.lognormal(0, 0.2, n),
        }
    )


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
    for words in ("meet together the following", "mean height: asked 165", "162"):
        assert words in message
    assert "sex=female" in message and "age" not in message
    rim = table(margin("sex", "share", 0.5, level="female"))
    rim = pd.concat([rim, table(margin("stature_cm", "mean", 166.0))])
    with pytest.raises(SizingError, match="with the others met it must be 165"):
        rake(frame.assign(stature_cm=[150.0, 150.0, 180.0, 180.0]), rim)


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


def test_the_table_of_margins_counts_people_in_group_and_class():
    frame = pd.DataFrame(
        {
            "person": ["a", "b", "c", "d"] * 2,
            "sex": ["female", "female", "male", "male"] * 2,
            "bmi": [20.0, 30.0, 24.0, 28.0, 27.0, 31.0, 25.0, 26.0],
        }
    )
    start = np.array([1.0, 2.0, 3.0, 4.0] * 2)
    wanted = table(
        SHARE | {"target": 0.4},
        margin("bmi", "share", 0.6, low=26.0, within="sex=female"),
        margin("bmi", "mean", 26.0),
    )
    found = rake(frame, wanted, weight=start, person="person")
    rows = found.table
    assert rows["n"].tolist() == [4, 2, 4]
    assert rows["n_in_class"].fillna(-1).tolist() == [2, 2, -1]
    before = [0.3, (0.5 + 2) / 3, np.average(frame["bmi"], weights=start)]
    assert rows["before"].tolist() == pytest.approx(before)
    assert rows["asked"].tolist() == [0.4, 0.6, 26.0]
    assert rows["reached"].tolist() == pytest.approx([0.4, 0.6, 26.0], rel=1e-6)
    assert rows["low"].tolist()[1] == 26.0 and rows["within"][1] == "sex=female"
    w = found.weight.to_numpy()
    assert (w[:4] == w[4:]).all() and w.sum() == pytest.approx(start.sum())
    assert found.design_effect == pytest.approx(kish_design_effect(w[:4]))


def test_rows_of_one_person_begin_with_one_weight():
    frame = pd.DataFrame(
        {"person": ["a", "b", "a"], "sex": ["female", "male", "female"]}
    )
    wanted = table(SHARE | {"target": 0.5})
    same = rake(frame, wanted, weight=[1.0, 1.0, 1.0], person="person")
    # Two rows of hers and one of his share three evenly.
    assert same.weight.tolist() == pytest.approx([0.75, 1.5, 0.75])
    rake(frame, wanted, weight=[1.0, 1.0, 1.0 + 1e-11], person="person")
    with pytest.raises(SizingError, match="same person must start with one weight"):
        rake(frame, wanted, weight=[1.0, 1.0, 1.0001], person="person")
    with pytest.raises(SizingError, match="Some rows have no person"):
        rake(frame.assign(person=["a", None, "a"]), wanted, person="person")


def test_weights_that_cannot_weigh_are_named_up_to_five():
    assert weights.checked_weight(None, 3).tolist() == [1.0] * 3
    assert weights.checked_weight([0, 1], 2, zeros=True).tolist() == [0.0, 1.0]
    bad = [1.0, -1.0, 0.0, np.inf, np.nan, -2.0, -3.0]
    shown = "row 1: -1, row 2: 0, row 3: inf, row 4: nan, row 5: -2, counted"
    others = "row 1: -1, row 3: inf, row 4: nan, row 5: -2, row 6: -3,"
    for zeros, count, words, first in (
        (False, 6, "above 0", shown),
        (True, 5, "0 or more", others),
    ):
        with pytest.raises(SizingError) as told:
            weights.checked_weight(bad, 7, zeros=zeros)
        said = f"{count} of 7 weights are not numbers {words} ({first}"
        assert said in str(told.value)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (margin("bmi", "mean", 20.0), "run from 20 to 30"),
        (margin("bmi", "mean", 30.0), "cannot be met: these people run from 20 to 30"),
        (margin("bmi", "mean", 20.01), None),
        (margin("bmi", "mean", 29.99), None),
        (margin("bmi", "share", 0.5, low=30.01), "nobody is in that class"),
        (margin("bmi", "share", 0.5, low=30.0), None),
        (margin("bmi", "share", 0.5, high=30.01), "everybody is in that class"),
        (margin("bmi", "share", 0.5, high=20.0), "nobody is in"),
        (margin("bmi", "share", 0.5, level="25"), None),
        (margin("bmi", "share", 0.5, level="25.0"), None),
        (margin("bmi", "share", 0.5, level="old"), "nobody is in"),
        (margin("region", "share", 0.2, level="west"), "nobody is in that class"),
        (margin("bmi", "mean", 25.0, within="bmi>=120"), "the group is empty"),
        (margin("knee_height_cm", "mean", 50.0), "do not have"),
        (margin("region", "mean", 5.0), "holds words"),
        (margin("alike", "mean", 160.0), None),
        (margin("alike", "mean", 159.9), "these people run from 160 to 160"),
        (margin("alike", "mean", 160.1), "these people run from 160 to 160"),
        (margin("walks", "share", 0.5, level="true"), None),
        (margin("walks", "share", 0.5, level="Yes"), None),
        (margin("walks", "share", 0.5, level="1"), None),
    ],
)
def test_a_margin_must_lie_strictly_inside_what_people_have(row, words):
    frame = pd.DataFrame({"bmi": [20.0, 25.0, 30.0], "walks": [True, True, False]})
    frame = frame.assign(alike=160.0, region="east")
    if words is None:
        found = rake(frame, table(row))
        assert found.table["reached"][0] == pytest.approx(row["target"])
        return
    with pytest.raises(InputProblems, match=words):
        rake(frame, table(row))


@pytest.mark.parametrize(
    ("rare", "words"),
    [(1e-6, ""), (1e-9, "it can only run from 0 to 1, both excluded"), (1.0, "it can")],
)
def test_a_weight_of_a_millionth_is_enough_and_of_a_billionth_is_none(rare, words):
    asked, value = Margin("sex", "share", rare, level="x"), np.array([[0.0], [1.0]])
    if not words:
        weights.refuse_the_impossible([asked], np.ones((2, 1)), value)
        return
    with pytest.raises(SizingError, match=words) as told:
        weights.refuse_the_impossible([asked], np.ones((2, 1)), value)
    assert "together" not in str(told.value) and "others met" not in str(told.value)


def test_reweighted_people_keep_their_draws_and_what_was_said_of_them():
    n = 40
    frame = pd.DataFrame({"person": range(n), "sex": ["f", "m", "m", "m"] * 10})
    frame["stature_cm"] = np.linspace(150, 190, n)
    both = pd.concat([frame.assign(draw=d) for d in (0, 1)])
    own = people_from(both, weight=[2.0] * 80)
    margins = table(SHARE | {"target": 0.5, "source": "a register"})
    margins = pd.concat([margins, margins]).assign(level=["female", "male"])
    people = reweight(own, margins)
    assert people.weight.sum() == pytest.approx(n * 2)
    by_sex = people.weight.groupby(people.frame["sex"]).sum()
    assert by_sex.tolist() == pytest.approx([40.0, 40.0])
    assert people.sources == (*own.sources, "Margin: a register")
    assert people.limits[:-1] == own.limits
    assert people.settings["seed"] == 1
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
        people = reweight(own, table(SHARE | {"target": 1 - 1e-6}))
    assert people.effective_n == pytest.approx(women, rel=1e-4)
    assert [w.category for w in caught] == [SizingWarning] * warned
    if warned:
        assert "429 people as informative as 29 equally" in str(caught[0].message)
        assert caught[0].filename == __file__
    assert "1 margins: " in people.limits[-1] and "raised from" in people.limits[-1]
    # Few people whose weights were not to blame are not warned of.
    few = people_from(pd.DataFrame({"sex": ["f", "m"] * 5, "stature_cm": 160.0}))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert reweight(few, table(SHARE | {"target": 0.6})).n == 10
