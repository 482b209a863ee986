"""How hard a bound is pressed, what it may cost, and where a search begins."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.bands import fit_bands
from sizing.bands.axis import make_axis
from sizing.bands.fitter import (
    NEAR,
    QUICK,
    THOROUGH,
    WITHIN_REACH,
    Fitter,
    has_valley,
)
from sizing.bands.goal import Counter, Goal
from sizing.bands.graph import NUDGE, TIE, Task
from sizing.bands.measured import read_measured
from sizing.bands.search import (
    climb,
)
from sizing.measures.edges import NO_HIGH

from .oracle import MEASURES, make_people

HIP, SIT = MEASURES[:2]


def task_of(seed, sizes=2, span=120, measures=2, widths=(60, 40)):
    """A task on whole tenths with its people."""
    rng = np.random.default_rng(seed)
    x = rng.integers(0, span, (40, measures))
    people = make_people(x / 10, rng.integers(1, 4, 40))
    measured = read_measured(people, MEASURES[:measures])
    axes = [
        make_axis(m, x[:, d], [widths[d]] * sizes, step=1)[0]
        for d, m in enumerate(MEASURES[:measures])
    ]
    counter = Counter(Goal(), measured, axes, np.full(sizes, NO_HIGH))
    terms = counter.terms(measured.weight)
    return Task(axes, terms, counter.passed, measured.total), x, measured.weight


def covered(x, weight, low, high):
    inside = ((x[:, None] >= low) & (x[:, None] <= high)).all(axis=2)
    return weight[inside.any(axis=1)].sum()


def box_of(task, index):
    return (
        np.array(
            [
                [a.low[k][i] for a, i in zip(task.axes, at, strict=True)]
                for k, at in enumerate(index)
            ]
        ),
        np.array(
            [
                [a.high[k][i] for a, i in zip(task.axes, at, strict=True)]
                for k, at in enumerate(index)
            ]
        ),
    )


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6))
def test_a_climb_ends_where_no_small_step_leads_higher(seed):
    task, x, weight = task_of(seed)
    last = np.array([[axis.n(k) - 1 for axis in task.axes] for k in range(2)])
    rng = np.random.default_rng(seed)
    start = np.sort(rng.integers(0, 60, (2, 2)), axis=0)
    value, index = climb(task, start)
    assert value >= covered(x, weight, *box_of(task, np.minimum(start, last)))
    assert (index >= 0).all() and (index <= last).all()
    assert value == pytest.approx(covered(x, weight, *box_of(task, index)))
    for move in product((-1, 0, 1), repeat=4):
        near = index + np.array(move).reshape(2, 2)
        if (near < 0).any() or (near > last).any() or (np.diff(near, axis=0) < 0).any():
            continue
        assert covered(x, weight, *box_of(task, near)) <= value + TIE * weight.sum()
    # It may begin beyond the candidates.
    assert climb(task, start + 10**6)[0] > -np.inf


class Told(Fitter):
    """A fitter that is told what its bounds are, and tells what it was asked."""

    def __init__(self, measures, value, quick, thorough, fewer):
        self.axes = [None] * measures
        self.told = {"value": value, "quick": quick, "thorough": thorough}
        self.told["fewer"] = fewer
        self.asked = []

    def value(self, boxes, rows=None):
        return self.told["value"]

    def bound(self, boxes, effort, tolerance=0.0):
        assert effort in (QUICK, THOROUGH)
        kind = "quick" if effort == QUICK else "thorough"
        self.asked.append((kind, tolerance))
        return self.told[kind]

    def bound_without_one(self, boxes):
        self.asked.append(("fewer", None))
        return self.told["fewer"]


ALL = [("quick", 0.0), ("thorough", NEAR), ("fewer", None)]


@pytest.mark.parametrize(
    ("measures", "tolerance", "quick", "thorough", "fewer", "bound", "asked"),
    [
        # As near as is asked for, unasked: no more is done.
        (3, None, 0.509, 0.502, 0.501, 0.509, ALL[:1]),
        (4, None, 0.509, 0.502, 0.501, 0.509, ALL[:1]),
        # Further: pressed with few measures however far, with many within reach.
        (3, None, 0.9, 0.7, 0.6, 0.7, ALL[:2]),
        (3, None, 0.511, 0.513, 0.6, 0.511, ALL[:2]),
        (4, None, 0.549, 0.505, 0.501, 0.505, ALL[:2]),
        (4, None, 0.549, 0.52, 0.511, 0.511, ALL),
        (4, None, 0.549, 0.52, 0.53, 0.52, ALL),
        (4, None, 0.551, 0.505, 0.53, 0.53, [ALL[0], ALL[2]]),
        # A tolerance is pressed to at once.
        (3, 0.001, 0.5, 0.6, 0.5, 0.6, [("thorough", 0.001)]),
        (4, 0.2, 0.5, 0.6, 0.5, 0.6, [("thorough", 0.2)]),
        (4, 0.001, 0.5, 0.6, 0.55, 0.55, [("thorough", 0.001), ALL[2]]),
    ],
)
def test_a_bound_is_pressed_as_far_as_is_asked(
    measures, tolerance, quick, thorough, fewer, bound, asked
):
    assert (NEAR, WITHIN_REACH) == (0.01, 0.05)
    told = Told(measures, 0.5, quick, thorough, fewer)
    assert told.certified(None, tolerance) == bound
    assert told.asked == asked


def fitter_of(values, weight=None, *, widths=(1.0,), sizes=1, **more):
    people = make_people(values, weight)
    wide = dict(zip(MEASURES, widths, strict=False))
    return Fitter.of(people, widths=wide, sizes=sizes, **more)


def test_what_the_tie_rule_may_cost_is_in_the_bound():
    """By hand: 20 candidates' range over bands of 11 values, for two sizes."""
    values = np.array([[80.0], [81.3], [82.2], [83.0]])
    asked = {"widths": (1.0,), "sizes": 2, "step_cm": 0.1}
    most = NUDGE * 2 * 20 / 11
    uneven = fitter_of(values, [1.0, 1.5, 1.0, 1.0], **asked)
    assert uneven._nudged == pytest.approx(most)
    # Shares of whole multiples of one weight differ by more than the rule costs.
    assert fitter_of(values, [2.0, 6.0, 2.0, 2.0], **asked)._nudged == 0
    heavy = fitter_of(values, [1.0, 1e9, 1.0, 1.0], **asked)
    assert heavy._nudged == pytest.approx(most)
    for judged in (
        {"objective": "judged", "errors": {HIP: 0.0}},
        {"objective": "loss"},
    ):
        other = fitter_of(values, **asked, **judged)
        assert other._nudged == pytest.approx(NUDGE * 2 * 20 / 11, rel=1e-9)
    found = fit_bands(
        make_people(values, [1.0, 1.5, 1.0, 0.7]),
        widths={HIP: 0.9},
        sizes=2,
        splits=0,
        step_cm=0.1,
    )
    assert found.share < 1
    assert found.gap == pytest.approx(NUDGE * 2 * 21 / 10, rel=1e-6)


@pytest.mark.parametrize(
    ("more", "finest"),
    [
        ({"step_cm": 0.1}, True),
        ({"step_cm": 0.2}, False),
        ({"step_cm": 0.1, "smooth_cm": 0.5}, False),
        ({"step_cm": 0.1, "objective": "judged"}, True),
        ({"step_cm": 1.0, "rounding": "whole"}, True),
        ({"step_cm": 2.0, "rounding": "whole"}, False),
    ],
)
def test_a_chart_is_the_best_of_all_only_on_the_finest_grid(more, finest):
    rng = np.random.default_rng(1)
    fitter = fitter_of(80 + rng.integers(0, 60, (9, 1)) / 10, sizes=2, **more)
    assert fitter._on_finest == finest


def test_a_valley_is_only_where_both_sides_lift_more():
    for limits in ([5, 4, 5], [5, 4, 4, 5], [9, 3, 7], [1, 5, 4, 6]):
        assert has_valley(np.array(limits))
    for limits in ([5, 5], [4, 5, 5], [5, 4, 4], [1, 2, 3], [3, 2, 1], [2, 3, 1]):
        assert not has_valley(np.array(limits))
