"""Cut one measure into k bands whose people are most alike, exactly."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.bands.axis import Ints
from sizing.bands.cells import Floats
from sizing.errors import SizingError, check_number
from sizing.measures import to_tenths

#: Values counted at a time.
_BLOCK = 1 << 15
#: Stops between two that are done already, plus one; measured.
FAN = 12


@dataclass(frozen=True)
class Partition:
    """One measure cut into bands that leave nobody out.

    ``table``: band (1, 2, ...), low, high (smallest and largest value in it), centre
    (mean), share (of the weight). ``cost``: the sum of weighted squared distances to
    the bands' centres; ``n``: how many values.
    """

    table: pd.DataFrame
    cost: float
    n: int


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

    Of equally good cuts, those with the lowest values.

    >>> found = partition_bands([70.0, 71.0, 90.0, 91.0, 120.0], 3)
    >>> found.table["low"].tolist(), found.table["high"].tolist()
    ([70.0, 90.0, 120.0], [71.0, 91.0, 120.0])
    """
    count, n = _count(np.asarray(values, dtype=float).ravel(), weights)
    at = np.flatnonzero(count)
    check_number(
        f"the number of bands for {len(at)} distinct values",
        bands,
        least=1,
        most=len(at),
        whole=True,
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
    weight = None if weights is None else np.asarray(weights, dtype=float).ravel()
    if weight is not None and (
        len(weight) != len(values) or not (np.isfinite(weight) & (weight >= 0)).all()
    ):
        raise SizingError(
            "the weights make no sense",
            allowed="0 or more, one per value",
            action="correct what was given",
            value="weights",
        )
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
    """Return where each band stops, by dynamic programming over the values.

    The squares of the values add up to the same however they are cut, so that
    only what each band saves, (sum of values)^2 / weight, need be looked at.
    """
    mass, first = sums[0], sums[1]
    n = len(mass) - 1
    best = np.full(n + 1, -np.inf)
    best[1:] = first[1:] ** 2 / mass[1:]
    choice = []
    for band in range(1, bands - 1):
        best, chosen = _row(mass, first, best, band)
        choice.append(chosen)
    stops = [n]
    if bands > 1:
        i = np.arange(bands - 1, n)
        saved = best[i] + (first[n] - first[i]) ** 2 / (mass[n] - mass[i])
        stops.append(int(i[int(np.argmax(saved))]))
    for chosen in reversed(choice):
        stops.append(int(chosen[stops[-1]]))
    return np.array(stops[::-1])


def _row(mass: Floats, first: Floats, best: Floats, band: int) -> tuple[Floats, Ints]:
    """Return the next row of the programme: every stop's best start.

    Stops are done at wide distances first, then between; the best start of a
    stop lies between those of its neighbours already done.
    """
    n = len(mass) - 1
    new = np.full(n + 1, -np.inf)
    chosen = np.zeros(n + 1, dtype=np.int64)
    span = FAN ** int(np.log(max(n - band, 2)) / np.log(FAN))
    stop = np.arange(band + 1, n + 1, span)
    low, high = np.full(len(stop), band), stop - 1
    while True:
        length = high - low + 1
        offset = np.cumsum(length) - length
        block = np.repeat(np.arange(len(stop)), length)
        start = np.arange(len(block)) - (offset - low)[block]
        saved = first[stop][block]
        saved -= first[start]
        saved *= saved
        weight = mass[stop][block]
        weight -= mass[start]
        saved /= weight
        saved += best[start]
        most = np.maximum.reduceat(saved, offset)
        new[stop] = most
        # The first start that reaches the maximum.
        hit = np.flatnonzero(saved == most[block])[::-1]
        chosen[stop[block[hit]]] = start[hit]
        if span == 1:
            return new, chosen
        done = np.arange(band + 1, n + 1, span)
        at = chosen[done]
        span //= FAN
        between = np.arange(len(range(band + 1, n + 1, span)))
        between = between[between % FAN > 0]
        stop = band + 1 + between * span
        low = at[between // FAN]
        high = np.minimum(np.append(at[1:], n - 1)[between // FAN], stop - 1)
