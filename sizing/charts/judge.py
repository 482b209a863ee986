"""What comes of each person: the outcome alone, without its explanation."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from sizing.charts.fits import MASS, Masks, lookup, mask_type, masks, parts
from sizing.charts.size_chart import SizeChart
from sizing.measures.edges import MISSING_TENTHS, NO_HIGH

#: What can come of it, each person and draw having exactly one.
OUTCOMES: tuple[str, ...] = (
    "one",
    "choice",
    "between",
    "beyond_largest",
    "below_smallest",
    "over_load",
    "not_measured",
)


@dataclass(frozen=True)
class Judged:
    """Sizes and outcome of each row.

    Attributes
    ----------
    fitting, possible : list of ndarray of unsigned int, each (rows,)
        The sizes known to fit, and those not ruled out by what is known: bit i
        is size i of a part of the chart (``sizing.charts.fits.parts``).
    count : ndarray of int, shape (rows,)
        How many are known to fit.
    code : ndarray of int, shape (rows,)
        Place of the outcome in ``OUTCOMES``; see ``sizing.charts.assign``.
    """

    fitting: list[Masks]
    possible: list[Masks]
    count: npt.NDArray[np.integer[Any]]
    code: npt.NDArray[np.integer[Any]]


def judge(
    values: Mapping[str, npt.NDArray[np.int64]], chart: SizeChart, rows: int
) -> Judged:
    """Say which sizes fit each row, and what comes of it."""
    beyond, below = np.zeros(rows, dtype=bool), np.zeros(rows, dtype=bool)
    for measure in chart.measures:
        low, high = chart.edges(measure)
        beyond |= values[measure] > high.max()
        below |= (values[measure] < low.min()) & (values[measure] != MISSING_TENTHS)
    load = chart.load_limits()
    over_all = np.zeros(rows, dtype=bool)
    if MASS in values and (load < NO_HIGH).any():
        over_all = values[MASS] > load.max()

    found = [_of_part(values, part, rows) for part in parts(chart)]
    fitting, holding, possible = (list(each) for each in zip(*found, strict=True))
    count = np.sum([np.bitwise_count(part) for part in fitting], axis=0, dtype=int)
    held, could = (
        np.logical_or.reduce([part != 0 for part in each])
        for each in (holding, possible)
    )
    code = np.select(
        [
            count == 1,
            count > 1,
            could,
            over_all | held,
            beyond,
            below,
        ],
        [0, 1, 6, 5, 3, 4],
        2,
    )
    return Judged(fitting, possible, count, code)


def _of_part(
    values: Mapping[str, npt.NDArray[np.int64]], chart: SizeChart, rows: int
) -> tuple[Masks, Masks, Masks]:
    """Return the sizes that fit, those whose bands could hold, and could fit."""
    kind = mask_type(chart)
    every = kind((1 << len(chart.sizes)) - 1)
    fitting = np.full(rows, every, dtype=kind)
    holding, bearing = fitting.copy(), fitting.copy()
    for measure in chart.measures:
        x, edges = values[measure], chart.edges(measure)
        fitting &= masks(x, lookup(*edges, kind))
        holding &= masks(x, lookup(*edges, kind, missing_holds=True))
    load = chart.load_limits()
    if MASS in values and (load < NO_HIGH).any():
        mass, zero = values[MASS], np.zeros_like(load)
        fitting &= masks(mass, lookup(zero, load, kind))
        bearing = masks(mass, lookup(zero, load, kind, missing_holds=True))
    return fitting, holding, np.bitwise_and(holding, bearing)
