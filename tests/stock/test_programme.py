"""The order: against quantiles, the newsvendor, and brute force."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.people import people_from
from sizing.stock import Served, Use
from sizing.stock.budget import fewest_waiting, greedy
from sizing.stock.cheapest import (
    adapted,
    exchanged,
    held_on,
    least_cost,
    mended,
    pared,
    set_by_set,
)
from sizing.stock.days import draw_days, group_from
from sizing.stock.programme import days_allowed, programme_from

from .cases import offer_of, programme_of


def one_size_days(use, *, count, number="fixed", days=20_000, seed=3):
    people = people_from(pd.DataFrame({"stature_cm": [110.0]}))
    offer = offer_of([100.0])
    group = group_from(Served(people, count, number=number), offer)
    drawn = draw_days([group], use, sizes=1, days=days, seed=(seed, 0))
    return programme_from(offer, drawn, use.spares), drawn


def test_one_size_from_a_pool_is_the_binomial_quantile():
    programme, _ = one_size_days(Use("shared", at_once=0.3), count=40)
    order = least_cost(programme, 0.95)
    assert order.packs.tolist() == [stats.binom.ppf(0.95, 40, 0.3)] and order.gap == 0


def test_one_size_for_a_varying_number_is_the_poisson_quantile():
    programme, _ = one_size_days(Use(), count=12, number="poisson")
    assert least_cost(programme, 0.9).packs.tolist() == [stats.poisson.ppf(0.9, 12)]


@pytest.mark.parametrize("out", [(1, 7), (1, 3)])
def test_slings_out_of_use_are_the_binomial_of_the_slings_held(out):
    use = Use(out={"laundry": out})
    programme, _ = one_size_days(use, count=20)
    share = out[0] / out[1]
    held = np.arange(20, 60)
    enough = stats.binom.sf(19, held, 1 - share) >= 0.95
    assert least_cost(programme, 0.95).packs[0] == held[enough][0]


def test_free_slings_follow_the_binomial_and_grow_by_no_more_than_one():
    _, days = one_size_days(Use(out={"repair": (1, 5)}), count=5, days=20_000)
    free = [days.free(np.array([n]))[:, 0] for n in (10, 11)]
    assert set(np.unique(free[1] - free[0])) <= {0, 1}
    share = np.bincount(free[0], minlength=11) / 20_000
    assert np.abs(share - stats.binom.pmf(np.arange(11), 10, 0.8)).max() < 0.01


def test_newsvendor_ratio_on_a_published_worked_example():
    # Cachon and Terwiesch, Matching Supply with Demand, 3rd ed., ch. 12, Q12.1 d:
    # demand normal, mean 200, SD 80, underage 8, overage 4: z = 0.44 by table,
    # order 235.2.
    grid = (np.arange(4001) + 0.5) / 4001
    demand = np.rint(stats.norm.ppf(grid, 200, 80)).clip(0).astype(int)
    programme = programme_of(demand[:, None], [1], [4.0])
    order = least_cost(programme, 8 / (8 + 4))
    assert order.packs[0] == np.rint(stats.norm.ppf(2 / 3, 200, 80))
    assert abs(order.packs[0] - 235.2) < 1.3  # z rounded to two places, whole slings


def brute(programme, allowed, most):
    best = None
    for packs in itertools.product(*(range(m + 1) for m in most)):
        packs = np.array(packs)
        if programme.days_short(packs) <= allowed:
            cost = programme.cost(packs)
            best = cost if best is None else min(best, cost)
    return best


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from([0.7, 0.9, 0.95]),
    st.integers(0, 1),
    st.booleans(),
)
def test_two_overlapping_sizes_against_brute_force(seed, target, spares, packs):
    rng = np.random.default_rng(seed)
    counts = rng.poisson([2.0, 1.5, 1.0], (40, 3))
    programme = programme_of(
        counts,
        [1, 2, 3],
        rng.integers(50, 150, 2).astype(float),
        spares=spares,
        owned=rng.integers(0, 3, 2),
        pack=rng.integers(1, 4, 2) if packs else [1, 1],
    )
    order = least_cost(programme, target)
    expected = brute(programme, days_allowed(target, 40), programme.most_packs)
    assert order.cost == pytest.approx(expected) and order.gap == 0
    assert programme.days_short(order.packs) <= days_allowed(target, 40)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 1))
def test_best_order_under_a_budget_against_brute_force(seed, spares):
    rng = np.random.default_rng(seed)
    counts = rng.poisson([2.0, 1.0, 1.5, 1.0], (30, 4))
    prices = rng.integers(50, 150, 3).astype(float)
    programme = programme_of(counts, [1, 3, 6, 4], prices, spares=spares)
    budget = float(rng.integers(100, 900))
    order = fewest_waiting(programme, budget)
    waiting = [
        programme.short(np.array(packs)).waiting.mean()
        for packs in itertools.product(*(range(m + 1) for m in programme.most_packs))
        if programme.cost(np.array(packs)) <= budget
    ]
    assert order.cost <= budget + 1e-6
    found = programme.short(order.packs).waiting.mean()
    assert found == pytest.approx(min(waiting), abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_more_budget_never_serves_fewer(seed):
    rng = np.random.default_rng(seed)
    counts = rng.poisson([2.0, 1.0, 1.5, 1.0], (30, 4))
    programme = programme_of(counts, [1, 3, 6, 4], [100.0, 120.0, 90.0])
    found = [
        programme.short(fewest_waiting(programme, b).packs).waiting.mean()
        for b in (0.0, 200.0, 350.0, 500.0, 900.0)
    ]
    assert all(a >= b - 1e-9 for a, b in itertools.pairwise(found))
    assert found[0] == counts.sum(axis=1).mean()


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 2))
def test_owning_stock_never_raises_the_order(seed, size):
    rng = np.random.default_rng(seed)
    counts = rng.poisson([2.0, 1.0, 1.5, 1.0], (40, 4))
    owned = rng.integers(0, 3, 3)
    costs = []
    for more in (0, 1, 3):
        held = owned + more * np.eye(3, dtype=int)[size]
        programme = programme_of(counts, [1, 3, 6, 4], [100.0, 120.0, 90.0], owned=held)
        costs.append(least_cost(programme, 0.9).cost)
    assert costs[0] >= costs[1] >= costs[2]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 40), min_size=5, max_size=30), st.integers(0, 4))
def test_what_must_be_held_is_exceeded_on_the_days_allowed(needs, allowed):
    held = held_on(np.array(needs), allowed)
    assert sum(need > held for need in needs) <= allowed
    assert held == 0 or sum(need > held - 1 for need in needs) > allowed


@pytest.mark.parametrize("allowed", [0, 1, 3])
def test_packs_are_added_as_far_as_needed_and_taken_off_as_far_as_they_may_be(allowed):
    """One size, so what is needed is what all but so many days need."""
    counts = np.array([9, 7, 7, 4, 2, 1, 0, 0])
    programme = programme_of(counts[:, None], [1], [10.0])
    right = [counts[allowed]]
    most = programme.most_packs
    assert mended(programme, np.array([0]), most, allowed).tolist() == right
    assert pared(programme, most, allowed).tolist() == right
    assert mended(programme, most, most, allowed).tolist() == most.tolist()
    idle = programme_of(0 * counts[:, None], [1], [10.0])
    assert pared(idle, np.array([3]), allowed).tolist() == [0]
    # What is owned already is no pack that could be taken off.
    owned = programme_of(counts[:, None], [1], [10.0], owned=[12])
    assert pared(owned, np.array([2]), allowed).tolist() == [0]
    assert pared(owned, np.array([0]), allowed).tolist() == [0]


def test_packs_are_exchanged_for_cheaper_ones_that_serve_as_well():
    """All fit both sizes: three slings of the cheaper one are enough."""
    programme = programme_of([[3], [3], [1]], [3], [50.0, 100.0])
    most = programme.most_packs
    for packs in ([1, 2], [0, 3]):
        found = exchanged(programme, np.array(packs), most, 0)
        assert found.tolist() == [3, 0]
    # Where the cheaper one fits nobody who waits it is not taken.
    apart = programme_of([[3, 1]], [2, 1], [50.0, 100.0])
    assert exchanged(apart, np.array([1, 3]), most, 0).tolist() == [1, 3]


def test_the_greedy_way_buys_what_helps_most_for_its_money():
    """Two wait for the first size on each day and one for the second."""
    programme = programme_of([[2, 1], [2, 1]], [1, 2], [10.0, 10.0])
    way = greedy(programme, 30.0, programme.most_packs, 0.02)
    assert [packs.tolist() for packs in way][-1] == [2, 1]
    assert [packs.sum() for packs in way] == [0, 1, 2, 3]
    # Dearer than it helps the second comes last, and past the budget never.
    dear = programme_of([[2, 1], [2, 1]], [1, 2], [10.0, 25.0])
    for budget, last in ((20.0, [2, 0]), (44.0, [2, 0]), (45.0, [2, 1])):
        way = greedy(dear, budget, dear.most_packs, 0.02)
        assert way[-1].tolist() == last


@pytest.mark.parametrize(
    ("columns", "spares", "most"),
    [
        ({}, 0, [5]),
        ({}, 2, [7]),
        ({"owned": [2]}, 0, [3]),
        ({"owned": [6]}, 0, [0]),
        ({"pack": [2]}, 0, [3]),
        ({"most": [3]}, 0, [3]),
        ({"most": [2], "owned": [2]}, 0, [0]),
        ({"most": [1], "owned": [2]}, 0, [0]),
        ({"most": [5], "owned": [2], "pack": [2]}, 0, [1]),
    ],
)
def test_no_more_packs_than_help_or_may_be_had(columns, spares, most):
    """Five at most need the size on one day; packs are not opened."""
    programme = programme_of([[3], [5]], [1], [10.0], spares=spares, **columns)
    assert programme.most_packs.tolist() == most
    held = programme.stock(programme.most_packs)[0]
    assert held <= max(programme.offer.column("most")[0], programme.owned[0])


def test_a_size_that_nobody_needs_is_not_bought():
    programme = programme_of([[2]], [1], [10.0, 10.0], spares=1)
    assert programme.most_packs.tolist() == [3, 0]
    assert programme.working(np.array([3, 0])).tolist() == [2, 0]


@pytest.mark.parametrize(
    ("prices", "pack", "step"),
    [
        ([10.0, 25.0], [1, 1], 5.0),
        ([10.0, 25.0], [1, 2], 10.0),
        ([0.25, 0.75], [1, 1], 0.25),
        ([0.005, 0.75], [1, 1], 0.0075),
    ],
)
def test_orders_of_different_cost_differ_by_the_step_of_the_prices(prices, pack, step):
    """Less a quarter of a penny, which is not told apart; half pence have no step."""
    programme = programme_of([[1, 1]], [1, 2], prices, pack=pack)
    assert programme.price_step == pytest.approx(max(step - 0.0025, 0.005), abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_set_by_set_is_short_in_no_set_on_too_many_days_and_costs_no_more(seed):
    """Against every order: the cheapest that holds what each set of sizes must."""
    rng = np.random.default_rng(seed)
    counts = rng.poisson([1.5, 1.0, 1.0], (30, 3))
    # In whatever money: the last two in one of which little is much.
    prices = rng.integers(50, 150, 3) / (1 if seed < 2 else 1000)
    programme = programme_of(counts, [1, 2, 4], prices)
    needs = programme.needs
    levels = {int(mask): programme.within(int(mask)) for mask in needs.masks}
    most = programme.most_packs
    packs, bound = set_by_set(programme, levels, most, 3, lambda: None)

    def holds(order):
        held = {
            chosen: order[[bool(chosen >> j & 1) for j in range(3)]].sum()
            for chosen in range(1, 8)
        }
        return all((programme.within(s) > n).sum() <= 3 for s, n in held.items())

    every = itertools.product(*(range(m + 1) for m in most))
    best = min(
        programme.cost(np.array(order)) for order in every if holds(np.array(order))
    )
    assert holds(packs)
    assert programme.cost(packs) == pytest.approx(best) == pytest.approx(bound)
    assert bound <= least_cost(programme, 0.9).cost + 1e-9


def test_a_search_ends_when_it_finds_nothing_new():
    """Long before its rounds are used up, which would be 40 and more steps."""
    steps = []
    programme = programme_of([[2], [3], [1]], [1], [10.0])
    order = fewest_waiting(programme, 20.0, tick=lambda: steps.append(1))
    assert order.packs.tolist() == [2]
    assert 0 < len(steps) < 15


def test_a_target_no_order_can_meet_has_none_and_an_adapted_order_meets_its_own():
    counts = np.full((50, 1), 3)
    assert least_cost(programme_of(counts, [1], [10.0], most=[2]), 0.5) is None
    rng = np.random.default_rng(1)
    programme = programme_of(
        rng.poisson([4, 2, 3], (200, 3)), [1, 3, 2], [100.0, 120.0]
    )
    first = least_cost(programme, 0.9)
    for target in (0.8, 0.99):
        allowed = days_allowed(target, 200)
        packs = adapted(programme, first.packs, allowed)
        assert programme.days_short(packs) <= allowed
        best = least_cost(programme, target).cost
        assert best - 1e-9 <= programme.cost(packs) <= 1.05 * best


def test_who_holds_the_most_there_may_be_buys_no_more():
    """Ten wait each day and ten would help; nine are owned and five the most."""
    programme = programme_of([[10], [10]], [1], [10.0], owned=[9], most=[5])
    assert programme.most_packs.tolist() == [0]
    room = programme_of([[10], [10]], [1], [10.0], owned=[3], most=[5])
    assert room.most_packs.tolist() == [2]
