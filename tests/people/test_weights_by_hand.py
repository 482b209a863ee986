"""Weights and named populations: what their tables and refusals say, by hand."""

import warnings

import numpy as np
import pandas as pd
import pytest

from sizing.errors import InputProblems, SizingError, SizingWarning
from sizing.people.margins import Margin
from sizing.people.named import load_people, reweight
from sizing.people.own import people_from
from sizing.people.weights import (
    _least_weight,
    _reach,
    checked_weight,
    rake,
    refuse_the_impossible,
)

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


def test_a_named_population_says_how_it_was_made():
    people = load_people("children", draws=1, seed=0)
    assert people.settings == {"name": "children", "draws": 1, "seed": 0}
    assert people.drawn.seed == 0
    heavy = load_people("bariatric", draws=3)
    assert heavy.settings["bmi_threshold"] == 40.0 and heavy.settings["seed"] == 1
    first = heavy.n
    assert heavy.frame["draw"].tolist() == np.repeat([0, 1, 2], first).tolist()
    numbers = heavy.frame["person"].to_numpy().reshape(3, -1)
    assert (numbers == numbers[0]).all()
    assert load_people("walking_difficulty").draws == 5
