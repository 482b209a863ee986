"""A growing integer programme, solved by HiGHS through scipy."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from sizing.stock.days import Floats
from sizing.stock.service import Ints


class Stock(Protocol):
    """What the model needs to know of what can be bought."""

    @property
    def owned(self) -> Ints: ...  # noqa: D102
    @property
    def pack(self) -> Ints: ...  # noqa: D102
    @property
    def pack_price(self) -> Any: ...  # noqa: D102
    @property
    def spares(self) -> int: ...  # noqa: D102


#: What scipy's milp calls a programme that no columns satisfy.
_NO_SOLUTION = 2


@dataclass(frozen=True)
class Answer:
    """What the solver found: packs (None: nothing) and what nothing is below.

    The bound is infinite where the conditions cannot all be met.
    """

    packs: Ints | None
    bound: float


class Model:
    """Columns for packs and working slings, and rows added one by one.

    Column j is the packs bought of size j; column ``held(j)`` the slings of that
    size that serve, at most ``owned + pack * packs``, less the spares if any
    serve at all.
    """

    def __init__(self, stock: Stock, most: Ints) -> None:
        self._low: list[float] = []
        self._high: list[float] = []
        self._whole: list[bool] = []
        self._rows: list[tuple[dict[int, float], float]] = []
        self._price = np.asarray(stock.pack_price, dtype=float)
        self.sizes = len(most)
        limit = stock.owned + stock.pack * most
        for packs in most.tolist():
            self.variable(0, packs, whole=True)
        for slings in limit.tolist():
            self.variable(0, slings, whole=False)
        for j in range(self.sizes):
            entries = {j: float(stock.pack[j]), self.held(j): -1.0}
            if stock.spares:
                stocked = self.variable(0, 1, whole=True)
                entries[stocked] = -float(stock.spares)
                self.row({stocked: float(limit[j]), self.held(j): -1.0}, 0.0)
            self.row(entries, -float(stock.owned[j]))

    def held(self, size: int) -> int:
        """Return the column of a size's working slings."""
        return self.sizes + size

    def working(self, chosen: int) -> list[int]:
        """Return the columns of the working slings of a set of sizes."""
        return [self.held(j) for j in range(self.sizes) if chosen >> j & 1]

    def prices(self) -> dict[int, float]:
        """Return the cost of the packs; what is free costs a very little.

        Otherwise the solver might order any number of a size without a price.
        """
        little = 1e-7 * max(float(self._price.max(initial=0)), 1.0)
        return {j: max(float(c), little) for j, c in enumerate(self._price)}

    def cost_below(self, most: float) -> None:
        """Let the packs cost no more than this."""
        self.row({j: -float(c) for j, c in enumerate(self._price) if c > 0}, -most)

    def variable(self, low: float, high: float, *, whole: bool) -> int:
        """Add a column and return its number."""
        self._low.append(low)
        self._high.append(high)
        self._whole.append(whole)
        return len(self._low) - 1

    def row(self, entries: Mapping[int, float], least: float) -> None:
        """Add the condition ``entries . columns >= least``."""
        self._rows.append((dict(entries), least))

    @property
    def number_of_rows(self) -> int:
        """How many conditions there are."""
        return len(self._rows)

    def solve(
        self, costs: Mapping[int, float], *, nodes: int, gap: float = 0.0
    ) -> Answer:
        """Minimise the costs, by so many branches or to within a relative gap.

        The work is bounded by a count and not by a time, so that every machine
        comes to the same answer.
        """
        found = self._found(
            costs, np.array(self._whole, dtype=int), node_limit=nodes, mip_rel_gap=gap
        )
        bound = found.get("mip_dual_bound")
        below = float(bound) if bound is not None and np.isfinite(bound) else 0.0
        if found.status == _NO_SOLUTION:
            return Answer(None, np.inf)
        if found.x is None:
            return Answer(None, below)
        return Answer(np.rint(found.x[: self.sizes]).astype(np.int64), below)

    def relaxed(
        self, costs: Mapping[int, float], low: Ints, high: Ints
    ) -> Floats | None:
        """Minimise the costs with parts of packs allowed, between two orders."""
        kept = self._low[: self.sizes], self._high[: self.sizes]
        self._low[: self.sizes] = low.tolist()
        self._high[: self.sizes] = high.tolist()
        found = self._found(costs, np.zeros(len(self._low), dtype=int))
        self._low[: self.sizes], self._high[: self.sizes] = kept
        return None if found.x is None else np.asarray(found.x[: self.sizes])

    def _found(self, costs: Mapping[int, float], whole: Ints, **options: Any) -> Any:
        heads = np.repeat(np.arange(len(self._rows)), [len(r) for r, _ in self._rows])
        tails = [column for row, _ in self._rows for column in row]
        values = [value for row, _ in self._rows for value in row.values()]
        shape = (len(self._rows), len(self._low))
        matrix = sparse.csr_array((values, (heads, tails)), shape=shape)
        goal = np.zeros(shape[1])
        goal[list(costs)] = list(costs.values())
        return milp(
            goal,
            integrality=whole,
            bounds=Bounds(np.array(self._low), np.array(self._high)),
            constraints=LinearConstraint(
                matrix, np.array([least for _, least in self._rows]), np.inf
            ),
            options=options,  # type: ignore[arg-type]
        )
