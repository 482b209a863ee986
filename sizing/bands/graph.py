"""Nodes of the search, their pairs, and what they add to a chart at most."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise, product

import numpy as np
import numpy.typing as npt

from sizing.bands.cells import Axis, Floats, Ints, Source
from sizing.errors import SizingError

#: Charts whose shares differ by less are tied, but for the tie rule below.
TIE = 1e-12
#: What the tie rule may cost, as a share, per band's width of distance.
NUDGE = 1e-9
#: Pairs that one search may look at before it is given up: about a minute.
MOST_WORK = 100_000_000
#: Pairs worked on together: what the processor's cache holds.
BLOCK = 1 << 14

Places = npt.NDArray[np.int32]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Term:
    """One term of the objective: ``worth`` (not below 0) times the weight in its boxes.

    ``able`` and ``both``: by size, those it may lift, and its smaller neighbour too.
    """

    worth: float
    axes: Sequence[Axis]
    able: Sequence[Source]
    both: Sequence[Source]

    @cached_property
    def aligned(self) -> bool:
        """Whether of two neighbours the larger has the higher edges throughout."""
        return all(axis.aligned for axis in self.axes)


class Meter:
    """Counts pairs, not seconds: on every machine the same fit is done or refused."""

    search = total = 0

    @property
    def spent(self) -> bool:
        """Whether all searches together have taken as long as one may."""
        return self.total > MOST_WORK

    def add(self, pairs: int) -> None:
        self.search += pairs
        self.total += pairs
        if self.search > MOST_WORK:
            raise SizingError(
                "the best sizes on so fine a grid would take longer than a minute to "
                "find",
                allowed="a coarser grid; below 1 cm it mostly follows chance anyway",
                action="take a larger step, fewer measures or fewer sizes",
            )


@dataclass(frozen=True)
class Task:
    """A chain to be found: the candidates by measure, and the terms of the objective.

    ``passed``: by measure, the weight that each candidate's edges have passed, by which
    nodes are halved. Of equally good charts the one nearest to the low edges ``aim``
    (sizes, measures), in bands' widths, is taken; of those, the one with the lowest.
    """

    axes: Sequence[Axis]
    terms: Sequence[Term]
    passed: Sequence[Floats]
    total: float
    limits: Ints
    aim: Ints | None = None
    meter: Meter = field(default_factory=Meter, compare=False)

    @property
    def sizes(self) -> int:
        return self.axes[0].sizes

    @property
    def last(self) -> Ints:
        return np.array(
            [[len(a.low[k]) - 1 for a in self.axes] for k in range(self.sizes)]
        )

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


def _shares(
    term: Term, size: int, nodes: Sequence[Ints]
) -> tuple[Floats, Callable[[Ints, Ints], Floats]]:
    """Return the weights of one size's outer boxes, and what pairs of nodes share."""
    sizes = [size] if size == 0 else [size, size - 1]
    seen = [nodes[k] for k in sizes]
    able, edges = term.able[size].opened(term.axes, sizes, seen)
    both = able
    if term.both[size] is not term.able[size]:
        # Cuts depend on the nodes only, so that the edges lie alike.
        both, _ = term.both[size].opened(term.axes, sizes, seen)
    (low, high), (low_below, high_below) = edges[0], edges[-1]

    def shared(a: Ints, b: Ints) -> Floats:
        """Return the weight that outer boxes b share with a of the size below."""
        starts, ends = [], []
        for d in range(len(low)):
            start, end = low[d][b], high_below[d][a]
            if not term.aligned:
                start = np.maximum(start, low_below[d][a])
                end = np.minimum(end, high[d][b])
            starts.append(start)
            ends.append(np.maximum(start, end))
        return _between(both, starts, ends)

    return _between(able, low, high), shared


def _between(
    flat: Floats, low: list[Ints], high: list[Ints], base: Ints | int = 0
) -> Floats:
    """Return the weights between two cuts in each measure."""
    upper, lower = high[0] + base, low[0] + base
    if len(low) == 1:
        found: Floats = flat.take(upper)
        found -= flat.take(lower)
        return found
    found = _between(flat, low[1:], high[1:], upper)
    found -= _between(flat, low[1:], high[1:], lower)
    return found


Pairs = tuple[Places, Places]


@dataclass(frozen=True)
class Graph:
    """Nodes of each size and the pairs that may follow each other."""

    task: Task
    nodes: list[Ints]
    pairs: list[Pairs]

    @classmethod
    def of(cls, task: Task, nodes: list[Ints]) -> "Graph":
        """Return the graph of some nodes with all pairs that are allowed."""
        pairs = [_joined([])]
        for size, (below, above) in enumerate(pairwise(nodes), start=1):
            every = np.arange(len(below))[:, None], np.arange(len(above))
            fine = np.ones((len(below), len(above)), dtype=bool)
            for d, axis in enumerate(task.axes):
                fine &= _order(axis, size, below[:, d], above[:, d])(*every)
            a, b = np.nonzero(fine)
            pairs.append((a.astype(np.int32), b.astype(np.int32)))
        return cls(task, nodes, pairs)

    @classmethod
    def whole(cls, task: Task, parts: Sequence[int]) -> "Graph":
        """Return a graph for all candidates, in some parts along each measure."""
        nodes: list[Ints] = []
        for ends in task.last:
            ranges: list[Ints] = []
            for last, passed, count in zip(ends, task.passed, parts, strict=True):
                share = np.arange(1, count) / count
                aims = passed[0] + share * (passed[last] - passed[0])
                cuts = np.searchsorted(passed[: last + 1], aims)
                cuts = np.unique(np.clip([0, *cuts, last + 1], 0, last + 1))
                ranges.append(np.stack([cuts[:-1], cuts[1:] - 1], axis=1))
            index = np.indices([len(r) for r in ranges]).reshape(len(ranges), -1)
            found = [r[i] for r, i in zip(ranges, index, strict=True)]
            nodes.append(np.stack(found, axis=1))
        return cls.of(task, nodes)

    @property
    def count(self) -> int:
        return sum(len(b) for _, b in self.pairs)

    @property
    def empty(self) -> bool:
        return not all(len(nodes) for nodes in self.nodes)

    def spreads(self) -> list[float]:
        """Return the most people whom a node's edges pass, measure by measure."""
        return [
            max(float((p[n[:, d, 1]] - p[n[:, d, 0]]).max()) for n in self.nodes)
            for d, p in enumerate(self.task.passed)
        ]

    def halved(self, d: int) -> "Graph":
        """Halve every node along one measure and pair the halves anew."""
        passed, axis = self.task.passed[d], self.task.axes[d]
        halves: list[Ints] = []
        children: list[tuple[Ints, Ints]] = []
        for nodes in self.nodes:
            first, last = nodes[:, d].T
            splits = last > first
            middle = np.searchsorted(passed, (passed[first] + passed[last]) / 2) - 1
            # One candidate alone stays.
            middle = np.maximum(middle, first)
            lower, upper = nodes.copy(), nodes[splits]
            lower[:, d, 1] = middle
            upper[:, d, 0] = middle[splits] + 1
            halves.append(np.concatenate([lower, upper]))
            second = np.where(splits, len(nodes) + np.cumsum(splits) - 1, -1)
            children.append((np.arange(len(nodes), dtype=np.int64), second))
        pairs = [self.pairs[0]]
        for size, (below, above) in enumerate(pairwise(halves), start=1):
            allows = _order(axis, size, below[:, d], above[:, d])
            found = []
            for _, a, b in _blocks(self.pairs[size]):
                for low, high in product(children[size - 1], children[size]):
                    x, y = low[a], high[b]
                    fine = allows(x, y) & (x >= 0) & (y >= 0)
                    found.append((x[fine].astype(np.int32), y[fine].astype(np.int32)))
            pairs.append(_joined(found))
        return Graph(self.task, halves, pairs)

    def picked(self, picks: Sequence[Ints], pairs: list[Pairs]) -> "Graph":
        number = []
        for nodes, pick in zip(self.nodes, picks, strict=True):
            place = np.full(len(nodes), -1, dtype=np.int32)
            place[pick] = np.arange(len(pick), dtype=np.int32)
            number.append(place)
        kept = [pairs[0]]
        for size, (a, b) in enumerate(pairs[1:], 1):
            a, b = number[size - 1][a], number[size][b]
            fine = (a >= 0) & (b >= 0)
            kept.append((a, b) if fine.all() else (a[fine], b[fine]))
        left = [n[pick] for n, pick in zip(self.nodes, picks, strict=True)]
        return Graph(self.task, left, kept)

    def only(self, size: int, chosen: Ints) -> "Graph":
        every = [np.arange(len(nodes)) for nodes in self.nodes]
        return self.picked([*every[:size], chosen, *every[size + 1 :]], self.pairs)

    def in_order(self) -> "Graph":
        order = [np.lexsort(n[:, ::-1, 0].T) for n in self.nodes]
        return self.picked(order, self.pairs)

    def weighed(self) -> "Weighed":
        """Bound what each node and pair of nodes adds to a chain."""
        task, worth = self.task, [term.worth for term in self.task.terms]
        gains: list[Floats] = []
        up: list[Floats] = []
        for size, pairs in enumerate(self.pairs):
            shares = [_shares(term, size, self.nodes) for term in task.terms]
            each = zip(worth, shares, strict=True)
            alone = sum(one * weights for one, (weights, _) in each)
            alone = np.asarray(alone - task.distance(size, self.nodes[size]))
            gain = np.empty(len(pairs[0]))
            best = alone if size == 0 else np.full(len(alone), -np.inf)
            for block, a, b in _blocks(pairs):
                here = alone[b]
                for one, (_, shared) in zip(worth, shares, strict=True):
                    lost = shared(a, b)
                    here -= lost if one == 1.0 else one * lost
                np.maximum.at(best, b, up[-1][a] + here)
                gain[block] = here
            up.append(best)
            gains.append(gain)
        return Weighed(self, gains, up)


@dataclass(frozen=True)
class Weighed:
    """What the nodes and pairs of a graph add to a chain, at most."""

    graph: Graph
    gains: list[Floats]
    up: list[Floats]

    @property
    def top(self) -> float:
        """The best chain's value; -inf if there is none."""
        return float(self.up[-1].max(initial=-np.inf))

    def best_path(self, slack: float) -> tuple[float, list[int]]:
        """Return the best chain's value and nodes, the first of equals (``slack``)."""
        value = self.top
        path = [0] * len(self.up)
        if value == -np.inf:
            return value, path
        path[-1] = int(np.argmax(self.up[-1] >= value - slack))
        for k in range(len(path) - 1, 0, -1):
            a, b = self.graph.pairs[k]
            here = np.flatnonzero(b == path[k])
            reach = self.up[k - 1][a[here]] + self.gains[k][here]
            path[k - 1] = int(a[here][reach >= reach.max() - slack].min())
        return value, path

    def pruned(self, floor: float) -> tuple[Graph, float]:
        """Drop pairs and nodes through which no chain reaches ``floor``."""
        floor = max(floor, -np.finfo(float).max)
        last, dropped = self.up[-1], -np.inf
        keep = last >= floor
        if not keep.all():
            dropped = float(last[~keep].max())
        down = np.where(keep, 0.0, -np.inf)
        kept: list[Pairs] = []
        picks = [np.flatnonzero(keep)]
        for size in range(len(self.up) - 1, 0, -1):
            below = np.full(len(self.up[size - 1]), -np.inf)
            found = []
            for block, a, b in _blocks(self.graph.pairs[size]):
                added = down[b] + self.gains[size][block]
                total = self.up[size - 1][a] + added
                fine = total >= floor
                if not fine.all():
                    dropped = max(dropped, float(total[~fine].max()))
                    a, b, added = a[fine], b[fine], added[fine]
                np.maximum.at(below, a, added)
                found.append((a.astype(np.int32), b.astype(np.int32)))
            kept.insert(0, _joined(found))
            down = below
            picks.insert(0, np.flatnonzero(down > -np.inf))
        return self.graph.picked(picks, [self.graph.pairs[0], *kept]), dropped


def _order(
    axis: Axis, size: int, below: Ints, above: Ints
) -> Callable[[Ints, Ints], Bools]:
    """Return what says which nodes of one size may stand before which of the next."""
    start = axis.low[size - 1][below[:, 0]] + axis.least_step
    inner = axis.inner[size - 1][below[:, 0]]
    reach = axis.high[size - 1][below[:, 1]]
    top, high = axis.top[size][above[:, 1]], axis.high[size][above[:, 1]]
    low = axis.low[size][above[:, 0]]

    def allows(a: Ints, b: Ints) -> Bools:
        """Say whether some box of node a may stand before some of node b."""
        fine = (start[a] <= top[b]) & (inner[a] <= high[b])
        if axis.least_overlap is not None:
            fine &= reach[a] - low[b] >= axis.least_overlap
        return np.asarray(fine)

    return allows


def _blocks(pairs: Pairs) -> Iterator[tuple[slice, Ints, Ints]]:
    """Yield pairs in blocks, as the numbers numpy looks up fastest, and where."""
    a, b = pairs
    for start in range(0, len(a), BLOCK):
        block = slice(start, start + BLOCK)
        yield block, a[block].astype(np.int64), b[block].astype(np.int64)


def _joined(found: list[Pairs]) -> Pairs:
    none = np.empty(0, dtype=np.int32)
    a, b = zip((none, none), *found, strict=True)
    return np.concatenate(a), np.concatenate(b)
