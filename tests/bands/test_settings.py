"""Constraints and goals of a fit, against brute force on small grids."""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from sizing.bands import fit_bands
from sizing.charts import SizeChart
from sizing.coverage import estimate_coverage
from sizing.errors import SizingError
from sizing.measures import to_tenths

from .oracle import (
    best_by_brute_force,
    chart_share,
    every_chain,
    low_edges,
    make_people,
)

HIP, SIT = "hip_circumference_cm", "sitting_height_cm"
WIDTHS = {HIP: 1.5, SIT: 1.0}
WIDE = np.array([15, 10])


def people_of(seed, n=14, span=4):
    rng = np.random.default_rng(seed)
    return make_people(
        80 + rng.integers(0, span * 10 + 1, (n, 2)) / 10, rng.integers(1, 5, n)
    )


def fit(people, **change):
    settings = {"widths": WIDTHS, "sizes": 2, "splits": 0, "step_cm": 0.5, **change}
    return fit_bands(people, **settings)


@pytest.mark.parametrize("seed", range(3))
def test_least_step_against_every_chart(seed):
    people = people_of(seed)
    found = fit(people, least_step={HIP: 1.0, SIT: 0.5})

    def allowed(low, high):
        return (np.diff(low, axis=0) >= (10, 5)).all()

    best = best_by_brute_force(people, WIDTHS, 2, 5, allowed=allowed, room=10)
    assert found.share == pytest.approx(best, abs=1e-12)
    low = np.column_stack([found.chart.edges(m)[0] for m in WIDTHS])
    assert allowed(low, None)


@pytest.mark.parametrize("seed", range(3))
def test_least_overlap_against_every_chart(seed):
    people = people_of(seed)
    found = fit(people, least_overlap={HIP: 0.5, SIT: 0.5}, sizes=2)

    def allowed(low, high):
        return (high[:-1] - low[1:] >= 5).all()

    best = best_by_brute_force(people, WIDTHS, 2, 5, allowed=allowed)
    assert found.share == pytest.approx(best, abs=1e-12)


def test_at_the_finest_grid_differing_limits_are_proved_too():
    people = people_of(5)
    frame = people.frame.assign(body_mass_kg=np.arange(14) * 5.0 + 70)
    people = replace(people, frame=frame)
    owned = {"size": ["ours"], "group": "adult", "load_limit_kg": [200.0]}
    owned |= {f"{HIP}_low": [81.3], f"{HIP}_high": [82.8]}
    owned |= {f"{SIT}_low": [81.1], f"{SIT}_high": [82.1]}
    chart = SizeChart(pd.DataFrame(owned))
    found = fit(people, sizes=3, fixed=chart, step_cm=0.1, load_limit_kg=100.0)
    assert 0 < found.share < 1
    assert found.gap == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("limit", "new"), [(160.0, None), (95.0, None), (160.0, 95.0)])
@pytest.mark.parametrize("seed", range(4))
def test_sizes_owned_against_every_chart(seed, limit, new):
    rng = np.random.default_rng(seed)
    people = people_of(seed)
    mass = rng.integers(60, 130, len(people.frame)).astype(float)
    people = replace(people, frame=people.frame.assign(body_mass_kg=mass))
    owned = SizeChart(
        pd.DataFrame(
            {
                "size": ["ours"],
                "group": "adult",
                "load_limit_kg": [limit],
                f"{HIP}_low": [81.3],
                f"{HIP}_high": [82.4],
                f"{SIT}_low": [81.1],
                f"{SIT}_high": [82.6],
            }
        )
    )
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
    boxes = [
        (np.array(b), np.array(b) + WIDE)
        for b in product(*low_edges(people, WIDTHS, 5))
    ]
    x = np.column_stack([to_tenths(people.frame[m]) for m in WIDTHS])
    weight = people.weight.to_numpy()

    best = 0.0
    for first, second in every_chain(boxes, 2):
        for at in range(3):
            a, b = (
                np.insert(first, at, low, axis=0),
                np.insert(second, at, high, axis=0),
            )
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


def test_a_fit_does_not_count_on_a_size_that_may_not_lift():
    """The owned size fits all by measure; those over its limit need another."""
    people = make_people(
        np.array([[100.0]] * 6 + [[120.0]] * 3), body_mass_kg=[120.0] * 6 + [70.0] * 3
    )
    owned = SizeChart(
        pd.DataFrame(
            {
                "size": ["ours"],
                "load_limit_kg": [100.0],
                f"{HIP}_low": [98.0],
                f"{HIP}_high": [103.0],
            }
        )
    )
    one = {"widths": {HIP: 5.0}, "sizes": 2, "fixed": owned}
    found = fit(people, **one)
    assert found.share == pytest.approx(6 / 9)
    free = fit(people, **{**one, "fixed": SizeChart(owned.frame.iloc[:, [0, 2, 3]])})
    assert free.share == pytest.approx(1.0)
    with pytest.raises(SizingError, match="weight"):
        fit(people_of(0), sizes=2, load_limit_kg=100)


@pytest.mark.parametrize("seed", range(3))
def test_widths_per_size_against_every_chart(seed):
    people = people_of(seed, span=3)
    widths = {HIP: [0.5, 1.5], SIT: [1.2, 0.7]}
    found = fit(people, widths=widths)
    x = np.column_stack([to_tenths(people.frame[m]) for m in WIDTHS])
    weight = people.weight.to_numpy()
    lows = [np.array(b) for b in product(*low_edges(people, WIDTHS, 5, room=15))]
    first, second = np.array([5, 12]), np.array([15, 7])
    best = 0.0
    for a, b in product(lows, lows):
        low, high = np.array([a, b]), np.array([a + first, b + second])
        if (low[1] < low[0]).any() or (high[1] < high[0]).any():
            continue
        inside = ((x[:, None] >= low) & (x[:, None] <= high)).all(axis=2).any(axis=1)
        best = max(best, weight[inside].sum() / weight.sum())
    assert found.share == pytest.approx(best, abs=1e-12)


@pytest.mark.parametrize(
    ("rounding", "unit"), [("half", 5), ("whole", 10), ("inch", 25.4)]
)
def test_edges_are_rounded(rounding, unit):
    people = people_of(1, n=30, span=20)
    found = fit(people, widths={HIP: 7.0, SIT: 6.3}, rounding=rounding, sizes=3)
    for measure in WIDTHS:
        for edges in found.chart.edges(measure):
            whole = np.round(edges / unit)
            assert (np.abs(edges - whole * unit) <= 0.5).all()
    assert found.upper_bound >= found.share
    assert found.share == pytest.approx(chart_share(found.chart, people), abs=1e-12)


@pytest.mark.parametrize("seed", range(2))
def test_judged_against_every_chart(seed):
    people = people_of(seed, n=10, span=3)
    sd = np.array([6.0, 4.0])
    found = fit(people, objective="judged", errors={HIP: 0.6, SIT: 0.4}, step_cm=1)
    x = np.column_stack([to_tenths(people.frame[m]) for m in WIDTHS])
    weight = people.weight.to_numpy() / people.weight.sum()
    # Every reading that can happen, with its chance.
    read = np.arange(x.min() - 60, x.max() + 61)
    chance = [
        norm.cdf((read + 0.5 - x[:, [d]]) / sd[d])
        - norm.cdf((read - 0.5 - x[:, [d]]) / sd[d])
        for d in range(2)
    ]

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


@pytest.mark.parametrize("costs", [(0.2, 0.7), (0.9, 0.4), (0.5, 0.5)])
def test_loss_against_every_chart(costs):
    people = people_of(3, n=12, span=4)
    large, small = costs
    found = fit(people, objective="loss", near=0.4, too_large=large, too_small=small)
    x = np.column_stack([to_tenths(people.frame[m]) for m in WIDTHS])[:, None]
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

    assert found.value == pytest.approx(
        best_by_brute_force(people, WIDTHS, 2, 5, value=value), abs=1e-9
    )


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
