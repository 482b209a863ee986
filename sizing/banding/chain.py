"""The best chain of boxes, exactly, by dynamic programming.

In a graded chart a bigger size is bigger in everything: low and high edges
never fall from one size to the next. A person who fits both size i and size
i + 2 then fits size i + 1 too, so the weight of those who fit any size is

    sum of |B_i|  -  sum of |B_i and B_(i+1)|

and the best chart over a grid of candidate boxes follows from

    f_k(b) = |B_b| + max over a before b of ( f_(k-1)(a) - |B_a and B_b| ).

For a fixed shift between a and b in all measures but one, the overlap is a
difference of a term in a and a term in b, so that the maximum over the
remaining measure is a sliding one. Boxes that share no value need only a
running maximum. The cost does not depend on the number of people.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sizing.banding.axis import Axis, Ints
from sizing.banding.counts import Breaks, Floats, between, box_weights

#: Two charts whose weights differ by less than this share of all are tied.
TIE = 1e-10

Window = tuple[Ints, Ints, Ints]


@dataclass(frozen=True)
class Problem:
    """A chain to be found: candidates, cuts and the people's weights.

    Attributes
    ----------
    axes : sequence of Axis
        One per measure.
    breaks : sequence of Breaks
        The cuts of each measure.
    table : ndarray
        From ``sizing.banding.counts.cumulate``.
    sizes : int
        Number of boxes in the chain.
    total : float
        The weight of all people.
    least_weight : float
        A box with less weight than this is not offered.
    outer : bool
        Use the outer boxes (for a bound), not the boxes themselves.
    """

    axes: Sequence[Axis]
    breaks: Sequence[Breaks]
    table: Floats
    sizes: int
    total: float
    least_weight: float = 0.0
    outer: bool = False

    def boxes(self, size: int) -> Floats:
        """Return the weight in each candidate box; -inf where not offered."""
        weight = box_weights(self.table, self.breaks, size)
        if self.least_weight > 0:
            few = weight < self.least_weight - TIE * self.total
            weight = np.where(few, -np.inf, weight)
        return weight

    def windows(self, size: int) -> list[Window]:
        """Return ``Axis.before`` of each measure."""
        return [axis.before(size, outer=self.outer) for axis in self.axes]


def best_value(problem: Problem) -> float:
    """Return the weight of the best chain, or -inf if there is none."""
    return float(forward(problem)[-1].max())


def best_chain(problem: Problem) -> tuple[float, Ints]:
    """Return the best chain's weight and its candidates' indices.

    Ties: of equally good charts the one is returned whose largest size has the
    lowest edges (measure by measure, in the order given), then whose second
    largest has, and so on.

    Returns
    -------
    value : float
        Weight of the people in at least one box; -inf if no chain exists.
    chain : ndarray of int64, shape (sizes, measures)
        Index into each measure's candidates.
    """
    layers = forward(problem)
    value = float(layers[-1].max())
    chain = np.zeros((problem.sizes, len(problem.axes)), dtype=np.int64)
    if value == -np.inf:
        return value, chain
    slack = TIE * problem.total
    at = _first(layers[-1] >= value - slack)
    chain[-1] = at
    for size in range(problem.sizes - 1, 0, -1):
        gain = layers[size - 1] - overlap_with(problem, size, at)
        at = _first(gain >= gain.max() - slack)
        chain[size - 1] = at
    return value, chain


def forward(problem: Problem) -> list[Floats]:
    """Return f_1, ..., f_K: the best chain that ends in each box."""
    layers = [problem.boxes(0)]
    for size in range(1, problem.sizes):
        layers.append(problem.boxes(size) + best_before(problem, size, layers[-1]))
    return layers


def best_before(problem: Problem, size: int, f: Floats) -> Floats:
    """Return, for each box b, the maximum of f(a) - |B_a and B_b| over a."""
    windows = problem.windows(size)
    best = _without_overlap(problem, windows, f)
    lengths = [int((w[2] - w[1]).max()) for w in windows]
    slide = int(np.argmax(lengths))
    others = [d for d in range(f.ndim) if d != slide]
    cut = problem.breaks[slide]
    rows = np.concatenate([cut.high[size - 1], cut.low])
    table = np.moveaxis(problem.table, slide, 0).take(rows, axis=0)
    f_front = np.moveaxis(f, slide, 0)
    best_front = np.moveaxis(best, slide, 0)
    n = problem.axes[slide].n
    sliding = _Sliding(windows[slide][1], windows[slide][2])
    measures = [(problem.breaks[d], windows[d]) for d in others]
    for overlap, before, here in _shifts(table, measures, size):
        gain = f_front[(slice(None), *before)] - overlap[:n]
        gain = sliding.maximum(gain)
        gain += overlap[n:]
        place = (slice(None), *here)
        best_front[place] = np.maximum(best_front[place], gain)
    return best


def overlap_with(problem: Problem, size: int, at: Sequence[int]) -> Floats:
    """Return |B_a and B_b| for one box b of a size and each a of the size below.

    It is +inf where a may not stand before b.
    """
    table = problem.table
    windows = problem.windows(size)
    forbidden = np.zeros((1,) * table.ndim, dtype=bool)
    for d, (cut, axis, index) in enumerate(
        zip(problem.breaks, problem.axes, at, strict=True)
    ):
        low = np.full(axis.n, cut.low[index])
        table = between(table, d, low, np.maximum(cut.high[size - 1], low))
        first, _, last = (w[index] for w in windows[d])
        place = np.arange(axis.n)
        out = (place < first) | (place > last)
        forbidden = forbidden | out.reshape(
            [-1 if e == d else 1 for e in range(table.ndim)]
        )
    return np.where(forbidden, np.inf, table)


def _without_overlap(problem: Problem, windows: list[Window], f: Floats) -> Floats:
    """Return the maximum of f(a) over the a that share no person with b."""
    if any(axis.least_overlap is not None for axis in problem.axes):
        return np.full(f.shape, -np.inf)
    running = f
    for d in range(f.ndim):
        running = np.maximum.accumulate(running, axis=d)
    best = np.full(f.shape, -np.inf)
    for d in range(f.ndim):
        part = running
        for e, (_, overlap, last) in enumerate(windows):
            until = np.minimum(overlap - 1, last) if e == d else last
            part = _take(part, until, e)
        np.maximum(best, part, out=best)
    return best


def _take(values: Floats, index: Ints, axis: int) -> Floats:
    """Take along an axis; an index below 0 gives -inf."""
    found = values.take(np.maximum(index, 0), axis=axis)
    if (index < 0).any():
        shape = [-1 if e == axis else 1 for e in range(values.ndim)]
        found = np.where((index < 0).reshape(shape), -np.inf, found)
    return found


def _shifts(
    table: Floats, measures: list[tuple[Breaks, Window]], size: int
) -> Iterator[tuple[Floats, tuple[slice, ...], tuple[slice, ...]]]:
    """Yield each shift's overlaps, with the boxes before and here it joins.

    The first dimension of ``table`` is the sliding one; one measure after
    another is turned from cuts into candidates.
    """
    if not measures:
        yield table, (), ()
        return
    (cut, (_, overlap, last)), rest = measures[0], measures[1:]
    here_all = np.arange(len(last))
    for shift in range(int((here_all - overlap).max()) + 1):
        before = here_all - shift
        here = np.flatnonzero((before >= overlap) & (before <= last))
        if len(here) == 0:
            continue
        low = cut.low[here]
        part = between(table, 1, low, np.maximum(cut.high[size - 1][here - shift], low))
        # Move the finished measure behind the ones still to do.
        part = np.moveaxis(part, 1, -1)
        for start, stop in _runs(here):
            run = slice(int(here[start]), int(here[stop - 1]) + 1)
            back = slice(run.start - shift, run.stop - shift)
            for weights, before_rest, here_rest in _shifts(
                part[..., start:stop], rest, size
            ):
                yield weights, (back, *before_rest), (run, *here_rest)


def _runs(index: Ints) -> Iterator[tuple[int, int]]:
    """Yield start and stop of each run of consecutive numbers."""
    ends = np.flatnonzero(np.diff(index) != 1) + 1
    bounds = [0, *ends.tolist(), len(index)]
    yield from zip(bounds, bounds[1:], strict=False)


class _Sliding:
    """The maximum over rows ``first`` to ``last``, for each row of a table."""

    def __init__(self, first: Ints, last: Ints) -> None:
        length = last - first + 1
        self.level = np.where(length > 0, np.log2(np.maximum(length, 1)), 0).astype(int)
        self.length = length
        self.first = first
        self.second = np.maximum(last + 1 - (1 << self.level), 0)

    def maximum(self, values: Floats) -> Floats:
        """Return the sliding maximum along the first dimension (doubling)."""
        out = np.full(values.shape, -np.inf)
        rows = values
        for level in range(int(self.level.max()) + 1):
            if level:
                half = 1 << (level - 1)
                rows = np.maximum(rows[:-half], rows[half:])
            use = np.flatnonzero((self.level == level) & (self.length > 0))
            if len(use):
                out[use] = np.maximum(rows[self.first[use]], rows[self.second[use]])
        return out


def _first(mask: np.ndarray) -> tuple[int, ...]:
    return tuple(int(i) for i in np.unravel_index(int(np.argmax(mask)), mask.shape))
