"""Read the cells of a chart: numbers as numbers, and nothing guessed."""

import math
import re
from numbers import Real

import pandas as pd

from sizing.errors import Problem

_NUMBER = re.compile(r"^[+-]?(\d+(\.\d*)?|\.\d+)$")
_COMMA = re.compile(r"^[+-]?\d+,\d+$")
_ALLOWED = "a plain number such as 40.5, or an empty cell"


def is_empty(cell: object) -> bool:
    """Say whether a cell holds nothing.

    Examples
    --------
    >>> is_empty(" "), is_empty(float("nan")), is_empty(0)
    (True, True, False)
    """
    if cell is None or (isinstance(cell, str) and not cell.strip()):
        return True
    return bool(pd.api.types.is_scalar(cell) and pd.isna(cell))  # type: ignore[call-overload]


def as_text(cell: object) -> str:
    """Return a cell as the words it shows; a whole number without its point.

    Examples
    --------
    >>> as_text(3.0), as_text(" adult 1 "), as_text(None)
    ('3', 'adult 1', '')
    """
    if is_empty(cell):
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()


def as_number(
    cell: object, *, file: str | None, row: int, column: str
) -> float | Problem:
    """Return a cell's number, NaN if it is empty, or what is wrong with it.

    Examples
    --------
    >>> as_number("40.5", file=None, row=2, column="x")
    40.5
    """
    if is_empty(cell):
        return math.nan
    is_number = isinstance(cell, Real) and type(cell).__name__ not in ("bool", "bool_")
    if is_number or (isinstance(cell, str) and _NUMBER.match(cell.strip())):
        number = float(cell)  # type: ignore[arg-type]
    elif isinstance(cell, str) and _COMMA.match(cell.strip()):
        return Problem(
            "a comma stands where a decimal point belongs",
            _ALLOWED,
            f"write {cell.strip().replace(',', '.')}",
            file,
            row,
            column,
            cell,
        )
    else:
        return Problem(
            "text where a number belongs",
            _ALLOWED,
            "write the number alone; the unit stands in the heading",
            file,
            row,
            column,
            cell if isinstance(cell, str) else str(cell),
        )
    if not math.isfinite(number) or number < 0:
        return Problem(
            "a limit that no body can have",
            "a number from 0 upwards; an empty cell means no limit",
            "correct it, or empty the cell",
            file,
            row,
            column,
            number,
        )
    return number
