"""Make a checked size chart from a table, naming every problem at once."""

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from numbers import Real
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts.fits import GROUPS, SizeChart
from sizing.charts.review import review_chart
from sizing.errors import InputProblems, Problem
from sizing.errors import warn as point_out
from sizing.files.writing import FORMULA_STARTS
from sizing.measures import (
    MEASURES,
    OF_KIND,
    UNIT_WORDS,
    WRITTEN_UNITS,
    Amount,
    Said,
    to_tenths,
)
from sizing.measures.headings import Found
from sizing.measures.tables import CHART, take
from sizing.measures.typed import quantity, unclear
from sizing.resources import texts

_T = texts("charts")
#: Most letters of a name.
MOST_LETTERS = 100
#: What means something else where sizes are chosen and summed up.
RESERVED = frozenset({"none", "no size", "total", "totals", "sum", "subtotal"})
#: Greek and Cyrillic letters that look like Latin ones, small or capital (our own
#: look at their pictures; Unicode's list of confusables, UTS 39, is longer).
_LOOKS = str.maketrans(
    "αβεζηικμνορτυχавсеніјкморѕтухԁԛԝһ", "abezhikmnoptyxabcehijkmopstyxdqwh"
)


def is_empty(cell: object) -> bool:
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        return True
    return bool(pd.api.types.is_scalar(cell) and pd.isna(cell))  # type: ignore[call-overload]


def as_text(cell: object) -> str:
    """Return a cell as the words it shows; a whole number without its point."""
    if is_empty(cell):
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()


def as_number(
    cell: object, *, file: str | None, row: int, column: str, unit: str = "cm"
) -> float | Problem:
    """Return a cell's number, NaN if it is empty, or what is wrong with it."""
    if is_empty(cell):
        return math.nan
    number, found = math.nan, None
    if isinstance(cell, Real) and type(cell).__name__ not in ("bool", "bool_"):
        number = float(cell)
        found = unclear(repr(number), unit)
    elif isinstance(cell, str):
        read = quantity(cell, unit)
        if isinstance(read, Problem):
            found = read
        else:
            number = read.number
            if read.said:
                given = {"said": read.said, "unit": UNIT_WORDS[unit]}
                found = Problem.of(_T.other_unit, number=number, **given)
    else:
        found = Problem.of(_T.no_number)
    if found is None and not 0 <= number < math.inf:
        found, cell = Problem.of(_T.no_limit), number
    if found is None:
        return number
    shown = cell if isinstance(cell, (str, Real)) else str(cell)
    return replace(found, file=file, row=row, column=column, value=shown)


def alike(name: str) -> str:
    """Return a name without what the eye may miss: case, spaces, look-alike letters."""
    text = unicodedata.normalize("NFKC", name).casefold().translate(_LOOKS)
    return " ".join(text.split())


def name_fault(name: str) -> Problem | None:
    """Say what is wrong with a name, which is shown, printed and written unchanged."""
    if name.lstrip().startswith(tuple(FORMULA_STARTS)):
        return Problem.of(_T.formula, starts=" ".join(FORMULA_STARTS.split()[0]))
    if unseen := next((c for c in name if not c.isprintable()), ""):
        return Problem.of(_T.unseen, code=ord(unseen))
    if len(name) > MOST_LETTERS:
        return Problem.of(_T.long, letters=len(name), most=MOST_LETTERS)
    return None


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


def chart_from(
    frame: pd.DataFrame, *, name: str = "chart", source: str = "", warn: bool = True
) -> SizeChart:
    """Check a table and return it as a size chart in cm and kg.

    Parameters
    ----------
    frame : DataFrame
        One row per size, smallest first. Columns: ``size`` (needed); ``group``
        (paediatric, adult or bariatric); ``load_limit_kg`` (or ``_lb``, ``_st``);
        limits such as ``hip_circumference_cm_low`` and ``hip_circumference_cm_high`` in
        cm, mm, m, in or ft, and ``body_mass_kg_low`` in kg, g, lb or st. Both ends may
        stand in one column, such as ``hip girth (cm)``, in cells such as 90-110, up to
        90 or 110+. A heading's unit may stand in all of its cells instead. An empty
        cell is no limit. Other columns are kept as they come; wholly empty rows are
        left out.
    name, source : str
        What the chart is called and where it comes from. Columns ``chart_name`` and
        ``chart_source`` in the table go before them.
    warn : bool
        Whether the findings of ``review_chart`` are issued as warnings.

    Returns
    -------
    SizeChart
        In cm and kg, the limits in the kit's order of measures.

    Raises
    ------
    InputProblems
        Every problem at once: its row is the spreadsheet's, heading row 1.

    Examples
    --------
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["small adult", "tall adult"], "load_limit_kg": [150, 150],
    ...     "sitting_height_in_low": [30, 34], "sitting_height_in_high": [34, 38]}))
    >>> chart.frame["sitting_height_cm_high"].round(2).tolist()
    [86.36, 96.52]
    """
    taken = take(_with_units(frame), CHART, collect=True, note="file" in frame.attrs)
    with taken.told(f"'{taken.file}'" if taken.file else f"the chart '{name}'"):
        kept = ~taken.frame.astype(object).map(is_empty).all(axis=1)
        rows = [i + 2 for i in np.flatnonzero(kept).tolist()]
        table = taken.frame[kept].reset_index(drop=True)
        table, columns, problems = _from_ranges(table, taken.found, rows)
        if not any(column.measure in MEASURES for column in columns):
            found = ", ".join(f"'{column.given}'" for column in columns) or "none"
            given = {"found": found, "measures": ", ".join(MEASURES)}
            problems.append(Problem.of(_T.no_limits, None, 1, **given))
        if table.empty:
            problems.append(Problem.of(_T.no_sizes, None, 2))
        made: dict[str, list[Any]] = {}
        for column in columns:
            known = column.kind in OF_KIND or column.stem in ("size", "group")
            if known and (standard := column.standard) in table:
                cells = zip(table[standard], rows, strict=True)
                read = [_value(cell, column, row) for cell, row in cells]
                made[standard] = [value for value, _ in read]
                problems += [wrong for _, wrong in read if wrong is not None]
        problems += _row_problems(made, columns, rows)
        about = {
            c: next(filter(None, map(as_text, table.get(c, []))), "") for c in _ABOUT
        }
        if fault := name_fault(called := about["chart_name"]):
            problems.append(replace(fault, column="chart_name", value=called))
        if problems:
            raise InputProblems(problems)
    given_source = about["chart_source"] or source
    chart = SizeChart(_ordered(made, table), called or name, given_source)
    if warn:
        for words in review_chart(chart)["words"]:
            point_out(f"{chart.name}: {words}")
    return chart


def _with_units(frame: pd.DataFrame) -> pd.DataFrame:
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
    for pattern in (_UP_TO, _FROM):
        if found := pattern.fullmatch(text):
            end = "".join(filter(None, found.groups()))
            return (None, end) if pattern is _UP_TO else (end, None)
    return None


def _from_ranges(
    table: pd.DataFrame, found: Sequence[Found], rows: Sequence[int]
) -> tuple[pd.DataFrame, list[Found], list[Problem]]:
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
            given = {end.end: end.standard for end in ends}
            problems.append(Problem.of(_T.endless, None, 1, one.given, **given))
            continue
        for i, end in enumerate(ends):
            data[end.standard] = [part and part[i] for part in parts]
        problems += [
            Problem.of(_T.no_range, None, row, one.given, cell)
            for row, cell, part in zip(rows, cells, parts, strict=True)
            if part is None and not is_empty(cell)
        ]
    return pd.DataFrame(data, table.index), columns, problems


def _value(cell: object, column: Found, row: int) -> tuple[Any, Problem | None]:
    where = (None, row, column.given)
    if column.stem == "size":
        return as_text(cell), None
    if column.stem == "group":
        group = as_text(cell).lower()
        if not group or group in GROUPS:
            return group, None
        near = get_close_matches(group, GROUPS, 1, 0.5)
        hint = f"did you mean '{near[0]}'?" if near else "choose one of these"
        given = {"groups": ", ".join(GROUPS), "hint": hint}
        return group, Problem.of(_T.group, *where, cell, **given)
    number = as_number(cell, file=None, row=row, column=column.given, unit=column.unit)
    if isinstance(number, Problem):
        return math.nan, number
    wrong = None
    if number * column.factor > _MOST:
        wrong = Problem.of(_T.too_much, *where, number, most=_MOST)
    elif number == 0 and column.end != "low":
        wrong = Problem.of(_T.nothing, *where, number)
    # Rounded as the unit gate does, so that 36 in is 91.44 and no more.
    return round(number * column.factor, 9), wrong


def _row_problems(
    made: dict[str, list[Any]], columns: Sequence[Found], rows: Sequence[int]
) -> list[Problem]:
    problems = []
    first: dict[str, tuple[int, str]] = {}
    by_name = {column.standard: column for column in reversed(columns)}
    limits = [c for c in made if c.endswith(ENDS)]
    for i, row in enumerate(rows):
        values = {name: cells[i] for name, cells in made.items()}
        size = values.get("size")
        if size is not None and (fault := _size_fault(size, row, first)):
            heading, shown = by_name["size"].given, size[:40] or None
            problems.append(replace(fault, row=row, column=heading, value=shown))
        if limits and all(math.isnan(values[c]) for c in limits):
            problems.append(Problem.of(_T.unlimited, None, row))
        problems += _limit_problems(values, by_name, row)
    return problems


def _size_fault(
    size: str, row: int, first: dict[str, tuple[int, str]]
) -> Problem | None:
    if not size:
        return Problem.of(_T.nameless)
    if fault := name_fault(size):
        return fault
    if alike(size) in RESERVED:
        return Problem.of(_T.no_size, reserved=", ".join(sorted(RESERVED)))
    other, name = first.setdefault(alike(size), (row, size))
    but_for = "" if name == size else _T.but_for
    return None if other == row else Problem.of(_T.twice, other=other, but_for=but_for)


def _limit_problems(
    values: dict[str, Any], by_name: dict[str, Found], row: int
) -> list[Problem]:
    """Name ends and load limits that contradict each other, in the user's units."""

    def wrong(words: list[str], name: str, **said: object) -> Problem:
        what, column = Said(words[0], **said), by_name[name]
        shown = round(values[name] / column.factor, 6)
        where = (None, row, column.given, shown)
        return replace(Problem.of(("", *words[1:]), *where), what=what)

    problems = []
    for measure in MEASURES:
        low, high = (f"{measure}_{end}" for end in ENDS)
        top = values.get(high, math.nan)
        if to_tenths(values.get(low, math.nan)) > to_tenths(top) > 0:
            factor = by_name[high].factor
            exact = Amount(top, measure, to="hundredth")
            said = exact if factor == 1 else f"{top / factor:g}"
            problems.append(wrong(_T.exchange, low, top=said))
    load, mass = values.get("load_limit_kg", math.nan), "body_mass_kg"
    begins = values.get(f"{mass}_low", math.nan)
    if 0 <= to_tenths(load) < to_tenths(begins):
        first = Amount(begins, mass, to="hundredth")
        problems.append(wrong(_T.load_first, "load_limit_kg", low=first))
    return problems


def _ordered(made: dict[str, list[Any]], table: pd.DataFrame) -> pd.DataFrame:
    empty = [math.nan] * len(table)
    data: dict[str, object] = {
        "size": pd.Series(made["size"], dtype=object).astype(str),
        "group": pd.Series(made.get("group", [""] * len(table)), dtype=object),
        "load_limit_kg": np.array(made.get("load_limit_kg", empty), float),
    }
    for measure in MEASURES:
        ends = [f"{measure}_{end}" for end in ENDS]
        if set(ends) & set(made):
            data |= {name: np.array(made.get(name, empty), float) for name in ends}
    own = [n for n in map(str, table) if n not in (*data, *made, *_ABOUT)]
    return pd.DataFrame(data | {name: table[name] for name in own})
