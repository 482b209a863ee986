"""A size chart as a table, and who fits what, fast: sizes as bits, by whole tenths."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import SizingError, one_of
from sizing.measures import MEASURES, MISSING_TENTHS, NO_HIGH, NO_LOW, to_tenths
from sizing.resources import texts

Ints = npt.NDArray[np.int64]
#: The three groups a chart's sizes may belong to.
GROUPS: tuple[str, ...] = ("paediatric", "adult", "bariatric")


@dataclass(frozen=True)
class SizeChart:
    """A valid size chart, in cm and kg, as ``read_chart`` or ``chart_from`` checked it.

    - ``frame``: One row per size, smallest first within its group: ``size``,
      ``group``, ``load_limit_kg`` (NaN: none stated), for each measure it limits
      ``<measure>_low`` and ``<measure>_high`` (NaN: no limit), and the user's own.
    - ``source``: Where it comes from; says "invented" for a demo.
    """

    frame: pd.DataFrame
    name: str = "chart"
    source: str = ""

    @property
    def invented(self) -> tuple[str, ...]:
        """``("chart",)`` for a demo, wherever it went since; else nothing."""
        parts = self.source.lower().split(";")
        made_up = any(part.strip().startswith("invented") for part in parts)
        return ("chart",) if made_up else ()

    @property
    def sizes(self) -> tuple[str, ...]:
        return tuple(self.frame["size"].astype(str))

    @property
    def measures(self) -> tuple[str, ...]:
        """Measures that at least one size limits, in the kit's order."""
        filled = {str(name) for name in self.frame.columns[self.frame.notna().any()]}
        return tuple(m for m in MEASURES if filled & {f"{m}_low", f"{m}_high"})

    def edges(self, measure: str) -> tuple[Ints, Ints]:
        """Return a measure's edges in tenths; no limit: ``NO_LOW``, ``NO_HIGH``."""
        one_of("measure", measure, MEASURES)
        low = to_tenths(self._column(f"{measure}_low"))
        high = to_tenths(self._column(f"{measure}_high"))
        return np.where(low < 0, NO_LOW, low), np.where(high < 0, NO_HIGH, high)

    def load_limits(self) -> Ints:
        """Return each size's load limit in 0.1 kg; ``NO_HIGH`` if none stated."""
        limit = to_tenths(self._column("load_limit_kg"))
        return np.where(limit < 0, NO_HIGH, limit)

    def _column(self, name: str) -> npt.NDArray[np.float64]:
        cells = self.frame.get(name, pd.Series(np.nan, self.frame.index))
        return np.asarray(cells.to_numpy(dtype=float, na_value=np.nan))


_T = texts("charts")
#: One bit for each size; a chart of more is looked up in parts.
MOST_SIZES = 64
MASS = "body_mass_kg"
#: What can come of it, each person and draw having exactly one.
OUTCOMES: tuple[str, ...] = tuple(_T.outcomes)

Masks = npt.NDArray[np.unsignedinteger[Any]]
Bools = npt.NDArray[np.bool_]
#: Measures to columns of whole tenths, negative where not measured.
Tenths = Mapping[str, npt.NDArray[np.integer[Any]]]


def mask_type(chart: SizeChart) -> type[np.unsignedinteger[Any]]:
    count = len(chart.sizes)
    if count > MOST_SIZES:
        raise SizingError.of(_T.many_sizes, count, most=MOST_SIZES)
    kind: type[np.unsignedinteger[Any]] = np.min_scalar_type((1 << count) - 1).type
    return kind


def parts(chart: SizeChart) -> list[SizeChart]:
    """Return the chart in parts of no more sizes than a mask has bits."""
    frame = chart.frame
    return [
        replace(chart, frame=frame.iloc[at : at + MOST_SIZES].reset_index(drop=True))
        for at in range(0, max(len(frame), 1), MOST_SIZES)
    ]


def limits(chart: SizeChart) -> dict[str, tuple[Ints, Ints]]:
    """Return each measure's edges in tenths; the load limit bounds the body mass."""
    found = {measure: chart.edges(measure) for measure in chart.measures}
    load = chart.load_limits()
    if (load < NO_HIGH).any():
        low, high = found.pop(MASS, (np.full_like(load, NO_LOW), load))
        # Body mass comes first in the kit's order of measures.
        found = {MASS: (low, np.minimum(high, load)), **found}
    return found


def lookup(
    low: Ints,
    high: Ints,
    kind: type[np.unsignedinteger[Any]],
    *,
    missing_holds: bool = False,
) -> Masks:
    """Return which sizes hold each value: entry 0 for missing, v + 1 for v tenths."""
    finite = np.concatenate([low, high[high < NO_HIGH]])
    table = np.zeros(int(finite.max()) + 3, dtype=kind)
    for bit, (a, b) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        flag = kind(1 << bit)
        table[a + 1 : b + 2] |= flag
        if missing_holds or (a == NO_LOW and b == NO_HIGH):
            table[0] |= flag
    return table


def masks(values: npt.NDArray[np.integer[Any]], table: Masks) -> Masks:
    # In two bytes a table may be longer than what its values can count.
    place = np.clip(values.astype(np.int64, copy=False), MISSING_TENTHS, len(table) - 2)
    mask: Masks = table[place + 1]
    return mask


def size_masks(values: Tenths, chart: SizeChart) -> Masks:
    """Return, for each row, the sizes it fits: bit i is size i of up to 64."""
    kind = mask_type(chart)
    rows = {len(v) for v in values.values()}
    if len(rows) != 1:
        raise SizingError.of(_T.no_length, sorted(rows))
    fits = np.full(rows.pop(), (1 << len(chart.sizes)) - 1, dtype=kind)
    for measure, edges in limits(chart).items():
        table = lookup(*edges, kind)
        known = measure in values
        fits &= masks(np.asarray(values[measure]), table) if known else table[0]
    return fits


def unpack(fits: Sequence[Masks], count: int) -> Bools:
    """Return masks, one for each part of a chart, as a boolean matrix."""
    made = []
    for part in fits:
        bits = np.arange(min(count, MOST_SIZES), dtype=part.dtype)
        made.append((part[:, None] >> bits & part.dtype.type(1)).astype(bool))
        count -= MOST_SIZES
    return made[0] if len(made) == 1 else np.concatenate(made, axis=1)


def fits_matrix(values: Tenths | pd.DataFrame, chart: SizeChart) -> Bools:
    """Return who is known to fit what, (rows, sizes); in tenths -1 is not measured."""
    if isinstance(values, pd.DataFrame):
        values = tenths(values, chart)
    masks = [size_masks(values, part) for part in parts(chart)]
    return unpack(masks, len(chart.sizes))


def tenths(frame: pd.DataFrame, chart: SizeChart) -> dict[str, Ints]:
    """Return what the chart limits in whole tenths; what the frame lacks is missing."""
    none = pd.Series(np.nan, frame.index)
    return {
        measure: to_tenths(frame.get(measure, none).to_numpy(float, na_value=np.nan))
        for measure in limits(chart)
    }


@dataclass(frozen=True)
class Judged:
    """Masks of sizes that fit each row, or may, by ``parts``; how many; the outcome."""

    fitting: list[Masks]
    possible: list[Masks]
    count: Ints
    code: Ints


def judge(values: Mapping[str, Ints], chart: SizeChart, rows: int) -> Judged:
    beyond, below, over_all = np.zeros((3, rows), dtype=bool)
    for measure in chart.measures:
        (low, high), x = chart.edges(measure), values[measure]
        beyond |= x > high.max()
        below |= (x < low.min()) & (x != MISSING_TENTHS)
    load = chart.load_limits()
    if MASS in values and (load < NO_HIGH).any():
        over_all = values[MASS] > load.max()
    judged = [_of_part(values, part, rows) for part in parts(chart)]
    fitting, holding, possible = map(list, zip(*judged, strict=True))
    count = np.sum([np.bitwise_count(part) for part in fitting], axis=0, dtype=int)
    held, could = (
        np.logical_or.reduce([part != 0 for part in each])
        for each in (holding, possible)
    )
    true = [count == 1, count > 1, could, over_all | held, beyond, below]
    code = np.select(true, [0, 1, 6, 5, 3, 4], 2)
    return Judged(fitting, possible, count, code)


def _of_part(
    values: Mapping[str, Ints], chart: SizeChart, rows: int
) -> tuple[Masks, Masks, Masks]:
    """Return the sizes that fit, those whose bands could hold, and could fit."""
    kind = mask_type(chart)
    every = kind((1 << len(chart.sizes)) - 1)
    fitting, holding, bearing = np.full((3, rows), every, dtype=kind)
    for measure in chart.measures:
        x, edges = values[measure], chart.edges(measure)
        fitting &= masks(x, lookup(*edges, kind))
        holding &= masks(x, lookup(*edges, kind, missing_holds=True))
    load = chart.load_limits()
    if MASS in values and (load < NO_HIGH).any():
        mass, bounds = values[MASS], (np.zeros_like(load), load)
        fitting &= masks(mass, lookup(*bounds, kind))
        bearing = masks(mass, lookup(*bounds, kind, missing_holds=True))
    return fitting, holding, np.bitwise_and(holding, bearing)


def misfits(values: Tenths | pd.DataFrame, chart: SizeChart) -> tuple[Bools, Bools]:
    """Return for whom each size is too small, and for whom too large, or both.

    One too small gives pressure and may tip; from one too large a person can slip out
    (HSE information sheet HSIS3). A measure not taken says nothing.
    """
    if isinstance(values, pd.DataFrame):
        values = tenths(values, chart)
    rows = max(map(len, values.values()), default=0)
    too_small = np.zeros((rows, len(chart.sizes)), dtype=bool)
    too_large = too_small.copy()
    for measure in chart.measures:
        (low, high), x = chart.edges(measure), np.asarray(values[measure])[:, None]
        too_small |= x > high
        too_large |= (x < low) & (x != MISSING_TENTHS)
    return too_small, too_large


def yardsticks(chart: SizeChart) -> dict[str, float]:
    """Return what one unit of miss is in each measure, in tenths, at least one."""
    made = {}
    for measure, (low, high) in limits(chart).items():
        both = (low > NO_LOW) & (high < NO_HIGH)
        edges = np.concatenate([low[low > NO_LOW], high[high < NO_HIGH]])
        width = np.median((high - low)[both]) if both.any() else np.median(edges) / 10
        made[measure] = max(float(width), 1.0)
    return made


def nearest(
    values: Mapping[str, Ints], chart: SizeChart, *, over_load: Bools
) -> tuple[Ints, Ints, Ints, npt.NDArray[np.float64]]:
    """Find the size with the least total miss (``charts.assign`` has the rule)."""
    row, units, bounds = np.arange(len(over_load)), yardsticks(chart), limits(chart)
    total = np.zeros((len(row), len(chart.sizes)))
    for measure, (low, high) in bounds.items():
        total += _distance(values[measure][:, None], low, high) / units[measure]
    load = chart.load_limits()
    if over_load.any():
        total[over_load[:, None] & (values[MASS][:, None] <= load)] = np.inf
    size = total.argmin(axis=1)

    ends = {m: (low[size], high[size]) for m, (low, high) in bounds.items()}
    gaps = np.array([_distance(values[m], *ends[m]) for m in units])
    above = np.array([values[m] > ends[m][1] for m in units])
    measure_at = (gaps / np.array([*units.values()])[:, None]).argmax(axis=0)
    miss = gaps[measure_at, row]
    direction = np.where(above[measure_at, row], 0, 1)

    if over_load.any() or MASS in units:
        j, over = list(units).index(MASS), values[MASS] - load[size]
        heavy = over_load | ((measure_at == j) & (over > 0))
        measure_at = np.where(heavy, j, measure_at)
        direction = np.where(heavy, 2, direction)
        miss = np.where(heavy, over, miss)
    return size, measure_at, direction, miss / 10


def _distance(x: Ints, low: Ints, high: Ints) -> Ints:
    """Return how far each value lies outside its band, 0 where not measured."""
    gap = np.maximum(np.maximum(low - x, x - high), 0)
    return np.where(x == MISSING_TENTHS, 0, gap)
