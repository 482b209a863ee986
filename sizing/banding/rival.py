"""The rival every fitted chart must meet: bands centred on quantiles."""

from collections.abc import Sequence

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Floats


def quantile_boxes(
    values: Ints, weight: Floats, axes: Sequence[Axis], sizes: int
) -> tuple[Ints, Ints]:
    """Centre each size's band on its own quantile of each measure.

    Size k of K is centred, in each measure, on the weighted quantile at
    (k - 1/2) / K, with the width the fitted chart has. This is what a careful
    person does without a fit (common practice, no source).

    Parameters
    ----------
    values : ndarray of int64, shape (people, measures)
        In tenths; often only those a split trains on.
    weight : ndarray of float
        One per person.
    axes : sequence of Axis
        The measures' candidates, whose widths are used.
    sizes : int
        Number of sizes.

    Returns
    -------
    low, high : ndarray of int64, shape (sizes, measures)
        In tenths.
    """
    at = (np.arange(sizes) + 0.5) / sizes
    low = np.zeros((sizes, len(axes)), dtype=np.int64)
    high = np.zeros_like(low)
    for d, axis in enumerate(axes):
        # Whole tenths: counting them is faster than sorting people.
        reached = np.cumsum(np.bincount(values[:, d], weights=weight))
        centre = np.searchsorted(reached, at * reached[-1] * (1 - 1e-12))
        for k in range(sizes):
            # The candidate whose middle is nearest gives the width to use.
            middle = (axis.low[k] + axis.high[k]) / 2
            near = int(np.argmin(np.abs(middle - centre[k])))
            width = int(axis.high[k][near] - axis.low[k][near])
            low[k, d] = max(int(centre[k]) - width // 2, 0)
            high[k, d] = low[k, d] + width
    return low, high
