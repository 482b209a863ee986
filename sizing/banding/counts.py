"""How many people a box holds: one pass over the people, then look-ups."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sizing.banding.axis import Axis, Ints
from sizing.errors import Problem, SizingError

Floats = npt.NDArray[np.float64]
Places = slice | Ints
#: Most cells of a table (8 bytes each, and as much again while it is made).
MOST_CELLS = 150_000_000


@dataclass(frozen=True)
class Breaks:
    """Where one measure is cut into cells so that every edge falls on a cut.

    Attributes
    ----------
    cuts : ndarray of int64
        In tenths, increasing; a cell runs from one cut up to just below the
        next.
    low : tuple of ndarray of int64
        For each size, which cut each candidate's low edge is.
    high : tuple of ndarray of int64
        For each size, which cut lies just above each candidate's high edge.
    """

    cuts: Ints
    low: tuple[Ints, ...]
    high: tuple[Ints, ...]

    @classmethod
    def of(cls, axis: Axis, cuts: Ints | None = None) -> "Breaks":
        """Cut a measure at the edges of its candidate bands.

        ``cuts`` may be given if they hold every edge already.
        """
        above = [high + 1 for high in axis.high]
        if cuts is None:
            cuts = np.unique(np.concatenate([*axis.low, *above]))
        return cls(
            cuts,
            tuple(np.searchsorted(cuts, low) for low in axis.low),
            tuple(np.searchsorted(cuts, high) for high in above),
        )

    def cells(self, values: Ints) -> Ints:
        """Return the cell of each value: the number of cuts at or below it."""
        start = int(self.cuts[0])
        span = int(self.cuts[-1]) - start + 1
        look_up = np.zeros(span + 1, dtype=np.int64)
        look_up[1:] = np.searchsorted(
            self.cuts, np.arange(start, start + span), "right"
        )
        return look_up[np.clip(values - (start - 1), 0, span)]


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
    if np.prod(shape, dtype=float) > MOST_CELLS:
        raise SizingError(
            str(
                Problem(
                    "the grid is too fine for so many measures",
                    f"up to {MOST_CELLS} cells",
                    "take a larger step, above all for body mass: "
                    "step_cm={'body_mass_kg': 5}",
                    value=int(np.prod(shape, dtype=float)),
                )
            )
        )
    table: Floats = np.bincount(
        numbers, weights=weight, minlength=int(np.prod(shape))
    ).astype(float, copy=False)
    table = table.reshape(shape)[tuple(slice(0, -1) for _ in shape)]
    table = np.cumsum(table, axis=-1)
    # Adding whole slices is faster than cumsum along the other dimensions.
    for axis in range(len(shape) - 1):
        slices = np.moveaxis(table, axis, 0)
        for i in range(1, len(slices)):
            slices[i] += slices[i - 1]
    return table


class Lookup:
    """Weights of boxes, read from a table of cumulated weights."""

    def __init__(self, table: Floats) -> None:
        self.table = table
        self.flat = table.ravel()
        sizes = [int(np.prod(table.shape[d + 1 :])) for d in range(table.ndim)]
        self.strides = sizes

    def weight(self, low: Sequence[Ints], high: Sequence[Ints]) -> Floats:
        """Return the weight between two cuts in each measure.

        Parameters
        ----------
        low, high : sequence of ndarray of int64
            One array per measure: the cuts between which a box lies; a high
            cut is nowhere below its low cut.
        """
        at = [a * stride for a, stride in zip(low, self.strides, strict=True)]
        to = [a * stride for a, stride in zip(high, self.strides, strict=True)]
        return self._weight(at, to, 0, None)

    def _weight(
        self, low: list[Ints], high: list[Ints], d: int, base: Ints | None
    ) -> Floats:
        upper = high[d] if base is None else base + high[d]
        lower = low[d] if base is None else base + low[d]
        if d == len(low) - 1:
            return self.flat[upper] - self.flat[lower]
        return self._weight(low, high, d + 1, upper) - self._weight(
            low, high, d + 1, lower
        )


def places(index: Ints) -> Places:
    """Return an index as a slice if it runs in even steps (much faster)."""
    if len(index) == 1:
        return slice(int(index[0]), int(index[0]) + 1)
    steps = np.diff(index)
    step = int(steps[0]) if len(steps) else 1
    if len(index) and step > 0 and (steps == step).all():
        return slice(int(index[0]), int(index[-1]) + 1, step)
    return index


def along(values: Floats, axis: int, index: Places) -> Floats:
    """Return some places along one axis."""
    return values[(slice(None),) * axis + (index,)]


def between(table: Floats, axis: int, low: Ints, high: Ints) -> Floats:
    """Return the weight between cuts ``low`` and ``high`` along one measure."""
    return along(table, axis, places(high)) - along(table, axis, places(low))
