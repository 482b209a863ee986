"""Make a checked size chart from a table, naming every problem at once."""

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts.cells import (
    RESERVED,
    alike,
    as_number,
    as_text,
    is_empty,
    name_fault,
)
from sizing.charts.review import review_chart
from sizing.charts.size_chart import GROUPS, SizeChart
from sizing.errors import InputProblems, Problem
from sizing.errors import warn as point_out
from sizing.measures import MEASURES, to_tenths
from sizing.measures.columns import OF_KIND
from sizing.measures.headings import WRITTEN_UNITS, Found
from sizing.measures.tables import CHART, take
from sizing.measures.written import Amount, Said

#: Beyond this, in cm or kg, a number is a slip; people do write 999 for no limit.
_MOST = 10_000
ENDS: tuple[str, ...] = ("low", "high")
#: Columns that carry the chart's name and source through a file.
_ABOUT = ("chart_name", "chart_source")
#: Both ends in one cell: 20-40, 20 to 40 cm, with any dash; or one: up to 40, 104+.
_BOTH = re.compile(
    r"(?:from\s+)?(.*\d.*?)\s*(?:[-\u2010-\u2015\u2212]|\bto\b)\s*(.*\d.*)", re.I
)
_UP_TO = re.compile(
    r"(?:up to|max\.?|≤|<=)\s*(\S.*)|(\S.*?)\s*(?:or|and) (?:less|under|below)", re.I
)
_FROM = re.compile(
    r"(?:from|min\.?|≥|>=)\s*(\S.*)"
    r"|(\S.*?)\s*(?:\+|(?:or|and) (?:more|over|above))(\s*[a-z]*)",
    re.I,
)
_UNITS = WRITTEN_UNITS | dict.fromkeys('"″”', "in")
_LAST_WORD = re.compile(r"([a-z]+|[\"″”])\.?(?:\s*\+|\s+(?:or|and) \w+)?$")

#: What is wrong, what is allowed, what to do.
_TOO_MUCH = (
    "a limit that no body can have",
    f"at most {_MOST:g} cm or kg; an empty cell means no limit",
    "correct it, or empty the cell",
)
_NOTHING = (
    "an upper limit of nothing fits nobody",
    "a number above 0; an empty cell means no limit",
    "correct it, or empty the cell",
)
_ENDLESS = (
    "a limit whose end is not said",
    "names that end in _low or _high, or cells such as 20-40",
)
_EMPTY_TABLE = (
    "there are no sizes under the heading",
    "one row for each size",
    "fill in the sizes",
)
_NO_RANGE = (
    "no range where the others of the column are",
    "cells such as 20-40, up to 40 or 20+, or empty ones",
    "write where the size begins and ends",
)
_NAMELESS = ("a size without a name", "a name for each size", "write one")
_NO_SIZE = (
    "no name of a size, but a word that means something else here",
    f"any name but {', '.join(sorted(RESERVED))}",
    "delete the row if it is none of a size, or name it otherwise",
)
_UNLIMITED = (
    "this size has no limits at all",
    "at least one measure's low or high limit",
    "fill in its limits, or delete the row",
)
_EXCHANGE = ("a low limit at or below the high limit", "exchange or correct them")
_LOAD_FIRST = (
    "a load limit at or above the weight the size is for",
    "check both on the sling's own label; do not use this size before they agree",
)
_BUT_FOR = " but for case, spaces or letters"


def chart_from(
    frame: pd.DataFrame, *, name: str = "chart", source: str = "", warn: bool = True
) -> SizeChart:
    """Check a table and return it as a size chart in cm and kg.

    Parameters
    ----------
    frame : DataFrame
        One row per size, smallest first. Columns: ``size`` (needed);
        ``group`` (paediatric, adult or bariatric; may be absent or empty);
        ``load_limit_kg`` (or ``_lb``, ``_st``; may be absent or empty); limits
        such as ``hip_circumference_cm_low`` and ``hip_circumference_cm_high``
        in cm, mm, m, in or ft, and ``body_mass_kg_low`` in kg, g, lb or st;
        cells are read by ``as_number``. Both ends may stand in one column, such as
        ``hip girth (cm)``, in cells such as 90-110, up to 90 or 110+. A heading's
        unit may stand in all of its cells instead. An empty cell is no limit. Other
        columns are kept as they come.
        Capitals, surrounding spaces, and spaces for underscores in headings
        and groups do not matter. Wholly empty rows are left out.
    name, source : str
        What the chart is called and where it comes from. Columns
        ``chart_name`` and ``chart_source`` in the table go before them.
    warn : bool
        Whether the findings of ``review_chart`` are issued as warnings.

    Returns
    -------
    SizeChart
        Its frame has size, group (empty text if not stated), load_limit_kg,
        the limits in the kit's order of measures, then the other columns.

    Raises
    ------
    InputProblems
        Every problem at once: its row is the spreadsheet's, heading row 1.

    Warns
    -----
    SizingWarning
        One for each finding, such as a gap between neighbouring sizes.

    Examples
    --------
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["small adult", "tall adult"],
    ...     "load_limit_kg": [150, 150],
    ...     "sitting_height_in_low": [30, 34],
    ...     "sitting_height_in_high": [34, 38]}))
    >>> chart.frame["sitting_height_cm_high"].round(2).tolist()
    [86.36, 96.52]
    """
    taken = take(_with_units(frame), CHART, collect=True, note="file" in frame.attrs)
    with taken.told(f"'{taken.file}'" if taken.file else f"the chart '{name}'"):
        cells = taken.frame.astype(object).itertuples(index=False, name=None)
        kept = [i for i, row in enumerate(cells) if not all(map(is_empty, row))]
        rows = [i + 2 for i in kept]
        table, columns, problems = _from_ranges(
            taken.frame.iloc[kept].reset_index(drop=True), taken.found, rows
        )
        problems += _table_problems(table, columns)
        made: dict[str, list[Any]] = {}
        for column in columns:
            limit = column.kind in OF_KIND
            if (limit or column.stem in ("size", "group")) and column.standard in table:
                values = [
                    _value(cell, column, row)
                    for cell, row in zip(table[column.standard], rows, strict=True)
                ]
                problems += [wrong for _, wrong in values if wrong is not None]
                made[column.standard] = [value for value, _ in values]
        problems += _row_problems(made, columns, rows)
        told = {c: _told(table[c]) for c in _ABOUT if c in table}
        if fault := name_fault(told.get("chart_name", "")):
            where = (None, None, "chart_name", told["chart_name"])
            problems.append(Problem(*fault, *where))
        if problems:
            raise InputProblems(problems)
    chart = SizeChart(
        _ordered(made, table),
        told.get("chart_name") or name,
        told.get("chart_source") or source,
    )
    if warn:
        for words in review_chart(chart)["words"]:
            point_out(f"{chart.name}: {words}")
    return chart


def _with_units(frame: pd.DataFrame) -> pd.DataFrame:
    """Put the unit that all filled cells of a column have into its heading."""
    names = list(frame.columns)
    for at, name in enumerate(names):
        if CHART.without_unit(name):
            cells = [text for c in frame.iloc[:, at] if (text := as_text(c).casefold())]
            words = [_LAST_WORD.search(text) for text in cells]
            units = {_UNITS.get(word[1], "") if word else "" for word in words}
            if len(units) == 1 and any(units):
                names[at] = f"{name} ({units.pop()})"
    return frame.set_axis(names, axis=1)


def ends_of(cell: object) -> tuple[str | None, str | None] | None:
    """Return both ends of a range as they are written, or None if it is none."""
    text = as_text(cell)
    if found := _BOTH.fullmatch(text):
        return found[1], found[2]
    if found := _UP_TO.fullmatch(text):
        return None, "".join(part or "" for part in found.groups())
    if found := _FROM.fullmatch(text):
        return "".join(part or "" for part in found.groups()), None
    return None


def _from_ranges(
    table: pd.DataFrame, found: Sequence[Found], rows: Sequence[int]
) -> tuple[pd.DataFrame, list[Found], list[Problem]]:
    """Return the table with the kit's names, and cells such as 20-40 parted."""
    data: dict[str, Any] = {}
    columns: list[Found] = []
    problems = []
    for one, name in zip(found, table.columns, strict=True):
        cells = table[name].astype(object).tolist()
        if one.measure not in MEASURES or one.end:
            data.setdefault(one.standard, table[name])
            columns.append(one)
            continue
        parts = [ends_of(cell) for cell in cells]
        ends = [replace(one, end=end) for end in ENDS]
        columns += ends
        if not any(parts):
            do = f"write '{ends[0].standard}' or '{ends[1].standard}'"
            problems.append(Problem(*_ENDLESS, do, None, 1, one.given))
            continue
        for i, end in enumerate(ends):
            data[end.standard] = [part and part[i] for part in parts]
        problems += [
            Problem(*_NO_RANGE, None, row, one.given, cell)
            for row, cell, part in zip(rows, cells, parts, strict=True)
            if part is None and not is_empty(cell)
        ]
    return pd.DataFrame(data, table.index), columns, problems


def _told(cells: pd.Series) -> str:
    return next((text for text in map(as_text, cells) if text), "")


def _table_problems(table: pd.DataFrame, columns: Sequence[Found]) -> list[Problem]:
    """Name what is wrong with the table as a whole."""
    problems = []
    if not any(column.measure in MEASURES for column in columns):
        found = ", ".join(f"'{column.given}'" for column in columns) or "none"
        allowed = "columns such as hip_circumference_cm_low and _high, or 'Hip girth "
        allowed += f"(cm)' with cells such as 90-110; found are {found}"
        do = f"add the limits of at least one of: {', '.join(MEASURES)}"
        problems.append(Problem("no limits at all", allowed, do, row=1))
    if table.empty:
        problems.append(Problem(*_EMPTY_TABLE, row=2))
    return problems


def _value(cell: object, column: Found, row: int) -> tuple[Any, Problem | None]:
    """Return what a cell holds, limits in cm or kg, and what is wrong with it."""
    where = (None, row, column.given)
    if column.stem == "size":
        return as_text(cell), None
    if column.stem == "group":
        group = as_text(cell).lower()
        if not group or group in GROUPS:
            return group, None
        near = get_close_matches(group, GROUPS, 1, 0.5)
        hint = f"did you mean '{near[0]}'?" if near else "choose one of these"
        allowed = f"{', '.join(GROUPS)}, or an empty cell"
        return group, Problem("unknown group", allowed, hint, *where, cell)
    number = as_number(cell, file=None, row=row, column=column.given, unit=column.unit)
    if isinstance(number, Problem):
        return math.nan, number
    # Rounded as the unit gate does, so that 36 in is 91.44 and no more.
    value, wrong = round(number * column.factor, 9), None
    if number * column.factor > _MOST:
        wrong = Problem(*_TOO_MUCH, *where, number)
    elif number == 0 and column.end != "low":
        wrong = Problem(*_NOTHING, *where, number)
    return value, wrong


def _row_problems(
    made: dict[str, list[Any]], columns: Sequence[Found], rows: Sequence[int]
) -> list[Problem]:
    """Name what is wrong within and between the rows."""
    problems = []
    first: dict[str, tuple[int, str]] = {}
    by_name = {column.standard: column for column in reversed(columns)}
    limits = [c for c in made if c.endswith(ENDS)]
    for i, row in enumerate(rows):
        if "size" in made:
            size = made["size"][i]
            if fault := _size_fault(size, row, first):
                heading, shown = by_name["size"].given, size[:40] or None
                problems.append(Problem(*fault, None, row, heading, shown))
        if limits and all(math.isnan(made[c][i]) for c in limits):
            problems.append(Problem(*_UNLIMITED, None, row))
        problems += _limit_problems(made, by_name, i, row)
    return problems


def _size_fault(
    size: str, row: int, first: dict[str, tuple[int, str]]
) -> tuple[str, str, str] | None:
    """Say what is wrong with a size's name, ``first`` being where each was seen."""
    if not size:
        return _NAMELESS
    if fault := name_fault(size):
        return fault
    if alike(size) in RESERVED:
        return _NO_SIZE
    other, name = first.setdefault(alike(size), (row, size))
    if other == row:
        return None
    what = f"the size stands twice{'' if name == size else _BUT_FOR}, also in row "
    return f"{what}{other}", "each size once", "rename or delete one of them"


def _limit_problems(
    made: dict[str, list[Any]], by_name: dict[str, Found], i: int, row: int
) -> list[Problem]:
    problems = []
    for measure in MEASURES:
        low, high = (made.get(f"{measure}_{end}", [])[i : i + 1] for end in ENDS)
        if low and high and to_tenths(low)[0] > to_tenths(high)[0] > 0:
            columns = [by_name[f"{measure}_{end}"] for end in ENDS]
            shown = [v[0] / c.factor for v, c in zip((low, high), columns, strict=True)]
            what = f"the low limit is above the high limit, {shown[1]:g}"
            if columns[1].factor == 1:
                top = Amount(high[0], measure, to="hundredth")
                what = Said("the low limit is above the high limit, {top}", top=top)
            where = (None, row, columns[0].given, round(shown[0], 6))
            problems.append(Problem(what, *_EXCHANGE, *where))
    load = made.get("load_limit_kg", [])[i : i + 1]
    low = made.get("body_mass_kg_low", [])[i : i + 1]
    if load and low and 0 <= to_tenths(load)[0] < to_tenths(low)[0]:
        words = "the load limit is under the size's body-mass band, which begins at "
        begins = Amount(low[0], "body_mass_kg", to="hundredth")
        column = by_name["load_limit_kg"]
        where = (None, row, column.given, round(load[0] / column.factor, 6))
        problems.append(
            Problem(Said(words + "{low}", low=begins), *_LOAD_FIRST, *where)
        )
    return problems


def _ordered(made: dict[str, list[Any]], table: pd.DataFrame) -> pd.DataFrame:
    """Put the columns into the chart's order."""
    n = len(table)
    data: dict[str, object] = {
        "size": pd.Series(made["size"], dtype=object).astype(str),
        "group": pd.Series(made.get("group", [""] * n), dtype=object).astype(str),
        "load_limit_kg": np.array(made.get("load_limit_kg", [math.nan] * n), float),
    }
    for measure in MEASURES:
        if any(f"{measure}_{end}" in made for end in ENDS):
            for end in ENDS:
                values = made.get(f"{measure}_{end}", [math.nan] * n)
                data[f"{measure}_{end}"] = np.array(values, float)
    for name in map(str, table):
        if name not in (*data, *made, *_ABOUT):
            data[name] = table[name]
    return pd.DataFrame(data)
