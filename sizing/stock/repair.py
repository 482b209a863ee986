"""Orders made good enough, and cheaper, one pack at a time."""

import itertools
import math
from collections.abc import Callable

import numpy as np

from sizing.stock.programme import SMALL, Programme
from sizing.stock.service import Ints

Tick = Callable[[], object]
#: Parts of the most packs of a size below which no fewer are tried, where an order is
#: only adapted and where it is bettered; beyond so many packs single ones are not
#: tried, and up to so many sizes each two are (our choice, no source: within a
#: thousandth of the cost, and quick).
_COARSE, _FINE, _MANY, _FEW = 1 / 1000, 1 / 2000, 500, 6
#: Exchanges after which an order is left as it is.
_EXCHANGES = 20


def adapted(
    programme: Programme, packs: Ints, allowed: int, tick: Tick = lambda: None
) -> Ints | None:
    """Return an order for other days or another target, made from one that is good.

    Quick: packs are added where slings are short most often for their money, then
    taken off, many at once and then one by one, and exchanged for cheaper ones. None
    where no order does enough.
    """
    most = programme.most_packs
    packs = mended(programme, np.minimum(packs, most), most, allowed)
    if programme.days_short(packs) > allowed:
        return None
    for step in _steps(packs, _COARSE):
        for size in np.argsort(-programme.pack_price, kind="stable"):
            tick()
            while packs[size] >= step > 1:
                fewer = packs - step * (np.arange(len(packs)) == size)
                if programme.days_short(fewer) > allowed:
                    break
                packs = fewer
    if packs.max(initial=0) > _MANY:
        return packs
    if programme.large:
        return pared(programme, packs, allowed)
    return exchanged(programme, packs, most, allowed)


def bettered(
    programme: Programme, packs: Ints, allowed: int, tick: Tick = lambda: None
) -> Ints | None:
    """Return the cheapest order near one that may not do enough yet.

    Packs of each size, and where sizes are few of each two, are given up in turn,
    and what that leaves is mended with others, as long as that saves money: many
    packs at first and fewer then. None where no order does enough.
    """
    found = adapted(programme, packs, allowed, tick)
    if found is None or programme.large:
        return found
    sizes = len(found)
    given = [[i] for i in np.argsort(-programme.pack_price, kind="stable").tolist()]
    # What goes in first; where packs are opened by none, each size in its turn.
    first: list[Ints] = [np.zeros(sizes, dtype=np.int64)]
    if sizes <= _FEW and (programme.pack > 1).any():
        first += [*np.eye(sizes, dtype=np.int64)]
    if sizes <= _FEW:
        given += [[*two] for two in itertools.combinations(range(sizes), 2)]
    for step in _steps(found, _FINE):
        better = True
        while better:
            better = False
            for some, more in itertools.product(given, first):
                tick()
                room = programme.most_packs.copy()
                room[some] = np.maximum(found[some] - step, 0)
                fewer = np.minimum(np.minimum(found, room) + more, room)
                cost = programme.cost(found)
                if programme.cost(fewer) >= cost - SMALL:
                    continue
                made = mended(programme, fewer, room, allowed, below=cost)
                if step == 1:
                    made = pared(programme, made, allowed)
                if (
                    programme.cost(made) < cost - SMALL
                    and programme.days_short(made) <= allowed
                ):
                    found, better = made, True
    return found


def _steps(packs: Ints, part: float) -> list[int]:
    """Return how many packs at once, from many to few; the last is 1 but for many."""
    most = int(packs.max(initial=0))
    step = 1 << (max(most // 16, 1).bit_length() - 1)
    steps = []
    while step >= max(part * most, 1):
        steps.append(step)
        step //= 2
    return steps


def mended(
    programme: Programme,
    packs: Ints,
    most: Ints,
    allowed: int,
    *,
    below: float = math.inf,
) -> Ints:
    """Add packs until enough days are served, the most helpful per money first.

    Does nothing to an order that already does enough, and ends once an order costs
    more than is worth while.
    """
    below += float(programme.pack_price.max(initial=0.0))
    packs = packs.copy()
    size = np.arange(len(packs))
    while True:
        found = programme.short(packs, tight=False)
        if (found.waiting > 0).sum() <= allowed or programme.cost(packs) > below:
            return packs
        helped = ((found.sets[:, None] >> size) & 1).sum(axis=0) * (packs < most)
        if not helped.any():
            return most
        chosen = int((helped / np.maximum(programme.pack_price, SMALL)).argmax())
        # At least so many slings are wanting in all, so half is hardly an excess.
        wanting = int(np.sort(found.waiting)[::-1][allowed])
        bulk = wanting // (2 * int(programme.pack[chosen]))
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
        # What is only a spare serves nobody, whatever is tight.
        lost = np.where(programme.working(packs) > 0, lost, 0)
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


def exchanged(programme: Programme, packs: Ints, most: Ints, allowed: int) -> Ints:
    """Exchange packs for cheaper ones as long as enough days are served.

    The sets on which days are short tell what one sling fewer and another more
    do together, so that each exchange is found exactly from one look at the
    days for each size given up. Packs of several slings are not brought in, nor
    sizes of which spares take the first.
    """
    price, size = programme.pack_price, np.arange(len(packs))
    packs = pared(programme, packs, allowed)
    for _ in range(_EXCHANGES):
        saved, better, held = 0.0, packs, programme.stock(packs)
        for given in np.flatnonzero(packs):
            cheaper = (price < price[given] - SMALL) & (packs < most)
            cheaper &= (programme.pack == 1) & (held >= programme.spares)
            if not cheaper.any():
                continue
            fewer = packs - (size == given)
            found = programme.short(fewer, tight=False)
            one = found.waiting == 1
            helped = ((found.sets[one, None] >> size) & 1).sum(axis=0)
            enough = (found.waiting > 0).sum() - helped <= allowed
            gain = np.where(cheaper & enough, price[given] - price, 0.0)
            if gain.max() > saved + SMALL:
                saved = float(gain.max())
                better = fewer + (size == int(gain.argmax()))
        if better is packs:
            return packs
        packs = pared(programme, better, allowed)
    return packs
