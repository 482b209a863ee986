"""What every order is held against: planning days, and an integer programme."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from sizing.stock.days import Days, Floats
from sizing.stock.offers import Offer
from sizing.stock.service import Ints, Needs, Shortage, sizes_in

#: Money and numbers of people are not told apart below this.
SMALL = 1e-6
#: An order is worth looking for if it is cheaper by this.
_CHEAPER = 0.005
#: What scipy's milp calls a programme that no columns satisfy.
_NO_SOLUTION = 2


@dataclass(frozen=True)
class Order:
    packs: Ints
    cost: float
    bound: float
    gap: float


@dataclass(frozen=True)
class Programme:
    """The offer, the slings needed (see ``draw_days``) and the spares kept back."""

    offer: Offer
    needs: Needs
    spares: int
    aim: str = "days"

    @property
    def days(self) -> int:
        return len(self.needs.counts)

    @cached_property
    def owned(self) -> Ints:
        return self.offer.column("owned").astype(np.int64)

    @cached_property
    def pack(self) -> Ints:
        return self.offer.column("pack").astype(np.int64)

    @cached_property
    def most_packs(self) -> Ints:
        """Packs of each size beyond which more cannot help or may not be had."""
        fits = sizes_in(self.needs.masks, len(self.offer.keys))
        useful = (self.needs.counts @ fits).max(axis=0, initial=0)
        useful = np.where(useful > 0, useful + self.spares, 0)
        wanted = np.ceil(np.maximum(useful - self.owned, 0) / self.pack)
        most: Ints = np.minimum(wanted, self.room).astype(np.int64)
        return most

    @cached_property
    def room(self) -> Floats:
        most = self.offer.column("most")
        return np.floor(np.maximum(most - self.owned, 0) / self.pack)

    def stock(self, packs: Ints) -> Ints:
        return self.owned + packs * self.pack

    def working(self, packs: Ints) -> Ints:
        return np.maximum(self.stock(packs) - self.spares, 0)

    def cost(self, packs: Ints) -> float:
        return float(packs @ self.pack_price)

    def bought(self, packs: Ints) -> dict[str, Any]:
        return {"slings": int((packs * self.pack).sum()), "cost": self.cost(packs)}

    @cached_property
    def pack_price(self) -> Floats:
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
        return self.needs.shortage(self.working(packs), tight=tight)

    @property
    def large(self) -> bool:
        return self.needs.large

    def within(self, chosen: int) -> Ints:
        """Return, day by day, how many fit sizes in ``chosen`` and no other."""
        inside = (self.needs.masks & ~np.int64(chosen)) == 0
        return np.asarray(self.needs.counts[:, inside].sum(axis=1), dtype=np.int64)

    def missed(self, waiting: Ints) -> int:
        """Return what of the target is missed: days on which some wait, or needs."""
        return int(waiting.sum() if self.aim == "needs" else (waiting > 0).sum())

    def missed_by(self, packs: Ints) -> int:
        return self.missed(self.short(packs, tight=False).waiting)

    def allowed(self, target: float) -> int:
        whole = self.needs.counts.sum() if self.aim == "needs" else self.days
        return part_allowed(target, int(whole))


def programme_from(
    offer: Offer, days: Days, spares: int, aim: str = "days"
) -> Programme:
    needs = Needs(days.slings[:, 1:], days.masks[1:], len(offer.keys))
    return Programme(offer, needs, spares, aim)


def part_allowed(target: float, whole: int) -> int:
    return math.floor((1 - target) * whole + 1e-9)


def gap_to(value: float, bound: float) -> float:
    """Return the relative distance; 0 for what rounding leaves."""
    return 0.0 if value <= bound + 1e-3 else (value - bound) / value


class Model:
    """Columns for packs and working slings, and rows added one by one; for HiGHS.

    Column j: packs bought of size j; ``held(j)``: slings of it that serve, at most
    ``owned + pack * packs``, less the spares if any serve at all.
    """

    def __init__(self, programme: Programme, most: Ints) -> None:
        self._high: list[float] = []
        self._whole: list[bool] = []
        self._rows: list[tuple[dict[int, float], float]] = []
        self._price = programme.pack_price
        self.sizes = len(most)
        limit = programme.owned + programme.pack * most
        for packs in most.tolist():
            self.variable(packs, whole=True)
        for slings in limit.tolist():
            self.variable(slings, whole=False)
        for j in range(self.sizes):
            entries = {j: float(programme.pack[j]), self.held(j): -1.0}
            if programme.spares:
                stocked = self.variable(1, whole=True)
                entries[stocked] = -float(programme.spares)
                self.row({stocked: float(limit[j]), self.held(j): -1.0}, 0.0)
            self.row(entries, -float(programme.owned[j]))

    def held(self, size: int) -> int:
        return self.sizes + size

    def working(self, chosen: int) -> dict[int, float]:
        return {self.held(j): 1.0 for j in range(self.sizes) if chosen >> j & 1}

    def prices(self) -> dict[int, float]:
        """What is free costs a very little: any number might be ordered otherwise."""
        little = 1e-7 * max(float(self._price.max(initial=0)), 1.0)
        return {j: max(float(c), little) for j, c in enumerate(self._price)}

    def cost_below(self, most: float) -> None:
        self.row({j: -float(c) for j, c in enumerate(self._price) if c > 0}, -most)

    def variable(self, high: float, *, whole: bool) -> int:
        """Add a column from 0 to ``high`` and return its number."""
        self._high.append(high)
        self._whole.append(whole)
        return len(self._high) - 1

    def row(self, entries: Mapping[int, float], least: float) -> None:
        self._rows.append((dict(entries), least))

    @property
    def number_of_rows(self) -> int:
        return len(self._rows)

    def solve(
        self, costs: Mapping[int, float], *, nodes: int, gap: float = 0.0
    ) -> tuple[Ints | None, float]:
        """Return the packs of least cost (None: none found), and what none is below.

        Bounded by a count of branches, not by time: every machine finds the same
        answer. The bound is infinite where the conditions cannot all be met.
        """
        heads = np.repeat(np.arange(len(self._rows)), [len(r) for r, _ in self._rows])
        tails = [column for row, _ in self._rows for column in row]
        values = [value for row, _ in self._rows for value in row.values()]
        shape = (len(self._rows), len(self._high))
        matrix = sparse.csr_array((values, (heads, tails)), shape=shape)
        goal = np.zeros(shape[1])
        goal[list(costs)] = list(costs.values())
        least = np.array([least for _, least in self._rows])
        found: Any = milp(
            goal,
            integrality=np.array(self._whole, dtype=int),
            bounds=Bounds(0.0, np.array(self._high)),
            constraints=LinearConstraint(matrix, least, np.inf),
            options={"node_limit": nodes, "mip_rel_gap": gap},
        )
        if found.status == _NO_SOLUTION:
            return None, np.inf
        bound = found.get("mip_dual_bound")
        below = float(bound) if bound is not None and np.isfinite(bound) else 0.0
        if found.x is None:
            return None, below
        return np.rint(found.x[: self.sizes]).astype(np.int64), below
