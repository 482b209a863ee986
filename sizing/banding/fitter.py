"""A checked request with its people counted into cells once."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats
from sizing.banding.goal import Counter, Goal
from sizing.banding.levels import bound_by_levels, can_be_grouped, climb_by_boxes
from sizing.banding.rival import quantile_boxes
from sizing.banding.search import Part, Task
from sizing.banding.settings import Request
from sizing.banding.solve import best_chart, upper_bound
from sizing.errors import Problem, SizingError

Boxes = tuple[Ints, Ints]


@dataclass(frozen=True)
class Effort:
    """How long to press a bound.

    Attributes
    ----------
    work : float
        Boxes times shifts of one level; see ``sizing.banding.levels``.
    pairs, cells : int
        Pairs of nodes (see ``sizing.banding.solve.upper_bound``) and cells of
        the table of weights.
    """

    work: float
    pairs: int
    cells: int


QUICK = Effort(25e6, 300_000, 3_000_000)
THOROUGH = Effort(1e9, 4_000_000, 12_000_000)


class Fitter:
    """A checked request with its people counted into cells once.

    Refitting to some of the rows, or with other weights, reuses the cells.
    """

    def __init__(self, request: Request) -> None:
        self.request = request
        self.bodies = request.bodies
        self.sizes = request.layout.sizes
        self.places = request.layout.axes(request.layout.steps, bounding=False)
        self.axes = self.places[0]
        self.counter = Counter()

    def tasks(self, weight: Floats, *, aim: bool = True) -> list[Task]:
        """Return the search's tasks: one for each place of the owned sizes.

        Without ``aim`` the tie rule is left out.
        """
        total = float(weight.sum()) / self._measured
        near = self.rival(weight)[0] if aim else None
        weight = np.where(self.bodies.coverable, weight, 0.0)
        goal = self.request.search_goal
        return _tasks(
            self.places, self.request, goal, self.counter, weight, total, near
        )

    @staticmethod
    def edges(task: Task, index: Ints) -> Boxes:
        """Return the low and high edges of a task's candidates."""
        return _edges(task.axes, index)

    def fit(self, weight: Floats | None = None) -> Boxes:
        """Return low and high edges of the best chart for some weights.

        Raises
        ------
        SizingError
            If no chart meets the constraints.
        """
        if weight is None:
            return self.best
        return self._solve(weight, self.best[0])

    @cached_property
    def best(self) -> Boxes:
        """Low and high edges of the best chart for the people as they are."""
        return self._solve(self.bodies.weight, None)

    def _solve(self, weight: Floats, near: Ints | None) -> Boxes:
        value, found = -np.inf, None
        for task in self.tasks(weight):
            start = None
            if near is not None:
                start = _nearest(task.axes, near)
            elif not can_be_grouped(task):
                start = _nearest(task.axes, self.rival(weight)[0])
            reached, index = best_chart(task, start, value)
            if reached > value and index is not None:
                value, found = reached, _edges(task.axes, index)
        if found is None:
            raise SizingError(
                str(
                    Problem(
                        "no chart meets all the constraints",
                        "constraints that leave at least one chart",
                        "lower the least step, overlap or share, or ask for "
                        "fewer sizes",
                    )
                )
            )
        return found

    def rival(self, weight: Floats) -> Boxes:
        """Return the quantile-centred bands for some weights."""
        rows = weight > 0
        return quantile_boxes(
            self.bodies.values[rows], weight[rows], self._free_axes, self.sizes
        )

    @cached_property
    def _free_axes(self) -> list[Axis]:
        layout = self.request.layout
        return [
            make(step=step)[0]
            for make, step in zip(layout.makers, layout.steps, strict=True)
        ]

    def value(self, boxes: Boxes, rows: np.ndarray | None = None) -> float:
        """Return the goal's value for some rows, from first principles."""
        rows = np.ones(len(self.bodies.weight), dtype=bool) if rows is None else rows
        # Those not measured fit no size, here and among those held out.
        return self._measured * self.request.goal.value(self.bodies, *boxes, rows)

    @property
    def _measured(self) -> float:
        return 1.0 - self.bodies.not_measured

    def bound(self, boxes: Boxes, effort: "Effort", tolerance: float = 0.0) -> float:
        """Return a value no chart on the finest permitted grid exceeds.

        Parameters
        ----------
        boxes : (ndarray, ndarray)
            Edges of the fitted chart.
        effort : Effort
            How long to try.
        tolerance : float
            How far above the value the bound may stay.
        """
        value = self.value(boxes)
        layout, total = self.request.layout, self.bodies.total
        finest = layout.axes([1] * len(layout.steps), bounding=False)
        floor = (value + tolerance) * total
        one = self._bounding_task(finest[0], counted=False)
        if can_be_grouped(one):
            floor = max(floor, self._finest_near(finest[0], boxes, effort))
            found = bound_by_levels(
                finest[0], self._bounding_task, floor, most_work=effort.work
            )
        else:
            tasks = (self._bounding_task(a) for a in self._bounding_axes(effort))
            found = max(
                upper_bound(task, floor, most_pairs=effort.pairs) for task in tasks
            )
        return min(1.0, max(value, found / total))

    def _bounding_task(self, axes: list[Axis], *, counted: bool = True) -> Task:
        """Return the task of some axes, without an aim; uncounted for a look."""
        bodies, request = self.bodies, self.request
        least = request.least_share * bodies.total
        parts: list[Part] = []
        if counted:
            parts = request.goal.parts(bodies, axes, Counter(), bodies.counted)
        return Task(axes, parts, bodies.total, least)

    def _bounding_axes(self, effort: "Effort") -> list[list[Axis]]:
        """Return bounding axes as fine as the effort allows."""
        layout = self.request.layout
        steps = [1] * len(layout.steps)
        while True:
            axes = layout.axes(steps, bounding=True)
            cells = [len(Breaks.of(axis).cuts) + 1.0 for axis in axes[0]]
            if np.prod(cells) <= effort.cells:
                return axes
            # Coarsen where a step is the smallest part of the width.
            parts = [
                step / (axis.high[-1][0] - axis.low[-1][0] + 1)
                for step, axis in zip(steps, self._free_axes, strict=True)
            ]
            d = int(np.argmin(parts))
            steps[d] = {1: 2, 2: 5}.get(steps[d], steps[d] + 5)

    def _finest_near(self, axes: list[Axis], boxes: Boxes, effort: "Effort") -> float:
        """Return the weight of a good chart of the finest grid near some chart."""
        near = _nearest(axes, boxes[0])
        for reach in (12, 8, 5, 3, 2, 1):
            start = np.maximum(near - reach, 0)
            part = [
                axis.narrowed(list(start[:, d]), list(near[:, d] + reach + 1))
                for d, axis in enumerate(axes)
            ]
            cells = [len(Breaks.of(axis).cuts) + 1.0 for axis in part]
            if np.prod(cells) <= effort.cells:
                task = self._bounding_task(part)
                return climb_by_boxes(task, near - start, stride=4)[0]
        return -np.inf


def _tasks(
    places: list[list[Axis]],
    request: Request,
    goal: Goal,
    counter: Counter,
    weight: Floats,
    total: float,
    aim: Ints | None,
) -> list[Task]:
    tasks = []
    for axes in places:
        own = counter if len(places) == 1 else Counter()
        parts = goal.parts(request.bodies, axes, own, weight)
        least = request.least_share * total
        tasks.append(Task(axes, parts, total, least, aim))
    return tasks


def _nearest(axes: Sequence[Axis], low: Ints) -> Ints:
    """Return the candidates nearest to some low edges."""
    return np.array(
        [
            [
                int(np.argmin(np.abs(axis.low[k] - edge)))
                for axis, edge in zip(axes, edges, strict=True)
            ]
            for k, edges in enumerate(low)
        ]
    )


def _edges(axes: Sequence[Axis], index: Ints) -> Boxes:
    """Return the low and high edges of some candidates."""
    low, high = (
        np.array(
            [[part[d][k][i] for d, i in enumerate(at)] for k, at in enumerate(index)]
        )
        for part in ([a.low for a in axes], [a.high for a in axes])
    )
    return low, high
