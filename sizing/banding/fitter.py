"""A banding task with its people counted into cells once."""

from collections.abc import Callable, Sequence
from functools import cached_property

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.bodies import Bodies
from sizing.banding.counts import Breaks, Floats, Lookup, cell_numbers, cumulate
from sizing.banding.rival import quantile_boxes
from sizing.banding.search import Part, Task
from sizing.banding.solve import best_chart, upper_bound
from sizing.errors import Problem, SizingError

#: Most cells of the table that a bound is read from.
MOST_CELLS = 12_000_000


class Fitter:
    """A banding task with its people counted into cells once.

    Refitting to some of the rows reuses the cells.

    Parameters
    ----------
    bodies : Bodies
        The people.
    lay : callable
        Takes one step per measure, in tenths, and returns for each measure its
        exact and its bounding axis.
    steps : sequence of int
        The steps to fit on.
    least_share : float
        See ``fit_bands``.
    """

    def __init__(
        self,
        bodies: Bodies,
        lay: Callable[[Sequence[int]], list[tuple[Axis, Axis]]],
        steps: Sequence[int],
        *,
        least_share: float,
    ) -> None:
        self.bodies = bodies
        self.lay = lay
        self.steps = list(steps)
        self.axes = [exact for exact, _ in lay(steps)]
        self.sizes = self.axes[0].sizes
        self.least_share = least_share
        self.breaks = [Breaks.of(axis) for axis in self.axes]

    @cached_property
    def cells(self) -> Ints:
        """The cell of each row."""
        return cell_numbers(self.bodies.values, self.breaks)

    def task(self, rows: np.ndarray | None = None) -> Task:
        """Return the search's task for all rows or for some."""
        weight: Floats = self.bodies.counted
        total = self.bodies.total
        aim, _ = quantile_boxes(self.bodies, self.axes, self.sizes, rows=rows)
        if rows is not None:
            total = float(self.bodies.weight[rows].sum())
            weight = np.where(rows, weight, 0.0)
        table = cumulate(self.cells, weight, self.breaks)
        part = Part(1.0, self.breaks, Lookup(table))
        return Task(self.axes, [part], total, self.least_share * total, aim)

    def index(self, rows: np.ndarray | None = None) -> Ints:
        """Return the candidates of the best chart for all rows or some."""
        task = self.task(rows)
        start = self.nearest(task.aim) if rows is None else self.best
        value, index = best_chart(task, start)
        if value == -np.inf:
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
        return index

    @cached_property
    def best(self) -> Ints:
        """The candidates of the best chart for all rows."""
        return self.index()

    def nearest(self, low: Ints) -> Ints:
        """Return the candidates nearest to some low edges."""
        return np.array(
            [
                [
                    int(np.argmin(np.abs(axis.low[k] - edge)))
                    for axis, edge in zip(self.axes, edges, strict=True)
                ]
                for k, edges in enumerate(low)
            ]
        )

    def boxes(self, rows: np.ndarray | None = None) -> tuple[Ints, Ints]:
        """Return low and high edges of the best chart for all rows or some."""
        index = self.best if rows is None else self.index(rows)
        low, high = (
            np.array(
                [
                    [edge[d][k][i] for d, i in enumerate(at)]
                    for k, at in enumerate(index)
                ]
            )
            for edge in ([a.low for a in self.axes], [a.high for a in self.axes])
        )
        return low, high

    def bound(self, share: float, tolerance: float) -> float:
        """Return a share no chart on the finest permitted grid exceeds.

        Parameters
        ----------
        share : float
            What the fitted chart reaches.
        tolerance : float
            How far above it the bound may stay.
        """
        steps = [1] * len(self.axes)
        while True:
            axes = [bounding for _, bounding in self.lay(steps)]
            breaks = [Breaks.of(axis) for axis in axes]
            if np.prod([len(cut.cuts) + 1.0 for cut in breaks]) <= MOST_CELLS:
                break
            # Coarsen where a step is the smallest part of the width.
            parts = [
                step / (axis.high[0][0] - axis.low[0][0] + 1)
                for step, axis in zip(steps, axes, strict=True)
            ]
            d = int(np.argmin(parts))
            steps[d] = {1: 2, 2: 5}.get(steps[d], steps[d] + 5)
        cells = cell_numbers(self.bodies.values, breaks)
        table = cumulate(cells, self.bodies.counted, breaks)
        total = self.bodies.total
        # A box with enough people has an outer box with enough people.
        least = self.least_share * total
        task = Task(axes, [Part(1.0, breaks, Lookup(table))], total, least)
        found = upper_bound(task, (share + tolerance) * total) / total
        return min(1.0, max(share, found))
