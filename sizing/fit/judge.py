"""What comes of each person: the outcome alone, without its explanation."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from sizing.chart import SizeChart
from sizing.fit.core import MASS, Masks, lookup, mask_type, masks
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
    fitting, possible : ndarray of unsigned int, shape (rows,)
        The sizes known to fit, and those not ruled out by what is known: bit i
        is size i of the chart.
    count : ndarray of int, shape (rows,)
        How many are known to fit.
    code : ndarray of int, shape (rows,)
        Place of the outcome in ``OUTCOMES``; see ``sizing.fit.assign``.
    """

    fitting: Masks
    possible: Masks
    count: npt.NDArray[np.integer[Any]]
    code: npt.NDArray[np.integer[Any]]


def judge(
    values: Mapping[str, npt.NDArray[np.int64]], chart: SizeChart, rows: int
) -> Judged:
    """Say which sizes fit each row, and what comes of it.

    Parameters
    ----------
    values : mapping of measure to ndarray of int
        Every measure of ``sizing.fit.core.limits(chart)``, in whole tenths.
    chart : SizeChart
        Of up to 64 sizes.
    rows : int
        How many, should the chart limit nothing.

    Returns
    -------
    Judged
    """
    kind = mask_type(chart)
    none = kind(0)
    every = kind((1 << len(chart.sizes)) - 1)
    fitting = np.full(rows, every, dtype=kind)
    holding = fitting.copy()
    beyond, below = np.zeros(rows, dtype=bool), np.zeros(rows, dtype=bool)
    for measure in chart.measures:
        low, high = chart.edges(measure)
        x = values[measure]
        fitting &= masks(x, lookup(low, high, kind))
        holding &= masks(x, lookup(low, high, kind, missing_holds=True))
        beyond |= x > high.max()
        below |= (x < low.min()) & (x != MISSING_TENTHS)

    load = chart.load_limits()
    bearing = np.full(rows, every, dtype=kind)
    over_all = np.zeros(rows, dtype=bool)
    if MASS in values and (load < NO_HIGH).any():
        mass, zero = values[MASS], np.zeros_like(load)
        fitting &= masks(mass, lookup(zero, load, kind))
        bearing = masks(mass, lookup(zero, load, kind, missing_holds=True))
        over_all = mass > load.max()

    count = np.bitwise_count(fitting)
    possible = np.bitwise_and(holding, bearing)
    code = np.select(
        [
            count == 1,
            count > 1,
            possible != none,
            over_all | (holding != none),
            beyond,
            below,
        ],
        [0, 1, 6, 5, 3, 4],
        2,
    )
    return Judged(fitting, possible, count, code)
