"""The people as the banding reads them, the boxes they fit, and what a fit is for."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.special import ndtr

from sizing.bands import cells
from sizing.bands.cells import Axis, Breaks, Floats, Grid, Ints, Rows, Source
from sizing.bands.graph import Term
from sizing.charts import SizeChart
from sizing.errors import SizingError
from sizing.measures import NO_HIGH, plain, to_tenths
from sizing.people.people import People

#: Low and high edges, shape (sizes, measures), and load limits, shape (sizes,).
Boxes = tuple[Ints, Ints, Ints]
GOALS: tuple[str, ...] = ("covered", "judged", "loss")
#: People are counted into a grid of up to so many cells, and so many more for
#: each row of people; into a larger one only where the search looks.
FEW_CELLS, CELLS_PER_ROW = 1_000_000, 20
#: Share of the people by which candidates differ besides, from the first to the
#: last.
LITTLE = 0.05


@dataclass(frozen=True)
class Measured:
    """People's measures in tenths (mm, 0.1 kg), of the rows that have every measure.

    ``mass`` is ``NO_HIGH`` where not known, and 0 if no size has a limit; ``coverable``
    False for those heavier than every limit. ``total`` is the weight of all rows, those
    not measured included, whose share is ``not_measured``.
    """

    measures: tuple[str, ...]
    values: Ints
    weight: Floats
    mass: Ints
    coverable: np.ndarray
    person: Ints
    row: Ints
    total: float
    not_measured: float

    @property
    def persons(self) -> int:
        return int(self.person.max()) + 1

    @property
    def counted(self) -> Floats:
        """Weights with those over the load limit set to zero."""
        return np.where(self.coverable, self.weight, 0.0)


def read_measured(
    people: People, measures: Sequence[str], *, limits: Sequence[int] = (NO_HIGH,)
) -> Measured:
    """Read the measures to band by; ``limits`` in 0.1 kg, ``NO_HIGH`` for none."""
    frame = people.frame
    limited = min(limits) < NO_HIGH
    weight = _checked_weight(people, measures, limited)
    values = np.column_stack([to_tenths(frame[m].to_numpy(float)) for m in measures])
    known = (values >= 0).all(axis=1) & (weight > 0)
    if not known.any():
        raise SizingError(
            f"nobody in '{people.name}' has all of {', '.join(map(plain, measures))}",
            allowed="at least one person with every measure",
            action="draw the missing measures, or band by fewer",
        )
    mass = np.zeros(len(frame), dtype=np.int64)
    if limited:
        mass = to_tenths(frame["body_mass_kg"].to_numpy(float))
        mass = np.where(mass < 0, NO_HIGH, mass)
    _, person = np.unique(pd.factorize(frame["person"])[0][known], return_inverse=True)
    total = float(weight.sum())
    return Measured(
        tuple(measures),
        values[known],
        weight[known],
        mass[known],
        mass[known] <= max(limits),
        person.astype(np.int64),
        np.flatnonzero(known),
        total,
        1.0 - float(weight[known].sum()) / total,
    )


def _checked_weight(people: People, measures: Sequence[str], limited: bool) -> Floats:
    frame = people.frame
    if len(frame) == 0:
        raise SizingError(
            f"there is nobody in '{people.name}'", allowed="at least one person"
        )
    needed = [*measures, "body_mass_kg"] if limited else measures
    if absent := [m for m in needed if m not in frame]:
        what = "the people lack a measure to band by"
        action = "choose among these, or add the measure to the people"
        if absent[0] not in measures:
            what = "no load limit can be kept without the people's weight"
            action = "add weight to the people, or state no load limit"
        allowed = ", ".join(people.measures)
        raise SizingError(what, allowed=allowed, action=action, column=absent[0])
    weight = people.weight.to_numpy(dtype=float)
    if not np.isfinite(weight).all() or (weight < 0).any() or weight.sum() <= 0:
        raise SizingError(
            "the weights of the people make no sense",
            allowed="no weight missing or below zero, and not all zero",
            column="weight",
        )
    return weight


def covered(measured: Measured, boxes: Boxes) -> np.ndarray:
    """Return who fits at least one box that may lift her."""
    found = np.zeros(len(measured.values), dtype=bool)
    for bottom, top, limit in zip(*boxes, strict=True):
        fits = measured.mass <= limit
        for d in range(measured.values.shape[1]):
            column = measured.values[:, d]
            fits &= (column >= bottom[d]) & (column <= top[d])
        found |= fits
    return found


def share_covered(measured: Measured, boxes: Boxes) -> float:
    """Return the share of all people's weight that fits at least one box."""
    return float(measured.weight[covered(measured, boxes)].sum()) / measured.total


def chart_of(
    measured: Measured, boxes: Boxes, *, group: str, name: str, source: str
) -> SizeChart:
    """Sizes numbered from the smallest; named "size 1", ... without a group."""
    low, high, limits = boxes
    columns: dict[str, object] = {
        "size": [f"{group or 'size'} {k + 1}" for k in range(len(low))],
        "group": group,
        "load_limit_kg": np.where(limits < NO_HIGH, limits / 10, np.nan),
    }
    for d, measure in enumerate(measured.measures):
        columns[f"{measure}_low"] = low[:, d] / 10
        columns[f"{measure}_high"] = high[:, d] / 10
    return SizeChart(pd.DataFrame(columns), name=name, source=source)


def quantile_boxes(
    values: Ints, weight: Floats, axes: Sequence[Axis], sizes: int
) -> tuple[Ints, Ints]:
    """Centre size k of K on the quantile (k - 1/2) / K: common practice, no source."""
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


@dataclass(frozen=True)
class Goal:
    """What a chart is praised for; ``sd`` and ``near`` in tenths, by measure.

    ``covered``: the share who fit a size. ``judged``: the mean chance of being read
    into one. ``loss``: 1 less the mean cost, of nothing who fits, 1 who fits none; who
    comes within ``near`` of a size costs ``too_large`` if only low edges would have to
    give way, ``too_small`` if only high edges would, the dearer of both if both.
    """

    name: str = "covered"
    sd: tuple[float, ...] = ()
    near: tuple[int, ...] = ()
    too_large: float = 1.0
    too_small: float = 0.5

    def terms(self) -> list[tuple[float, int, int]]:
        """Return (worth, low edges give way?, high ones?) of unions of sizes."""
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

    def worth(self, measured: Measured, boxes: Boxes) -> Floats:
        """Return what each row adds to the value, from 0 to 1."""
        if self.name == "covered":
            return covered(measured, boxes).astype(float)
        low, high, limits = boxes
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
        self, measured: Measured, boxes: Boxes, rows: np.ndarray | None = None
    ) -> float:
        """Return the goal's value for boxes and some rows, from first principles."""
        weight = measured.weight * (True if rows is None else rows)
        return float(weight @ self.worth(measured, boxes)) / float(weight.sum())


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
            table = cells.cumulate_blurred(values, weight, breaks, self.goal.sd)
            return Grid(breaks, table)
        if number not in self.kept:
            breaks = [Breaks.of(axis) for axis in axes]
            number_of = float(np.prod([len(cut.cuts) + 1.0 for cut in breaks]))
            if number_of > CELLS_PER_ROW * len(values) + FEW_CELLS:
                return Rows(values, weight)
            self.kept[number] = (breaks, cells.cell_numbers(values, breaks))
        breaks, places = self.kept[number]
        lengths = [len(cut.cuts) for cut in breaks]
        return Grid(breaks, cells.cumulate(places, weight, lengths))
