"""How many people a box holds: one pass over the people, then look-ups."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sizing.banding.axis import Axis, Ints

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Breaks:
    """Where one measure is cut into cells so that every edge falls on a cut.

    Attributes
    ----------
    cuts : ndarray of int64
        In tenths, increasing; a cell runs from one cut up to just below the
        next.
    low : ndarray of int64, shape (candidates,)
        Which cut each low edge is.
    high : ndarray of int64, shape (sizes, candidates)
        Which cut lies just above each high edge.
    """

    cuts: Ints
    low: Ints
    high: Ints

    @classmethod
    def of(cls, axis: Axis, *, outer: bool = False) -> "Breaks":
        """Cut a measure at the edges of its candidate bands."""
        above = (axis.outer if outer else axis.high) + 1
        cuts = np.unique(np.concatenate([axis.low, above.ravel()]))
        return cls(cuts, np.searchsorted(cuts, axis.low), np.searchsorted(cuts, above))

    def cells(self, values: Ints) -> Ints:
        """Return the cell of each value: the number of cuts at or below it."""
        start = int(self.cuts[0])
        span = int(self.cuts[-1]) - start + 1
        look_up = np.searchsorted(self.cuts, np.arange(start, start + span), "right")
        inside = np.clip(values - start, -1, span - 1)
        return np.where(inside < 0, 0, look_up[np.maximum(inside, 0)])


def cell_numbers(values: Ints, breaks: Sequence[Breaks]) -> Ints:
    """Return one cell number per person over all measures.

    Parameters
    ----------
    values : ndarray of int64, shape (people, measures)
        In tenths, none missing.
    breaks : sequence of Breaks
        One per measure.
    """
    number = np.zeros(len(values), dtype=np.int64)
    for column, cut in zip(values.T, breaks, strict=True):
        number = number * (len(cut.cuts) + 1) + cut.cells(column)
    return number


def cumulate(numbers: Ints, weight: Floats, breaks: Sequence[Breaks]) -> Floats:
    """Return the weight of the people below each combination of cuts.

    Parameters
    ----------
    numbers : ndarray of int64
        From ``cell_numbers``.
    weight : ndarray of float
        One per person.
    breaks : sequence of Breaks
        One per measure.

    Returns
    -------
    ndarray of float, one dimension per measure
        Entry (i, j, ...) is the weight of those below cut i in the first
        measure, below cut j in the second, and so on.
    """
    shape = [len(cut.cuts) + 1 for cut in breaks]
    table = np.bincount(numbers, weights=weight, minlength=int(np.prod(shape)))
    table = table.reshape(shape)
    for axis in range(len(shape)):
        table = np.cumsum(table, axis=axis)
    return table[tuple(slice(0, -1) for _ in shape)]


def between(table: Floats, axis: int, low: Ints, high: Ints) -> Floats:
    """Return the weight between cuts ``low`` and ``high`` along one measure."""
    return table.take(high, axis=axis) - table.take(low, axis=axis)


def box_weights(table: Floats, breaks: Sequence[Breaks], size: int) -> Floats:
    """Return the weight in every candidate box of one size."""
    for axis, cut in enumerate(breaks):
        table = between(table, axis, cut.low, cut.high[size])
    return table
