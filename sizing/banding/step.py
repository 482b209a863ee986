"""One step of the chain: the best neighbour of every box at once.

For a fixed shift between two neighbours in all measures but one, their overlap
is a term of the smaller box less a term of the larger one, so that the maximum
over the remaining measure is a sliding one. Boxes that share no value need only
a running maximum. One step costs the number of candidates times the window
lengths of the other measures.
"""

from collections.abc import Iterator, Sequence

import numpy as np

from sizing.banding.axis import Ints
from sizing.banding.counts import Floats, Places, along, places

#: The first and last index a neighbour may have, and the first that overlaps.
Window = tuple[Ints, Ints, Ints]
Place = tuple[slice, ...]


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
        # Sliding over the longest window leaves the fewest shifts.
        self.slide = int(np.argmax(lengths))
        self.others = [d for d in range(len(cuts)) if d != self.slide]
        high, low = cuts[self.slide]
        self.from_below = np.moveaxis(
            along(table, self.slide, places(high)), self.slide, -1
        )
        self.from_above = np.moveaxis(
            along(table, self.slide, places(low)), self.slide, -1
        )
        self.cuts = [cuts[d] for d in self.others]

    def up(self, f: Floats) -> Floats:
        """Return for each b the maximum of f(a) - |a and b| over a before b."""
        best = self._apart_up(f)
        here, values = (np.moveaxis(x, self.slide, -1) for x in (best, f))
        _, first, last = self.windows[self.slide]
        window = _Sliding(first, last, values.shape[-1])
        for a_terms, b_terms, a, b in self._shifts():
            gain = window.maximum(values[a] - a_terms)
            gain += b_terms
            np.maximum(here[b], gain, out=here[b])
        return best

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

    def _shifts(self) -> Iterator[tuple[Floats, Floats, Place, Place]]:
        """Yield each shift's terms of a and of b, and the boxes it joins."""
        plans = [
            _plan(*cuts, self.windows[d])
            for d, cuts in zip(self.others, self.cuts, strict=True)
        ]
        yield from _joined(self.from_below, self.from_above, plans, 0)


#: For one measure: places of a, places of b, cuts above a, cuts below b.
Shift = tuple[slice, slice, Places, Places]


def _plan(high: Ints, low: Ints, window: Window) -> list[Shift]:
    """List the shifts at which a and b overlap in one measure."""
    _, overlap, last = window
    b_all = np.arange(len(last))
    some = last >= overlap
    if not some.any():
        return []
    least, most = int((b_all - last)[some].min()), int((b_all - overlap)[some].max())
    plan = []
    for shift in range(least, most + 1):
        a_all = b_all - shift
        for start, stop in _runs((a_all >= overlap) & (a_all <= last)):
            b, a = slice(start, stop), slice(start - shift, stop - shift)
            plan.append((a, b, places(high[a]), places(low[b])))
    return plan


def _joined(
    below: Floats, above: Floats, plans: Sequence[list[Shift]], d: int
) -> Iterator[tuple[Floats, Floats, Place, Place]]:
    if d == len(plans):
        yield below, above, (), ()
        return
    for a, b, to, since in plans[d]:
        a_part = along(below, d, to) - along(below, d, since)
        b_part = along(above, d, to) - along(above, d, since)
        for a_terms, b_terms, a_rest, b_rest in _joined(a_part, b_part, plans, d + 1):
            yield a_terms, b_terms, (a, *a_rest), (b, *b_rest)


def _runs(mask: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield start and stop of each run of True."""
    edges = np.flatnonzero(np.diff(mask, prepend=False, append=False))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


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
