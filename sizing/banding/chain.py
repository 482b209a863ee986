"""The best chain of boxes, exactly, by dynamic programming.

In a graded chart a bigger size is bigger in everything: low and high edges
never fall from one size to the next. A person who fits both size i and size
i + 2 then fits size i + 1 too, so the weight of those who fit any size is

    sum of |B_i|  -  sum of |B_i and B_(i+1)|

and the best chart over a grid of candidate boxes follows from

    f_k(b) = |B_b| + max over a before b of ( f_(k-1)(a) - |B_a and B_b| ).

``sizing.banding.step`` takes the maximum. The cost does not depend on the
number of people.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats, between, box_weights
from sizing.banding.step import Step

#: Two charts whose weights differ by less than this share of all are tied.
TIE = 1e-10


@dataclass(frozen=True)
class Chain:
    """A chain to be found: candidates, cuts and the people's weights.

    Attributes
    ----------
    axes : sequence of Axis
        One per measure.
    breaks : sequence of Breaks
        The cuts of each measure.
    table : ndarray
        From ``sizing.banding.counts.cumulate``.
    total : float
        The weight of all people.
    least_weight : float
        A box with less weight than this is not offered.
    """

    axes: Sequence[Axis]
    breaks: Sequence[Breaks]
    table: Floats
    total: float
    least_weight: float = 0.0

    @property
    def sizes(self) -> int:
        """Number of boxes in the chain."""
        return self.axes[0].sizes

    def boxes(self, size: int) -> Floats:
        """Return the weight in each candidate box; -inf where not offered."""
        weight = box_weights(self.table, self.breaks, size)
        if self.least_weight > 0:
            few = weight < self.least_weight - TIE * self.total
            weight = np.where(few, -np.inf, weight)
        return weight

    def step(self, size: int) -> Step:
        """Return the step from one size to the next larger, ``size``."""
        return Step(
            self.table,
            [(b.high[size - 1], b.low[size]) for b in self.breaks],
            [axis.before(size) for axis in self.axes],
            any(axis.least_overlap is not None for axis in self.axes),
        )


def best_value(chain: Chain) -> float:
    """Return the weight of the best chain, or -inf if there is none."""
    return float(forward(chain)[-1].max())


def best_chain(chain: Chain) -> tuple[float, Ints]:
    """Return the best chain's weight and its candidates' indices.

    Ties: of equally good charts the one is returned whose largest size has the
    lowest edges (measure by measure, in the order given), then whose second
    largest has, and so on.

    Returns
    -------
    value : float
        Weight of the people in at least one box; -inf if no chain exists.
    index : ndarray of int64, shape (sizes, measures)
        Index into each measure's candidates.
    """
    return trace_back(chain, forward(chain))


def forward(chain: Chain) -> list[Floats]:
    """Return f_1, ..., f_K: the best chain that ends in each box."""
    layers = [chain.boxes(0)]
    for size in range(1, chain.sizes):
        layers.append(chain.boxes(size) + chain.step(size).up(layers[-1]))
    return layers


def through(chain: Chain) -> list[Floats]:
    """Return for each size the best chain that passes through each box."""
    best = forward(chain)
    after = np.zeros(best[-1].shape)
    for size in range(chain.sizes - 1, 0, -1):
        after = chain.step(size).down(chain.boxes(size) + after)
        best[size - 1] = best[size - 1] + after
    return best


def trace_back(chain: Chain, layers: Sequence[Floats]) -> tuple[float, Ints]:
    """Return the chain that ``forward`` found, with its weight."""
    value = float(layers[-1].max())
    index = np.zeros((chain.sizes, len(chain.axes)), dtype=np.int64)
    if value == -np.inf:
        return value, index
    slack = TIE * chain.total
    index[-1] = _first(layers[-1] >= value - slack)
    for size in range(chain.sizes - 1, 0, -1):
        gain = layers[size - 1] - overlap_with(chain, size, index[size])
        index[size - 1] = _first(gain >= gain.max() - slack)
    return value, index


def overlap_with(chain: Chain, size: int, at: Sequence[int]) -> Floats:
    """Return |B_a and B_b| for one box b of a size and each a of the size below.

    It is +inf where a may not stand before b.
    """
    table = chain.table
    forbidden = np.zeros((1,) * table.ndim, dtype=bool)
    for d, (cut, axis, index) in enumerate(
        zip(chain.breaks, chain.axes, at, strict=True)
    ):
        n = axis.n(size - 1)
        low = np.full(n, cut.low[size][index])
        table = between(table, d, low, np.maximum(cut.high[size - 1], low))
        first, _, last = (w[index] for w in axis.before(size))
        place = np.arange(n)
        shape = [-1 if e == d else 1 for e in range(table.ndim)]
        forbidden = forbidden | ((place < first) | (place > last)).reshape(shape)
    return np.where(forbidden, np.inf, table)


def _first(mask: np.ndarray) -> tuple[int, ...]:
    return tuple(int(i) for i in np.unravel_index(int(np.argmax(mask)), mask.shape))
