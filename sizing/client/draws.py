"""What draws rest on: evenly spread numbers, widths of age, bounded readings."""

from collections.abc import Sequence
from functools import cache
from itertools import product

import numpy as np
import numpy.typing as npt

from sizing.client.readings import ESTIMATED, TAKEN, Reading
from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.resources import source_table
from sizing.stats.formulas import Floats

#: Digits of each evenly spread number, base 2.
_BITS = 30
#: Primitive polynomial (its inner coefficients) and first direction numbers of each
#: column after the first. Joe and Kuo, SIAM J Sci Comput 2008;30:2635-2654 (from
#: memory; a test holds them against SciPy's).
_INNER = (
    (0, (1,)),
    (1, (1, 3)),
    (1, (1, 3, 1)),
    (2, (1, 1, 1)),
    (1, (1, 1, 3, 3)),
    (4, (1, 3, 5, 13)),
    (2, (1, 1, 5, 5, 17)),
)
COLUMNS = 1 + len(_INNER)
#: A reading is moved by the rest of the body by this many of its errors at most.
MOVED = 1.0
#: Smallest spread on the logarithmic scale.
_LEAST = 1e-7


def _directions(columns: int) -> np.ndarray:
    rows = [[1] * _BITS]
    for inner, first in _INNER[: columns - 1]:
        s, m = len(first), list(first)
        for i in range(s, _BITS):
            new = m[i - s] ^ (m[i - s] << s)
            for k in range(1, s):
                if inner >> (s - 1 - k) & 1:
                    new ^= m[i - k] << k
            m.append(new)
        rows.append(m)
    shift = np.arange(_BITS - 1, -1, -1)
    return np.array(rows, dtype=np.int64) << shift


def even_numbers(rows: int, columns: int, rng: np.random.Generator) -> Floats:
    """Return points of the unit cube, evenly spread; rows a power of 2, columns to 8.

    Scrambled Sobol points (Matousek, J Complexity 1998;14:527-556, from memory), as
    ``scipy.stats.qmc`` has them, which takes longer to load than a client to judge.
    """
    powers = 1 << np.arange(_BITS, dtype=np.int64)
    # A generator of its own, as SciPy makes: ``rng`` itself is not moved on.
    own = rng.spawn(1)[0]
    digits = own.integers(2, size=(columns, _BITS), dtype=np.uint32)
    shift = digits.astype(np.int64) @ powers
    lower = own.integers(2, size=(columns, _BITS, _BITS), dtype=np.uint32)
    lower = np.tril(lower).astype(np.int64)
    lower[:, np.arange(_BITS), np.arange(_BITS)] = 1
    # Digits of the direction numbers, the highest first; their scrambled sums.
    high = powers[::-1]
    bits = (_directions(columns)[:, :, None] & high) != 0
    mixed = (lower @ bits.swapaxes(1, 2).astype(np.int64)) & 1
    direction = (mixed.swapaxes(1, 2) * high).sum(axis=2)
    number = np.arange(rows)
    gray = number ^ (number >> 1)
    out = np.broadcast_to(shift, (rows, columns)).copy()
    for place in range(rows.bit_length()):
        out ^= np.where(gray[:, None] >> place & 1, direction[:, place], 0)
    return out / 2.0**_BITS


@cache
def _knots() -> dict[tuple[str, str], Floats]:
    table = source_table("older_widths.csv")
    return {
        (str(sex), str(name)): part[["age_years", "times"]].to_numpy(dtype=float).T
        for (sex, name), part in table.groupby(["sex", "measure"])
    }


def older_times(sex: npt.NDArray[np.object_], age_years: Floats) -> Floats:
    """Return how many times as wide each seated measure and girth is predicted."""
    times = np.ones((len(sex), len(SEATED_AND_GIRTHS)))
    for one, (j, name) in product(SEXES, enumerate(SEATED_AND_GIRTHS)):
        rows = sex == one
        times[rows, j] = np.interp(age_years[rows], *_knots()[one, name])
    return times


def as_read(values: Floats, weight: Floats, one: Reading, confirmed: bool) -> Floats:
    """Return draws of what was read, their median moved by ``MOVED`` errors at most.

    Limited translation (Efron and Morris, JASA 1971, from memory); what was confirmed
    keeps its own law (feedback is cut: Plummer, Stat Comput 2015, from memory).
    """
    if one.sd == 0:
        return np.full(len(values), one.value)
    if one.how == ESTIMATED:
        return values
    middle = float(quantile(values, weight, [0.5])[0])
    # A guess cannot be measured again; a tape can be put round once more.
    kept = confirmed and one.how in TAKEN
    read, most = float(np.exp(one.log_value)), 0.0 if kept else MOVED * one.sd
    # What is left of the model's pull: all of it, or what the bound leaves.
    left = 1.0 if abs(middle - read) <= most else most / abs(middle - read)
    gap = np.log(values / middle)
    spread = max(float(np.sqrt(weight @ np.square(gap))), _LEAST)
    wider = left + (1.0 - left) * one.log_sd / spread
    out: Floats = (read + left * (middle - read)) * np.exp(gap * wider)
    return out


def quantile(values: Floats, weight: Floats, q: Sequence[float]) -> Floats:
    order = np.argsort(values)
    place = np.cumsum(weight[order]) - weight[order] / 2
    return np.interp(q, place, values[order])
