"""Cut one measure into k bands whose people are most alike, exactly."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.banding.axis import Ints
from sizing.banding.counts import Floats
from sizing.errors import Problem, SizingError
from sizing.measures import to_tenths

#: Values counted at a time.
_BLOCK = 1 << 15


@dataclass(frozen=True)
class Partition:
    """One measure cut into bands that leave nobody out.

    Attributes
    ----------
    table : DataFrame
        One row per band: band (1, 2, ...), low, high (smallest and largest
        value in it), centre (mean), share (of the weight).
    cost : float
        Sum of weighted squared distances to the band's centre, in squared
        units of the measure.
    n : int
        Number of values.
    """

    table: pd.DataFrame
    cost: float
    n: int

    def summary(self) -> str:
        """Say in plain words where the bands lie."""
        bands = "; ".join(
            f"{low:g} to {high:g}"
            for low, high in zip(self.table["low"], self.table["high"], strict=True)
        )
        return f"{len(self.table)} bands of {self.n} values: {bands}."


def partition_bands(
    values: npt.ArrayLike, bands: int, *, weights: npt.ArrayLike | None = None
) -> Partition:
    """Cut values into bands with the least squared distance to their centres.

    The values are counted in whole tenths (mm, or 0.1 kg); a dynamic programme
    over the distinct tenths then finds the exact optimum,

        D_k(j) = min over i of ( D_(k-1)(i) + cost of the values from i to j ),

    each row by halving, because the best i never falls as j grows (for example
    Wang and Song, The R Journal 2011;3(2):29-33, from memory). The time after
    counting does not depend on the number of values.

    Parameters
    ----------
    values : array-like of float
        In cm or kg; values not measured (NaN) are left out.
    bands : int
        Number of bands.
    weights : array-like of float, optional
        One per value.

    Returns
    -------
    Partition
        Of equally good cuts, those with the lowest values.

    Raises
    ------
    SizingError
        If there are fewer distinct values than bands, or no weight.

    Examples
    --------
    >>> found = partition_bands([70.0, 71.0, 90.0, 91.0, 120.0], 3)
    >>> found.table["low"].tolist(), found.table["high"].tolist()
    ([70.0, 90.0, 120.0], [71.0, 91.0, 120.0])
    """
    count, n = _count(np.asarray(values, dtype=float).ravel(), weights)
    at = np.flatnonzero(count)
    if not isinstance(bands, int | np.integer) or not 1 <= bands <= len(at):
        _refuse(
            f"{bands} bands of {len(at)} distinct values make no sense",
            f"from 1 to {len(at)} bands",
            bands,
        )
    mass, x = count[at], at.astype(float)
    # Sums from the middle outwards lose less to rounding.
    x = x - np.average(x, weights=mass)
    sums = [np.concatenate([[0.0], np.cumsum(mass * x**p)]) for p in range(3)]
    stops = _cuts(sums, int(bands))
    starts = np.concatenate([[0], stops[:-1]])
    value = at / 10
    total = sums[0][stops] - sums[0][starts]
    centre = np.add.reduceat(mass * value, starts) / total
    table = pd.DataFrame(
        {
            "band": np.arange(1, bands + 1),
            "low": value[starts],
            "high": value[stops - 1],
            "centre": centre,
            "share": total / sums[0][-1],
        }
    )
    cost = float(_cost(sums, starts, stops).sum()) / 100
    return Partition(table, cost, n)


def _count(values: Floats, weights: npt.ArrayLike | None) -> tuple[Floats, int]:
    """Return the weight at each whole tenth, and how many values are known."""
    weight = None if weights is None else np.asarray(weights, dtype=float).ravel()
    if weight is not None and (
        len(weight) != len(values) or not (np.isfinite(weight) & (weight >= 0)).all()
    ):
        _refuse("the weights make no sense", "0 or more, one per value", "weights")
    count, n = np.zeros(0), 0
    # Blocks that stay in the processor's cache are counted twice as fast.
    for start in range(0, len(values), _BLOCK):
        stop = start + _BLOCK
        tenths = to_tenths(values[start:stop])
        known = tenths >= 0
        part = None if weight is None else weight[start:stop]
        if not known.all():
            tenths = tenths[known]
            part = None if part is None else part[known]
        if not len(tenths):
            continue
        new = np.bincount(tenths, weights=part, minlength=len(count)).astype(float)
        new[: len(count)] += count
        count, n = new, n + len(tenths)
    return count, n


def _cost(sums: list[Floats], start: Ints, stop: Ints) -> Floats:
    """Return the squared distances to the centre of values start to stop - 1."""
    mass, first, second = (s[stop] - s[start] for s in sums)
    return np.maximum(second - first**2 / mass, 0.0)


def _cuts(sums: list[Floats], bands: int) -> Ints:
    """Return where each band stops, by dynamic programming over the values."""
    n = len(sums[0]) - 1
    every = np.arange(1, n + 1)
    best = np.full(n + 1, np.inf)
    best[1:] = _cost(sums, np.zeros(n, dtype=np.int64), every)
    choice = []
    for band in range(1, bands):
        if band == bands - 1:
            i = np.arange(band, n)
            reach = best[i] + _cost(sums, i, np.full(len(i), n))
            choice.append(np.full(n + 1, i[int(np.argmin(reach))]))
            break
        best, chosen = _row(sums, best, band, n)
        choice.append(chosen)
    stops = [n]
    for chosen in reversed(choice):
        stops.append(int(chosen[stops[-1]]))
    return np.array(stops[::-1])


def _row(sums: list[Floats], best: Floats, band: int, n: int) -> tuple[Floats, Ints]:
    """Return the next row of the programme: every stop's best start.

    Stops are done at wide distances first, then between; the best start of a
    stop lies between those of its neighbours already done.
    """
    new = np.full(n + 1, np.inf)
    chosen = np.zeros(n + 1, dtype=np.int64)
    stops = np.arange(band + 1, n + 1)
    span = 8 ** max(0, int(np.log(max(len(stops), 2)) / np.log(8)))
    low = np.full(len(stops), band)
    high = stops - 1
    done = np.zeros(len(stops), dtype=bool)
    while True:
        place = np.arange(0, len(stops), span)
        place = place[~done[place]]
        stop = stops[place]
        length = high[place] - low[place] + 1
        offset = np.cumsum(length) - length
        start = np.arange(int(offset[-1] + length[-1])) - np.repeat(
            offset - low[place], length
        )
        reach = best[start] + _cost(sums, start, np.repeat(stop, length))
        new[stop] = np.minimum.reduceat(reach, offset)
        # The first start that reaches the minimum.
        hit = np.flatnonzero(reach == np.repeat(new[stop], length))[::-1]
        chosen[stop[np.searchsorted(offset, hit, side="right") - 1]] = start[hit]
        done[place] = True
        if span == 1:
            return new, chosen
        known = np.arange(0, len(stops), span)
        at = chosen[stops[known]]
        block = np.arange(len(stops)) // span
        low = at[block]
        high = np.minimum(np.append(at[1:], n - 1)[block], stops - 1)
        span //= 8


def _refuse(what: str, allowed: str, value: object) -> None:
    raise SizingError(
        str(Problem(what, allowed, "correct what was given", value=value))
    )
