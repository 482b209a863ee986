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

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats, Lookup

#: Charts whose shares differ by less are tied, but for the tie rule below.
TIE = 1e-12
#: What the tie rule may cost, as a share, per band's width of distance.
NUDGE = 1e-9

Nodes = list[Ints]
Pairs = list[Ints]


@dataclass(frozen=True)
class Part:
    """One term of the objective: ``worth`` times the weight in wider boxes.

    Attributes
    ----------
    worth : float
        Its factor, not below nought.
    breaks : sequence of Breaks
        Cuts of each measure at this term's edges.
    lookup : Lookup
        Weights at those cuts.
    """

    worth: float
    breaks: Sequence[Breaks]
    lookup: Lookup


@dataclass(frozen=True)
class Task:
    """A chain to be found.

    Attributes
    ----------
    axes : sequence of Axis
        One per measure.
    parts : sequence of Part
        The objective; the first part's boxes are the sizes themselves.
    total : float
        The weight of all people.
    least_weight : float
        A box with less weight than this is not offered.
    aim : ndarray of int64, shape (sizes, measures), or None
        Low edges to which, of equally good charts, the nearest is taken:
        least sum of distances, each divided by the band's width; of those,
        the one with the lowest edges.
    """

    axes: Sequence[Axis]
    parts: Sequence[Part]
    total: float
    least_weight: float = 0.0
    aim: Ints | None = None

    @property
    def sizes(self) -> int:
        """Number of boxes in the chain."""
        return self.axes[0].sizes

    def everything(self, groups: int) -> Nodes:
        """Return nodes that together stand for every box of each size.

        ``groups`` is the number of nodes along each measure.
        """
        return [self._grid(k, groups) for k in range(self.sizes)]

    def _grid(self, size: int, groups: int) -> Ints:
        ranges = []
        for axis in self.axes:
            n = axis.n(size)
            starts = np.arange(0, n, -(-n // groups))
            ranges.append(np.column_stack([starts, np.append(starts[1:], n) - 1]))
        index = np.indices([len(r) for r in ranges]).reshape(len(ranges), -1)
        return np.stack([r[i] for r, i in zip(ranges, index, strict=True)], axis=1)

    def allowed(
        self, size: int, below: Ints, above: Ints, only: int | None = None
    ) -> np.ndarray:
        """Return whether some box of a node may stand before some of another.

        Parameters
        ----------
        size : int
            The larger size.
        below, above : ndarray of int64, shape (pairs, measures, 2)
            Nodes of the size below and of this size.
        only : int, optional
            Look at this measure only.
        """
        fine = np.ones(len(below), dtype=bool)
        for d in range(len(self.axes)) if only is None else (only,):
            axis = self.axes[d]
            a_first, a_last = below[:, d, 0], below[:, d, 1]
            b_first, b_last = above[:, d, 0], above[:, d, 1]
            low, high = axis.low[size - 1], axis.high[size - 1]
            fine &= low[a_first] + axis.least_step <= axis.top[size][b_last]
            fine &= axis.inner[size - 1][a_first] <= axis.high[size][b_last]
            if axis.least_overlap is not None:
                shared = high[a_last] - axis.low[size][b_first]
                fine &= shared >= axis.least_overlap
        return fine

    def pairs(self, nodes: Nodes) -> Pairs:
        """Return all allowed pairs of neighbouring nodes, size by size."""
        found: Pairs = [np.empty((0, 2), dtype=np.int64)]
        for size in range(1, self.sizes):
            shape = (len(nodes[size - 1]), len(nodes[size]))
            a, b = np.indices(shape).reshape(2, -1)
            fine = self.allowed(size, nodes[size - 1][a], nodes[size][b])
            found.append(np.column_stack([a[fine], b[fine]]))
        return found

    def weigh(self, nodes: Nodes, pairs: Pairs) -> "Weights":
        """Bound what each node and pair of nodes adds to a chain."""
        alone = [np.zeros(len(n)) for n in nodes]
        gains = [np.zeros(len(p)) for p in pairs]
        for number, part in enumerate(self.parts):
            cuts = [self._cuts(part, k, n) for k, n in enumerate(nodes)]
            for k, (low, high) in enumerate(cuts):
                weight = part.lookup.weight(low, high)
                alone[k] += part.worth * weight
                if number == 0 and self.least_weight > 0:
                    few = weight < self.least_weight - TIE * self.total
                    alone[k][few] = -np.inf
                if k:
                    a, b = pairs[k].T
                    start = [
                        np.maximum(x[b], y[a])
                        for x, y in zip(low, cuts[k - 1][0], strict=True)
                    ]
                    end = [
                        np.minimum(x[b], y[a])
                        for x, y in zip(high, cuts[k - 1][1], strict=True)
                    ]
                    end = [np.maximum(s, e) for s, e in zip(start, end, strict=True)]
                    gains[k] -= part.worth * part.lookup.weight(start, end)
        for k, n in enumerate(nodes):
            alone[k] -= self._distance(k, n)
            if k:
                gains[k] += alone[k][pairs[k][:, 1]]
        return Weights(alone[0], gains, pairs, [len(n) for n in nodes])

    def _cuts(
        self, part: Part, size: int, nodes: Ints
    ) -> tuple[list[Ints], list[Ints]]:
        measures = range(len(self.axes))
        low = [part.breaks[d].low[size][nodes[:, d, 0]] for d in measures]
        high = [part.breaks[d].high[size][nodes[:, d, 1]] for d in measures]
        return low, high

    def _distance(self, size: int, nodes: Ints) -> Floats | float:
        """Return what the tie rule takes off nodes: by their nearest box."""
        if self.aim is None:
            return 0.0
        far = np.zeros(len(nodes))
        for d, axis in enumerate(self.axes):
            low, aim = axis.low[size], self.aim[size, d]
            above, below = low[nodes[:, d, 0]] - aim, aim - low[nodes[:, d, 1]]
            far += np.maximum(np.maximum(above, below), 0) / self._width(size, d)
        return NUDGE * self.total * far

    def distances(self, size: int, axes: Sequence[Axis]) -> Floats:
        """Return what the tie rule takes off every box of some axes."""
        far: Floats = np.zeros(())
        for d, axis in enumerate(axes):
            each = np.zeros(axis.n(size))
            if self.aim is not None:
                each = np.abs(axis.low[size] - self.aim[size, d]) / self._width(size, d)
            far = far[..., None] + each
        return NUDGE * self.total * far

    def _width(self, size: int, d: int) -> int:
        axis = self.axes[d]
        return int(axis.high[size][0] - axis.low[size][0]) + 1


@dataclass(frozen=True)
class Weights:
    """What nodes and pairs of nodes add to a chain, at most.

    Attributes
    ----------
    first : ndarray
        For each node of the smallest size.
    gains : list of ndarray
        For each pair: what the larger node adds.
    pairs : list of ndarray of int64, shape (pairs, 2)
    counts : list of int
        Number of nodes of each size.
    """

    first: Floats
    gains: list[Floats]
    pairs: Pairs
    counts: list[int]

    def up(self) -> list[Floats]:
        """Return the best chain that ends in each node."""
        best = [self.first]
        for k in range(1, len(self.counts)):
            a, b = self.pairs[k].T
            here = np.full(self.counts[k], -np.inf)
            np.maximum.at(here, b, best[-1][a] + self.gains[k])
            best.append(here)
        return best

    def down(self) -> list[Floats]:
        """Return the most that the sizes above can add to each node."""
        best = [np.zeros(self.counts[-1])]
        for k in range(len(self.counts) - 1, 0, -1):
            a, b = self.pairs[k].T
            here = np.full(self.counts[k - 1], -np.inf)
            np.maximum.at(here, a, best[0][b] + self.gains[k])
            best.insert(0, here)
        return best

    def best_path(self, slack: float) -> tuple[float, Ints]:
        """Return the value of the best chain and the number of each node.

        Of chains within ``slack`` of each other the first nodes are taken,
        from the largest size downwards.
        """
        best = self.up()
        value = float(best[-1].max()) if len(best[-1]) else -np.inf
        path = np.zeros(len(best), dtype=np.int64)
        if value == -np.inf:
            return value, path
        path[-1] = int(np.argmax(best[-1] >= value - slack))
        for k in range(len(best) - 1, 0, -1):
            a, b = self.pairs[k].T
            here = np.flatnonzero(b == path[k])
            reach = best[k - 1][a[here]] + self.gains[k][here]
            path[k - 1] = a[here][reach >= reach.max() - slack].min()
        return value, path


def prune(weights: Weights, nodes: Nodes, floor: float) -> tuple[Nodes, Pairs, float]:
    """Drop pairs and nodes through which no chain reaches ``floor``.

    Returns
    -------
    nodes, pairs
        Those left, renumbered.
    dropped : float
        The highest bound among what was dropped; -inf if nothing was.
    """
    up, down = weights.up(), weights.down()
    dropped = -np.inf
    keep = []
    for above, below in zip(up, down, strict=True):
        total = above + below
        kept = (total >= floor) & (total > -np.inf)
        if not kept.all():
            dropped = max(dropped, float(total[~kept].max()))
        keep.append(kept)
    number = [np.cumsum(kept) - 1 for kept in keep]
    pairs = [weights.pairs[0]]
    for k in range(1, len(keep)):
        a, b = weights.pairs[k].T
        total = up[k - 1][a] + weights.gains[k] + down[k][b]
        kept = (total >= floor) & (total > -np.inf)
        if not kept.all():
            dropped = max(dropped, float(total[~kept].max()))
        pairs.append(np.column_stack([number[k - 1][a[kept]], number[k][b[kept]]]))
    return [n[kept] for n, kept in zip(nodes, keep, strict=True)], pairs, dropped


def halve(task: Task, nodes: Nodes, pairs: Pairs, d: int) -> tuple[Nodes, Pairs]:
    """Halve every node along one measure and pair the halves anew."""
    halves: Nodes = []
    children: list[tuple[Ints, Ints]] = []
    for n in nodes:
        middle = n[:, d].sum(axis=1) // 2
        splits = n[:, d, 1] > n[:, d, 0]
        lower, upper = n.copy(), n[splits]
        lower[:, d, 1] = middle
        upper[:, d, 0] = middle[splits] + 1
        halves.append(np.concatenate([lower, upper]))
        second = np.where(splits, len(n) + np.cumsum(splits) - 1, -1)
        children.append((np.arange(len(n)), second))
    new = [pairs[0]]
    for k in range(1, len(nodes)):
        a, b = pairs[k].T
        found = []
        for below in children[k - 1]:
            for above in children[k]:
                x, y = below[a], above[b]
                real = (x >= 0) & (y >= 0)
                x, y = x[real], y[real]
                fine = task.allowed(k, halves[k - 1][x], halves[k][y], only=d)
                found.append(np.column_stack([x[fine], y[fine]]))
        new.append(np.concatenate(found))
    return halves, new


def widest(task: Task, nodes: Nodes) -> int | None:
    """Return the measure along which halving tells most; None if none is left.

    It is the one whose ranges make the outer boxes heaviest, compared with
    the boxes in the middle of the range.
    """
    gain = np.full(len(task.axes), -np.inf)
    part = task.parts[0]
    for d in range(len(task.axes)):
        if not any((n[:, d, 1] > n[:, d, 0]).any() for n in nodes):
            continue
        gain[d] = 0.0
        for k, n in enumerate(nodes):
            thin = n.copy()
            thin[:, d] = (n[:, d].sum(axis=1) // 2)[:, None]
            outer, inner = (
                part.lookup.weight(*task._cuts(part, k, x)).mean() for x in (n, thin)
            )
            gain[d] += outer - inner
    return int(np.argmax(gain)) if gain.max() > -np.inf else None
