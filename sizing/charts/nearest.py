"""The nearest size for a person whom none fits, and which way each size is wrong."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts.fits import MASS, limits, tenths
from sizing.charts.size_chart import SizeChart
from sizing.measures.edges import MISSING_TENTHS, NO_HIGH, NO_LOW

Ints = npt.NDArray[np.int64]


def misfits(
    values: Mapping[str, npt.NDArray[np.integer[Any]]] | pd.DataFrame,
    chart: SizeChart,
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Return for whom each size is too small, and for whom too large.

    They are different harms: a sling too small gives discomfort and pressure and may
    tip; from one too large a person can slip out (HSE information sheet HSIS3).

    Parameters
    ----------
    values : DataFrame or mapping
        As for ``fits_matrix``.
    chart : SizeChart
        The size chart, in cm and kg.

    Returns
    -------
    too_small, too_large : ndarray of bool, shape (rows, sizes)
        Whether some measure lies above the size's high edge, and whether some lies
        below its low edge. Both can be true. A measure not taken says nothing; the
        load limit is another matter.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["one", "two"], "hip_circumference_cm_low": [70, 92],
    ...     "hip_circumference_cm_high": [90, 115]}), warn=False)
    >>> small, large = misfits(pd.DataFrame({"hip_circumference_cm": [91.0]}), chart)
    >>> small.tolist(), large.tolist()
    ([[True, False]], [[False, True]])
    """
    if isinstance(values, pd.DataFrame):
        values = tenths(values, chart)
    rows = max(map(len, values.values()), default=0)
    too_small = np.zeros((rows, len(chart.sizes)), dtype=bool)
    too_large = too_small.copy()
    for measure in chart.measures:
        (low, high), x = chart.edges(measure), np.asarray(values[measure])[:, None]
        too_small |= x > high
        too_large |= (x < low) & (x != MISSING_TENTHS)
    return too_small, too_large


def yardsticks(chart: SizeChart) -> dict[str, float]:
    """Return what one unit of miss is in each limited measure, in tenths.

    The chart's median band width; where no size has both edges, a tenth of
    the median edge; never less than one tenth.
    """
    made = {}
    for measure, (low, high) in limits(chart).items():
        both = (low > NO_LOW) & (high < NO_HIGH)
        edges = np.concatenate([low[low > NO_LOW], high[high < NO_HIGH]])
        width = np.median((high - low)[both]) if both.any() else np.median(edges) / 10
        made[measure] = max(float(width), 1.0)
    return made


def nearest(
    values: Mapping[str, Ints], chart: SizeChart, *, over_load: npt.NDArray[np.bool_]
) -> tuple[Ints, Ints, Ints, npt.NDArray[np.float64]]:
    """Find the size with the least total miss (``charts.assign`` has the rule)."""
    n, k = len(over_load), len(chart.sizes)
    row = np.arange(n)
    units = yardsticks(chart)
    total = np.zeros((n, k))
    for measure, (low, high) in limits(chart).items():
        total += _distance(values[measure], low, high) / units[measure]
    load = chart.load_limits()
    if over_load.any():
        mass = values[MASS][:, None]
        total[over_load[:, None] & (mass <= load)] = np.inf
    size = total.argmin(axis=1)

    parts = np.empty((n, len(units)))
    above = np.empty((n, len(units)), dtype=bool)
    gaps = np.empty((n, len(units)), dtype=np.int64)
    for j, (measure, (low, high)) in enumerate(limits(chart).items()):
        x, lo, hi = values[measure], low[size], high[size]
        known = x != MISSING_TENTHS
        above[:, j] = x > hi
        gaps[:, j] = np.where(known, np.maximum(np.maximum(lo - x, x - hi), 0), 0)
        parts[:, j] = gaps[:, j] / units[measure]
    measure_at = parts.argmax(axis=1)
    miss = gaps[row, measure_at]
    direction = np.where(above[row, measure_at], 0, 1)

    if over_load.any() or MASS in units:
        j = list(units).index(MASS)
        beyond = values[MASS] > load[size]
        heavy = over_load | ((measure_at == j) & beyond)
        measure_at = np.where(heavy, j, measure_at)
        direction = np.where(heavy, 2, direction)
        miss = np.where(heavy, values[MASS] - load[size], miss)
    return size, measure_at, direction, miss / 10


def _distance(x: Ints, low: Ints, high: Ints) -> Ints:
    """Return how far each value lies outside each band, 0 where not measured."""
    value = x[:, None]
    gap = np.maximum(np.maximum(low - value, value - high), 0)
    return np.where(value == MISSING_TENTHS, 0, gap)
