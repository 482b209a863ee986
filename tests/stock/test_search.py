"""The search for an order, step by step, against plain loops over every order."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.stock import service
from sizing.stock.budget import (
    equal_numbers,
    fewest_waiting,
    in_proportion,
    least_for_needs,
)
from sizing.stock.cheapest import adapted, bettered, least_cost
from sizing.stock.programme import gap_to, part_allowed

from .cases import orders, programme_of, some_programme, unit

SEEDS = st.integers(0, 2**32 - 1)


def waiting(programme, packs):
    return programme.short(np.asarray(packs)).waiting


def cheapest(programme, allowed):
    """Return the least cost of an order that leaves few enough days short."""
    every = orders(programme.most_packs)
    costs = every @ programme.pack_price
    for place in np.argsort(costs, kind="stable"):
        if programme.missed_by(every[place]) <= allowed:
            return costs[place]
    return None


def test_a_gap_is_relative_and_nothing_within_a_thousandth():
    assert gap_to(100.0, 80.0) == pytest.approx(0.2)
    assert gap_to(100.0, 99.9995) == 0
    assert gap_to(100.0, 99.99) == pytest.approx(1e-4)
    assert [part_allowed(t, 200) for t in (0.95, 0.9, 0.995, 0.999)] == [10, 20, 1, 0]


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.sampled_from([0.7, 0.9]), st.integers(0, 1), st.booleans())
def test_three_sizes_against_every_order(seed, target, spares, packs):
    columns = {"pack": [2, 1, 2]} if packs else {"owned": [1, 0, 2]}
    programme = some_programme(seed, spares=spares, **columns)
    allowed = part_allowed(target, 30)
    order = least_cost(programme, target)
    assert order.cost == pytest.approx(cheapest(programme, allowed))
    assert order.cost == programme.cost(order.packs)
    assert order.gap == 0 and order.bound <= order.cost + 1e-3
    assert programme.missed_by(order.packs) <= allowed


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.sampled_from([0, 1, 3, 20]), st.booleans())
def test_little_work_gives_an_order_that_does_and_a_bound_that_holds(
    seed, rounds, large
):
    with pytest.MonkeyPatch.context() as patch:
        # More linked sizes than these are taken for many.
        patch.setattr(service, "MOST_LISTED", 2 if large else 12)
        programme = some_programme(seed)
        assert programme.large == large
        order = least_cost(programme, 0.9, rounds=rounds)
        best = cheapest(programme, 3)
        assert programme.missed_by(order.packs) <= 3
    assert order.bound <= best + 1e-6 <= order.cost + 2e-6
    assert order.gap == gap_to(order.cost, order.bound)
    # What was mended and pared is no far way off, whatever the rounds.
    assert order.cost <= 1.3 * best


def test_an_order_bettered_is_hardly_ever_dearer_than_the_best():
    """From nothing, against every order; a plan begins from the programme's order."""
    dearer = []
    for seed in range(24):
        late, pack = seed % 5, [2, 1, 1] if seed % 2 else [1] * 3
        programme = some_programme(seed, pack=pack)
        found = bettered(programme, np.zeros(3, dtype=int), late)
        best = cheapest(programme, late)
        quick = adapted(programme, np.zeros(3, dtype=int), late)
        assert programme.missed_by(quick) <= late
        assert programme.cost(quick) >= programme.cost(found) - 1e-9
        assert programme.missed_by(found) <= late
        dearer.append(programme.cost(found) / best - 1)
        few = some_programme(seed, most=[0, 0, 0])
        none = bettered(few, np.zeros(3, dtype=int), late)
        assert (none is None) == (cheapest(few, late) is None)
    assert min(dearer) >= -1e-9 and np.mean(dearer) < 0.005
    assert np.mean(np.array(dearer) > 0.015) <= 0.05


@settings(max_examples=12, deadline=None)
@given(SEEDS, st.sampled_from([0.8, 0.95]), st.integers(0, 1), st.booleans())
def test_a_share_of_needs_against_every_order(seed, target, spares, packs):
    columns = {"pack": [2, 1, 2]} if packs else {"owned": [1, 0, 2]}
    days = some_programme(seed, spares=spares, **columns)
    programme = replace(days, aim="needs")
    allowed = programme.allowed(target)
    every = orders(programme.most_packs)
    enough = [waiting(programme, one).sum() <= allowed for one in every]
    best = (every @ programme.pack_price)[enough].min()
    order = least_for_needs(programme, target)
    assert waiting(programme, order.packs).sum() <= allowed
    assert order.bound <= best + 1e-3 and best <= order.cost + 1e-6
    # The solver stops at half a per cent; small orders go in steps of whole slings.
    assert order.cost <= best / (1 - order.gap) + 1e-2 and order.cost <= 1.1 * best
    none = replace(some_programme(seed, most=[0, 0, 0]), aim="needs")
    if none.missed_by(none.most_packs) > none.allowed(0.9):
        assert least_for_needs(none, 0.9) is None


def test_a_great_order_is_bettered_in_few_looks():
    """A hundred thousand slings: the best by the quantile of one size's need."""
    need = np.random.default_rng(1).poisson(1e5, (500, 1))
    programme = programme_of(need, [1], [10.0])
    found = bettered(programme, np.array([0]), 25)
    right = np.sort(need[:, 0])[::-1][25]
    assert right <= found[0] <= right * 1.001


# Money spent well, and the level asked of the planning days, by plain loops


def mean_waiting(programme, packs):
    return programme.short(np.asarray(packs)).waiting.mean()


def within_budget(programme, budget):
    every = orders(programme.most_packs)
    return every[every @ programme.pack_price <= budget]


@settings(max_examples=15, deadline=None)
@given(SEEDS, st.integers(0, 700))
def test_the_gap_of_an_order_under_a_budget_is_what_its_bound_leaves(seed, budget):
    programme = some_programme(seed)
    order = fewest_waiting(programme, float(budget))
    every = within_budget(programme, budget)
    means = np.array([mean_waiting(programme, packs) for packs in every])
    found, half = mean_waiting(programme, order.packs), 0.5 / 30
    assert means.min() <= found <= means.min() + half + 0.005 * found
    assert order.bound <= means.min() + half
    assert order.gap == gap_to(found, order.bound + half)
    assert order.cost == programme.cost(order.packs)
    # Nothing of it can be left out, or exchanged for what is cheaper, for nothing.
    for given_up in np.flatnonzero(order.packs):
        fewer = order.packs - unit(given_up, 3)
        assert mean_waiting(programme, fewer) > found
        for taken in np.flatnonzero(fewer < programme.most_packs):
            other = fewer + unit(taken, 3)
            if programme.cost(other) < order.cost:
                assert mean_waiting(programme, other) > found


def test_no_money_buys_what_is_free():
    programme = programme_of([[2, 1]], [1, 2], [0.0, 10.0])
    assert fewest_waiting(programme, 0.0).packs.tolist() == [2, 0]
    assert least_cost(programme, 0.9).packs.tolist() == [2, 1]


def plainly(prices, room, money, share):
    """Return the most in proportion that the money buys, found by counting up."""
    scale, best = 0.0, np.zeros(len(prices), dtype=int)
    for scale in np.arange(0, 40, 0.001):
        packs = np.minimum(np.floor(scale * share + 1e-9), room).astype(int)
        if packs @ prices > money:
            break
        best = packs
    left = money - best @ prices
    for j in np.argsort(prices, kind="stable"):
        if share[j] > 0 and best[j] < room[j] and prices[j] <= left:
            best, left = best + unit(j, len(prices)), left - prices[j]
    return best


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.integers(0, 1500))
def test_last_years_use_is_bought_again_in_proportion(seed, money):
    rng = np.random.default_rng(seed)
    prices = rng.integers(50, 150, 3).astype(float)
    used = rng.integers(0, 5, 3).astype(float)
    most = rng.integers(2, 9, 3)
    programme = programme_of([[9, 9, 9]], [1, 2, 4], prices, most=most)
    found = in_proportion(programme, float(money), used)
    assert found.tolist() == plainly(prices, most, money, used).tolist()
    even = equal_numbers(programme, float(money))
    assert even.tolist() == plainly(prices, most, money, np.ones(3)).tolist()


def test_rivals_know_packs_what_is_owned_and_sizes_not_used():
    columns = {"pack": [2, 1, 1], "owned": [0, 1, 0], "most": [9, 3, 1e6]}
    programme = programme_of([[9, 9, 9]], [1, 2, 4], [10.0, 20.0, 30.0], **columns)
    # Packs of two at 20; of the second two more may be had.
    rich, rest = equal_numbers(programme, 1000.0), np.array([np.nan, 0, 1])
    assert rich.tolist()[:2] == [4, 2] and 970 < programme.cost(rich) <= 1000
    assert in_proportion(programme, 100.0, rest).tolist() == [0, 0, 3]
    assert equal_numbers(programme, 0.0).tolist() == [0, 0, 0]
    # Four of each: two packs, and as many as may be had of the others.
    assert equal_numbers(programme, 200.0).tolist() == [2, 2, 4]
