"""The best chain of boxes, exactly, from coarse to fine.

In a graded chart a bigger size is bigger in everything: low and high edges
never fall from one size to the next. A person who fits both size i and size
i + 2 then fits size i + 1 too, so the weight of those who fit any size is

    |B_1| + sum of |B_i+1 without B_i|,

a sum over neighbours: the best chart is a longest path. A node of the search
stands for all boxes of one size whose low edges lie in a range. Its outer box
holds them all, and for any boxes whatever

    |union of O_i|  <=  |O_1| + sum of |O_i+1 without O_i|,

so a longest path over outer boxes bounds every chart inside. Pairs of nodes
through which no path reaches the best chart known are dropped, the others are
halved, until every node is one box. The weights are read from a table of
cumulated sums, so the cost does not depend on the number of people.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Floats, Source

#: Charts whose shares differ by less are tied, but for the tie rule below.
TIE = 1e-12
#: What the tie rule may cost, as a share, per band's width of distance.
NUDGE = 1e-9
#: Pairs worked on together: what the processor's cache holds.
BLOCK = 1 << 14

Places = npt.NDArray[np.int32]


@dataclass(frozen=True)
class Term:
    """One term of the objective: ``worth`` times the weight in wider boxes.

    Attributes
    ----------
    worth : float
        Its factor, not below nought.
    axes : sequence of Axis
        The candidates as this term sees them.
    own, both : sequence of Source
        For each size: weights below any combination of the candidates' edges,
        of those whom the size may lift, and of those whom its smaller neighbour
        may lift too.
    """

    worth: float
    axes: Sequence[Axis]
    own: Sequence[Source]
    both: Sequence[Source]

    @cached_property
    def aligned(self) -> bool:
        """Whether of two neighbours the larger has the higher edges throughout."""
        return all(axis.aligned for axis in self.axes)


@dataclass(frozen=True)
class Task:
    """A chain to be found.

    Attributes
    ----------
    axes : sequence of Axis
        One per measure.
    terms : sequence of Term
        The objective; the first term's boxes are the sizes themselves.
    passed : sequence of ndarray of float
        For each measure: the weight of the people whom the edges of each
        candidate have passed, counted from the lowest. A node is halved so that
        its halves' edges pass about as many.
    total : float
        The weight of all people.
    aim : ndarray of int64, shape (sizes, measures), or None
        Low edges to which, of equally good charts, the nearest is taken:
        least sum of distances, each divided by the band's width; of those,
        the one with the lowest edges.
    limits : ndarray of int64, shape (sizes,), or None
        Load limits of the sizes in 0.1 kg, for whoever writes the chart.
    """

    axes: Sequence[Axis]
    terms: Sequence[Term]
    passed: Sequence[Floats]
    total: float
    aim: Ints | None = None
    limits: Ints | None = None

    @property
    def sizes(self) -> int:
        """Number of boxes in the chain."""
        return self.axes[0].sizes

    def distance(self, size: int, nodes: Ints) -> Floats | float:
        """Return what the tie rule takes off nodes: by their nearest box."""
        if self.aim is None:
            return 0.0
        far = np.zeros(len(nodes))
        for d, axis in enumerate(self.axes):
            low, aim = axis.low[size], self.aim[size, d]
            above, below = low[nodes[:, d, 0]] - aim, aim - low[nodes[:, d, 1]]
            width = int(axis.high[size][0] - low[0]) + 1
            far += np.maximum(np.maximum(above, below), 0) / width
        return NUDGE * self.total * far


class Shares:
    """Weights of one size's outer boxes, and of what they share with those below.

    Parameters
    ----------
    term : Term
        Whose weights.
    size : int
        The size, counted from 0.
    nodes : list of ndarray of int64, shape (nodes, measures, 2)
        Nodes of every size.
    """

    def __init__(self, term: Term, size: int, nodes: Sequence[Ints]) -> None:
        sizes = [size] if size == 0 else [size, size - 1]
        seen = [nodes[k] for k in sizes]
        self.own, edges = term.own[size].opened(term.axes, sizes, seen)
        self.both = self.own
        if term.both[size] is not term.own[size]:
            # Cuts depend on the nodes only, so that the edges lie alike.
            self.both, _ = term.both[size].opened(term.axes, sizes, seen)
        (self.low, self.high), below = edges[0], edges[-1]
        self.low_below, self.high_below = below
        self.aligned = term.aligned

    def alone(self) -> Floats:
        """Return the weight of each outer box."""
        return _between(self.own, self.low, self.high, 0, None)

    def shared(self, a: Ints, b: Ints) -> Floats:
        """Return the weight that outer boxes b share with a of the size below."""
        low, high = [], []
        for d in range(len(self.low)):
            start, end = self.low[d][b], self.high_below[d][a]
            if not self.aligned:
                start = np.maximum(start, self.low_below[d][a])
                end = np.minimum(end, self.high[d][b])
            low.append(start)
            high.append(np.maximum(start, end))
        return _between(self.both, low, high, 0, None)


def _between(
    flat: Floats, low: list[Ints], high: list[Ints], d: int, base: Ints | None
) -> Floats:
    """Return the weights between two cuts in each measure, from measure d on."""
    upper = high[d] if base is None else base + high[d]
    lower = low[d] if base is None else base + low[d]
    if d == len(low) - 1:
        found: Floats = flat[upper]
        found -= flat[lower]
        return found
    found = _between(flat, low, high, d + 1, upper)
    found -= _between(flat, low, high, d + 1, lower)
    return found
