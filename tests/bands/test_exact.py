"""The fit against brute force over every chart on a small grid."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sizing.bands import fit_bands
from sizing.bands.fitter import Fitter
from sizing.errors import SizingError

from .oracle import (
    MEASURES,
    best_by_brute_force,
    boxes_of,
    chart_share,
    every_chain,
    make_people,
    share_in,
)

HIP, SIT, SEAT = MEASURES[:3]
SMALL = {
    1: ({HIP: 2.0}, 8),
    2: ({HIP: 2.0, SIT: 1.5}, 5),
    3: ({HIP: 1.3, SIT: 1.0, SEAT: 2.0}, 3),
}


def fit(people, widths, sizes, **how):
    """Fit as the people are, without held-out figures."""
    how = {"splits": 0, "smooth_cm": 0, **how}
    return fit_bands(people, widths=widths, sizes=sizes, **how)


def near(value):
    return pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize("measures", [1, 2, 3])
@pytest.mark.parametrize("seed", range(6))
def test_share_against_best_by_brute_force(measures, seed):
    rng = np.random.default_rng(seed)
    widths, span = SMALL[measures]
    values = 80 + rng.integers(0, span * 10 + 1, (14, measures)) / 10
    people = make_people(values, rng.integers(1, 5, 14))
    sizes = 2 if measures == 3 else 3
    found = fit(people, widths, sizes)
    assert found.share == near(best_by_brute_force(people, widths, sizes, 10))
    assert found.share == near(chart_share(found.chart, people))
    assert found.upper_bound >= found.share


@settings(max_examples=15, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(800, 805), st.integers(800, 804)), min_size=5, max_size=12
    ),
    st.integers(1, 4),
    st.integers(1, 4),
    st.sampled_from([None, 0, 1, 2]),
    st.sampled_from([0, 1, 3]),
)
@example([(800, 800)] * 4 + [(800, 801)], 1, 3, None, 1)
def test_certificate_holds_whatever_the_people(points, a, b, overlap, apart):
    if len(set(points)) < 2:
        return
    people = make_people(np.array(points) / 10)
    widths = {HIP: a / 10, SIT: b / 10}
    asked = {"least_step": {SIT: apart / 10}}
    if overlap is not None:
        asked["least_overlap"] = {HIP: overlap / 10}

    def allowed(low, high):
        shared = overlap is None or high[0, 0] - low[1, 0] >= overlap
        return shared and low[1, 1] - low[0, 1] >= apart

    finest = best_by_brute_force(people, widths, 2, 1, allowed=allowed, room=apart)
    for step in (0.1, 0.3):
        try:
            found = fit(people, widths, 2, step_cm=step, **asked)
        except SizingError:
            # The grid may hold no chart that the constraints allow.
            assert step == 0.3 or finest == -np.inf
            continue
        assert found.upper_bound >= finest - 1e-12
        if step == 0.1:
            assert found.share == near(finest) and found.gap == near(0.0)


@pytest.mark.parametrize(
    "constraint",
    [
        {},
        {"least_step": {HIP: 0.3}},
        {"least_overlap": {HIP: 0.1}},
        {"rounding": "half"},
    ],
)
@pytest.mark.parametrize("seed", [8, 98])
def test_the_path_taken_changes_nothing_and_bounds_hold(constraint, seed, monkeypatch):
    rng = np.random.default_rng(seed)
    steps = rng.normal(0, (6, 4, 8), (25, 3)).cumsum(axis=1)
    people = make_people(80 + np.round(steps) / 10, rng.integers(1, 5, 25))
    widths = dict(zip(people.measures, (0.5, 0.4, 0.8), strict=True))
    fine = fit(people, widths, 3, step_cm=0.1, **constraint)
    coarse = fit(people, widths, 3, step_cm=0.5, **constraint)
    # People are counted where the search looks, instead of into one grid; the
    # search begins with one node, and goes through its nodes in parts.
    monkeypatch.setattr("sizing.bands.goal.FEW_CELLS", -(10**9))
    monkeypatch.setattr("sizing.bands.search.FIRST_NODES", 1)
    monkeypatch.setattr("sizing.bands.search.MOST_PAIRS", 300)
    other = fit(people, widths, 3, step_cm=0.1, **constraint)
    pd.testing.assert_frame_equal(fine.chart.frame, other.chart.frame)
    assert fine.upper_bound == near(fine.share)
    assert coarse.upper_bound >= fine.share - 1e-12


@settings(max_examples=8, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(700, 900), st.integers(700, 800)), min_size=6, max_size=30
    ),
    st.integers(1, 3),
    st.integers(1, 40),
    st.integers(1, 40),
)
def test_more_or_wider_never_covers_less(points, sizes, width_a, width_b):
    points = list(dict.fromkeys(points))
    if len(points) < sizes + 1:
        return
    people = make_people(np.array(points) / 10)

    def share(count, a, b):
        found = fit(people, {HIP: a / 10, SIT: b / 10}, count)
        assert found.share == near(chart_share(found.chart, people))
        assert found.upper_bound >= found.share
        return found.share

    base = share(sizes, width_a, width_b)
    assert share(sizes + 1, width_a, width_b) >= base - 1e-12
    assert share(sizes, width_a + 7, width_b) >= base - 1e-12
    assert share(sizes, width_a, width_b + 3) >= base - 1e-12


def test_order_and_repeats_change_nothing():
    rng = np.random.default_rng(5)
    values = 80 + rng.integers(0, 300, (60, 2)) / 10
    weight = rng.integers(1, 4, 60)
    turn = rng.permutation(60)
    one, *others = (
        fit(make_people(*rows), {HIP: 5.0, SIT: 6.0}, 3)
        for rows in (
            (values, weight),
            (values[turn], weight[turn]),
            (np.repeat(values, weight, axis=0),),
        )
    )
    for other in others:
        pd.testing.assert_frame_equal(one.chart.frame, other.chart.frame)
        assert one.share == near(other.share)


def test_four_measures_against_every_chart():
    rng = np.random.default_rng(4)
    people = make_people(80 + rng.integers(0, 21, (12, 4)) / 10, rng.integers(1, 5, 12))
    widths = dict.fromkeys(people.measures, 1.0)
    best = best_by_brute_force(people, widths, 2, 10)
    assert fit(people, widths, 2).share == near(best)
    # A centimetre grid proved to within a point of the millimetre grid.
    rng = np.random.default_rng(5)
    steps = rng.normal(0, (9, 5, 7, 20), (60, 4)).cumsum(axis=1)
    people = make_people(85 + np.round(steps) / 10)
    widths = dict(zip(people.measures, (2.0, 1.5, 2.0, 4.0), strict=True))
    coarse = fit(people, widths, 2, tolerance=0.01)
    finest = fit(people, widths, 2, step_cm=0.1)
    assert finest.gap == near(0.0)
    most = max(finest.share, coarse.share + 0.01)
    assert finest.share - 1e-12 <= coarse.upper_bound <= most + 1e-12


@pytest.mark.parametrize("seed", range(6))
def test_of_equal_charts_the_nearest_to_the_rival_then_the_lowest(seed):
    rng = np.random.default_rng(seed)
    people = make_people(80 + rng.integers(0, 13, (9, 2)) / 10)
    widths = {HIP: 0.4, SIT: 0.6}
    told = fit(people, widths, 2, step_cm=0.2)
    aim, found = (
        np.column_stack([chart.edges(m)[0] for m in widths])
        for chart in (told.rival, told.chart)
    )

    def far(low):
        return (np.abs(low - aim) / (5, 7)).sum()

    share = share_in(people, widths)
    chains = every_chain(boxes_of(people, widths, 2), 2)
    best = [low for low, high in chains if share(low, high) >= told.share - 1e-12]
    least = min(far(low) for low in best)
    nearest = [low for low in best if far(low) <= least + 1e-9]
    lowest = min(nearest, key=lambda low: low[::-1].tolist())
    assert found.tolist() == lowest.tolist()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"widths": {HIP: 0}}, "width"),
        ({"widths": {HIP: float("nan")}}, "width"),
        ({"widths": {}}, "no measure"),
        ({"widths": {HIP: [5, 6]}}, "per size"),
        ({"widths": {"chest_circumference_cm": 5}}, "lack"),
        ({"sizes": 0}, "number of sizes"),
        ({"sizes": 21}, "21 sizes are more than the 20 distinct people"),
        ({"step_cm": 0}, "step"),
        ({"step_cm": 0.04}, "step of the grid makes no sense"),
        ({"step_cm": np.inf}, "the step makes no sense"),
        ({"step_cm": "wide"}, "the step makes no sense"),
        ({"least_overlap": {HIP: -1}}, "the least overlap makes no sense"),
        ({"widths": dict.fromkeys([*MEASURES, "x_cm"], 5)}, "too many measures"),
        ({"group": "teenage"}, "group"),
        ({"rounding": "furlong"}, "rounding"),
        ({"widths": {HIP: 1.2}, "rounding": "inch"}, "narrower than the rounding"),
        ({"objective": "beauty"}, "objective"),
        ({"objective": "loss", "too_large": 1.01}, "size too large .*from 0 to 1"),
        ({"objective": "loss", "too_small": -0.1}, "cost of a size too small makes"),
        ({"objective": "loss", "near": -1.0}, "near makes no sense.*from 0"),
        ({"objective": "loss", "near": np.inf}, "near makes no sense"),
        ({"objective": "loss", "near": np.nan}, "near makes no sense"),
        ({"objective": "loss", "errors": {HIP: np.inf}}, "error makes no sense"),
        ({"smooth_cm": -1}, "smoothing"),
        ({"least_step": {HIP: float("nan")}}, "least step"),
        ({"least_step": {HIP: 500.0}, "least_overlap": {HIP: 1.0}}, "no chart"),
    ],
)
def test_settings_without_sense_are_refused(change, word):
    people = make_people(np.linspace(80, 120, 20)[:, None])
    given_settings = {"widths": {HIP: 5}, "sizes": 3, "splits": 0}
    with pytest.raises(SizingError, match=word):
        fit_bands(people, **{**given_settings, **change})


@pytest.mark.parametrize(("sizes", "steps"), [(1, 5), (2, 2)])
def test_a_bound_in_fewer_measures_is_above_the_best_in_all(sizes, steps):
    """Four measures, every chart on whole mm tried; the bound is often not 1."""
    told = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        values = 50 + rng.integers(0, steps + 1, (9, 4)) / 10
        people = make_people(values, rng.integers(1, 5, 9))
        widths = dict.fromkeys(MEASURES, 0.1)
        fitter = Fitter.of(people, widths=widths, sizes=sizes, step_cm=0.2)
        boxes = fitter.fit()
        bound = fitter.bound_without_one(boxes)
        best = best_by_brute_force(people, widths, sizes, 1)
        assert fitter.value(boxes) - 1e-9 <= best <= bound + 1e-9
        assert fitter.certified(boxes, None) >= best - 1e-9
        told.append(bound)
    assert min(told) < 0.9
