"""Constraints and goals of a fit, against brute force on small grids."""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from sizing.bands import fit_bands, search
from sizing.bands.fitter import Fitter, has_valley
from sizing.bands.graph import NUDGE, TIE
from sizing.bands.search import best_chart, upper_bound
from sizing.charts import SizeChart
from sizing.coverage import estimate_coverage
from sizing.measures import vocabulary

from .oracle import (
    MEASURES,
    best_by_brute_force,
    boxes_of,
    chart_share,
    every_chain,
    low_edges,
    make_people,
    rows_of,
    share_in,
    some_people,
)

HIP, SIT = MEASURES[:2]
WIDTHS = {HIP: 1.5, SIT: 1.0}


def owned_of(limit, bands):
    """Return a chart of one size that is owned."""
    row = {"size": ["ours"], "group": "adult", "load_limit_kg": [limit]}
    for measure, (low, high) in bands.items():
        row |= {f"{measure}_low": [low], f"{measure}_high": [high]}
    return SizeChart(pd.DataFrame(row))


def fit(people, **change):
    settings = {"widths": WIDTHS, "sizes": 2, "splits": 0, "step_cm": 0.5, **change}
    return fit_bands(people, **settings)


@pytest.mark.parametrize(
    ("asked", "allowed", "room"),
    [
        (
            {"least_step": {HIP: 1.0, SIT: 0.5}},
            lambda low, _: (np.diff(low, axis=0) >= (10, 5)).all(),
            10,
        ),
        (
            {"least_overlap": {HIP: 0.5, SIT: 0.5}},
            lambda low, high: (high[:-1] - low[1:] >= 5).all(),
            0,
        ),
    ],
)
@pytest.mark.parametrize("seed", range(3))
def test_least_step_and_overlap_against_every_chart(asked, allowed, room, seed):
    people = some_people(seed)
    found = fit(people, **asked)
    best = best_by_brute_force(people, WIDTHS, 2, 5, allowed=allowed, room=room)
    assert found.share == pytest.approx(best, abs=1e-12)
    ends = [
        np.column_stack(e) for e in zip(*map(found.chart.edges, WIDTHS), strict=True)
    ]
    assert allowed(*ends)


def test_at_the_finest_grid_differing_limits_are_proved_too():
    people = some_people(5)
    frame = people.frame.assign(body_mass_kg=np.arange(14) * 5.0 + 70)
    people = replace(people, frame=frame)
    owned = owned_of(200.0, {HIP: (81.3, 82.8), SIT: (81.1, 82.1)})
    found = fit(people, sizes=3, fixed=owned, step_cm=0.1, load_limit_kg=100.0)
    assert 0 < found.share < 1
    assert found.gap == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("limit", "new"), [(160.0, None), (95.0, None), (160.0, 95.0)])
@pytest.mark.parametrize("seed", range(4))
def test_sizes_owned_against_every_chart(seed, limit, new):
    rng = np.random.default_rng(seed)
    people = some_people(seed)
    mass = rng.integers(60, 130, len(people.frame)).astype(float)
    # One was not weighed, and counts as too heavy for any limit.
    unweighed = people.frame.index == 0
    frame = people.frame.assign(body_mass_kg=np.where(unweighed, np.nan, mass))
    mass[0], people = 1e6, replace(people, frame=frame)
    owned = owned_of(limit, {HIP: (81.3, 82.4), SIT: (81.1, 82.6)})
    found = fit(people, sizes=3, fixed=owned, load_limit_kg=new)
    kept = found.chart.frame.set_index("size")
    assert kept.loc["ours", "load_limit_kg"] == limit and len(kept) == 3
    assert kept.loc["ours", f"{HIP}_low"] == 81.3
    others = kept["load_limit_kg"].drop("ours")
    assert others.isna().all() if new is None else (others == new).all()
    told = estimate_coverage(people, found.chart, replicates=50).table
    covered = told.loc[told["outcome"] == "covered", "estimate"].item()
    assert found.share == pytest.approx(covered, abs=1e-12)
    low, high = np.array([813, 811]), np.array([824, 826])
    x, weight = rows_of(people, WIDTHS), people.weight.to_numpy()
    best = 0.0
    for first, second in every_chain(boxes_of(people, WIDTHS, 5), 2):
        for at in range(3):
            a = np.insert(first, at, low, axis=0)
            b = np.insert(second, at, high, axis=0)
            if (np.diff(a, axis=0) < 0).any() or (np.diff(b, axis=0) < 0).any():
                continue
            inside = ((x[:, None] >= a) & (x[:, None] <= b)).all(axis=2)
            bears = np.insert(np.full(2, new or np.inf), at, limit)
            inside &= mass[:, None] <= bears
            best = max(best, weight[inside.any(axis=1)].sum() / weight.sum())
    assert found.upper_bound >= best - 1e-12
    if limit == 160:
        # Nobody is too heavy for the size between two others: it is the best.
        assert found.share == pytest.approx(best, abs=1e-12)
    else:
        assert best - 0.1 <= found.share <= best + 1e-12


@pytest.mark.parametrize("seed", range(3))
def test_widths_per_size_against_every_chart(seed):
    people = some_people(seed, span=3)
    widths = {HIP: [0.5, 1.5], SIT: [1.2, 0.7]}
    found = fit(people, widths=widths)
    lows = [np.array(b) for b in product(*low_edges(people, WIDTHS, 5, room=15))]
    first, second = np.array([5, 12]), np.array([15, 7])
    best, share = 0.0, share_in(people, WIDTHS)
    for a, b in product(lows, lows):
        low, high = np.array([a, b]), np.array([a + first, b + second])
        if (low[1] >= low[0]).all() and (high[1] >= high[0]).all():
            best = max(best, share(low, high))
    assert found.share == pytest.approx(best, abs=1e-12)


@pytest.mark.parametrize("seed", range(2))
def test_judged_against_every_chart(seed):
    people = some_people(seed, n=10, span=3)
    sd = np.array([6.0, 4.0])
    sd[1] *= vocabulary().set_index("name")["error_cm"][SIT] / 0.4  # unless said
    found = fit(people, objective="judged", errors={HIP: 0.6}, step_cm=1)
    x, weight = rows_of(people, WIDTHS), people.weight.to_numpy() / people.weight.sum()
    # Every reading that can happen, with its chance.
    read = np.arange(x.min() - 60, x.max() + 61)
    ends = np.append(read, read[-1] + 1) - 0.5
    chance = [np.diff(norm.cdf((ends - x[:, [d]]) / sd[d])) for d in range(2)]

    def value(low, high):
        both = np.zeros((len(read), len(read)), dtype=bool)
        for a, b in zip(low, high, strict=True):
            inside = (read[:, None] >= a) & (read[:, None] <= b)
            both |= inside[:, [0]] & inside[:, 1]
        each = np.einsum("ni,ij,nj->n", chance[0], both.astype(float), chance[1])
        return float(weight @ each)

    best = best_by_brute_force(people, WIDTHS, 2, 10, value=value, room=20)
    assert found.value == pytest.approx(best, abs=1e-7)
    assert found.value <= found.upper_bound + 1e-12


@pytest.mark.parametrize("costs", [(0.2, 0.7), (0.9, 0.4), (1, 0.5)])
def test_loss_against_every_chart(costs):
    people = some_people(3, n=12, span=4)
    large, small = costs
    # Slipping through counts twice unless it is said otherwise.
    said = {} if costs == (1, 0.5) else {"too_large": large, "too_small": small}
    found = fit(people, objective="loss", near=0.4, **said)
    x = rows_of(people, WIDTHS)[:, None]
    weight = people.weight.to_numpy() / people.weight.sum()

    def value(low, high):
        cost = np.ones((len(x), len(low)))
        both = max(large, small)
        for start, stop, price in (
            (low - 4, high + 4, both),
            (low, high + 4, small),
            (low - 4, high, large),
            (low, high, 0.0),
        ):
            inside = ((x >= start) & (x <= stop)).all(axis=2)
            cost = np.where(inside, np.minimum(cost, price), cost)
        return float(weight @ (1 - cost.min(axis=1)))

    best = best_by_brute_force(people, WIDTHS, 2, 5, value=value)
    assert found.value == pytest.approx(best, abs=1e-9)


def test_smoothing_changes_the_fit_and_not_the_counting():
    rng = np.random.default_rng(2)
    people = make_people(np.round(rng.normal((100, 90), (8, 4), (150, 2)), 1))
    widths = {HIP: 9.0, SIT: 5.0}
    rough = fit(people, widths=widths, sizes=3, step_cm=0.5)
    smooth = fit(people, widths=widths, sizes=3, step_cm=0.5, smooth_cm=2.0)
    assert not rough.chart.frame.equals(smooth.chart.frame)
    assert smooth.share <= rough.share
    assert smooth.share == pytest.approx(chart_share(smooth.chart, people), abs=1e-12)
    assert smooth.upper_bound >= rough.share


# What no chart exceeds, wherever the search stops, and what a tie rule may cost


@pytest.mark.parametrize("seed", range(5))
def test_a_bound_holds_wherever_the_search_stops(seed, monkeypatch):
    """What was dropped below a floor counts too: the best chart may be among it."""
    monkeypatch.setattr(search, "FIRST_NODES", 2)
    values = 80 + np.random.default_rng(seed).integers(0, 60, (25, 2)) / 10
    how = {"widths": {HIP: 1.0, SIT: 1.2}, "sizes": 2, "step_cm": 0.5, "smooth_cm": 0}
    fitter = Fitter.of(make_people(values), **how)
    task = fitter.tasks(fitter.measured.weight, aim=False)[0]
    start = np.zeros((2, 2), dtype=int)
    top, _ = best_chart(task, start)
    bounds = [upper_bound(task, start, -np.inf, most_pairs=m) for m in (0, 99, 10**6)]
    assert bounds[0] > bounds[-1] == pytest.approx(top)
    assert min(bounds) >= top - TIE
    for floor in (top + 0.5, top + 3.5):
        near = upper_bound(task, start, floor, most_pairs=10**6)
        assert top - TIE <= near < floor


def test_what_the_tie_rule_may_cost_is_in_the_bound():
    """By hand: 20 candidates' range over bands of 11 values, for two sizes."""
    values = np.array([[80.0], [81.3], [82.2], [83.0]])
    most = NUDGE * 2 * 20 / 11
    for weight, cost in (
        ([1.0, 1.5, 1.0, 1.0], most),
        # Shares of whole multiples of one weight differ by more than the rule costs.
        ([2.0, 6.0, 2.0, 2.0], 0),
        ([1.0, 1e9, 1.0, 1.0], most),
    ):
        how = {"widths": {HIP: 1.0}, "sizes": 2, "step_cm": 0.1}
        fitter = Fitter.of(make_people(values, weight), **how)
        assert fitter._nudged == pytest.approx(cost)
    people = make_people(values, [1.0, 1.5, 1.0, 0.7])
    found = fit_bands(people, widths={HIP: 0.9}, sizes=2, splits=0, step_cm=0.1)
    assert found.share < 1
    assert found.gap == pytest.approx(NUDGE * 2 * 21 / 10, rel=1e-6)


def test_a_valley_is_only_where_both_sides_lift_more():
    for limits in ([5, 4, 5], [5, 4, 4, 5], [9, 3, 7], [1, 5, 4, 6]):
        assert has_valley(np.array(limits))
    for limits in ([5, 5], [4, 5, 5], [5, 4, 4], [1, 2, 3], [3, 2, 1], [2, 3, 1]):
        assert not has_valley(np.array(limits))
