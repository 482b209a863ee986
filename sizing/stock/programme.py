"""The order by integer programming over drawn days."""

import itertools
import math
import time
from collections import Counter
from dataclasses import dataclass

import numpy as np

from sizing.stock.days import Days, Floats
from sizing.stock.model import Model
from sizing.stock.offers import Offer
from sizing.stock.service import Ints, Needs, Shortage, within

#: Money and numbers of people are not told apart below this.
_SMALL = 1e-6
#: Rounds of cutting planes after which the best order so far is taken.
_ROUNDS = 400


@dataclass(frozen=True)
class Order:
    """An order and how near to the best it is known to be.

    Attributes
    ----------
    packs : ndarray of int, shape (sizes,)
    cost : float
    bound : float
        No order that does as much costs less (or, under a budget, serves more).
    gap : float
        Relative distance to the bound; 0 means the best is proved.
    """

    packs: Ints
    cost: float
    bound: float
    gap: float


@dataclass(frozen=True)
class Programme:
    """What the integer programmes share.

    Attributes
    ----------
    offer : Offer
    needs : Needs
        Slings needed; see ``draw_days``.
    spares : int
        Slings of each stocked size that serve nobody.
    """

    offer: Offer
    needs: Needs
    spares: int

    @property
    def days(self) -> int:
        """Number of planning days."""
        return len(self.needs.counts)

    @property
    def owned(self) -> Ints:
        """Slings of each size already there."""
        return self.offer.column("owned").astype(np.int64)

    @property
    def pack(self) -> Ints:
        """Slings in one pack of each size."""
        return self.offer.column("pack").astype(np.int64)

    @property
    def most_packs(self) -> Ints:
        """Packs of each size beyond which more cannot help or may not be had."""
        size = np.arange(len(self.offer.keys))
        fits = ((self.needs.masks[:, None] >> size) & 1).astype(np.int64)
        useful = (self.needs.counts @ fits).max(axis=0, initial=0)
        useful = np.where(useful > 0, useful + self.spares, 0)
        wanted = np.ceil(np.maximum(useful - self.owned, 0) / self.pack)
        room = np.floor(
            np.maximum(self.offer.column("most") - self.owned, 0) / self.pack
        )
        return np.minimum(wanted, room).astype(np.int64)

    def stock(self, packs: Ints) -> Ints:
        """Slings of each size once the packs have come."""
        return self.owned + packs * self.pack

    def working(self, packs: Ints) -> Ints:
        """The same without the spares kept back."""
        return np.maximum(self.stock(packs) - self.spares, 0)

    def cost(self, packs: Ints) -> float:
        """What the packs cost."""
        return float(packs @ self.pack_price)

    @property
    def pack_price(self) -> Floats:
        """Price of one pack of each size."""
        return np.asarray(self.offer.column("price") * self.offer.column("pack"))

    def short(self, packs: Ints) -> Shortage:
        """Return the shortage on each planning day."""
        return self.needs.shortage(self.working(packs))

    def days_short(self, packs: Ints) -> int:
        """Return on how many planning days somebody waits."""
        return int((self.short(packs).waiting > 0).sum())


def programme_from(offer: Offer, days: Days, spares: int) -> Programme:
    """Take what the integer programmes need from drawn days."""
    needs = Needs(days.slings[:, 1:], days.masks[1:], len(offer.keys))
    return Programme(offer, needs, spares)


def days_allowed(target: float, days: int) -> int:
    """Return on how many of so many days somebody may wait."""
    return math.floor((1 - target) * days + 1e-9)


def least_cost(
    programme: Programme, target: float, *, seconds: float = 20.0
) -> Order | None:
    """Return the cheapest order with which nobody waits on enough days.

    Parameters
    ----------
    programme : Programme
    target : float
        Share of the planning days on which nobody may wait.
    seconds : float
        Time after which the best order found so far is taken.

    Returns
    -------
    Order or None
        None if no order reaches the target.

    Notes
    -----
    minimise price . y subject to, for each set S of sizes that matters,
    ``x(S) >= q_S + sum_l step_l w_Sl``, ``w_S1 >= w_S2 >= ...`` binary, and for
    each day k with more than q_S needs within S, at level l:
    ``u_k >= 1 - w_Sl``; ``sum u_k <= m``. x = owned + pack y - spares; m days
    may be short; q_S is the (m + 1)-th largest number of needs within S, which
    every order that does enough must hold, so only the m days above it need a
    switch (the mixing form of a chance constraint: Luedtke, Ahmed, Nemhauser,
    Math Program 2010;122:247-272, from memory). Sets S enter when an order
    leaves them short: the rest of Hall's conditions need not be written down.
    """
    deadline = time.monotonic() + seconds
    allowed = days_allowed(target, programme.days)
    most = programme.most_packs
    none = np.zeros_like(most)
    if programme.days_short(none) <= allowed:
        return Order(none, 0.0, 0.0, 0.0)
    if programme.days_short(most) > allowed:
        return None
    sets = {int(mask) for mask in programme.needs.masks}
    bound = 0.0
    while True:
        model = Model(programme, most)
        levels = {
            chosen: within(programme.needs.counts, programme.needs.masks, chosen)
            for chosen in sorted(sets)
        }
        chance_rows(model, levels, allowed)
        left = max(deadline - time.monotonic(), 1.0)
        answer = model.solve(model.prices(), left)
        bound = max(bound, answer.bound)
        packs = answer.packs if answer.packs is not None else most
        found = programme.short(packs)
        late = found.waiting > 0
        new = set(found.sets[late].tolist()) - sets
        if late.sum() <= allowed or not new or time.monotonic() > deadline:
            break
        sets |= new
    packs = mended(programme, packs, most, allowed)
    cost = programme.cost(packs)
    return Order(packs, cost, bound, _gap(cost, bound))


def chance_rows(model: Model, levels: dict[int, Ints], allowed: int) -> None:
    """Add what lets nobody wait but on so many days; see ``least_cost``."""
    switches: dict[int, list[int]] = {}
    for chosen, needs in levels.items():
        enough = int(np.sort(needs)[::-1][allowed])
        above, place = np.unique(needs[needs > enough], return_inverse=True)
        steps = np.diff(above, prepend=enough)
        columns = [model.variable(0, 1, whole=True) for _ in above]
        inside = dict.fromkeys(model.working(chosen), 1.0)
        model.row(
            {**inside, **dict(zip(columns, (-steps).tolist(), strict=True))}, enough
        )
        for first, second in itertools.pairwise(columns):
            model.row({first: 1.0, second: -1.0}, 0.0)
        for day, level in zip(np.flatnonzero(needs > enough), place, strict=True):
            switches.setdefault(int(day), []).append(columns[int(level)])
    # Days that need the same switches are late together.
    alike = Counter(tuple(columns) for columns in switches.values())
    late = {}
    for switched, number in alike.items():
        column = model.variable(0, 1, whole=False)
        late[column] = -float(number)
        for switch in switched:
            model.row({column: 1.0, switch: 1.0}, 1.0)
    model.row(late, -float(allowed))


def mended(programme: Programme, packs: Ints, most: Ints, allowed: int) -> Ints:
    """Add packs until enough days are served, the most helpful per money first.

    Does nothing to an order that already does enough: only one from a solver
    that ran out of time may not.
    """
    packs = packs.copy()
    size = np.arange(len(packs))
    while True:
        found = programme.short(packs)
        if (found.waiting > 0).sum() <= allowed:
            return packs
        helped = ((found.sets[:, None] >> size) & 1).sum(axis=0) * (packs < most)
        if not helped.any():
            return most
        packs[int((helped / np.maximum(programme.pack_price, _SMALL)).argmax())] += 1


def fewest_waiting(
    programme: Programme, budget: float, *, seconds: float = 20.0
) -> Order:
    """Return the order under a budget that leaves fewest waiting on average.

    Parameters
    ----------
    programme : Programme
    budget : float
    seconds : float
        Time after which the best order found so far is taken.

    Returns
    -------
    Order
        ``bound`` and ``gap`` are of the slings wanting on a mean day.

    Notes
    -----
    The mean number waiting is ``mean_k max_S (D_k(S) - x(S))``, a convex
    function of the stock x, so it is the maximum of its own tangents: each
    round the integer programme, which knows the tangents so far, proposes an
    order, and the order's worst sets give the next tangent (Kelley's method,
    with whole packs). It ends when an order does as well as the programme
    promised, which proves it best. Of orders that leave equally few waiting the
    cheapest is taken.
    """
    deadline = time.monotonic() + seconds
    price = programme.pack_price
    affordable = np.where(
        price > 0, np.floor((budget + _SMALL) / np.maximum(price, _SMALL)), np.inf
    )
    most = np.minimum(programme.most_packs, affordable).astype(np.int64)
    model = Model(programme, most)
    waiting = model.variable(0.0, np.inf, whole=False)
    model.row({j: -float(c) for j, c in enumerate(price) if c > 0}, -budget - _SMALL)
    # Means over days differ by whole days; the price decides below half a day.
    day = 1.0 / programme.days
    tie = 0.2 * day / max(float(price @ most), 1.0)
    size = np.arange(len(most))
    best = packs = np.zeros_like(most)
    fewest, bound = math.inf, 0.0
    ahead = greedy(programme, budget, most)
    for turn in range(_ROUNDS):
        if turn < len(ahead):
            packs = ahead[-1 - turn]
        found = programme.short(packs)
        mean = float(found.waiting.mean())
        if mean < fewest - 0.5 * day:
            best, fewest = packs, mean
        if fewest <= bound + 0.5 * day or time.monotonic() > deadline:
            break
        slope = ((found.sets[:, None] >> size) & 1).mean(axis=0)
        level = mean + float(slope @ programme.working(packs))
        row = {model.held(int(j)): float(slope[j]) for j in size if slope[j]}
        model.row({**row, waiting: 1.0}, level)
        if turn + 1 < len(ahead):
            continue
        costs = {j: tie * float(c) for j, c in enumerate(price)}
        left = max(deadline - time.monotonic(), 1.0)
        answer = model.solve({**costs, waiting: 1.0}, left)
        if answer.packs is None:
            break
        packs = answer.packs
        bound = max(bound, answer.bound - 0.2 * day)
    return Order(best, programme.cost(best), bound, _gap(fewest, bound + 0.5 * day))


def greedy(programme: Programme, budget: float, most: Ints) -> list[Ints]:
    """Return the orders on the way of buying what helps most per money."""
    packs, left = np.zeros_like(most), budget + _SMALL
    size, price = np.arange(len(most)), programme.pack_price
    way = [packs]
    while True:
        sets = programme.short(packs).sets
        helped = ((sets[:, None] >> size) & 1).sum(axis=0)
        helped = helped * ((packs < most) & (price <= left))
        if not helped.any():
            return way
        chosen = int((helped / np.maximum(price, _SMALL)).argmax())
        packs = packs.copy()
        packs[chosen] += 1
        left -= price[chosen]
        way.append(packs)


def _gap(value: float, bound: float) -> float:
    """Return the relative distance; 0 for what rounding leaves."""
    return 0.0 if value <= bound + 1e-3 else (value - bound) / value
