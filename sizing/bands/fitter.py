"""A checked request with its people counted into cells once."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from sizing.bands.cells import Axis, Breaks, Floats, Ints
from sizing.bands.goal import Boxes, Counter, Goal, Measured, quantile_boxes
from sizing.bands.graph import NUDGE, Meter, Task
from sizing.bands.request import FitSettings, check_request
from sizing.bands.search import best_chart, climb, upper_bound
from sizing.errors import SizingError, check_given
from sizing.people.people import People

#: How long to press a bound: up to so many pairs of nodes, and cells of people.
Effort = tuple[int, int]
QUICK, THOROUGH = (3_000_000, 3_000_000), (40_000_000, 12_000_000)
#: How far above the value, as a share, a bound may stay if nobody asks for less.
NEAR = 0.01
#: Up to so many measures a thorough search is over within seconds, as a rule; with
#: more, it is where the quick one comes so near, as a share (no source: chosen by
#: the runs that ``fit_bands`` tells of).
FEW_MEASURES, WITHIN_REACH = 3, 0.05


class Fitter:
    """A checked request; refitting to some rows, or other weights, reuses the cells."""

    def __init__(self, people: People, asked: FitSettings) -> None:
        self.asked = asked
        self.measured, self.layout, self.goal, search = check_request(people, asked)
        self.exact = self.goal == search
        self.meter = Meter()
        self.sizes = self.layout.sizes
        self.places = self.layout.axes(self.layout.steps, bounding=False)
        self.axes = self.places[0]
        self.counters = [
            Counter(search, self.measured, axes, limits)
            for axes, limits in zip(self.places, self.layout.limits, strict=True)
        ]

    @classmethod
    def of(cls, people: People, **settings: Any) -> "Fitter":
        check_given(FitSettings, settings)
        return cls(people, FitSettings(**settings))

    def tasks(self, weight: Floats, *, aim: bool = True) -> list[Task]:
        """One for each place of the owned sizes; without ``aim`` no tie rule."""
        total = float(weight.sum()) / self._share_measured
        near = self.rival(weight)[0] if aim else None
        weight = np.where(self.measured.coverable, weight, 0.0)
        return [
            Task(c.axes, c.terms(weight), c.passed, total, c.limits, near, self.meter)
            for c in self.counters
        ]

    @staticmethod
    def edges(task: Task, index: Ints) -> Boxes:
        low, high = np.zeros_like(index), np.zeros_like(index)
        for (k, d), i in np.ndenumerate(index):
            low[k, d], high[k, d] = task.axes[d].low[k][i], task.axes[d].high[k][i]
        return low, high, task.limits

    def fit(self, weight: Floats | None = None) -> Boxes:
        if weight is None:
            return self.best
        return self._solve(weight, self.best[0])

    @cached_property
    def best(self) -> Boxes:
        return self._solve(self.measured.weight, None)

    def _solve(self, weight: Floats, near: Ints | None) -> Boxes:
        value, found = -np.inf, None
        self.meter.search = 0
        for task in self.tasks(weight):
            start = _nearest(task.axes, self.rival(weight)[0] if near is None else near)
            reached, index = best_chart(task, start, value)
            if reached > value and index is not None:
                value, found = reached, self.edges(task, index)
        if found is None:
            raise SizingError(
                "no chart meets all the constraints",
                allowed="constraints that leave at least one chart",
                action="lower the least step or overlap, or ask for fewer sizes",
            )
        return found

    def rival(self, weight: Floats) -> Boxes:
        rows = weight > 0
        low, high = quantile_boxes(
            self.measured.values[rows], weight[rows], self._free_axes, self.sizes
        )
        return low, high, np.full(self.sizes, self.layout.limit, dtype=np.int64)

    @cached_property
    def _free_axes(self) -> list[Axis]:
        return self.layout.free(self.layout.steps, bounding=False)

    def value(self, boxes: Boxes, rows: np.ndarray | None = None) -> float:
        """Return the goal's value for some rows, from first principles."""
        # Those not measured fit no size, here and among those held out.
        return self._share_measured * self.goal.value(self.measured, boxes, rows)

    @property
    def may_be_simple(self) -> bool:
        """Whether the rival may do: smoothed against chance, only widths asked for."""
        asked = self.asked
        more = (asked.fixed, asked.least_step, asked.least_overlap, asked.rounding)
        chance = asked.smooth_cm is None and not self.exact
        return chance and all(one is None for one in more)

    @property
    def _share_measured(self) -> float:
        return 1.0 - self.measured.not_measured

    def certified(self, boxes: Boxes, tolerance: float | None) -> float:
        """Return a value no chart on the finest permitted grid exceeds."""
        few, value = len(self.axes) <= FEW_MEASURES, self.value(boxes)
        press = NEAR if tolerance is None else tolerance
        if tolerance is None:
            found = self.bound(boxes, QUICK)
            within_reach = few or found <= value + WITHIN_REACH
        if tolerance is not None or (within_reach and found > value + press):
            pressed = self.bound(boxes, THOROUGH, press)
            found = pressed if tolerance is not None else min(found, pressed)
        if not few and found > value + press:
            found = min(found, self.bound_without_one(boxes))
        return found

    def bound(self, boxes: Boxes, effort: Effort, tolerance: float = 0.0) -> float:
        """Return such a value after some effort."""
        value = self.value(boxes)
        if value >= 1.0:
            return 1.0
        if self._on_finest:
            return min(1.0, value + self._nudged)
        found = self._bound(boxes, effort, value + tolerance, range(len(self.axes)))
        return min(1.0, max(value, found))

    def bound_without_one(self, boxes: Boxes) -> float:
        """Return such a value without the measure that matters least: more then fit."""
        every, values = range(len(self.axes)), []
        rest = [[d for d in every if d != left] for left in every]
        for measures in rest:
            goal, seen, some = self._seen_in(measures, boxes)
            values.append(self._share_measured * goal.value(seen, some))
        least = int(np.argmin(values))
        found = self._bound(boxes, THOROUGH, values[least] + NEAR, rest[least])
        return min(1.0, max(self.value(boxes), found))

    def _seen_in(
        self, measures: Sequence[int], boxes: Boxes
    ) -> tuple[Goal, Measured, Boxes]:
        """Return goal, people and boxes as some of the measures see them."""
        goal, measured, (low, high, limits) = self.goal, self.measured, boxes
        sd = tuple(goal.sd[d] for d in measures if goal.sd)
        near = tuple(goal.near[d] for d in measures if goal.near)
        named = tuple(measured.measures[d] for d in measures)
        seen = replace(measured, measures=named, values=measured.values[:, measures])
        some = low[:, measures], high[:, measures], limits
        return replace(goal, sd=sd, near=near), seen, some

    def _bound(
        self, boxes: Boxes, effort: Effort, enough: float, measures: Sequence[int]
    ) -> float:
        """Return the bound in some measures; below ``enough`` it is not pressed."""
        total, found = self.measured.total, 0.0
        goal, measured, (low, _, _) = self._seen_in(measures, boxes)
        pairs, cells = effort
        every_axes, limits = self._finest_axes(cells), self.layout.limits
        for every, limit in zip(every_axes, limits, strict=True):
            axes = [every[d] for d in measures]
            counter = Counter(goal, measured, axes, limit)
            terms = counter.terms(measured.counted)
            task = Task(axes, terms, counter.passed, total, limit)
            reached, near = climb(task, _nearest(axes, low))
            floor = max(enough * total, reached, found)
            found = max(found, upper_bound(task, near, floor, most_pairs=pairs))
        return found / total

    @property
    def _on_finest(self) -> bool:
        """Whether the best chart is the best on the finest grid permitted."""
        finest = self.layout.axes([1] * len(self.axes), bounding=False)
        return (
            not any(has_valley(limits) for limits in self.layout.limits)
            and self.exact
            and all(
                np.array_equal(mine, theirs)
                for axis, fine in zip(self.axes, finest[0], strict=True)
                for mine, theirs in zip(axis.low, fine.low, strict=True)
            )
        )

    @property
    def _nudged(self) -> float:
        """What the tie rule may have cost at most, as a share."""
        weight = self.measured.weight
        most = NUDGE * sum(
            (axis.low[k][-1] - axis.low[k][0]) / (axis.high[k][0] - axis.low[k][0] + 1)
            for axis in self.axes
            for k in range(self.sizes)
        )
        # Whole multiples of one weight: shares that differ, differ by it at least.
        least = float(weight.min())
        times = weight / least
        whole = np.array_equal(times, np.round(times))
        if self.goal.name == "covered" and whole:
            return 0.0 if most < least / self.measured.total else float(most)
        return float(most)

    def _finest_axes(self, cells: int) -> list[list[Axis]]:
        """Return the finest axes permitted, or bounding ones where those cost."""
        steps = [1] * len(self.axes)
        if not any(self.goal.sd):
            return self.layout.axes(steps, bounding=False)
        while True:
            axes = self.layout.axes(steps, bounding=True)
            if np.prod([len(Breaks.of(axis).cuts) + 1.0 for axis in axes[0]]) <= cells:
                return axes
            # Coarsen where a step is the smallest part of the width.
            parts = [
                step / (axis.high[-1][0] - axis.low[-1][0] + 1)
                for step, axis in zip(steps, self._free_axes, strict=True)
            ]
            d = int(np.argmin(parts))
            steps[d] = {1: 2, 2: 5}.get(steps[d], steps[d] + 5)


def has_valley(limits: Ints) -> bool:
    """Say whether a size may lift less than a smaller and a larger one both may.

    Only then would the search count someone with two sizes that are no neighbours.
    """
    before = np.maximum.accumulate(limits)
    after = np.maximum.accumulate(limits[::-1])[::-1]
    return bool((limits < np.minimum(before, after)).any())


def _nearest(axes: Sequence[Axis], low: Ints) -> Ints:
    """Return the candidates whose low edges are nearest to these."""
    gaps = [
        [np.abs(axis.low[k] - edge) for axis, edge in zip(axes, edges, strict=True)]
        for k, edges in enumerate(low)
    ]
    return np.array([[int(gap.argmin()) for gap in row] for row in gaps])
