"""Reading a table the user kept as CSV or XLSX, with clear refusals."""

import re
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, warn
from sizing.files.reading import MOST_ROWS, Rows, Sheet, read_rows
from sizing.measures import OF_KIND, WRITTEN_UNITS
from sizing.measures.headings import Table
from sizing.measures.tables import ROW, say
from sizing.measures.typed import amount
from sizing.resources import texts

_T = texts("people")
#: A number of a table, as text; 007 is a key that only looks like one.
_NUMBER = re.compile(r"[+-]?(0|[1-9]\d*|(?=\.))(\.\d*)?([eE][+-]?\d+)?")
_COMMA = re.compile(r"\s*([+-]?\d+),(\d+)\s*")
#: 1,250 and 1.250 are 1250 to some and 1.25 to others.
_THOUSANDS_COMMA = re.compile(r"\s*[+-]?[1-9]\d{0,2}(,\d{3})+\s*")
_THOUSANDS_POINT = re.compile(r"\s*[+-]?[1-9]\d{0,2}(\.\d{3})+\s*")


def read_table(
    path: str | Path,
    table: Table,
    *,
    raw: bool = False,
    most_rows: int = MOST_ROWS,
    called: str = "",
) -> pd.DataFrame:
    """Return a file's rows under its own headings, by their numbers in the file."""
    sheet = read_rows(path, known=table.knows, most_rows=most_rows, called=called)
    filled = [
        i
        for i, heading in enumerate(sheet.heading)
        if not _blank(heading) or any(not _blank(row[i]) for row in sheet.body)
    ]
    headings = [
        "" if (h := sheet.heading[i]) is None else str(h).strip() for i in filled
    ]
    _as_shown(sheet, table, raw=raw)
    for note in sheet.notes:
        say(sheet.file, note)
    for doubt in sheet.doubts:
        warn(f"{sheet.file}: {doubt}")
    body = [[row[i] for i in filled] for row in sheet.body]
    if not raw and sheet.separator in (";", "\t"):
        body = _points_for_commas(body, headings, sheet)
    frame = pd.DataFrame(body, columns=range(len(filled)), dtype=object)
    if not raw:
        read = table.read(headings)[0]
        words = {one.position for one in read if one.kind == "words"}
        frame = frame.apply(
            lambda c: _as_words(c) if c.name in words else _as_numbers(c)
        )
    frame.columns = pd.Index(headings, dtype=object)
    frame.index = pd.RangeIndex(sheet.first + 1, sheet.first + 1 + len(body), name=ROW)
    frame.attrs = {"file": sheet.file, "heading": sheet.first}
    return frame


def _blank(cell: object) -> bool:
    return cell is None or not str(cell).strip()


def _as_shown(sheet: Sheet, table: Table, *, raw: bool) -> None:
    """Refuse numbers that a workbook shows as per cent, or in another unit."""
    found = {one.position: one for one in table.read(sheet.heading)[0]}
    problems = []
    for (row, at), sign in sheet.shown.items():
        one = found.get(at)
        if one is None or row <= sheet.first:
            continue
        cells = sheet.body[row - sheet.first - 1]
        unit = WRITTEN_UNITS.get(sign.lower())
        if sign.endswith("%"):
            # A share of 60 % is stored as the 0.6 that is wanted.
            wrong = one.kind != "words" and one.stem != "target"
        else:
            wrong = unit is not None and one.kind in OF_KIND and unit != one.unit
        if wrong and one.column is not None:
            place = sheet.file, row, one.given, cells[at]
            problems.append(Problem.of(_T.cells["shown"], *place, sign=sign))
        if one.stem == "price" and not raw:
            read = amount(priced := f"{sign} {cells[at]}", money=True)
            cells[at] = priced if isinstance(read, tuple) and read[1] else cells[at]
    if problems:
        raise InputProblems(problems[:20], about=f"'{sheet.file}'")


def _points_for_commas(rows: Rows, headings: list[str], sheet: Sheet) -> Rows:
    """Read decimal commas, unless they may part thousands."""
    words = [
        (at, heading, cell)
        for at, row in enumerate(rows, start=sheet.first + 1)
        for heading, cell in zip(headings, row, strict=True)
        if isinstance(cell, str)
    ]
    commas = any(_COMMA.fullmatch(cell) for *_, cell in words)
    of_two = [_THOUSANDS_COMMA, *([_THOUSANDS_POINT] if commas else [])]
    unclear = [
        Problem.of(_T.cells["unclear"], sheet.file, *word)
        for word in words
        if any(one.fullmatch(word[-1]) for one in of_two)
    ]
    if unclear:
        raise InputProblems(unclear[:20], about=f"'{sheet.file}'")

    def pointed(cell: object) -> object:
        found = _COMMA.fullmatch(cell) if isinstance(cell, str) else None
        return ".".join(found.groups()) if found else cell

    return [[pointed(cell) for cell in row] for row in rows]


def _as_words(column: pd.Series) -> pd.Series:
    def words(cell: object) -> str | None:
        whole = isinstance(cell, float) and cell.is_integer()
        return None if _blank(cell) else f"{cell:.0f}" if whole else str(cell).strip()

    return column.map(words)


def _as_numbers(column: pd.Series) -> pd.Series:
    # A workbook's yes or no is no 1 or 0: as words it is refused where it matters.
    cells = [str(v).upper() if isinstance(v, bool) else v for v in column]
    cells = [v.strip() or None if isinstance(v, str) else v for v in cells]
    if all(_is_number(cell) for cell in cells):
        whole = all(isinstance(c, int) or str(c).lstrip("+-").isdigit() for c in cells)
        if whole and max((len(str(c)) for c in cells), default=0) < 16:
            return pd.Series([int(str(c)) for c in cells], column.index)
        numbers = [np.nan if c is None else float(str(c)) for c in cells]
        return pd.Series(numbers, column.index, dtype=float)
    return pd.Series(cells, column.index, dtype=object)


def _is_number(cell: object) -> bool:
    if isinstance(cell, str):
        return bool(_NUMBER.fullmatch(cell)) and len(cell) < 400
    return cell is None or isinstance(cell, (int, float))
