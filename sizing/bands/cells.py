"""How many people a box holds: one pass over the people, then look-ups."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from sizing.bands.axis import Axis, Ints
from sizing.errors import SizingError
from sizing.measures import NO_HIGH

Floats = npt.NDArray[np.float64]
#: Most cells of a table (8 bytes each, and as much again while it is made).
MOST_CELLS = 150_000_000


@dataclass(frozen=True)
class Breaks:
    """Where one measure is cut into cells so that every edge falls on a cut."""

    cuts: Ints
    low: tuple[Ints, ...]
    high: tuple[Ints, ...]

    @classmethod
    def of(cls, axis: Axis) -> "Breaks":
        above = [high + 1 for high in axis.high]
        cuts = np.unique(np.concatenate([*axis.low, *above]))
        return cls(
            cuts,
            tuple(np.searchsorted(cuts, low) for low in axis.low),
            tuple(np.searchsorted(cuts, high) for high in above),
        )

    def cells(self, values: Ints) -> Ints:
        """The number of cuts at or below each value."""
        start = int(self.cuts[0])
        span = int(self.cuts[-1]) - start + 1
        look_up = np.zeros(span + 1, dtype=np.int64)
        look_up[1:] = np.searchsorted(
            self.cuts, np.arange(start, start + span), "right"
        )
        return look_up[np.clip(values - (start - 1), 0, span)]


def cell_numbers(values: Ints, breaks: Sequence[Breaks]) -> Ints:
    number = np.zeros(len(values), dtype=np.int64)
    for column, cut in zip(values.T, breaks, strict=True):
        number = number * (len(cut.cuts) + 1) + cut.cells(column)
    return number


def cumulate(numbers: Ints, weight: Floats, lengths: Sequence[int]) -> Floats:
    """Return the weight of the people below each combination of cuts."""
    shape = [length + 1 for length in lengths]
    if np.prod(shape, dtype=float) > MOST_CELLS:
        raise SizingError(
            "the grid is too fine for so many measures",
            allowed=f"up to {MOST_CELLS} cells",
            action=(
                "take a larger step, above all for weight: step_cm={'body_mass_kg': 5}"
            ),
            value=int(np.prod(shape, dtype=float)),
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


#: Where low edges and the cuts just above high edges lie in a table, by measure.
Edges = tuple[list[Ints], list[Ints]]


class Grid:
    def __init__(self, breaks: Sequence[Breaks], table: Floats) -> None:
        self.flat = table.ravel()
        strides = _strides(table.shape)
        self.low = [
            [low * stride for low in cut.low]
            for cut, stride in zip(breaks, strides, strict=True)
        ]
        self.high = [
            [high * stride for high in cut.high]
            for cut, stride in zip(breaks, strides, strict=True)
        ]

    def opened(
        self, axes: Sequence[Axis], sizes: Sequence[int], nodes: Sequence[Ints]
    ) -> tuple[Floats, list[Edges]]:
        """Return weights below cuts, and where the nodes' edges lie among them."""
        found = []
        for size, node in zip(sizes, nodes, strict=True):
            low = [at[size][node[:, d, 0]] for d, at in enumerate(self.low)]
            high = [at[size][node[:, d, 1]] for d, at in enumerate(self.high)]
            found.append((low, high))
        return self.flat, found


class Rows:
    """People as they are; they are counted anew where the search looks.

    That takes little memory however fine the grid is, because the search has
    only few edges left when its nodes are small.
    """

    def __init__(self, values: Ints, weight: Floats) -> None:
        kept = weight > 0
        values = values[kept]
        self.weight = weight[kept]
        self.start = values.min(axis=0, initial=NO_HIGH)
        self.columns = np.ascontiguousarray((values - self.start).T)

    def opened(
        self, axes: Sequence[Axis], sizes: Sequence[int], nodes: Sequence[Ints]
    ) -> tuple[Floats, list[Edges]]:
        cuts, edges = [], []
        for d, axis in enumerate(axes):
            here = [
                edge
                for size, node in zip(sizes, nodes, strict=True)
                for edge in (
                    axis.low[size][node[:, d, 0]],
                    axis.high[size][node[:, d, 1]] + 1,
                )
            ]
            cuts.append(_distinct(here))
            edges.append([np.searchsorted(cuts[-1], edge) for edge in here])
        table = self._below(cuts)
        strides = _strides(table.shape)
        found = []
        for k in range(len(sizes)):
            low, high = (
                [at[2 * k + end] * s for at, s in zip(edges, strides, strict=True)]
                for end in (0, 1)
            )
            found.append((low, high))
        return table.ravel(), found

    def _below(self, cuts: Sequence[Ints]) -> Floats:
        number = np.zeros(len(self.weight), dtype=np.int64)
        for column, start, cut in zip(self.columns, self.start, cuts, strict=True):
            values = np.arange(start, start + column.max(initial=0) + 1)
            number *= len(cut) + 1
            number += np.searchsorted(cut, values, "right")[column]
        return cumulate(number, self.weight, [len(cut) for cut in cuts])


Source = Grid | Rows


def _strides(shape: Sequence[int]) -> list[int]:
    return [prod(shape[d + 1 :]) for d in range(len(shape))]


def _distinct(edges: Sequence[Ints]) -> Ints:
    """Return the values that occur; there are few, so sorting them is waste."""
    first = min(int(edge.min()) for edge in edges)
    seen = np.zeros(max(int(edge.max()) for edge in edges) - first + 1, dtype=bool)
    for edge in edges:
        seen[edge - first] = True
    return np.flatnonzero(seen) + first


def cumulate_blurred(
    values: Ints, weight: Floats, breaks: Sequence[Breaks], sd: Sequence[float]
) -> Floats:
    """Return the expected weight below each combination of cuts.

    A person of true value x is read as x + e, rounded to a whole tenth, with e
    normal, of mean zero, and independent from measure to measure. She is
    below a cut c with probability Phi((c - 1/2 - x) / sd).
    """
    if len(breaks) > 3:
        raise SizingError(
            "errors and smoothing are allowed for in up to three measures",
            allowed="one to three measures",
            action="band by fewer measures, or without smoothing",
            value=len(breaks),
        )
    kept = weight > 0
    keys, place = np.unique(values[kept], axis=0, return_inverse=True)
    first = np.bincount(place.ravel(), weights=weight[kept])
    table: Floats = first.astype(float)[:, None]
    # From the last measure to the first: sum over its values within each
    # combination of the values of the measures before it.
    for d in range(len(breaks) - 1, -1, -1):
        below = _below(keys[:, d], breaks[d].cuts, sd[d])
        before = keys[:, :d]
        starts = np.flatnonzero(
            np.r_[True, (np.diff(before, axis=0) != 0).any(axis=1)]
            if d
            else np.arange(len(keys)) == 0
        )
        stops = np.append(starts[1:], len(keys))
        table = np.stack(
            [
                (below[a:b].T @ table[a:b]).ravel()
                for a, b in zip(starts, stops, strict=True)
            ]
        )
        keys = before[starts]
    return table.reshape([len(cut.cuts) for cut in breaks])


def _below(values: Ints, cuts: Ints, sd: float) -> Floats:
    distance = cuts[None, :] - 0.5 - values[:, None]
    if sd <= 0:
        return (distance > 0).astype(float)
    found: Floats = ndtr(distance / sd)
    return found
