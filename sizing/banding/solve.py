"""Run the search: climb to a good chart, prove the best one, bound the rest."""

from itertools import product

import numpy as np

from sizing.banding.axis import Ints
from sizing.banding.dense import Dense
from sizing.banding.levels import best_by_levels, can_be_grouped, is_dense
from sizing.banding.search import (
    TIE,
    Nodes,
    Pairs,
    Task,
    halve,
    prune,
    widest,
)

#: Nodes along each measure to begin with, by number of measures.
GROUPS: dict[int, int] = {1: 16, 2: 10, 3: 6, 4: 4}
#: Pairs of nodes looked at together; above, the search takes parts in turn.
MOST_PAIRS = 2_000_000
#: Pairs above which every box is looked at instead, if the work per pair (boxes
#: times shifts) is less than this; measured with three and four measures.
MANY_PAIRS = 100_000
WORK_PER_PAIR = 300


def best_chart(
    task: Task, start: Ints | None, floor: float = -np.inf
) -> tuple[float, Ints | None]:
    """Return the best chain of a task, exactly.

    Parameters
    ----------
    task : Task
        Its axes are exact.
    start : ndarray of int64, shape (sizes, measures), or None
        A chain to begin with (indices of candidates); it may break
        constraints. It changes the time taken, not the result.
    floor : float
        Only a chain above this weight is of interest.

    Returns
    -------
    value : float
        Weight of the best chain; -inf if no chain is allowed.
    index : ndarray of int64, shape (sizes, measures), or None
        Its candidates; None if no chain is above the floor.
    """
    if can_be_grouped(task):
        return best_by_levels(task, start, floor)
    if start is None:
        start = np.array(
            [[axis.n(k) // 2 for axis in task.axes] for k in range(task.sizes)]
        )
    value, index = _if_any(*climb(task, start))
    if value <= floor:
        value, index = floor, None
    nodes = task.everything(GROUPS[len(task.axes)])
    return _refine(task, nodes, task.pairs(nodes), value, index)


def climb(task: Task, start: Ints) -> tuple[float, Ints]:
    """Improve a chain by moving all its boxes at once, in ever smaller steps.

    Each round finds the best chain among all whose boxes lie, in each measure,
    one step below, at, or one step above the present ones.
    """
    here = start.copy()
    value = -np.inf
    last = np.array([[axis.n(k) - 1 for axis in task.axes] for k in range(task.sizes)])
    here = np.clip(here, 0, last)
    moves = np.array(list(product((-1, 0, 1), repeat=len(task.axes))))
    stride = 1 << max(0, int(np.log2(max(1, int(last.max()) // 8))))
    while stride:
        nodes = []
        for k in range(task.sizes):
            near = np.unique(np.clip(here[k] + stride * moves, 0, last[k]), axis=0)
            nodes.append(np.stack([near, near], axis=2))
        weights = task.weigh(nodes, task.pairs(nodes))
        reached, path = weights.best_path(TIE * task.total)
        if reached > value + TIE * task.total:
            value = reached
            here = np.array([nodes[k][path[k], :, 0] for k in range(task.sizes)])
        else:
            stride //= 2
    return value, here


def _if_any(value: float, index: Ints) -> tuple[float, Ints | None]:
    return value, None if value == -np.inf else index


def _refine(
    task: Task, nodes: Nodes, pairs: Pairs, value: float, best: Ints | None
) -> tuple[float, Ints | None]:
    """Return the best chain among the nodes, or the one known if better."""
    slack = TIE * task.total
    while True:
        weights = task.weigh(nodes, pairs)
        nodes, pairs, _ = prune(weights, nodes, value - slack)
        if not all(len(n) for n in nodes):
            return value, best
        measure = widest(task, nodes)
        if measure is None:
            return _finish(task, nodes, pairs, value, best)
        if value == -np.inf:
            value, best = _if_any(*climb(task, _middle(task, nodes, pairs)))
        count = sum(len(p) for p in pairs)
        if count > MANY_PAIRS and is_dense(task):
            start = [n[:, :, 0].min(axis=0) for n in nodes]
            stop = [n[:, :, 1].max(axis=0) + 1 for n in nodes]
            axes = [
                axis.narrowed([s[d] for s in start], [s[d] for s in stop])
                for d, axis in enumerate(task.axes)
            ]
            dense = Dense(task, axes)
            if dense.cost < WORK_PER_PAIR * count:
                reached, index = dense.best()
                return (
                    (reached, index + start)
                    if reached >= value - slack
                    else (value, best)
                )
        if count > MOST_PAIRS:
            return _in_parts(task, nodes, pairs, value, best)
        nodes, pairs = halve(task, nodes, pairs, measure)


def _finish(
    task: Task, nodes: Nodes, pairs: Pairs, value: float, best: Ints | None
) -> tuple[float, Ints | None]:
    """Take the best chain of single boxes; of equals, that with lowest edges."""
    order = [np.lexsort(n[:, ::-1, 0].T) for n in nodes]
    nodes = [n[o] for n, o in zip(nodes, order, strict=True)]
    rank = [np.argsort(o) for o in order]
    pairs = [
        np.column_stack([rank[k - 1][p[:, 0]], rank[k][p[:, 1]]]) if k else p
        for k, p in enumerate(pairs)
    ]
    slack = TIE * task.total
    reached, path = task.weigh(nodes, pairs).best_path(slack)
    if reached < value - slack:
        return value, best
    return reached, np.array([n[i, :, 0] for n, i in zip(nodes, path, strict=True)])


def _in_parts(
    task: Task, nodes: Nodes, pairs: Pairs, value: float, best: Ints | None
) -> tuple[float, Ints | None]:
    """Search the better half of one size's nodes first, then the other half."""
    weights = task.weigh(nodes, pairs)
    totals = [u + d for u, d in zip(weights.up(), weights.down(), strict=True)]
    size = int(np.argmax([len(n) for n in nodes]))
    order = np.argsort(-totals[size], kind="stable")
    for half in np.array_split(order, 2):
        chosen = np.zeros(len(nodes[size]), dtype=bool)
        chosen[half] = True
        value, best = _refine(task, *_only(nodes, pairs, size, chosen), value, best)
    return value, best


def _only(
    nodes: Nodes, pairs: Pairs, size: int, chosen: np.ndarray
) -> tuple[Nodes, Pairs]:
    """Return the nodes and pairs with only some of one size's nodes."""
    number = np.cumsum(chosen) - 1
    fewer = [n[chosen] if k == size else n for k, n in enumerate(nodes)]
    left = []
    for k, p in enumerate(pairs):
        if k == size and k > 0:
            p = p[chosen[p[:, 1]]]
            p = np.column_stack([p[:, 0], number[p[:, 1]]])
        elif k == size + 1:
            p = p[chosen[p[:, 0]]]
            p = np.column_stack([number[p[:, 0]], p[:, 1]])
        left.append(p)
    return fewer, left


def _middle(task: Task, nodes: Nodes, pairs: Pairs) -> Ints:
    """Return the middles of the nodes of the most promising chain."""
    _, path = task.weigh(nodes, pairs).best_path(0.0)
    return np.array([n[i].sum(axis=1) // 2 for n, i in zip(nodes, path, strict=True)])


def upper_bound(task: Task, floor: float, *, most_pairs: int = MOST_PAIRS) -> float:
    """Return a weight no chain of a bounding task exceeds.

    The search stops as soon as nothing above ``floor`` is left, or at
    ``most_pairs`` pairs of nodes; the bound holds whenever it stops.

    Parameters
    ----------
    task : Task
        Its axes are bounding ones, without an aim.
    floor : float
        A weight below which the bound need not be pressed.
    most_pairs : int
        How far to go.
    """
    nodes = task.everything(GROUPS[len(task.axes)])
    pairs = task.pairs(nodes)
    bound = -np.inf
    while True:
        weights = task.weigh(nodes, pairs)
        top = float(max(weights.up()[-1], default=-np.inf))
        nodes, pairs, dropped = prune(weights, nodes, floor)
        bound = max(bound, min(dropped, floor))
        if not all(len(n) for n in nodes):
            return bound
        measure = widest(task, nodes)
        if measure is None or 4 * sum(len(p) for p in pairs) > 2 * most_pairs:
            return max(bound, top)
        nodes, pairs = halve(task, nodes, pairs, measure)
