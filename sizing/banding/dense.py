"""The best chain of boxes by dynamic programming over every box of a range.

The best chain that ends in box b follows from those that end below it:

    f_k(b) = |B_b| + max over a before b of ( f_(k-1)(a) - |B_a and B_b| ),

at a cost that grows with the number of boxes but not with the number of people.
``sizing.banding.step`` takes the maximum. On bounding axes the same programme
bounds every chain that its boxes stand for.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats, between
from sizing.banding.search import TIE, Task
from sizing.banding.step import Step, Window

Masks = Sequence[npt.NDArray[np.bool_]]


@dataclass(frozen=True)
class Dense:
    """Every box of a range of candidates, for each size.

    Attributes
    ----------
    task : Task
        With a goal of a single term, whose cuts hold all edges of ``axes``.
    axes : sequence of Axis
        The task's axes, or a part of their candidates.
    alive : sequence of ndarray of bool, or None
        For each size, the boxes to be looked at; None for all.
    """

    task: Task
    axes: Sequence[Axis]
    alive: Masks | None = None

    @property
    def cost(self) -> float:
        """Boxes times shifts, summed over the sizes: the work to be done."""
        total = 0.0
        for size in range(1, self.task.sizes):
            lengths = []
            for axis in self.axes:
                _, overlap, last = axis.before(size)
                lengths.append(max(float((last - overlap).max()) + 1, 1.0))
            boxes = float(np.prod([axis.n(size) for axis in self.axes]))
            total += boxes * float(np.prod(lengths)) / max(lengths)
        return total

    def forward(self) -> list[Floats]:
        """Return f_1, ..., f_K: the best chain that ends in each box."""
        breaks, table = self._breaks, self.task.parts[0].lookup.table
        layers = [self.boxes[0]]
        for size in range(1, self.task.sizes):
            step = Step(
                table,
                [(b.high[size - 1], b.low[size]) for b in breaks],
                [axis.before(size) for axis in self.axes],
                self._must_overlap,
            )
            layers.append(self.boxes[size] + step.up(layers[-1], self._wanted(size)))
        return layers

    def backward(self) -> list[Floats]:
        """Return for each box the most that the sizes above it can add.

        It is the same programme with every measure and the sizes turned round.
        """
        table = self.task.parts[0].lookup.table
        table = np.flip(table) * (-1.0) ** table.ndim
        added = [np.zeros(self.boxes[-1].shape)]
        for size in range(self.task.sizes - 2, -1, -1):
            cuts, windows = [], []
            for axis, cut in zip(self.axes, self._breaks, strict=True):
                end = len(cut.cuts) - 1
                cuts.append((end - cut.low[size + 1][::-1], end - cut.high[size][::-1]))
                windows.append(_turned(axis.after(size), axis.n(size + 1)))
            step = Step(table, cuts, windows, self._must_overlap)
            above = np.flip(self.boxes[size + 1] + added[0])
            wanted = self._wanted(size)
            turned = None if wanted is None else np.flip(wanted)
            added.insert(0, np.flip(step.up(above, turned)))
        return added

    def best(self) -> tuple[float, Ints]:
        """Return the best chain's value and its indices into the narrowed axes.

        Of equals, the one with the lowest edges, from the largest size down.
        """
        layers = self.forward()
        value = float(layers[-1].max())
        index = np.zeros((self.task.sizes, len(self.axes)), dtype=np.int64)
        if value == -np.inf:
            return value, index
        slack = TIE * self.task.total
        index[-1] = _first(layers[-1] >= value - slack)
        for size in range(self.task.sizes - 1, 0, -1):
            gain = layers[size - 1] - self._overlap(size, index[size])
            index[size - 1] = _first(gain >= gain.max() - slack)
        return value, index

    @cached_property
    def boxes(self) -> list[Floats]:
        """What each box is worth by itself; -inf where it is not looked at."""
        return [self._boxes(size) for size in range(self.task.sizes)]

    @cached_property
    def _breaks(self) -> list[Breaks]:
        cuts = [part.cuts for part in self.task.parts[0].breaks]
        return [Breaks.of(axis, c) for axis, c in zip(self.axes, cuts, strict=True)]

    @property
    def _must_overlap(self) -> bool:
        return any(axis.least_overlap is not None for axis in self.axes)

    def _wanted(self, size: int) -> npt.NDArray[np.bool_] | None:
        return None if self.alive is None else self.alive[size]

    def _boxes(self, size: int) -> Floats:
        table = self.task.parts[0].lookup.table
        for d, cut in enumerate(self._breaks):
            table = between(table, d, cut.low[size], cut.high[size])
        weight = table * self.task.parts[0].worth
        if self.task.least_weight > 0:
            few = table < self.task.least_weight - TIE * self.task.total
            weight[few] = -np.inf
        if self.alive is not None:
            weight[~self.alive[size]] = -np.inf
        if self.task.aim is not None:
            weight -= self.task.distances(size, self.axes)
        return weight

    def _overlap(self, size: int, at: Sequence[int]) -> Floats:
        """Return |B_a and B_b| for one b; +inf where a may not stand before it."""
        table = self.task.parts[0].lookup.table
        forbidden = np.zeros((1,) * table.ndim, dtype=bool)
        for d, (cut, axis, index) in enumerate(
            zip(self._breaks, self.axes, at, strict=True)
        ):
            n = axis.n(size - 1)
            low = np.maximum(cut.low[size - 1], cut.low[size][index])
            high = np.minimum(cut.high[size - 1], cut.high[size][index])
            table = between(table, d, low, np.maximum(high, low))
            first, _, last = (w[index] for w in axis.before(size))
            place = np.arange(n)
            shape = [-1 if e == d else 1 for e in range(table.ndim)]
            forbidden = forbidden | ((place < first) | (place > last)).reshape(shape)
        return np.where(forbidden, np.inf, self.task.parts[0].worth * table)


def _turned(window: Window, n: int) -> Window:
    """Return the window of the turned measure, of ``n`` neighbours."""
    first, overlap, last = (n - 1 - w[::-1] for w in window)
    return last, overlap, first


def _first(mask: np.ndarray) -> tuple[int, ...]:
    return tuple(int(i) for i in np.unravel_index(int(np.argmax(mask)), mask.shape))
