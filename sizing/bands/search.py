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
from dataclasses import replace
from itertools import product

import numpy as np

from sizing.bands.cells import Axis, Ints
from sizing.bands.graph import TIE, Graph, Task, Weighed

#: Nodes of each size to begin with, about.
FIRST_NODES = 200
#: Pairs looked at together; above, the search takes parts in turn. Each takes
#: about 40 bytes.
MOST_PAIRS = 40_000_000
#: By what part of a band's width a measure's looseness is tried.
TRIAL = 0.1
#: Looseness that a person passed is taken to add at least.
LEAST_PACE = 0.01
#: A climb's first steps, as a part of the band's width.
FIRST_STRIDE = 0.25
#: Pairs above which it is worth while to look for a better chain first.
MANY_PAIRS = 200_000


def best_chart(
    task: Task, start: Ints, floor: float = -np.inf
) -> tuple[float, Ints | None]:
    """Return value and candidates (None: none) of the best chain above a floor."""
    value, here = climb(task, start)
    pace = paces(task, here)
    index = None if value <= floor else here
    return _refine(first_graph(task, pace), pace, max(value, floor), index)


def climb(task: Task, start: Ints, part: float = FIRST_STRIDE) -> tuple[float, Ints]:
    """Improve a chain: all boxes a step down, stay or up, in ever smaller steps."""
    last = task.last
    here = np.clip(start, 0, last)
    value = -np.inf
    moves = np.array(list(product((-1, 0, 1), repeat=len(task.axes))))
    wide = np.array([candidates_wide(axis) for axis in task.axes])
    while True:
        stride = np.maximum(np.round(part * wide), 1).astype(np.int64)
        nodes = []
        for k in range(task.sizes):
            near = here[k] + stride * moves
            near = near[((near >= 0) & (near <= last[k])).all(axis=1)]
            nodes.append(np.stack([near, near], axis=2))
        reached, path = Graph.of(task, nodes).weighed().best_path(TIE * task.total)
        if reached > value + TIE * task.total:
            value = reached
            here = lows(nodes, path)
        elif (stride > 1).any():
            part /= 2
        else:
            return value, here


def paces(task: Task, index: Ints) -> list[float]:
    """Return how much looser a bound gets per person passed, measure by measure."""
    reach = np.array([max(1, round(TRIAL * candidates_wide(a))) for a in task.axes])
    nodes, more = [], np.vstack([np.zeros_like(reach), np.diag(reach)])
    for here, most in zip(index, task.last, strict=True):
        # The chain itself, then wider in the first measure, in the second, ....
        low, high = np.maximum(here - more, 0), np.minimum(here + more, most)
        nodes.append(np.stack([low, high], axis=2))
    alike = np.arange(len(reach) + 1, dtype=np.int32)
    pairs = [(alike, alike)] * task.sizes
    pairs[0] = (alike[:0], alike[:0])
    value, *wider = Graph(replace(task, aim=None), nodes, pairs).weighed().up[-1]
    if value == -np.inf:
        return [1.0] * len(wider)
    found = []
    for d, (top, passed) in enumerate(zip(wider, task.passed, strict=True)):
        spread = sum(
            float(passed[n[d + 1, d, 1]] - passed[n[d + 1, d, 0]]) for n in nodes
        )
        # However little a measure tells here, it may tell elsewhere.
        found.append(max(top - value, 0.0) / max(spread, TIE) + LEAST_PACE)
    return found


def candidates_wide(axis: Axis) -> float:
    """Return how many candidates' steps the narrowest band is wide."""
    wide = min(int(h[0] - e[0]) + 1 for h, e in zip(axis.high, axis.low, strict=True))
    low = max(axis.low, key=len)
    spread = int(low[-1] - low[0])
    return wide * (len(low) - 1) / spread if spread else 1.0


def first_graph(task: Task, pace: Sequence[float]) -> Graph:
    """Return a graph of few nodes, about equally loose in every measure."""
    parts = [1] * len(pace)
    while np.prod(parts) < FIRST_NODES:
        loose = [
            p * float(passed[-1] - passed[0]) / part if part < len(passed) else 0.0
            for p, passed, part in zip(pace, task.passed, parts, strict=True)
        ]
        d = int(np.argmax(loose))
        if not loose[d]:
            break
        parts[d] *= 2
    return Graph.whole(task, parts)


def loosest(graph: Graph, pace: Sequence[float]) -> int | None:
    """Return the measure along which to halve; None if every node is one box."""
    loose = [p * spread for p, spread in zip(pace, graph.spreads(), strict=True)]
    d = int(np.argmax(loose))
    return d if loose[d] > 0 else None


def _refine(
    graph: Graph, pace: Sequence[float], value: float, best: Ints | None
) -> tuple[float, Ints | None]:
    """Return the best chain among the nodes, or the one known if better."""
    task = graph.task
    slack = TIE * task.total
    while True:
        task.meter.add(graph.count)
        weighed = graph.weighed()
        graph, _ = weighed.pruned(value - slack)
        if graph.empty:
            return value, best
        d = loosest(graph, pace)
        if d is None:
            ordered = graph.in_order()
            reached, path = ordered.weighed().best_path(slack)
            if reached < value - slack or (best is None and reached <= value):
                return value, best
            found = lows(ordered.nodes, path)
            if best is not None and reached <= value + slack:
                # As good as what another part of the nodes held: the lowest of both.
                found = min(best, found, key=lambda index: index[::-1].tolist())
            return reached, found
        if value == -np.inf or graph.count > MANY_PAIRS:
            reached, climbed = climb(task, _middle(weighed))
            if reached > value:
                value, best = reached, climbed
        del weighed
        if graph.count > MOST_PAIRS // 2:
            return _in_parts(graph, pace, value, best)
        graph = graph.halved(d)


def _in_parts(
    graph: Graph, pace: Sequence[float], value: float, best: Ints | None
) -> tuple[float, Ints | None]:
    """Search the better half of one size's nodes first, then the other half."""
    size = int(np.argmax([len(n) for n in graph.nodes]))
    reach = np.full(len(graph.nodes[size]), -np.inf)
    if size:
        reach = graph.weighed().up[size]
    order = np.argsort(-reach, kind="stable")
    for half in np.array_split(order, 2):
        some = graph.only(size, np.sort(half))
        value, best = _refine(some, pace, value, best)
    return value, best


def lows(nodes: Sequence[Ints], path: Sequence[int]) -> Ints:
    """Return the first candidates of one node of each size, (sizes, measures)."""
    return np.array([n[i, :, 0] for n, i in zip(nodes, path, strict=True)])


def _middle(weighed: Weighed) -> Ints:
    _, path = weighed.best_path(0.0)
    nodes = weighed.graph.nodes
    return np.array([n[i].sum(axis=1) // 2 for n, i in zip(nodes, path, strict=True)])


def upper_bound(task: Task, start: Ints, floor: float, *, most_pairs: int) -> float:
    """Return a weight that no chain exceeds, after ``most_pairs`` pairs at most."""
    task = replace(task, aim=None)
    pace = paces(task, start)
    graph = first_graph(task, pace)
    left = -np.inf
    while True:
        weighed = graph.weighed()
        top = weighed.top
        graph, dropped = weighed.pruned(floor)
        left = max(left, dropped)
        d = None if graph.empty else loosest(graph, pace)
        if d is None or 2 * graph.count > most_pairs:
            return max(left, top) if not graph.empty else left
        # What is known of the old pairs need not be held beside the new ones.
        del weighed
        graph = graph.halved(d)
