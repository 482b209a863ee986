"""Who can be served by what is free: exact, for many days at once.

Clients are grouped by the set of sizes that fit them, written as a mask. Slings
can be handed out so that nobody waits if and only if, for every set S of sizes,
those who fit sizes within S and no other are at most the slings within S (Hall,
J London Math Soc 1935;10:26-30, from memory); the largest excess over all S is
the number who wait when slings are handed out as well as can be (Ore's form of
the theorem; both from memory). It equals what a maximum flow from clients to
slings leaves over, which tests hold.
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


@dataclass(frozen=True)
class Shortage:
    """What a stock leaves over on each day, slings handed out as well as can be.

    Attributes
    ----------
    waiting : ndarray of int, shape (days,)
        Needs that no free sling meets.
    sets : ndarray of int, shape (days,)
        The smallest set of sizes, as a mask, with the largest excess; 0 where
        nobody waits. One more sling of a size serves one more client on exactly
        those days whose set holds it.
    tight : ndarray of int, shape (days,)
        The largest such set. One sling fewer of a size, where it was free,
        leaves one more waiting on exactly those days whose tight set holds it.
    """

    waiting: Ints
    sets: Ints
    tight: Ints


def within(counts: Ints, masks: Ints, chosen: int) -> Ints:
    """Return, day by day, how many fit sizes in ``chosen`` and no other.

    Parameters
    ----------
    counts : ndarray of int, shape (days, masks)
    masks : ndarray of int
        The set of sizes each column stands for.
    chosen : int
        A set of sizes as a mask.
    """
    inside = (masks & ~np.int64(chosen)) == 0
    return np.asarray(counts[:, inside].sum(axis=1), dtype=np.int64)


def linked(masks: Ints, sizes: int) -> list[Ints]:
    """Return the sizes in groups that no client's choice crosses.

    Examples
    --------
    >>> [group.tolist() for group in linked(np.array([0b011, 0b100]), 3)]
    [[0, 1], [2]]
    """
    bits = (masks[:, None] >> np.arange(sizes)) & 1
    joint = sparse.csr_array(bits.T @ bits)
    _, label = connected_components(joint, directed=False)
    return [np.flatnonzero(label == i) for i in range(label.max() + 1)]


class Needs:
    """Needs on many days, ready to be held against one stock after another.

    Parameters
    ----------
    counts : ndarray of int, shape (days, masks)
        Needs by the set of sizes that would meet them.
    masks : ndarray of int, shape (masks,)
        Those sets; none is 0.
    sizes : int
        Number of sizes offered.

    Examples
    --------
    Three clients, two of whom fit only the first size, and one sling of each:

    >>> needs = Needs(np.array([[2, 1]]), np.array([0b01, 0b11]), 2)
    >>> found = needs.shortage(np.array([1, 1]))
    >>> found.waiting.tolist(), found.sets.tolist(), found.tight.tolist()
    ([1], [1], [3])
    """

    def __init__(self, counts: Ints, masks: Ints, sizes: int) -> None:
        self.counts, self.masks, self.sizes = counts, masks, sizes
        self._parts: list[_Listed | _Flows] = []
        for group in linked(masks, sizes) if sizes else []:
            inside = np.int64(sum(1 << int(size) for size in group))
            columns = np.flatnonzero(masks & inside)
            places = _compact(masks[columns], group)
            kind = _Listed if len(group) <= MOST_LISTED else _Flows
            self._parts.append(kind(counts[:, columns], places, group))

    def shortage(self, free: Ints) -> Shortage:
        """Return who waits and where slings are short.

        Parameters
        ----------
        free : ndarray of int, shape (sizes,) or (days, sizes)
            Slings free.
        """
        days = len(self.counts)
        free = np.asarray(free)
        total = [np.zeros(days, dtype=np.int64) for _ in range(3)]
        for part in self._parts:
            waiting, small, large = part.shortage(free[..., part.group])
            total[0] += waiting
            total[1] |= _spread(small, part.group)
            total[2] |= _spread(large, part.group)
        return Shortage(*total)


class _Listed:
    """A few linked sizes: every set of them is looked at."""

    def __init__(self, counts: Ints, places: Ints, group: Ints) -> None:
        self.group = group
        days, count = len(counts), 1 << len(group)
        needs = np.zeros((days, count), dtype=np.int32)
        for column, place in enumerate(places):
            needs[:, place] += counts[:, column].astype(np.int32)
        for bit in range(len(group)):
            # Sums over subsets, one size at a time (Yates' method).
            halves = needs.reshape(days, -1, 2, 1 << bit)
            halves[:, :, 1] += halves[:, :, 0]
        # Small sets first, so that the first largest excess is the smallest set.
        self._order = np.argsort(np.bitwise_count(np.arange(count)), kind="stable")
        self._needs = needs[:, self._order]
        bits = (self._order[None, :] >> np.arange(len(group))[:, None]) & 1
        self._bits = bits.astype(np.float32)

    def shortage(self, free: Ints) -> tuple[Ints, Ints, Ints]:
        # Whole numbers below 2^24 are exact in these floats, and far quicker.
        stock = (free.astype(np.float32) @ self._bits).astype(np.int32)
        excess = self._needs - stock
        first = excess.argmax(axis=1)
        last = excess.shape[1] - 1 - excess[:, ::-1].argmax(axis=1)
        waiting = np.take_along_axis(excess, first[:, None], axis=1)[:, 0]
        return waiting.astype(np.int64), self._order[first], self._order[last]


class _Flows:
    """Many linked sizes: a maximum flow on each day finds the sets."""

    def __init__(self, counts: Ints, places: Ints, group: Ints) -> None:
        self.group = group
        self._counts = counts
        self._fits = ((places[:, None] >> np.arange(len(group))) & 1).astype(bool)

    def shortage(self, free: Ints) -> tuple[Ints, Ints, Ints]:
        free = np.broadcast_to(free, (len(self._counts), len(self.group)))
        found = [
            flow_shortage(needs, self._fits, slings)
            for needs, slings in zip(self._counts, free, strict=True)
        ]
        waiting, small, large = np.array(found, dtype=np.int64).reshape(-1, 3).T
        return waiting, small, large


def flow_shortage(
    needs: Ints, fits: npt.NDArray[np.bool_], free: Ints
) -> tuple[int, int, int]:
    """Return what a maximum flow from clients to slings leaves over on one day.

    Parameters
    ----------
    needs : ndarray of int, shape (kinds,)
        Slings needed by each kind of client.
    fits : ndarray of bool, shape (kinds, sizes)
    free : ndarray of int, shape (sizes,)

    Returns
    -------
    waiting, small, large : int
        Needs left over; the smallest and the largest set of sizes with the
        largest excess (the minimum cuts nearest to the clients and to the
        slings), as masks.
    """
    some = needs > 0
    needs, fits = needs[some], fits[some]
    kinds, sizes = fits.shape
    sink = kinds + sizes + 1
    kind, size = np.nonzero(fits)
    ends = np.arange(kinds) + 1, np.arange(sizes) + kinds + 1
    heads = np.concatenate([np.zeros(kinds, dtype=int), kind + 1, ends[1]])
    tails = np.concatenate([ends[0], kinds + 1 + size, np.full(sizes, sink)])
    capacity = np.concatenate([needs, needs[kind], free]).astype(np.int32)
    graph = sparse.csr_array((capacity, (heads, tails)), shape=(sink + 1, sink + 1))
    flow: Any = maximum_flow(graph, 0, sink)
    left = graph - flow.flow
    left.data[left.data < 0] = 0
    left.eliminate_zeros()
    near = breadth_first_order(left, 0, return_predecessors=False)
    back = breadth_first_order(left.T.tocsr(), sink, return_predecessors=False)
    short = np.zeros(sink + 1, dtype=bool)
    short[near] = True
    tight = np.ones(sink + 1, dtype=bool)
    tight[back] = False
    bits = np.int64(1) << np.arange(sizes, dtype=np.int64)
    place = slice(kinds + 1, sink)
    waiting = int(needs.sum() - flow.flow_value)
    return waiting, int(bits[short[place]].sum()), int(bits[tight[place]].sum())


def _compact(masks: Ints, group: Ints) -> Ints:
    """Return the masks with the group's sizes as their lowest bits."""
    bits = (masks[:, None] >> group) & 1
    return np.asarray(bits @ (np.int64(1) << np.arange(len(group))), dtype=np.int64)


def _spread(places: Ints, group: Ints) -> Ints:
    """Return masks of all sizes from masks of the group's."""
    bits = (np.asarray(places)[:, None] >> np.arange(len(group))) & 1
    return np.asarray(bits @ (np.int64(1) << group.astype(np.int64)), dtype=np.int64)
