"""What a fit makes as large as it can: the goals on offer."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from sizing.bands.axis import Axis, Ints
from sizing.bands.cells import (
    Breaks,
    Floats,
    Grid,
    Rows,
    Source,
    cell_numbers,
    cumulate,
    cumulate_blurred,
)
from sizing.bands.graph import Term
from sizing.bands.measured import Measured, covered

GOALS: tuple[str, ...] = ("covered", "judged", "loss")
#: People are counted into a grid of up to so many cells, and so many more for
#: each row of people; into a larger one only where the search looks.
FEW_CELLS, CELLS_PER_ROW = 1_000_000, 20
#: Share of the people by which candidates differ besides, from the first to the
#: last.
LITTLE = 0.05


@dataclass(frozen=True)
class Goal:
    """What a chart is praised for.

    ``covered``: the share of people who fit a size. ``judged``: each person's chance
    of being read into a size, given the errors of measurement. ``loss``: 1 less the
    mean loss; a person who fits costs nothing, one who fits no size costs 1, and one
    who comes within ``near`` (in tenths, by measure) of a size costs ``too_large`` if
    only low edges would have to give way (the sling is too large for her),
    ``too_small`` if only high edges would, and the dearer of both if both would.
    ``sd`` is the blur of each measure in tenths: reading errors, or smoothing.
    """

    name: str = "covered"
    sd: tuple[float, ...] = ()
    near: tuple[int, ...] = ()
    too_large: float = 1.0
    too_small: float = 0.5

    def terms(self) -> list[tuple[float, int, int]]:
        """Return (worth, low edges give way?, high edges give way?) per term.

        The union of the sizes is worth the cheaper cost; widened on the
        cheaper side it is worth what the dearer costs more; widened on both
        sides, what being left out costs more still. A person's worth adds up
        to 1 less her cost.
        """
        if self.name != "loss":
            return [(1.0, 0, 0)]
        cheap, dear = sorted((self.too_large, self.too_small))
        large_first = self.too_large <= self.too_small
        return [
            (cheap, 0, 0),
            (dear - cheap, int(large_first), int(not large_first)),
            (1.0 - dear, 1, 1),
        ]

    def wider(self, axes: Sequence[Axis], lower: int, upper: int) -> list[Axis]:
        near = self.near or (0,) * len(axes)
        return [
            axis.widened(lower * n, upper * n)
            for axis, n in zip(axes, near, strict=True)
        ]

    def worth(self, measured: Measured, low: Ints, high: Ints, limits: Ints) -> Floats:
        """Return what each row adds to the value, from 0 to 1."""
        if self.name == "covered":
            return covered(measured, low, high, limits).astype(float)
        near = np.array(self.near or [0] * measured.values.shape[1])
        found = np.zeros(len(measured.values))
        for worth, lower, upper in self.terms():
            start, stop = low - lower * near, high + upper * near
            # Those whom the same sizes may lift are looked at together: for them
            # these sizes are a chain.
            for least in np.unique(limits):
                able = limits >= least
                lighter = limits[~able].max(initial=-1)
                who = (measured.mass <= least) & (measured.mass > lighter)
                found[who] += worth * _chance(
                    measured.values[who], start[able], stop[able], self.sd
                )
        return found

    def value(
        self,
        measured: Measured,
        low: Ints,
        high: Ints,
        limits: Ints,
        rows: np.ndarray | None = None,
    ) -> float:
        """Return the goal's value for boxes and some rows, from first principles."""
        weight = measured.weight * (True if rows is None else rows)
        worth = self.worth(measured, low, high, limits)
        return float(weight @ worth) / float(weight.sum())


def _chance(values: Ints, low: Ints, high: Ints, sd: Sequence[float]) -> Floats:
    """Return each person's chance of being read into one of a chain of boxes."""

    def inside(start: Ints, stop: Ints) -> Floats:
        chance = np.ones(len(values))
        for d, x in enumerate(values.T):
            if sd and sd[d] > 0:
                upto = ndtr((stop[d] + 0.5 - x) / sd[d])
                part = upto - ndtr((start[d] - 0.5 - x) / sd[d])
            else:
                part = ((x >= start[d]) & (x <= stop[d])).astype(float)
            chance *= part if stop[d] >= start[d] else 0.0
        return chance

    found = inside(low[0], high[0])
    for k in range(1, len(low)):
        found += inside(low[k], high[k])
        found -= inside(
            np.maximum(low[k], low[k - 1]), np.minimum(high[k], high[k - 1])
        )
    return found


class Counter:
    """Makes the search's terms of some axes; counts people into cells once."""

    def __init__(
        self, goal: Goal, measured: Measured, axes: Sequence[Axis], limits: Ints
    ) -> None:
        self.goal, self.measured, self.axes, self.limits = goal, measured, axes, limits
        self.kept: dict[int, tuple[list[Breaks], Ints]] = {}

    @cached_property
    def passed(self) -> list[Floats]:
        """How many people the edges of each candidate have passed; see ``Task``."""
        measured, found = self.measured, []
        for column, axis in zip(measured.values.T, self.axes, strict=True):
            # Sizes have the same candidates, but for those owned: these have one.
            low, high = max(
                zip(axis.low, axis.high, strict=True), key=lambda e: len(e[0])
            )
            below = np.cumsum(np.bincount(column, measured.weight, int(high[-1]) + 1))
            # A little for each candidate: tails without people are halved too.
            little = LITTLE * below[-1] / len(low) * np.arange(len(low))
            found.append(below[low] + below[high] + little)
        return found

    def terms(self, weight: Floats) -> list[Term]:
        found = []
        for number, (worth, lower, upper) in enumerate(self.goal.terms()):
            wide = self.goal.wider(self.axes, lower, upper)
            sources = {
                limit: self._source(
                    number, wide, np.where(self.measured.mass <= limit, weight, 0.0)
                )
                for limit in np.unique(self.limits)
            }
            least = np.minimum(self.limits, np.roll(self.limits, 1))
            least[0] = self.limits[0]
            able, both = (
                [sources[limit] for limit in each] for each in (self.limits, least)
            )
            found.append(Term(worth, wide, able, both))
        return found

    def _source(self, number: int, axes: Sequence[Axis], weight: Floats) -> Source:
        values = self.measured.values
        if any(self.goal.sd):
            breaks = [Breaks.of(axis) for axis in axes]
            table = cumulate_blurred(values, weight, breaks, self.goal.sd)
            return Grid(breaks, table)
        if number not in self.kept:
            breaks = [Breaks.of(axis) for axis in axes]
            cells = float(np.prod([len(cut.cuts) + 1.0 for cut in breaks]))
            if cells > CELLS_PER_ROW * len(values) + FEW_CELLS:
                return Rows(values, weight)
            self.kept[number] = (breaks, cell_numbers(values, breaks))
        breaks, cells_of_rows = self.kept[number]
        lengths = [len(cut.cuts) for cut in breaks]
        return Grid(breaks, cumulate(cells_of_rows, weight, lengths))
