"""The best boxes that need not be ordered, by HiGHS: what banding is timed against.

The best K boxes solve a mixed-integer programme on the same grid:

    largest  sum_c w_c z_c   with  z_c <= sum of y_b over boxes b that hold c,
                                   sum_b y_b <= K,  y binary,  0 <= z_c <= 1,

with one z per cell that people are in.
"""

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from sizing.bands.axis import Axis, Ints
from sizing.bands.cells import Breaks, Floats, cell_numbers


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
        return float("nan"), float("nan"), np.empty(0, dtype=np.int64)
    chosen = np.flatnonzero(result.x[:boxes] > 0.5)
    reached = np.asarray(holds[:, chosen].sum(axis=1)).ravel() > 0
    bound = -float(result.mip_dual_bound)
    return float(weight[reached].sum()), bound, chosen
