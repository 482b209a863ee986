"""The best boxes that need not be ordered, by HiGHS: what banding is timed against.

The best K boxes solve a mixed-integer programme on the same grid:

    largest  sum_c w_c z_c   with  z_c <= sum of y_b over boxes b that hold c,
                                   sum_b y_b <= K,  y binary,  0 <= z_c <= 1,

with one z per cell that people are in.
"""

from functools import reduce

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from sizing.bands.axis import Axis, Ints
from sizing.bands.cells import Breaks, Floats, cell_numbers


def incidence(
    axes: list[Axis], values: Ints, weight: Floats
) -> tuple[sparse.csr_matrix, Floats]:
    """Return which boxes hold which cells that people are in, and the cells' weight."""
    breaks = [Breaks.of(axis) for axis in axes]
    kept, place = np.unique(cell_numbers(values, breaks), return_inverse=True)
    total: Floats = np.bincount(place, weights=weight).astype(float)
    each = np.unravel_index(kept, [len(b.cuts) + 1 for b in breaks])
    inside = [
        (c[:, None] > b.low[0][None, :]) & (c[:, None] <= b.high[0][None, :])
        for c, b in zip(each, breaks, strict=True)
    ]
    held = reduce(
        lambda a, b: (a[:, :, None] & b[:, None, :]).reshape(len(kept), -1), inside
    )
    return sparse.csr_matrix(held[:, held.any(axis=0)].astype(float)), total


def most(
    holds: sparse.csr_matrix, weight: Floats, sizes: int, *, time_limit_s: float
) -> float:
    """Return a weight that no so many boxes together can exceed; NaN if none is known.

    It is the largest there is where HiGHS comes to its end in time.
    """
    cells, boxes = holds.shape
    held = sparse.hstack([-holds, sparse.identity(cells)], format="csr")
    count = np.concatenate([np.ones(boxes), np.zeros(cells)])
    result = milp(
        np.concatenate([np.zeros(boxes), -weight]),
        constraints=[
            LinearConstraint(held, -np.inf, np.zeros(cells)),
            LinearConstraint(count, -np.inf, sizes),
        ],
        integrality=count,
        bounds=Bounds(0, 1),
        options={"time_limit": time_limit_s, "mip_rel_gap": 1e-9},
    )
    return float("nan") if result.mip_dual_bound is None else -result.mip_dual_bound
