"""Orders made good enough, and cheaper, one pack at a time."""

import math

import numpy as np

from sizing.stock.programme import SMALL, Order, Programme, days_allowed, gap_to
from sizing.stock.service import Ints

#: Exchanges after which an order is left as it is.
_EXCHANGES = 20


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


def mended(programme: Programme, packs: Ints, most: Ints, allowed: int) -> Ints:
    """Add packs until enough days are served, the most helpful per money first.

    Does nothing to an order that already does enough.
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
            found = programme.short(fewer)
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
