"""A checked request with its people counted into cells once."""

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats
from sizing.banding.goal import Counter, Goal
from sizing.banding.rival import quantile_boxes
from sizing.banding.search import Task
from sizing.banding.settings import Request
from sizing.banding.solve import best_chart, upper_bound
from sizing.errors import Problem, SizingError

Boxes = tuple[Ints, Ints]


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
        return self._solve(weight, self._start)

    @cached_property
    def best(self) -> Boxes:
        """Low and high edges of the best chart for the people as they are."""
        return self._solve(self.bodies.weight, self.rival(self.bodies.weight)[0])

    @cached_property
    def _start(self) -> Ints:
        return self.best[0]

    def _solve(self, weight: Floats, near: Ints) -> Boxes:
        value, found = -np.inf, None
        for task in self.tasks(weight):
            start = _nearest(task.axes, near)
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

    def bound(
        self, value: float, tolerance: float, most_pairs: int, most_cells: int
    ) -> float:
        """Return a value no chart on the finest permitted grid exceeds.

        Parameters
        ----------
        value : float
            What the fitted chart reaches.
        tolerance : float
            How far above it the bound may stay.
        most_pairs : int
            How long to try; see ``sizing.banding.solve.upper_bound``.
        most_cells : int
            Most cells of the table of weights; it sets how fine the bound is.
        """
        layout = self.request.layout
        steps = [1] * len(layout.steps)
        while True:
            axes = layout.axes(steps, bounding=True)
            cells = [len(Breaks.of(axis).cuts) + 1.0 for axis in axes[0]]
            if np.prod(cells) <= most_cells:
                break
            # Coarsen where a step is the smallest part of the width.
            parts = [
                step / (axis.high[-1][0] - axis.low[-1][0] + 1)
                for step, axis in zip(steps, self._free_axes, strict=True)
            ]
            d = int(np.argmin(parts))
            steps[d] = {1: 2, 2: 5}.get(steps[d], steps[d] + 5)
        weight, total = self.bodies.counted, self.bodies.total
        found = max(
            upper_bound(task, (value + tolerance) * total, most_pairs=most_pairs)
            for task in _tasks(
                axes, self.request, self.request.goal, Counter(), weight, total, None
            )
        )
        return min(1.0, max(value, found / total))


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
