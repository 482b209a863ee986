"""Who can be served by what is free: exact, for many days at once.

Nobody waits if and only if, for every set S of sizes, those who fit sizes within S
alone are at most the slings within S (Hall, J London Math Soc 1935;10:26-30); the
largest excess over all S is the number who wait (Ore's form; both from memory).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import sparse
from scipy.sparse.csgraph import breadth_first_order, connected_components, maximum_flow

Ints = npt.NDArray[np.int64]

#: Up to so many linked sizes every set of them is looked at; beyond, a maximum
#: flow finds the set with the largest excess.
MOST_LISTED = 12
#: Sets times days that are looked at together: they fit into a processor's cache.
_CELLS = 1 << 17
#: Days that go through one maximum flow together.
_BATCH = 50


@dataclass(frozen=True)
class Shortage:
    """What a stock leaves over on each day, slings handed out as well as can be.

    ``sets``, ``tight``: the smallest and the largest set of sizes, as masks, with the
    largest excess: one sling more of a size in the first serves one more; one fewer,
    where it was free, of a size in the other leaves one more waiting.
    """

    waiting: Ints
    sets: Ints
    tight: Ints


def sizes_in(sets: Ints, sizes: int) -> Ints:
    """Return which sizes each set holds, as 0 and 1: sets x sizes."""
    bits: Ints = (sets[:, None] >> np.arange(sizes)) & 1
    return bits


class Needs:
    """Needs on many days, ready to be held against one stock after another."""

    def __init__(self, counts: Ints, masks: Ints, sizes: int) -> None:
        self.counts, self.masks, self.sizes = counts, masks, sizes
        self._parts: list[_Listed | _Flows] = []
        bits = sizes_in(masks, sizes)
        # Sizes in groups that no client's choice crosses.
        joint = sparse.csr_array(bits.T @ bits)
        _, label = connected_components(joint, directed=False)
        for part in range(label.max(initial=-1) + 1):
            group = np.flatnonzero(label == part)
            inside = np.int64(sum(1 << int(size) for size in group))
            columns = np.flatnonzero(masks & inside)
            places = bits[np.ix_(columns, group)] @ (1 << np.arange(len(group)))
            kind = _Listed if len(group) <= MOST_LISTED else _Flows
            self._parts.append(kind(counts[:, columns], places, group))

    @property
    def listed(self) -> int:
        parts = (part for part in self._parts if isinstance(part, _Listed))
        return sum(1 << len(part.group) for part in parts) or 1

    @property
    def large(self) -> bool:
        """Whether some linked sizes are too many for every set to be listed."""
        return any(isinstance(part, _Flows) for part in self._parts)

    def shortage(self, free: Ints, *, tight: bool = True) -> Shortage:
        days = len(self.counts)
        free = np.asarray(free)
        total = [np.zeros(days, dtype=np.int64) for _ in range(3)]
        for part in self._parts:
            waiting, small, large = part.shortage(free[..., part.group], tight)
            total[0] += waiting
            total[1] |= small
            total[2] |= large
        return Shortage(*total)


class _Listed:
    """A few linked sizes: every set is looked at; excess and place make one number."""

    def __init__(self, counts: Ints, places: Ints, group: Ints) -> None:
        self.group = group
        days, count = len(counts), 1 << len(group)
        most = max(int(counts.sum(axis=1).max(initial=0)), 1)
        kind: Any = np.int32 if most * count * len(group) < 1 << 30 else np.int64
        needs = np.zeros((count, days), dtype=kind)
        for column, place in enumerate(places):
            needs[place] += counts[:, column].astype(kind)
        for bit in range(len(group)):
            # Sums over subsets, one size at a time (Yates' method).
            halves = needs.reshape(-1, 2, 1 << bit, days)
            halves[:, 1] += halves[:, 0]
        order = np.argsort(np.bitwise_count(np.arange(count)), kind="stable")
        up = np.arange(count, dtype=kind)[:, None]
        coded = needs[order] * count + up[::-1]
        self._up = up - up[::-1]
        step = max(_CELLS // count, 1)
        self._blocks = [
            np.ascontiguousarray(coded[:, first : first + step])
            for first in range(0, days, step)
        ]
        self._sets = _spread(order, group)
        # Whole numbers below 2^53 are exact in floats, and sums of those far quicker.
        self._bits = sizes_in(order, len(group)).astype(float) * count
        self._most = most

    def shortage(self, free: Ints, tight: bool = True) -> tuple[Ints, Ints, Ints]:
        kind, last = self._up.dtype, len(self._sets) - 1
        # Beyond all that may be needed, more slings make no difference.
        stock = (np.minimum(free, self._most + 1) @ self._bits.T).astype(kind).T
        small, large, first = [], [], 0
        for block in self._blocks:
            held = stock[:, None]
            if stock.ndim > 1:
                held = stock[:, first : first + block.shape[1]]
                first += block.shape[1]
            excess = block - held
            small.append(excess.max(axis=0))
            if tight:
                excess += self._up
                large.append(excess.max(axis=0))
        found = np.concatenate(small)
        sets = self._sets[last - (found & last)]
        wide = (
            self._sets[np.concatenate(large) & last] if tight else np.zeros_like(sets)
        )
        return found >> len(self.group), sets, wide


class _Flows:
    """Many linked sizes: handed out in turn, and by a maximum flow where that fails.

    In a line by the clients they share, each goes to whoever has fewest sizes still to
    come (Glover, Nav Res Logist Q 1967;14:313-316, from memory). A day is settled if no
    client left could be served by moving others (Berge, PNAS 1957;43:842-844, from
    memory).
    """

    def __init__(self, counts: Ints, places: Ints, group: Ints) -> None:
        self.group = group
        self._counts = counts
        self._fits = sizes_in(places, len(group)).astype(bool)
        weight = self._fits * np.maximum(counts.mean(axis=0), 1e-9)[:, None]
        joint = weight.T @ self._fits.astype(float)
        # The second eigenvector of the Laplacian lays linked sizes side by side
        # (Fiedler, Czech Math J 1975;25:619-633, from memory).
        laplacian = np.diag(joint.sum(axis=1)) - joint
        line = np.argsort(np.linalg.eigh(laplacian)[1][:, 1], kind="stable")
        turn = np.argsort(line)
        last = np.where(self._fits, turn, -1).max(axis=1)
        self._steps = [
            (int(kind), int(size))
            for size in line
            for kind in sorted(
                np.flatnonzero(self._fits[:, size]), key=last.__getitem__
            )
        ]

    def shortage(self, free: Ints, tight: bool = True) -> tuple[Ints, Ints, Ints]:
        days, sizes = len(self._counts), len(self.group)
        spare = np.array(np.broadcast_to(free, (days, sizes)).T, order="C")
        left = np.array(self._counts.T, order="C")
        moves = np.zeros((sizes, sizes, days), dtype=bool)
        for kind, size in self._steps:
            given = np.minimum(left[kind], spare[size])
            left[kind] -= given
            spare[size] -= given
            moves[size, self._fits[kind]] |= given > 0
        wanting = left.any(axis=0)
        # A size can give up a sling if it has one to spare, or if a client who
        # has it could move to a size that can.
        can = _spreading(spare > 0, moves)
        bits = np.int64(1) << np.arange(sizes, dtype=np.int64)
        waiting = left.sum(axis=0)
        large = bits @ ~can
        # Sizes that clients left over fit, and those to which that could pass on.
        sought = np.zeros((sizes, days), dtype=bool)
        for kind in range(len(left)):
            sought[self._fits[kind]] |= left[kind] > 0
        open_days = np.flatnonzero((sought & can).any(axis=0))
        small = np.zeros(days, dtype=np.int64)
        some = np.flatnonzero(wanting)
        moved = moves[:, :, some].transpose(1, 0, 2)
        small[some] = bits @ _spreading(sought[:, some], moved)
        every = np.broadcast_to(free, (days, sizes))
        for first in range(0, len(open_days), _BATCH):
            some = open_days[first : first + _BATCH]
            found = flow_shortage(self._counts[some], self._fits, every[some])
            waiting[some], small[some], large[some] = found
        return waiting, _spread(small, self.group), _spread(large, self.group)


def _spreading(
    known: npt.NDArray[np.bool_], moves: npt.NDArray[np.bool_]
) -> npt.NDArray[np.bool_]:
    """Return the sizes, day by day, from which moves lead to one that is known."""
    for _ in range(len(known)):
        more = known | (moves & known[None]).any(axis=1)
        if np.array_equal(more, known):
            break
        known = more
    return known


def flow_shortage(
    needs: Ints, fits: npt.NDArray[np.bool_], free: Ints
) -> tuple[Ints, Ints, Ints]:
    """Return what one maximum flow, of all the days at once, leaves over on each."""
    days, kinds = needs.shape
    sizes = fits.shape[1]
    kind, size = np.nonzero(fits)
    start = 2 + np.arange(days)[:, None] * (kinds + sizes)
    client, sling = start + np.arange(kinds), start + kinds + np.arange(sizes)
    source, sink = np.zeros_like(client), np.ones_like(sling)
    heads = np.concatenate([source, client[:, kind], sling], axis=None)
    tails = np.concatenate([client, sling[:, size], sink], axis=None)
    capacity = np.concatenate([needs, needs[:, kind], free], axis=None)
    some = capacity > 0
    nodes = 2 + days * (kinds + sizes)
    graph = sparse.csr_array(
        (capacity[some].astype(np.int32), (heads[some], tails[some])),
        shape=(nodes, nodes),
    )
    flow: Any = maximum_flow(graph, 0, 1).flow
    left = graph - flow
    left.data[left.data < 0] = 0
    left.eliminate_zeros()
    near = breadth_first_order(left, 0, return_predecessors=False)
    back = breadth_first_order(left.T.tocsr(), 1, return_predecessors=False)
    short = np.zeros(nodes, dtype=bool)
    short[near] = True
    tight = np.ones(nodes, dtype=bool)
    tight[back] = False
    given = np.zeros(nodes, dtype=np.int64)
    out = flow.tocsr()[[0]].tocoo()
    given[out.coords[1]] = out.data
    bits = np.int64(1) << np.arange(sizes, dtype=np.int64)
    waiting = needs.sum(axis=1) - given[client].sum(axis=1)
    return waiting, short[sling] @ bits, tight[sling] @ bits


def _spread(places: Ints, group: Ints) -> Ints:
    bits = sizes_in(np.asarray(places), len(group))
    return np.asarray(bits @ (np.int64(1) << group.astype(np.int64)), dtype=np.int64)
