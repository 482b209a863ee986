"""The candidate bands of each measure, and how many people a box of them holds."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import prod
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from sizing.charts.files import MOST_SIZES
from sizing.errors import SizingError, check_number, one_of
from sizing.measures import NO_HIGH, to_tenths

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Width = float | Sequence[float]

#: Widths, steps and blurs beyond this, in cm or kg, are slips: no body is so large.
WIDEST = 1_000

#: Edges a chart may be rounded to, in tenths (mm or 0.1 kg).
ROUNDINGS: dict[str, float] = {"half": 5.0, "whole": 10.0, "five": 50.0, "inch": 25.4}


@dataclass(frozen=True)
class Axis:
    """The candidate bands of one measure, in tenths (mm, 0.1 kg), an array per size.

    A candidate of a bounding axis stands for every band that starts from ``low`` to
    ``top``; none passes its ``high``, ``inner`` is the least of their high edges.
    """

    measure: str
    low: tuple[Ints, ...]
    top: tuple[Ints, ...]
    high: tuple[Ints, ...]
    inner: tuple[Ints, ...]
    least_step: int = 0
    least_overlap: int | None = None

    @property
    def sizes(self) -> int:
        return len(self.low)

    @property
    def aligned(self) -> bool:
        """All sizes have the same low edges, and no larger size is narrower."""
        return all(map(np.array_equal, self.low, self.low[1:])) and all(
            (a <= b).all() for a, b in pairwise(self.high)
        )

    def widened(self, down: int, up: int) -> "Axis":
        """Return the axis with low edges lowered and high edges raised."""
        low, high = (low - down for low in self.low), (high + up for high in self.high)
        return replace(self, low=tuple(low), high=tuple(high))

    def with_fixed(self, at: int, low: int, high: int) -> "Axis":
        edges = {"low": low, "top": low, "high": high, "inner": high}
        parts: dict[str, Any] = {}
        for name, edge in edges.items():
            were = getattr(self, name)
            parts[name] = (*were[:at], np.array([edge]), *were[at + 1 :])
        return replace(self, **parts)


def tenths(value: float) -> int:
    """Return cm as mm, or kg as 0.1 kg, rounded as people's measures are."""
    return int(to_tenths([value])[0])


def check_widths(widths: Mapping[str, Width], sizes: int) -> dict[str, list[int]]:
    check_number("the number of sizes", sizes, least=1, most=MOST_SIZES, whole=True)
    if not widths:
        raise SizingError(
            "no measure to band by",
            allowed="one to four measures",
            action="give widths such as {'hip_circumference_cm': 20}",
        )
    found: dict[str, list[int]] = {}
    for measure, width in widths.items():
        values = [width] * sizes if np.isscalar(width) else list(width)  # type: ignore[arg-type]
        if len(values) != sizes:
            raise SizingError(
                "the widths given per size do not match the sizes",
                allowed=f"{sizes} widths",
                action="give one width, or one for each size",
                column=measure,
                value=width,
            )
        try:
            numbers = [float(v) for v in values]  # type: ignore[arg-type]
        except (TypeError, ValueError):
            numbers = [float("nan")]
        if not all(v <= WIDEST and tenths(v) >= 1 for v in numbers):
            raise SizingError(
                "a width makes no sense",
                allowed=f"a number in the measure's unit, from 0.1 to {WIDEST:,}",
                column=measure,
                value=width,
            )
        found[measure] = [tenths(v) for v in numbers]
    return found


def make_axis(
    measure: str,
    values: Ints,
    widths: Sequence[int],
    *,
    step: int,
    rounding: str | None = None,
    least_step: int = 0,
    least_overlap: int | None = None,
    room: int = 0,
) -> tuple[Axis, Axis]:
    """Lay out one measure's candidates (tenths): exact, and bounding up to the next.

    A band that starts below the smallest person can be moved up to start at her without
    losing anyone: the candidates run over the people's range, plus ``room``.
    """
    if rounding is not None:
        one_of("rounding", rounding, list(ROUNDINGS))
    unit = None if rounding is None else ROUNDINGS[rounding]
    every = 1 if unit is None else max(1, round(step / unit))
    grid = step if unit is None else every * unit
    # Sizes that must lie apart push each other outwards, by whole steps of the grid.
    apart = int(np.ceil((len(widths) - 1) * np.ceil(least_step / grid) * grid))
    smallest = int(values.min())
    start, stop = smallest - room - apart, int(values.max()) + room + apart

    # Edges are rounded to tenths last: whole inches are no whole tenths, and two
    # low edges an inch apart must not end at the same one.
    def high_of(low: Floats, width: int) -> Ints:
        high = low + width
        return _whole(high if unit is None else np.floor(high / unit + 0.5) * unit)

    lows, tops = _grid(start, stop, step, unit, every)
    high = np.stack([high_of(lows, w) for w in widths])
    # No further than to the first from which every size reaches the largest person,
    # but so far that sizes which all hold her may still lie apart.
    enough = (high >= stop).all(axis=0) & (lows >= smallest + apart if apart else True)
    needed = int(np.argmax(enough)) + 1
    lows, tops, high = lows[:needed], tops[:needed], high[:, :needed]
    low, top = _whole(lows), _whole(tops)
    if (high <= low).any():
        raise SizingError(
            "the bands are narrower than the rounding of their edges",
            allowed="widths of at least one step of the rounding",
            action="give wider bands or a finer rounding",
            column=measure,
            value=rounding,
        )
    each = (low,) * len(widths)
    bands = tuple(high)
    exact = Axis(measure, each, each, bands, bands, least_step, least_overlap)
    outer = tuple(high_of(tops, w) for w in widths)
    return exact, replace(exact, top=(top,) * len(widths), high=outer)


def _grid(
    start: int, stop: int, step: int, unit: float | None, every: int
) -> tuple[Floats, Floats]:
    """Low edges, 0 or more, from at or below start to beyond stop, and their tops."""
    if unit is None:
        lows = np.arange(start // step, stop // step + 2, dtype=float) * step
        tops = lows + step - 1
    else:
        finest = np.arange(start // unit, stop // unit + 2 * every) * unit
        lows, tops = finest[::every], finest[every - 1 :: every]
        lows = lows[: len(tops)]
    some = lows >= 0
    return (lows[some], tops[some]) if some.any() else (lows, tops)


def _whole(edges: Floats) -> Ints:
    """Return edges to the nearest tenth, halves rounded up."""
    return np.floor(edges + 0.5).astype(np.int64)


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
        ends = axis.low, tuple(high + 1 for high in axis.high)
        cuts = np.unique(np.concatenate([edges for end in ends for edges in end]))
        return cls(cuts, *(tuple(map(cuts.searchsorted, end)) for end in ends))

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
        cuts = list(zip(breaks, _strides(table.shape), strict=True))
        self.low = [[low * stride for low in cut.low] for cut, stride in cuts]
        self.high = [[high * stride for high in cut.high] for cut, stride in cuts]

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
    """People counted anew where the search looks: little memory on any grid."""

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
            here = []
            for size, node in zip(sizes, nodes, strict=True):
                here += [axis.low[size][node[:, d, 0]]]
                here += [axis.high[size][node[:, d, 1]] + 1]
            cuts.append(_distinct(here))
            edges.append([np.searchsorted(cuts[-1], edge) for edge in here])
        table = self._below(cuts)
        strides = _strides(table.shape)
        # Low and high edges of the first size, then of the next, by measure.
        ends = [
            [edge * stride for edge, stride in zip(end, strides, strict=True)]
            for end in zip(*edges, strict=True)
        ]
        return table.ravel(), list(zip(ends[::2], ends[1::2], strict=True))

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

    A true value x is read as x + e, rounded to a whole tenth, e normal and independent:
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
        distance = breaks[d].cuts[None, :] - 0.5 - keys[:, d][:, None]
        below = (distance > 0).astype(float) if sd[d] <= 0 else ndtr(distance / sd[d])
        keys = keys[:, :d]
        new = np.ones(len(keys), dtype=bool)
        new[1:] = (np.diff(keys, axis=0) != 0).any(axis=1)
        ends = pairwise([*np.flatnonzero(new), len(new)])
        table = np.stack([(below[a:b].T @ table[a:b]).ravel() for a, b in ends])
        keys = keys[new]
    return table.reshape([len(cut.cuts) for cut in breaks])
