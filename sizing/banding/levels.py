"""Exact dynamic programming from coarse to fine.

Neighbouring candidates are taken together in groups, whose outer boxes bound
every chart inside (see ``sizing.banding.search``). A box through which no chain
reaches the best chart known is dropped, with all that it stands for; the others
are looked at again in smaller groups, at last one by one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sizing.banding.axis import Axis, Ints
from sizing.banding.dense import Dense
from sizing.banding.search import TIE, Task

#: Width of the first groups, as a part of the band's width.
COARSEST = 0.25


@dataclass(frozen=True)
class Level:
    """What is left to be looked at, in groups of candidates.

    Attributes
    ----------
    counts : tuple of int
        Candidates in a group, measure by measure; powers of two.
    start : ndarray of int64, shape (sizes, measures)
        Each size's first group that is left.
    alive : list of ndarray of bool
        For each size, which groups are left from there on.
    """

    counts: tuple[int, ...]
    start: Ints
    alive: list[npt.NDArray[np.bool_]]

    @classmethod
    def coarsest(cls, axes: Sequence[Axis]) -> "Level":
        """Return all candidates, in the first groups."""
        counts = [
            1 << max(0, int(np.log2(max(1.0, COARSEST * _candidates_wide(axis)))))
            for axis in axes
        ]
        shape = [-(-axis.n(0) // c) for axis, c in zip(axes, counts, strict=True)]
        start = np.zeros((axes[0].sizes, len(axes)), dtype=np.int64)
        return cls(tuple(counts), start, [np.ones(shape, dtype=bool) for _ in start])

    def axes(self, exact: Sequence[Axis]) -> list[Axis]:
        """Return the bounding axes of the groups left."""
        stop = self.start + [mask.shape for mask in self.alive]
        return [
            axis.grouped(count).narrowed(first, last)
            for axis, count, first, last in zip(
                exact, self.counts, self.start.T, stop.T, strict=True
            )
        ]

    def pruned(self, keep: Sequence[npt.NDArray[np.bool_]]) -> "Level":
        """Return the level with only some groups left; every size keeps one."""
        start, alive = self.start.copy(), []
        for size, mask in enumerate(keep):
            for d in range(mask.ndim):
                others = tuple(e for e in range(mask.ndim) if e != d)
                some = np.flatnonzero(mask.any(axis=others))
                mask = mask.take(np.arange(some[0], some[-1] + 1), axis=d)
                start[size, d] += some[0]
            alive.append(mask)
        return Level(self.counts, start, alive)

    def finer(self, exact: Sequence[Axis]) -> "Level":
        """Halve the groups of the measure in which they are widest."""
        parts = [
            count / _candidates_wide(axis) if count > 1 else 0.0
            for axis, count in zip(exact, self.counts, strict=True)
        ]
        d = int(np.argmax(parts))
        counts = tuple(c // 2 if e == d else c for e, c in enumerate(self.counts))
        start, alive = self.start.copy(), []
        start[:, d] *= 2
        n = -(-exact[d].n(0) // counts[d])
        for mask, first in zip(self.alive, start[:, d], strict=True):
            # The last group may not have a second half.
            count = min(2 * mask.shape[d], n - int(first))
            alive.append(np.repeat(mask, 2, axis=d).take(np.arange(count), axis=d))
        return Level(counts, start, alive)


def can_be_grouped(task: Task) -> bool:
    """Whether outer boxes of groups bound a task's charts by this programme.

    The programme takes two neighbours to overlap from the larger one's low to
    the smaller one's high edges, so groups must be ordered as their bands are.
    """
    return is_dense(task) and all(axis.aligned for axis in task.axes)


def is_dense(task: Task) -> bool:
    """Whether the programme over every box looks at all pairs permitted.

    It takes neighbours to overlap in all measures or to be free to be apart; a
    least overlap in one measure permits pairs that are apart in another only.
    """
    free = all(axis.least_overlap is None for axis in task.axes)
    return len(task.parts) < 2 and (free or len(task.axes) == 1)


def best_by_levels(
    task: Task, start: Ints | None, floor: float
) -> tuple[float, Ints | None]:
    """Return the best chain of a task that can be grouped, exactly.

    Parameters and results are those of ``sizing.banding.solve.best_chart``.
    """
    slack = TIE * task.total
    known = max(good_chart(task, start), floor) - slack
    level = Level.coarsest(task.axes)
    while True:
        axes = level.axes(task.axes)
        if max(level.counts) == 1:
            value, index = Dense(task, axes, level.alive).best()
            if value == -np.inf or value <= floor:
                return floor, None
            return value, index + level.start
        # Without the tie rule, what a box is worth is still a bound.
        dense = Dense(replace(task, axes=axes, aim=None), axes, level.alive)
        _, keep = through(dense, known)
        if not all(mask.any() for mask in keep):
            return floor, None
        level = level.pruned(keep).finer(task.axes)


def through(dense: Dense, floor: float) -> tuple[float, list[npt.NDArray[np.bool_]]]:
    """Return the best value, and through which boxes ``floor`` may be reached."""
    up, down = dense.forward(), dense.backward()
    keep = [(a + b >= floor) & (a > -np.inf) for a, b in zip(up, down, strict=True)]
    return float(up[-1].max()), keep


def good_chart(task: Task, start: Ints | None) -> float:
    """Return the value of a good chain; -inf if none was found.

    Without a ``start`` the best chain of every few candidates is taken. Then all
    boxes move a little at once, as long as that gains.
    """
    stride = 1
    if start is None:
        wide = [_candidates_wide(axis) for axis in task.axes]
        strides = [max(1, round(COARSEST * w)) for w in wide]
        picks = [
            [
                np.arange(s // 2 if axis.n(k) > s else 0, axis.n(k), s)
                for k in range(task.sizes)
            ]
            for axis, s in zip(task.axes, strides, strict=True)
        ]
        value, start = _best_of(task, picks)
        if value == -np.inf:
            return value
        stride = max(strides) // 2 or 1
    return climb_by_boxes(task, start, stride)[0]


def climb_by_boxes(task: Task, start: Ints, stride: int = 1) -> tuple[float, Ints]:
    """Move all boxes at once, by up to two strides, as long as that gains."""
    value, here = -np.inf, start
    while True:
        picks = []
        for d, axis in enumerate(task.axes):
            moved = here[:, d, None] + stride * np.arange(-2, 3)
            picks.append(
                [np.unique(np.clip(m, 0, axis.n(k) - 1)) for k, m in enumerate(moved)]
            )
        reached, index = _best_of(task, picks)
        if reached > value + TIE * task.total:
            value, here = reached, index
        elif stride > 1:
            stride //= 2
        else:
            return value, here


def _best_of(task: Task, picks: list[list[Ints]]) -> tuple[float, Ints]:
    axes = [axis.picked(p) for axis, p in zip(task.axes, picks, strict=True)]
    value, index = Dense(task, axes).best()
    found = [[picks[d][k][i] for d, i in enumerate(row)] for k, row in enumerate(index)]
    return value, np.array(found)


def bound_by_levels(
    axes: Sequence[Axis],
    make: Callable[[list[Axis]], Task],
    floor: float,
    *,
    most_work: float,
) -> float:
    """Return a value that no chain of some axes exceeds.

    Parameters
    ----------
    axes : sequence of Axis
        Exact and aligned, on the finest grid permitted.
    make : callable
        Makes the task of some bounding axes.
    floor : float
        A value below which the bound need not be pressed: the best one known.
    most_work : float
        Boxes times shifts of one level above which the search stops.
    """
    level, bound = Level.coarsest(axes), np.inf
    while True:
        groups = level.axes(axes)
        dense = Dense(make(groups), groups, level.alive)
        if dense.cost > most_work and bound < np.inf:
            return bound
        if max(level.counts) == 1 or 2 * dense.cost > most_work:
            return min(bound, max(floor, float(dense.forward()[-1].max())))
        top, keep = through(dense, floor)
        bound = min(bound, max(floor, top))
        if not all(mask.any() for mask in keep):
            return bound
        level = level.pruned(keep).finer(axes)


def _candidates_wide(axis: Axis) -> float:
    """Return how many candidates' steps the narrowest band is wide."""
    wide = min(int(h[0] - e[0]) + 1 for h, e in zip(axis.high, axis.low, strict=True))
    spread = int(axis.low[0][-1] - axis.low[0][0])
    return wide * (axis.n(0) - 1) / spread if spread else 1.0
