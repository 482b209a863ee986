"""Who fits what, fast: sizes as bits, looked up by whole tenths."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts.size_chart import SizeChart
from sizing.errors import SizingError
from sizing.measures import to_tenths
from sizing.measures.edges import MISSING_TENTHS, NO_HIGH, NO_LOW

#: One bit for each size; a chart of more is looked up in parts.
MOST_SIZES = 64
MASS = "body_mass_kg"
#: Rows looked up in one step.
_BLOCK = 1 << 16

Masks = npt.NDArray[np.unsignedinteger[Any]]


def mask_type(chart: SizeChart) -> type[np.unsignedinteger[Any]]:
    """Return the smallest unsigned type with a bit for each size."""
    count = len(chart.sizes)
    if count > MOST_SIZES:
        what, allowed = "too many sizes in one chart", f"up to {MOST_SIZES}"
        do = "split the chart by group"
        raise SizingError(what, allowed=allowed, action=do, value=count)
    for kind in (np.uint8, np.uint16, np.uint32):
        if count <= np.iinfo(kind).bits:
            return kind
    return np.uint64


def parts(chart: SizeChart) -> list[SizeChart]:
    """Return the chart in parts of no more sizes than a mask has bits."""
    if len(chart.sizes) <= MOST_SIZES:
        return [chart]
    frame, starts = chart.frame, range(0, len(chart.sizes), MOST_SIZES)
    return [
        replace(chart, frame=frame.iloc[at : at + MOST_SIZES].reset_index(drop=True))
        for at in starts
    ]


def limits(
    chart: SizeChart,
) -> dict[str, tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]]:
    """Return each limited measure's edges in tenths, the load limit within.

    The load limit bounds the body mass from above, so it is taken together
    with the high edge of the body-mass band, whichever is lower.
    """
    found = {measure: chart.edges(measure) for measure in chart.measures}
    load = chart.load_limits()
    if (load < NO_HIGH).any():
        low, high = found.pop(MASS, (np.full_like(load, NO_LOW), load))
        # Body mass comes first in the kit's order of measures.
        found = {MASS: (low, np.minimum(high, load)), **found}
    return found


def lookup(
    low: npt.NDArray[np.int64],
    high: npt.NDArray[np.int64],
    kind: type[np.unsignedinteger[Any]],
    *,
    missing_holds: bool = False,
) -> Masks:
    """Return the mask of sizes that hold each value of one measure.

    A missing value could hold (``missing_holds``) or cannot be said to hold; sizes that
    do not limit the measure hold it in either case. Entry 0 is for a missing value,
    entry ``v + 1`` for ``v`` tenths; the last is for every value beyond all edges.
    """
    finite = np.concatenate([low, high[high < NO_HIGH]])
    table = np.zeros(int(finite.max()) + 3, dtype=kind)
    for bit, (a, b) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        flag = kind(1 << bit)
        table[a + 1 : b + 2] |= flag
        if missing_holds or (a == NO_LOW and b == NO_HIGH):
            table[0] |= flag
    return table


def masks(values: npt.NDArray[np.integer[Any]], table: Masks) -> Masks:
    """Look up whole tenths in a table made by ``lookup``."""
    place = np.clip(values, MISSING_TENTHS, len(table) - 2)
    mask: Masks = table[place + 1]
    return mask


def size_masks(
    values: Mapping[str, npt.NDArray[np.integer[Any]]], chart: SizeChart
) -> Masks:
    """Return, for each row, the sizes it fits: bit i is size i of the chart.

    Parameters
    ----------
    values : mapping of measure to ndarray of int
        Tenths (mm, 0.1 kg), negative where not measured; see ``to_tenths``. A
        limited measure that is absent counts as not measured. Columns of
        ``int16`` (up to 3,276.7) are the fastest.
    chart : SizeChart
        Of up to 64 sizes.

    Returns
    -------
    ndarray of unsigned int, shape (rows,)

    Raises
    ------
    SizingError
        If no measure is given, the lengths differ, or the chart has more
        than 64 sizes.

    Notes
    -----
    For each measure a table says which sizes hold each whole tenth; a row's
    sizes are the common bits of what its measures look up. The time does not
    depend on the number of sizes. ``tests/benchmarks/bench_fit.py`` measures it.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["one", "two"], "sitting_height_cm_low": [70, 85],
    ...     "sitting_height_cm_high": [85, 99]}), warn=False)
    >>> size_masks({"sitting_height_cm": np.array([700, 850, 991, -1])}, chart)
    array([1, 3, 0, 0], dtype=uint8)
    """
    kind = mask_type(chart)
    rows = {len(v) for v in values.values()}
    if len(rows) != 1:
        raise SizingError(
            "the columns have no length in common",
            allowed="at least one measure, and columns of one length",
            action="give every measure for every person",
            value=sorted(rows),
        )
    n = rows.pop()
    fits = np.full(n, (1 << len(chart.sizes)) - 1, dtype=kind)
    short, tables = [], []
    for measure, (low, high) in limits(chart).items():
        table = lookup(low, high, kind)
        column = np.asarray(values.get(measure, ()))
        if measure not in values:
            fits &= table[0]
        elif column.dtype == np.int16:
            short.append(np.ascontiguousarray(column).view(np.uint16))
            tables.append(_every_short(table))
        else:
            fits &= masks(column, table)
    _keep_all(fits, short, tables)
    return fits


def _every_short(table: Masks) -> Masks:
    """Return a table with an entry for each of the 65,536 two-byte values.

    A column of two-byte whole numbers, read as unsigned, is then looked up
    without a check: what is negative, thus missing, is its upper half.
    """
    made = np.full(1 << 16, table[-1], dtype=table.dtype)
    known = min(len(table) - 1, 1 << 15)
    made[:known] = table[1 : known + 1]
    made[1 << 15 :] = table[0]
    return made


def _keep_all(
    out: Masks, columns: list[npt.NDArray[np.uint16]], tables: list[Masks]
) -> None:
    """Keep in each mask the bits that every column's table has."""
    # By blocks, so that what numpy writes between its steps stays in cache.
    place = np.empty(min(_BLOCK, len(out)), dtype=np.intp)
    found = np.empty(len(place), dtype=out.dtype)
    for start in range(0, len(out), _BLOCK):
        part = out[start : start + _BLOCK]
        size = len(part)
        for column, table in zip(columns, tables, strict=True):
            place[:size] = column[start : start + _BLOCK]
            # "clip" spares a check: no two-byte value lies outside the table.
            np.take(table, place[:size], out=found[:size], mode="clip")
            part &= found[:size]


def unpack(fits: Sequence[Masks], count: int) -> npt.NDArray[np.bool_]:
    """Return masks, one for each part of a chart, as a boolean matrix."""
    made = []
    for part in fits:
        bits = np.arange(min(count, MOST_SIZES), dtype=part.dtype)
        made.append((part[:, None] >> bits & part.dtype.type(1)).astype(bool))
        count -= MOST_SIZES
    return made[0] if len(made) == 1 else np.concatenate(made, axis=1)


def fits_matrix(
    values: Mapping[str, npt.NDArray[np.integer[Any]]] | pd.DataFrame,
    chart: SizeChart,
) -> npt.NDArray[np.bool_]:
    """Return who fits what.

    Parameters
    ----------
    values : DataFrame or mapping
        A frame of measures in cm and kg, or a mapping of measures to arrays
        of whole tenths (mm, 0.1 kg; -1 not measured).
    chart : SizeChart

    Returns
    -------
    ndarray of bool, shape (rows, sizes)
        True where every measure that the size limits holds, both edges
        included, and the body mass does not exceed its load limit. Where one
        of them is not measured the size cannot be said to fit: False.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> people = pd.DataFrame({
    ...     "body_mass_kg": [70.0, 310.0], "shoulder_height_sitting_cm": [56, 60],
    ...     "buttock_popliteal_length_cm": [46, 50],
    ...     "hip_circumference_cm": [98, 150]})
    >>> fits_matrix(people, demo_chart()).sum(axis=1).tolist()
    [3, 0]
    """
    if isinstance(values, pd.DataFrame):
        values = tenths(values, chart)
    masks = [size_masks(values, part) for part in parts(chart)]
    return unpack(masks, len(chart.sizes))


def tenths(frame: pd.DataFrame, chart: SizeChart) -> dict[str, npt.NDArray[np.int64]]:
    """Return the frame's columns that the chart limits, in whole tenths.

    A limited measure that the frame lacks comes back as not measured.
    """
    made = {}
    for measure in limits(chart):
        if measure in frame:
            made[measure] = to_tenths(frame[measure].to_numpy(float, na_value=np.nan))
        else:
            made[measure] = np.full(len(frame), MISSING_TENTHS)
    return made
