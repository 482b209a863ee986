"""The price of grading: the best chart when sizes need not be ordered.

Without the order a short and wide size may stand beside a tall and narrow one.
The best K boxes then solve a mixed-integer programme on the same grid:

    largest  sum_c w_c z_c   with  z_c <= sum of y_b over boxes b that hold c,
                                   sum_b y_b <= K,  y binary,  0 <= z_c <= 1,

with one z per cell that people are in.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats, cell_numbers
from sizing.banding.fitter import Fitter
from sizing.banding.settings import check_request
from sizing.errors import Problem, SizingError, check_number
from sizing.population.people import People

#: Most non-zero entries of the programme.
MOST_ENTRIES = 20_000_000


@dataclass(frozen=True)
class GradingPrice:
    """What ordering the sizes costs.

    Attributes
    ----------
    graded : float
        Share covered by the best chart whose sizes are ordered.
    ungraded : float
        Share covered by the best chart found whose sizes need not be.
    ungraded_bound : float
        Certified: no chart on the grid, ordered or not, covers more.
    boxes : DataFrame
        The unordered chart: one row per size, ``<measure>_low`` and ``_high``.
    n : int
        Persons.
    """

    graded: float
    ungraded: float
    ungraded_bound: float
    boxes: pd.DataFrame
    n: int

    @property
    def price(self) -> float:
        """Share lost by ordering, at least."""
        return self.ungraded - self.graded

    @property
    def table(self) -> pd.DataFrame:
        """One row per kind of chart: chart, estimate, low, high, method, n."""
        return pd.DataFrame(
            [
                ("ordered", self.graded, self.graded, self.graded, "exact optimum"),
                (
                    "unordered",
                    self.ungraded,
                    self.ungraded,
                    self.ungraded_bound,
                    "mixed-integer programme; high is its certified bound",
                ),
            ],
            columns=["chart", "estimate", "low", "high", "method"],
        ).assign(n=self.n)

    def summary(self) -> str:
        """Say in plain words what ordering the sizes costs."""
        return (
            f"Ordered sizes cover {100 * self.graded:.1f} % at best; sizes that need "
            f"not be ordered cover {100 * self.ungraded:.1f} % (no more than "
            f"{100 * self.ungraded_bound:.1f} % is possible): ordering costs at least "
            f"{100 * self.price:.1f} points."
        )


def price_of_grading(
    people: People,
    *,
    widths: Mapping[str, float],
    sizes: int,
    time_limit_s: float = 60.0,
    **settings: Any,
) -> GradingPrice:
    """Compare the best ordered chart with the best unordered one.

    Parameters
    ----------
    people, widths, sizes
        See ``fit_bands``.
    time_limit_s : float
        For the mixed-integer programme; its bound holds if it is stopped.
    **settings
        ``step_cm`` and ``load_limit_kg`` as in ``fit_bands``.

    Returns
    -------
    GradingPrice

    Raises
    ------
    SizingError
        As ``fit_bands``; or if the programme would be too large.
    """
    check_number("the time limit", time_limit_s, above=0)
    fitter = Fitter(check_request(people, widths=widths, sizes=sizes, **settings))
    graded = fitter.value(fitter.fit())
    axes, bodies = fitter.axes, fitter.bodies
    holds, weight, boxes = incidence(axes, bodies.values, bodies.counted)
    found, bound, chosen = choose(holds, weight, sizes, time_limit_s=time_limit_s)
    low, high = (
        np.column_stack(
            [
                (axis.low[0] if end == "low" else axis.high[0])[boxes[chosen, d]]
                for d, axis in enumerate(axes)
            ]
        )
        for end in ("low", "high")
    )
    columns = {}
    for d, axis in enumerate(axes):
        columns[f"{axis.measure}_low"] = low[:, d] / 10
        columns[f"{axis.measure}_high"] = high[:, d] / 10
    return GradingPrice(
        graded,
        found / bodies.total,
        max(bound, found) / bodies.total,
        pd.DataFrame(columns),
        people.n,
    )


@dataclass(frozen=True)
class BoxesNeeded:
    """How many unordered boxes reach a coverage.

    Attributes
    ----------
    boxes : int
        So many suffice.
    least : int
        Certified: fewer do not suffice.
    share : float
        What the boxes cover.
    """

    boxes: int
    least: int
    share: float


def boxes_needed(
    people: People,
    *,
    widths: Mapping[str, float],
    target: float,
    time_limit_s: float = 60.0,
    **settings: Any,
) -> BoxesNeeded:
    """Find the fewest unordered boxes that cover a share of the people.

    Parameters
    ----------
    people, widths, **settings
        See ``price_of_grading``.
    target : float
        Share to cover, above 0 and up to 1.
    time_limit_s : float
        For the mixed-integer programme; ``least`` holds if it is stopped.

    Returns
    -------
    BoxesNeeded

    Raises
    ------
    SizingError
        As ``price_of_grading``; or if the target makes no sense.
    """
    check_number("the target", target, above=0, most=1)
    check_number("the time limit", time_limit_s, above=0)
    fitter = Fitter(check_request(people, widths=widths, sizes=1, **settings))
    bodies = fitter.bodies
    holds, weight, _ = incidence(fitter.axes, bodies.values, bodies.counted)
    cells, boxes = holds.shape
    held = sparse.hstack([-holds, sparse.identity(cells)], format="csr")
    enough = sparse.csr_matrix(np.concatenate([np.zeros(boxes), weight])[None, :])
    goal = target * bodies.total
    result = milp(
        np.concatenate([np.ones(boxes), np.zeros(cells)]),
        constraints=[
            LinearConstraint(held, -np.inf, np.zeros(cells)),
            LinearConstraint(enough, goal * (1 - 1e-9), np.inf),
        ],
        integrality=np.concatenate([np.ones(boxes), np.zeros(cells)]),
        bounds=Bounds(0, 1),
        options={"time_limit": time_limit_s},
    )
    if result.x is None or result.mip_dual_bound is None:
        raise _no_chart(time_limit_s)
    chosen = np.flatnonzero(result.x[:boxes] > 0.5)
    reached = np.asarray(holds[:, chosen].sum(axis=1)).ravel() > 0
    return BoxesNeeded(
        len(chosen),
        int(np.ceil(float(result.mip_dual_bound) - 1e-6)),
        float(weight[reached].sum()) / bodies.total,
    )


def incidence(
    axes: list[Axis], values: Ints, weight: Floats
) -> tuple[sparse.csr_matrix, Floats, Ints]:
    """Return which candidate boxes hold which cells that people are in.

    Returns
    -------
    holds : sparse matrix, shape (cells, boxes)
    weight : ndarray of float
        Of the people in each cell.
    boxes : ndarray of int64, shape (boxes, measures)
        Each box's candidate in each measure.
    """
    breaks = [Breaks.of(axis) for axis in axes]
    number = cell_numbers(values, breaks)
    kept, place = np.unique(number, return_inverse=True)
    total: Floats = np.bincount(place, weights=weight).astype(float)
    each = np.unravel_index(kept, [len(b.cuts) + 1 for b in breaks])
    inside = [
        (c[:, None] > b.low[0][None, :]) & (c[:, None] <= b.high[0][None, :])
        for c, b in zip(each, breaks, strict=True)
    ]
    entries = float(np.prod([m.sum(axis=1, dtype=float) for m in inside], axis=0).sum())
    if entries > MOST_ENTRIES:
        raise SizingError(
            str(
                Problem(
                    "the unordered chart is too large a problem",
                    f"up to {MOST_ENTRIES} pairs of box and cell",
                    "take a larger step or fewer measures",
                    value=int(entries),
                )
            )
        )
    holds = sparse.csr_matrix(inside[0].astype(np.float64))
    for part in inside[1:]:
        holds = sparse.csr_matrix(_each_row(holds, sparse.csr_matrix(part)))
    sizes = [axis.n(0) for axis in axes]
    boxes: Ints = np.indices(sizes).reshape(len(sizes), -1).T.astype(np.int64)
    some = np.flatnonzero(np.asarray(holds.sum(axis=0)).ravel() > 0)
    return holds[:, some], total, boxes[some]


def _each_row(a: sparse.csr_matrix, b: sparse.csr_matrix) -> sparse.csr_matrix:
    """Return the row-wise Kronecker product."""
    counts = np.diff(a.indptr)[:, None] * np.diff(b.indptr)[:, None]
    left = np.repeat(a.indices, np.repeat(np.diff(b.indptr), np.diff(a.indptr)))
    right = np.concatenate(
        [
            np.tile(
                b.indices[b.indptr[i] : b.indptr[i + 1]], a.indptr[i + 1] - a.indptr[i]
            )
            for i in range(a.shape[0])
        ]
    )
    indptr = np.concatenate([[0], np.cumsum(counts.ravel())])
    columns = left.astype(np.int64) * b.shape[1] + right
    return sparse.csr_matrix(
        (np.ones(len(columns)), columns, indptr),
        shape=(a.shape[0], a.shape[1] * b.shape[1]),
    )


def choose(
    holds: sparse.csr_matrix, weight: Floats, sizes: int, *, time_limit_s: float
) -> tuple[float, float, Ints]:
    """Choose boxes that together hold the largest weight.

    Returns
    -------
    found, bound : float
        Weight of the boxes found; a weight none can exceed.
    chosen : ndarray of int64
        Columns of ``holds``.
    """
    cells, boxes = holds.shape
    cost = np.concatenate([np.zeros(boxes), -weight])
    held = sparse.hstack([-holds, sparse.identity(cells)], format="csr")
    count = sparse.csr_matrix(
        np.concatenate([np.ones(boxes), np.zeros(cells)])[None, :]
    )
    result = milp(
        cost,
        constraints=[
            LinearConstraint(held, -np.inf, np.zeros(cells)),
            LinearConstraint(count, -np.inf, sizes),
        ],
        integrality=np.concatenate([np.ones(boxes), np.zeros(cells)]),
        bounds=Bounds(0, 1),
        options={"time_limit": time_limit_s, "mip_rel_gap": 1e-9},
    )
    if result.x is None or result.mip_dual_bound is None:
        raise _no_chart(time_limit_s)
    chosen = np.flatnonzero(result.x[:boxes] > 0.5)
    reached = np.asarray(holds[:, chosen].sum(axis=1)).ravel() > 0
    bound = -float(result.mip_dual_bound)
    return float(weight[reached].sum()), bound, chosen


def _no_chart(time_limit_s: float) -> SizingError:
    return SizingError(
        str(
            Problem(
                "no unordered chart was found in time",
                "a longer time, or a target that boxes can reach",
                "raise time_limit_s or take a larger step",
                value=time_limit_s,
            )
        )
    )
