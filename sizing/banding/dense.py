"""The best chain of boxes by dynamic programming over every box of a range.

With many sizes, or with many charts nearly as good as the best, the search of
``sizing.banding.search`` has too many pairs of nodes to keep. The best chain
that ends in box b follows from those that end below it:

    f_k(b) = |B_b| + max over a before b of ( f_(k-1)(a) - |B_a and B_b| ),

at a cost that grows with the number of boxes but not with how good they are.
``sizing.banding.step`` takes the maximum.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats, between
from sizing.banding.search import TIE, Task
from sizing.banding.step import Step


@dataclass(frozen=True)
class Dense:
    """Every box of a range of candidates, for each size.

    Attributes
    ----------
    task : Task
        Exact, with a goal of a single term.
    axes : sequence of Axis
        The task's axes, or a part of their candidates.
    """

    task: Task
    axes: Sequence[Axis]

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
        breaks = self._breaks
        layers = [self._boxes(0, breaks)]
        for size in range(1, self.task.sizes):
            step = Step(
                self.task.parts[0].lookup.table,
                [(b.high[size - 1], b.low[size]) for b in breaks],
                [axis.before(size) for axis in self.axes],
                any(axis.least_overlap is not None for axis in self.axes),
            )
            layers.append(self._boxes(size, breaks) + step.up(layers[-1]))
        return layers

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

    @property
    def _breaks(self) -> list[Breaks]:
        cuts = [part.cuts for part in self.task.parts[0].breaks]
        return [Breaks.of(axis, c) for axis, c in zip(self.axes, cuts, strict=True)]

    def _boxes(self, size: int, breaks: Sequence[Breaks]) -> Floats:
        table = self.task.parts[0].lookup.table
        for d, cut in enumerate(breaks):
            table = between(table, d, cut.low[size], cut.high[size])
        weight = table * self.task.parts[0].worth
        if self.task.least_weight > 0:
            few = table < self.task.least_weight - TIE * self.task.total
            weight = np.where(few, -np.inf, weight)
        return weight - self.task.distances(size, self.axes)

    def _overlap(self, size: int, at: Sequence[int]) -> Floats:
        """Return |B_a and B_b| for one b; +inf where a may not stand before it."""
        table = self.task.parts[0].lookup.table
        forbidden = np.zeros((1,) * table.ndim, dtype=bool)
        for d, (cut, axis, index) in enumerate(
            zip(self._breaks, self.axes, at, strict=True)
        ):
            n = axis.n(size - 1)
            low = np.full(n, cut.low[size][index])
            table = between(table, d, low, np.maximum(cut.high[size - 1], low))
            first, _, last = (w[index] for w in axis.before(size))
            place = np.arange(n)
            shape = [-1 if e == d else 1 for e in range(table.ndim)]
            forbidden = forbidden | ((place < first) | (place > last)).reshape(shape)
        return np.where(forbidden, np.inf, self.task.parts[0].worth * table)


def _first(mask: np.ndarray) -> tuple[int, ...]:
    return tuple(int(i) for i in np.unravel_index(int(np.argmax(mask)), mask.shape))
