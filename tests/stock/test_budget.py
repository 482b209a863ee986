"""Money spent well, and the level asked of the planning days, by plain loops."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.stock.budget import (
    _Search,
    equal_numbers,
    fewest_waiting,
    greedy,
    in_proportion,
)
from sizing.stock.programme import gap_to

from .cases import orders, programme_of, some_programme, unit

SEEDS = st.integers(0, 2**32 - 1)


def mean_waiting(programme, packs):
    return programme.short(np.asarray(packs)).waiting.mean()


def within_budget(programme, budget):
    every = orders(programme.most_packs)
    return every[every @ programme.pack_price <= budget]


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.integers(0, 700))
def test_the_greedy_way_buys_what_helps_on_most_days_for_its_money(seed, budget):
    programme = some_programme(seed)
    most, price = programme.most_packs, programme.pack_price
    packs, left = np.zeros(3, dtype=int), float(budget)
    way = [packs.tolist()]
    while True:
        now = programme.short(packs).waiting
        helped = [
            (programme.short(packs + unit(j, 3)).waiting < now).sum() / price[j]
            if packs[j] < most[j] and price[j] <= left + 1e-6
            else 0.0
            for j in range(3)
        ]
        if not any(helped):
            break
        chosen = int(np.argmax(helped))
        packs, left = packs + unit(chosen, 3), left - price[chosen]
        way.append(packs.tolist())
    found = greedy(programme, float(budget), most, 0.0)
    assert [packs.tolist() for packs in found] == way


@settings(max_examples=15, deadline=None)
@given(SEEDS, st.integers(100, 700), st.integers(0, 1))
def test_what_is_known_of_the_orders_never_passes_the_best(seed, budget, spares):
    """However few were looked at; with all of them the best is promised."""
    programme = some_programme(seed, spares=spares)
    search = _Search(programme, float(budget))
    every = within_budget(programme, budget)
    best = min(mean_waiting(programme, packs) for packs in every)
    shuffled = np.random.default_rng(seed).permutation(every)
    # Nothing bought is looked at from the start.
    known = {(0, 0, 0)}
    for packs in shuffled[:3]:
        assert search.look_at(packs) == (tuple(packs.tolist()) not in known)
        known.add(tuple(packs.tolist()))
    assert programme.cost(search.promised()) <= budget + 1e-3
    assert search.bound <= best + search.half_day
    for packs in shuffled:
        search.look_at(packs)
    assert search.fewest == mean_waiting(programme, search.best)
    assert best <= search.fewest <= best + search.half_day
    answer = search.promised()
    near = search.half_day + 0.005 * best
    assert mean_waiting(programme, answer) <= best + near
    assert best - near <= search.bound <= best + search.half_day
    assert search.settled


@settings(max_examples=15, deadline=None)
@given(SEEDS, st.integers(200, 700))
def test_exchanges_end_where_no_pack_for_another_serves_more(seed, budget):
    programme = some_programme(seed)
    search = _Search(programme, float(budget))
    every = within_budget(programme, budget)
    search.look_at(every[np.random.default_rng(seed).integers(len(every))])
    before, ticks = search.fewest, []
    search.exchange(lambda: ticks.append(1))
    assert search.fewest <= before
    assert search.fewest == mean_waiting(programme, search.best)
    assert len(ticks) >= (search.best > 0).sum()
    for given_up in np.flatnonzero(search.best):
        for taken in range(3):
            other = search.best - unit(given_up, 3) + unit(taken, 3)
            if programme.cost(other) <= budget and (other <= search.most).all():
                fewer = mean_waiting(programme, other) < search.fewest - search.half_day
                assert not fewer


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
    programme = programme_of(
        [[9, 9, 9]],
        [1, 2, 4],
        [10.0, 20.0, 30.0],
        pack=[2, 1, 1],
        owned=[0, 1, 0],
        most=[9, 3, 1e6],
    )
    # Packs of two at 20; of the second two more may be had.
    assert equal_numbers(programme, 1000.0).tolist()[:2] == [4, 2]
    spent = programme.cost(equal_numbers(programme, 1000.0))
    assert 970 < spent <= 1000
    assert in_proportion(programme, 100.0, np.array([np.nan, 0, 1])).tolist() == [
        0,
        0,
        3,
    ]
    assert equal_numbers(programme, 0.0).tolist() == [0, 0, 0]
    # Four of each: two packs, and as many as may be had of the others.
    assert equal_numbers(programme, 200.0).tolist() == [2, 2, 4]
