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
SMALL = 1e-6
#: How many sets enter the programme in one round.
_NEW_SETS = 60
#: Seconds for one round, and the gap at which a round of many sizes may stop.
_TURN, _ROUGH = 2.0, 2e-3
#: An order is worth looking for if it is cheaper by this.
_CHEAPER = 0.005


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

    @property
    def large(self) -> bool:
        """Whether so many sizes are linked that not every set can be looked at."""
        return self.needs.large

    def within(self, chosen: int) -> Ints:
        """Return, day by day, the needs that only this set of sizes meets."""
        return within(self.needs.counts, self.needs.masks, chosen)

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
    levels = {int(m): programme.within(int(m)) for m in programme.needs.masks}
    _, bound = set_by_set(programme, levels, most, allowed, deadline)
    best = even_levels(programme, levels, most, allowed, deadline)
    cost = programme.cost(best)
    # With many linked sizes the switches are too many to gain anything in time.
    while not programme.large and cost > bound + SMALL and time.monotonic() < deadline:
        model = Model(programme, most)
        chance_rows(model, levels, allowed)
        model.cost_below(cost - _CHEAPER)
        answer = model.solve(model.prices(), deadline - time.monotonic())
        bound = max(bound, min(answer.bound, cost))
        if answer.packs is None:
            break
        found = programme.short(answer.packs)
        late = found.waiting > 0
        new = set(found.sets[late].tolist()) - set(levels)
        if late.sum() <= allowed:
            best, cost = answer.packs, programme.cost(answer.packs)
        elif not new:
            break
        levels |= {chosen: programme.within(chosen) for chosen in new}
    best = pared(programme, best, allowed)
    cost = programme.cost(best)
    return Order(best, cost, bound, gap_to(cost, bound))


def adapted(
    programme: Programme, packs: Ints, target: float, *, bound: float = 0.0
) -> Order | None:
    """Return an order for another target, made from one that is good for its own.

    Quick; without a bound from elsewhere the gap is unknown (NaN). Packs are
    added where slings are short most often for their money, then taken off where
    they are not needed.
    """
    allowed = days_allowed(target, programme.days)
    most = programme.most_packs
    made = mended(programme, np.minimum(packs, most), most, allowed)
    if programme.days_short(made) > allowed:
        return None
    made = pared(programme, made, allowed)
    cost = programme.cost(made)
    return Order(made, cost, bound, gap_to(cost, bound) if bound else math.nan)


def set_by_set(
    programme: Programme,
    levels: dict[int, Ints],
    most: Ints,
    allowed: int,
    deadline: float,
) -> tuple[Ints, float]:
    """Return the cheapest order that is short in no one set on too many days.

    Different sets may be short on different days, so this is a bound and not
    yet an answer. Sets that prove short are added to ``levels``.
    """
    bound = 0.0
    while True:
        model = Model(programme, most)
        enough = {s: int(np.sort(d)[::-1][allowed]) for s, d in levels.items()}
        for chosen, least in enough.items():
            if least > 0:
                model.row(dict.fromkeys(model.working(chosen), 1.0), least)
        left = max(deadline - time.monotonic(), 1.0)
        gap = _ROUGH if programme.large else 0.0
        answer = model.solve(model.prices(), min(left, _TURN), gap=gap)
        bound = max(bound, answer.bound)
        packs = most if answer.packs is None else answer.packs
        found = programme.short(packs)
        late, often = np.unique(found.sets[found.waiting > 0], return_counts=True)
        # The sets that are short most often say most.
        order = np.argsort(-often, kind="stable")
        new = [int(s) for s in late[order] if int(s) not in levels][:_NEW_SETS]
        added = False
        for chosen in new:
            levels[chosen] = programme.within(chosen)
            least = int(np.sort(levels[chosen])[::-1][allowed])
            held = programme.working(packs)[
                [chosen >> j & 1 == 1 for j in range(len(most))]
            ]
            added |= bool(held.sum() < least)
        if not added or time.monotonic() > deadline:
            return packs, bound


def even_levels(
    programme: Programme,
    levels: dict[int, Ints],
    most: Ints,
    allowed: int,
    deadline: float,
) -> Ints:
    """Return a good order: no set short on more than so many days, found by halving.

    The number of days is one for all sets, the largest with which the sets
    together are short on few enough days; what is then not needed is taken off.
    """
    low, high, best = 0, allowed, most
    while low <= high and time.monotonic() < deadline:
        middle = (low + high + 1) // 2
        packs, _ = set_by_set(programme, levels, most, middle, deadline)
        packs = packs if middle else mended(programme, packs, most, allowed)
        if programme.days_short(packs) <= allowed:
            if programme.cost(packs) < programme.cost(best) or best is most:
                best = packs
            low = middle + 1
        else:
            high = middle - 1
    return pared(programme, mended(programme, best, most, allowed), allowed)


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
        chosen = int((helped / np.maximum(programme.pack_price, SMALL)).argmax())
        # At least so many slings are wanting in all, so a quarter is no excess.
        wanting = int(np.sort(found.waiting)[::-1][allowed])
        bulk = wanting // (4 * int(programme.pack[chosen]))
        packs[chosen] += int(np.clip(bulk, 1, most[chosen] - packs[chosen]))


def pared(programme: Programme, packs: Ints, allowed: int) -> Ints:
    """Take off packs that the target does not need, most money per day lost first.

    Where the solver proved its order best this changes nothing.
    """
    packs = packs.copy()
    size = np.arange(len(packs))
    needed = packs <= 0
    found = programme.short(packs)
    while not needed.all():
        late = found.waiting > 0
        lost = ((found.tight[~late, None] >> size) & 1).sum(axis=0)
        over = late.sum() + lost * (programme.pack == 1) > allowed
        worth = np.where(needed | over, -1.0, programme.pack_price / (lost + 0.5))
        if worth.max() < 0:
            break
        chosen = int(worth.argmax())
        fewer = packs.copy()
        fewer[chosen] -= 1
        after = programme.short(fewer)
        if (after.waiting > 0).sum() > allowed:
            needed[chosen] = True
            continue
        packs, found = fewer, after
        needed[chosen] = packs[chosen] <= 0
    return packs


def gap_to(value: float, bound: float) -> float:
    """Return the relative distance; 0 for what rounding leaves."""
    return 0.0 if value <= bound + 1e-3 else (value - bound) / value
