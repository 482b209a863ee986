"""One step of the chain: the best neighbour of every box at once.

Two neighbours overlap in the box from b's low edges to a's high edges. Once their
places in all measures but one are settled, its weight is a term of a less a term
of b, so that the maximum over the remaining measure is a sliding one. The boxes
that differ in that measure only make a row; pairs of rows are worked in blocks.
Boxes that share no value need only a running maximum.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from sizing.banding.axis import Ints
from sizing.banding.counts import Floats, along, places

#: The first and last index a neighbour may have, and the first that overlaps.
Window = tuple[Ints, Ints, Ints]
#: Numbers worked on together: what the processor's cache holds.
BLOCK = 1 << 15


class Step:
    """The step between two neighbouring sizes, a below and b above.

    Parameters
    ----------
    table : ndarray
        Weight of the people below each combination of cuts.
    cuts : sequence of (ndarray, ndarray)
        For each measure, the cut above each a's high edge, and the cut of each
        b's low edge.
    windows : sequence of Window
        ``Axis.before`` of each measure.
    must_overlap : bool
        Neighbours have to overlap in some measure: a least overlap is asked.
    """

    def __init__(
        self,
        table: Floats,
        cuts: Sequence[tuple[Ints, Ints]],
        windows: Sequence[Window],
        must_overlap: bool,
    ) -> None:
        self.windows = list(windows)
        self.above = tuple(len(low) for _, low in cuts)
        self.must_overlap = must_overlap
        lengths = [int((last - over).max()) for _, over, last in windows]
        # Sliding over the longest window leaves the fewest pairs of rows.
        self.slide = int(np.argmax(lengths))
        self.others = [d for d in range(len(cuts)) if d != self.slide]
        self.cuts = [cuts[d] for d in self.others]
        ends = cuts[self.slide]
        self.below_rows, self.above_rows = (
            self._rows(along(table, self.slide, places(e))) for e in ends
        )
        shape = [table.shape[d] for d in self.others]
        self.strides = [int(np.prod(shape[d + 1 :])) for d in range(len(shape))]

    def _rows(self, values: npt.NDArray[np.float64]) -> Floats:
        moved = np.moveaxis(values, self.slide, -1)
        return np.ascontiguousarray(moved).reshape(-1, moved.shape[-1])

    def up(self, f: Floats, wanted: npt.NDArray[np.bool_] | None = None) -> Floats:
        """Return for each b the maximum of f(a) - |a and b| over a before b.

        Parameters
        ----------
        f : ndarray
            Worth of each a; -inf where it is not looked at.
        wanted : ndarray of bool, optional
            The b to be looked at; elsewhere the maximum may be too small.
        """
        best = self._apart_up(f)
        values = self._rows(f)
        here = np.moveaxis(best, self.slide, -1)
        reached = np.ascontiguousarray(here).reshape(-1, here.shape[-1])
        _, first, last = self.windows[self.slide]
        window = _Sliding(first, last, values.shape[-1])
        a_row, b_row, corners = self._pairs(f, wanted)
        size = max(1, BLOCK // max(values.shape[-1], reached.shape[-1]))
        for start in range(0, len(a_row), size):
            block = slice(start, start + size)
            gain = values[a_row[block]]
            gain -= _between(self.below_rows, corners, block)
            gain = window.maximum(gain)
            gain += _between(self.above_rows, corners, block)
            b = b_row[block]
            starts = np.flatnonzero(np.diff(b, prepend=-1))
            rows = b[starts]
            reached[rows] = np.maximum(
                reached[rows], np.maximum.reduceat(gain, starts, axis=0)
            )
        return np.moveaxis(reached.reshape(here.shape), -1, self.slide)

    def _pairs(
        self, f: Floats, wanted: npt.NDArray[np.bool_] | None
    ) -> tuple[Ints, Ints, list[tuple[Ints, int]]]:
        """List the pairs of rows that overlap, by rows of b.

        Returns
        -------
        a_row, b_row : ndarray of int64
            Number of each row.
        corners : list of (ndarray of int64, int)
            Rows of the table between which the overlap lies, and their signs.
        """
        some_a = np.asarray((f > -np.inf).any(axis=self.slide))
        some_b = np.ones([self.above[d] for d in self.others], dtype=bool)
        if wanted is not None:
            some_b = np.asarray(wanted.any(axis=self.slide))
        a_row = b_row = np.zeros(1, dtype=np.int64)
        corners = [(np.zeros(1, dtype=np.int64), 1)]
        for d, (measure, (high, low)) in enumerate(
            zip(self.others, self.cuts, strict=True)
        ):
            a, b = _neighbours(self.windows[measure])
            rest = tuple(range(d + 1, len(self.others)))
            a_left = some_a.any(axis=rest).reshape(-1, some_a.shape[d])
            b_left = some_b.any(axis=rest).reshape(-1, some_b.shape[d])
            old, new = np.nonzero(a_left[a_row[:, None], a] & b_left[b_row[:, None], b])
            a, b = a[new], b[new]
            a_row = a_row[old] * some_a.shape[d] + a
            b_row = b_row[old] * some_b.shape[d] + b
            stride = self.strides[d]
            corners = [
                (rows[old] + stride * end, sign * side)
                for rows, sign in corners
                for end, side in ((high[a], 1), (low[b], -1))
            ]
        order = np.argsort(b_row, kind="stable")
        return (
            a_row[order],
            b_row[order],
            [(rows[order], sign) for rows, sign in corners],
        )

    def _apart_up(self, f: Floats) -> Floats:
        """Return the maximum of f(a) over the a that share no value with b."""
        best = np.full(self.above, -np.inf)
        if self.must_overlap:
            return best
        for d in range(f.ndim):
            f = np.maximum.accumulate(f, axis=d)
        for d in range(f.ndim):
            part = f
            for e, (_, overlap, last) in enumerate(self.windows):
                until = np.minimum(overlap - 1, last) if e == d else last
                part = _take(part, until, e)
            np.maximum(best, part, out=best)
        return best


def _neighbours(window: Window) -> tuple[Ints, Ints]:
    """Return every pair of places at which a and b overlap in one measure."""
    _, overlap, last = window
    count = np.maximum(last - overlap + 1, 0)
    b = np.repeat(np.arange(len(last)), count)
    return np.arange(len(b)) - (np.cumsum(count) - count - overlap)[b], b


def _between(rows: Floats, corners: Sequence[tuple[Ints, int]], block: slice) -> Floats:
    """Return the weight between the corners, for a block of pairs of rows."""
    found: Floats = rows[corners[0][0][block]]
    for place, sign in corners[1:]:
        if sign > 0:
            found += rows[place[block]]
        else:
            found -= rows[place[block]]
    return found


def _take(values: Floats, index: Ints, axis: int) -> Floats:
    """Take along an axis; an index below 0 gives -inf."""
    found = values.take(np.maximum(index, 0), axis=axis)
    if (index < 0).any():
        shape = [-1 if e == axis else 1 for e in range(values.ndim)]
        found = np.where((index < 0).reshape(shape), -np.inf, found)
    return found


class _Sliding:
    """Maxima over ``first`` to ``last`` along the last dimension, by doubling."""

    def __init__(self, first: Ints, last: Ints, n: int) -> None:
        self.first, self.last, self.n = first, last, n
        here = np.arange(len(first))
        self.from_, self.to = int((first - here).min()), int((last - here).max())
        # Windows of one length, but for those cut short by either end.
        self.even = bool(
            (first == np.clip(here + self.from_, 0, n)).all()
            and (last == np.clip(here + self.to, -1, n - 1)).all()
        )

    def maximum(self, values: Floats) -> Floats:
        """Return the maximum of each window; -inf where it is empty."""
        if self.to < self.from_:
            return np.full((*values.shape[:-1], len(self.first)), -np.inf)
        return self._even(values) if self.even else self._uneven(values)

    def _even(self, values: Floats) -> Floats:
        count, length = len(self.first), self.to - self.from_ + 1
        shape = (*values.shape[:-1], count + length - 1)
        padded = np.full(shape, -np.inf)
        start, stop = max(self.from_, 0), min(self.n, count + self.to)
        if start < stop:
            padded[..., start - self.from_ : stop - self.from_] = values[
                ..., start:stop
            ]
        reach = 1
        while 2 * reach <= length:
            padded = np.maximum(padded[..., :-reach], padded[..., reach:])
            reach *= 2
        return np.maximum(
            padded[..., :count], padded[..., length - reach : length - reach + count]
        )

    def _uneven(self, values: Floats) -> Floats:
        length = self.last - self.first + 1
        level = np.log2(np.maximum(length, 1)).astype(int)
        out = np.full((*values.shape[:-1], len(length)), -np.inf)
        reach = 1
        for power in range(int(level.max()) + 1):
            if power:
                values = np.maximum(values[..., :-reach], values[..., reach:])
                reach *= 2
            use = np.flatnonzero((level == power) & (length > 0))
            if len(use):
                second = self.last[use] + 1 - reach
                out[..., use] = np.maximum(
                    values[..., self.first[use]], values[..., second]
                )
        return out
