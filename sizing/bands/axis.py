"""The candidate bands of one measure: which edges a size may have."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sizing.charts.files import MOST_SIZES
from sizing.errors import SizingError, check_number, one_of
from sizing.measures import to_tenths

Ints = npt.NDArray[np.int64]
Edges = npt.NDArray[np.float64]
Width = float | Sequence[float]

#: Widths, steps and blurs beyond this, in cm or kg, are slips: no body is so large.
WIDEST = 1_000

#: Edges a chart may be rounded to, in tenths (mm or 0.1 kg).
ROUNDINGS: dict[str, float] = {"half": 5.0, "whole": 10.0, "five": 50.0, "inch": 25.4}


@dataclass(frozen=True)
class Axis:
    """The candidate bands of one measure, in tenths (mm, 0.1 kg), an array per size.

    A candidate of an exact axis is one band, from ``low`` to ``high``. A
    candidate of a bounding axis stands for every band that starts from ``low``
    to ``top``; none of them passes its ``high``, and ``inner`` is the least of
    their high edges. Sizes stand smallest first, edges rise strictly; low edges of
    neighbours lie ``least_step`` apart or more, and their bands share at least
    ``least_overlap``.
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
        pairs = zip(self.low[:-1], self.low[1:], strict=True)
        return all(np.array_equal(a, b) for a, b in pairs) and all(
            (a <= b).all() for a, b in zip(self.high[:-1], self.high[1:], strict=True)
        )

    def n(self, size: int) -> int:
        return len(self.low[size])

    def widened(self, down: int, up: int) -> "Axis":
        """Return the axis with low edges lowered and high edges raised."""
        if not down and not up:
            return self
        return replace(
            self,
            low=tuple(low - down for low in self.low),
            high=tuple(high + up for high in self.high),
        )

    def with_fixed(self, at: int, low: int, high: int) -> "Axis":
        def part(edges: tuple[Ints, ...], edge: int) -> tuple[Ints, ...]:
            return (*edges[:at], np.array([edge]), *edges[at + 1 :])

        return replace(
            self,
            low=part(self.low, low),
            top=part(self.top, low),
            high=part(self.high, high),
            inner=part(self.inner, high),
        )


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
    """Lay out the candidate bands of one measure over the people's range.

    A band that starts below the smallest person can be moved up to start at
    her without losing anyone, and so at the other end; the candidates
    therefore run over the people's range and no further, plus ``room``. Lengths are
    in tenths.

    Returns exact candidates, and a bounding axis, each candidate of which stands for
    every permitted low edge up to the next one (whole mm or 0.1 kg, or the multiples
    that ``rounding`` permits).
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
    def high_of(low: Edges, width: int) -> Ints:
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
) -> tuple[Edges, Edges]:
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


def _whole(edges: Edges) -> Ints:
    """Return edges to the nearest tenth, halves rounded up."""
    return np.floor(edges + 0.5).astype(np.int64)
