"""Money spent: so that fewest wait, in equal numbers, or as last year."""

import math

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.stock import tables
from sizing.stock.cheapest import Tick, adapted
from sizing.stock.days import Floats
from sizing.stock.programme import SMALL, Model, Order, Programme, gap_to
from sizing.stock.service import Ints, sizes_in

#: Part of the money left that is spent at once on what helps most.
_BULK, _BULK_LARGE = 0.02, 0.1
#: Orders on the way there whose tangents are taken, and rounds for a share of needs.
_WAY = 40
#: Rounds, and branches in each, where few and where many sizes are linked; after these
#: the best order so far is taken.
_ROUNDS, _NODES = (4, 3), (300, 40)
#: Relative gap at which the search ends.
_GAP = 5e-3


def fewest_waiting(
    programme: Programme, budget: float, *, tick: Tick = lambda: None
) -> Order:
    """Return the order under a budget that leaves fewest waiting on average.

    ``mean_k max_S (D_k(S) - x(S))`` is convex in the stock x and so the maximum of its
    tangents (Kelley's method): a programme that knows those of the orders looked at
    proposes the next, until one does what was promised.
    """
    search = _Search(programme, budget)
    bulk = _BULK_LARGE if programme.large else _BULK
    for packs in greedy(programme, budget, search.most, bulk)[::-1][:_WAY]:
        search.look_at(packs)
    for _ in range(_ROUNDS[programme.large]):
        search.exchange(tick)
        if search.settled:
            break
        answer = search.promised()
        if answer is None or not search.look_at(answer):
            break
    else:
        search.exchange(tick)
    gap = gap_to(search.fewest, search.bound + search.half_day)
    return Order(search.best, programme.cost(search.best), search.bound, gap)


def least_for_needs(
    programme: Programme, target: float, *, tick: Tick = lambda: None
) -> Order | None:
    """As ``fewest_waiting``: what may wait is the limit, the cost the goal."""
    allowed = programme.allowed(target)
    none = np.zeros_like(programme.most_packs)
    best = adapted(programme, none, allowed, tick)
    if best is None:
        return None
    search = _Search(programme, programme.cost(best))
    search.model.row({search.waiting: -1.0}, -allowed / programme.days)
    prices, bound = search.model.prices(), 0.0
    found: Ints | None = best
    for _ in range(_WAY):
        tick()
        if found is None or not search.look_at(found):
            break
        near = adapted(programme, found, allowed, tick)
        if near is not None and programme.cost(near) < programme.cost(best):
            best = near
        nodes = _NODES[programme.large]
        found, below = search.model.solve(prices, nodes=nodes, gap=_GAP / 3)
        bound = max(bound, min(below, programme.cost(best)))
        if gap_to(programme.cost(best), bound) <= _GAP:
            break
    cost = programme.cost(best)
    return Order(best, cost, bound, gap_to(cost, bound))


def spent_better(
    programme: Programme, packs: Ints, budget: float, *, tick: Tick = lambda: None
) -> Ints:
    """Return the best order near one, on days that it was not made for."""
    search = _Search(programme, budget)
    search.look_at(np.minimum(packs, search.most))
    search.exchange(tick)
    return search.best


class _Search:
    def __init__(self, programme: Programme, budget: float) -> None:
        price = programme.pack_price
        self.programme, self.budget = programme, budget + SMALL
        affordable = np.where(
            price > 0, np.floor(self.budget / np.maximum(price, SMALL)), np.inf
        )
        self.most = np.minimum(programme.most_packs, affordable).astype(np.int64)
        self.model = Model(programme, self.most)
        self.waiting = self.model.variable(np.inf, whole=False)
        self.model.cost_below(self.budget)
        # Means over days differ by whole days; the price decides below half a day.
        self.half_day = 0.5 / programme.days
        tie = 0.4 * self.half_day / max(float(price @ self.most), 1.0)
        self.costs = {j: tie * float(c) for j, c in enumerate(price)}
        self.costs[self.waiting] = 1.0
        self.best = np.zeros_like(self.most)
        self.fewest, self.bound = math.inf, 0.0
        self._seen: set[tuple[int, ...]] = set()
        self.look_at(self.best)

    def look_at(self, packs: npt.ArrayLike) -> bool:
        """Judge an order and keep its tangent; False where it was known."""
        packs = np.asarray(packs).astype(np.int64)
        key = tuple(packs.tolist())
        if key in self._seen:
            return False
        self._seen.add(key)
        found = self.programme.short(packs, tight=False)
        mean = float(found.waiting.mean())
        cost = self.programme.cost(packs)
        fewer = mean < self.fewest - self.half_day
        alike = abs(mean - self.fewest) <= self.half_day
        if cost <= self.budget and (
            fewer or (alike and cost < self.programme.cost(self.best) - SMALL)
        ):
            self.best, self.fewest = packs, mean
        slope = sizes_in(found.sets, len(packs)).mean(axis=0)
        level = mean + float(slope @ self.programme.working(packs))
        row = {self.model.held(j): s for j, s in enumerate(slope.tolist()) if s}
        self.model.row({**row, self.waiting: 1.0}, level)
        return True

    def exchange(self, tick: Tick) -> None:
        """Exchange one pack of the best order for another while that helps or saves."""
        price, size = self.programme.pack_price, np.arange(len(self.most))
        better = True
        while better:
            better, start = False, self.best
            for given in np.flatnonzero(start):
                tick()
                fewer = start - (size == given)
                short = self.programme.short(fewer, tight=False)
                helped = sizes_in(short.sets, len(size)).sum(axis=0)
                left = self.budget - fewer @ price
                helped = np.where((price <= left) & (fewer < self.most), helped, -1)
                taken = int(np.lexsort((price, -helped))[0])
                before = self.best
                self.look_at(fewer + (size == taken) * (helped[taken] > 0))
                better |= self.best is not before

    def promised(self) -> Ints | None:
        """Return the order that the tangents favour, and raise the bound."""
        nodes = _NODES[self.programme.large]
        packs, below = self.model.solve(self.costs, nodes=nodes, gap=_GAP / 3)
        if packs is not None:
            self.bound = max(self.bound, below - 0.4 * self.half_day)
        return packs

    @property
    def settled(self) -> bool:
        return gap_to(self.fewest, self.bound + self.half_day) <= _GAP


def greedy(programme: Programme, budget: float, most: Ints, share: float) -> list[Ints]:
    """The orders on the way of buying what helps most per money; ``share`` at once."""
    packs, left = np.zeros_like(most), budget + SMALL
    price = programme.pack_price
    way = [packs]
    while True:
        sets = programme.short(packs, tight=False).sets
        helped = sizes_in(sets, len(packs)).sum(axis=0)
        helped = helped * ((packs < most) & (price <= left))
        if not helped.any():
            return way
        chosen = int((helped / np.maximum(price, SMALL)).argmax())
        # Far from the end several at once: what helps most does so for a while.
        room = most[chosen] - packs[chosen]
        bulk = 1 if price[chosen] <= 0 else int(share * left / price[chosen])
        bought = int(np.clip(bulk, 1, room))
        packs = packs.copy()
        packs[chosen] += bought
        left -= price[chosen] * bought
        way.append(packs)


def equal_numbers(programme: Programme, budget: float) -> Ints:
    return in_proportion(programme, budget, np.ones(len(programme.pack)))


def in_proportion(programme: Programme, budget: float, used: Floats) -> Ints:
    """Return packs in proportion to the slings used; what is left buys the cheapest."""
    price, pack, room = programme.pack_price, programme.pack, programme.room
    share = np.nan_to_num(np.asarray(used, dtype=float))
    low, high = 0.0, max(budget, 1.0) + 1.0
    wanted = share > 0

    def packs(scale: float) -> Floats:
        bought: Floats = np.minimum(np.floor(scale * share / pack), room)
        return bought

    # The largest scale that the budget pays for: costs grow with it.
    while (packs(high) @ price) <= budget and (packs(high) < room)[wanted].any():
        if high > 1e7:
            break
        high *= 2
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if packs(middle) @ price <= budget else (low, middle)
    bought = packs(low)
    for size in np.argsort(price, kind="stable"):
        affordable = (bought @ price) + price[size] <= budget + SMALL
        if wanted[size] and bought[size] < room[size] and affordable:
            bought[size] += 1
    return bought.astype(np.int64)


def comparison_of(
    programme: Programme, check: tables.Check, order: Order, money: float
) -> pd.DataFrame:
    used = programme.offer.column("last_year")
    spent = {"plan": order.packs, "equal numbers": equal_numbers(programme, money)}
    if np.nansum(used) > 0:
        spent["last year's use"] = in_proportion(programme, money, used)
    needed, rows, by_plan = check.needed, [], None
    for name, packs in spent.items():
        met = needed - check.shortage(programme.stock(packs)).waiting
        by_plan = met if by_plan is None else by_plan
        rows.append(
            {
                "strategy": name,
                **programme.bought(packs),
                "needs_met": tables.ratio_row(met, needed)["estimate"],
                "nobody_waits": float((met == needed).mean()),
                **tables.ratio_row(by_plan - met, needed),
            }
        )
    return pd.DataFrame(rows)
