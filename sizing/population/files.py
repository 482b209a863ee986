"""Reading a table the user kept as CSV or XLSX, with clear refusals."""

import re
from collections.abc import Collection
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError
from sizing.reading import MOST_ROWS, Rows, read_rows

#: A number of a table, as text; 007 is a key that only looks like one.
_NUMBER = re.compile(r"[+-]?(0|[1-9]\d*|(?=\.))(\.\d*)?([eE][+-]?\d+)?")
_COMMA = re.compile(r"\s*([+-]?\d+),(\d+)\s*")
#: 1,250 and 1.250 are 1250 to some and 1.25 to others.
_THOUSANDS_COMMA = re.compile(r"\s*[+-]?[1-9]\d{0,2}(,\d{3})+\s*")
_THOUSANDS_POINT = re.compile(r"\s*[+-]?[1-9]\d{0,2}(\.\d{3})+\s*")


def read_table(
    path: str | Path, *, words: Collection[str] = (), most_rows: int = MOST_ROWS
) -> pd.DataFrame:
    """Return the rows of a CSV or XLSX file, headings trimmed.

    Row ``i`` of the result is row ``i + 2`` of the file, as a spreadsheet numbers
    it, so nothing is left out, not even an empty line.

    Parameters
    ----------
    path : str or Path
        ``.xlsx`` is read as a workbook (its first sheet), anything else as text
        in UTF-8, its cells parted by commas, semicolons or tabs. In text parted
        by semicolons or tabs a decimal comma is read as such.
    words : collection of str
        Columns that hold names, though they may look like numbers: kept as text.
    most_rows : int
        Most rows under the heading.

    Returns
    -------
    DataFrame
        A column is numbers if every filled cell in it is a plain number, and is
        otherwise left as it stands for the checks that follow.

    Raises
    ------
    SizingError
        If the file is missing, empty, too large, not readable as a table, two
        headings are the same, or a number could mean two things.
    """
    name = Path(path).name
    rows, separator = read_rows(path, most_rows=most_rows)
    headings = [
        f"unnamed column {i + 1}" if h is None or not str(h).strip() else str(h).strip()
        for i, h in enumerate(rows[0])
    ]
    twice = sorted({h for h in headings if headings.count(h) > 1})
    if twice:
        raise SizingError(
            str(
                Problem(
                    f"two columns are both called {', '.join(map(repr, twice))}",
                    "each heading once",
                    "rename or remove one",
                    file=name,
                    row=1,
                )
            )
        )
    if separator in (";", "\t"):
        rows = _points_for_commas(rows, headings, name)
    body = pd.DataFrame(rows[1:], columns=pd.Index(headings), dtype=object)
    return body.apply(lambda c: _as_words(c) if c.name in words else _as_numbers(c))


def _points_for_commas(rows: Rows, headings: list[str], name: str) -> Rows:
    """Read decimal commas, unless they may part thousands."""
    texts = [
        (at, headings[i], cell)
        for at, row in enumerate(rows[1:], start=2)
        for i, cell in enumerate(row)
        if isinstance(cell, str)
    ]
    commas = any(_COMMA.fullmatch(cell) for _, _, cell in texts)
    unclear = [
        Problem(
            "this may be thousands or decimals",
            "numbers without a mark for thousands",
            "write 1250, or 1.25 with fewer decimals",
            name,
            at,
            heading,
            cell,
        )
        for at, heading, cell in texts
        if _THOUSANDS_COMMA.fullmatch(cell)
        or (commas and _THOUSANDS_POINT.fullmatch(cell))
    ]
    if unclear:
        raise InputProblems(unclear[:20], about=name)
    return [
        [
            _COMMA.sub(r"\1.\2", cell)
            if isinstance(cell, str) and _COMMA.fullmatch(cell)
            else cell
            for cell in row
        ]
        for row in rows
    ]


def _as_words(column: pd.Series) -> pd.Series:
    return column.map(
        lambda v: None if v is None or not str(v).strip() else str(v).strip()
    )


def _as_numbers(column: pd.Series) -> pd.Series:
    """Return a column as numbers if every filled cell in it is one."""
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
