"""What every order is held against: the planning days, and what can be bought."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sizing.stock.days import Days, Floats
from sizing.stock.offers import Offer
from sizing.stock.service import Ints, Needs, Shortage, within

#: Money and numbers of people are not told apart below this.
SMALL = 1e-6
#: An order is worth looking for if it is cheaper by this.
_CHEAPER = 0.005


@dataclass(frozen=True)
class Order:
    """An order and how near to the best it is known to be.

    Attributes
    ----------
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

    @cached_property
    def owned(self) -> Ints:
        """Slings of each size already there."""
        return self.offer.column("owned").astype(np.int64)

    @cached_property
    def pack(self) -> Ints:
        """Slings in one pack of each size."""
        return self.offer.column("pack").astype(np.int64)

    @cached_property
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
        most: Ints = np.minimum(wanted, room).astype(np.int64)
        return most

    def stock(self, packs: Ints) -> Ints:
        """Slings of each size once the packs have come."""
        return self.owned + packs * self.pack

    def working(self, packs: Ints) -> Ints:
        """The same without the spares kept back."""
        return np.maximum(self.stock(packs) - self.spares, 0)

    def cost(self, packs: Ints) -> float:
        """What the packs cost."""
        return float(packs @ self.pack_price)

    @cached_property
    def pack_price(self) -> Floats:
        """Price of one pack of each size."""
        return np.asarray(self.offer.column("price") * self.offer.column("pack"))

    @property
    def price_step(self) -> float:
        """What two orders of different cost differ by, at least."""
        pence = 100 * self.pack_price
        whole = np.rint(pence).astype(np.int64)
        if np.abs(pence - whole).max(initial=0.0) > SMALL or not whole.any():
            return _CHEAPER
        return float(np.gcd.reduce(whole)) / 100 - _CHEAPER / 2

    def short(self, packs: Ints, *, tight: bool = True) -> Shortage:
        """Return the shortage on each planning day."""
        return self.needs.shortage(self.working(packs), tight=tight)

    @property
    def large(self) -> bool:
        """Whether so many sizes are linked that not every set can be looked at."""
        return self.needs.large

    def within(self, chosen: int) -> Ints:
        """Return, day by day, the needs that only this set of sizes meets."""
        return within(self.needs.counts, self.needs.masks, chosen)

    def days_short(self, packs: Ints) -> int:
        """Return on how many planning days somebody waits."""
        return int((self.short(packs, tight=False).waiting > 0).sum())


def programme_from(offer: Offer, days: Days, spares: int) -> Programme:
    """Take what the integer programmes need from drawn days."""
    needs = Needs(days.slings[:, 1:], days.masks[1:], len(offer.keys))
    return Programme(offer, needs, spares)


def days_allowed(target: float, days: int) -> int:
    """Return on how many of so many days somebody may wait."""
    return math.floor((1 - target) * days + 1e-9)


def gap_to(value: float, bound: float) -> float:
    """Return the relative distance; 0 for what rounding leaves."""
    return 0.0 if value <= bound + 1e-3 else (value - bound) / value
