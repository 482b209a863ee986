"""Read the cells of a chart: numbers as numbers, and nothing guessed."""

import math
from dataclasses import replace
from numbers import Real

import pandas as pd

from sizing.errors import Problem
from sizing.measures.columns import UNIT_WORDS
from sizing.measures.typed import Quantity, quantity, unclear

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
    cell: object, *, file: str | None, row: int, column: str, unit: str = "cm"
) -> float | Problem:
    """Return a cell's number, NaN if it is empty, or what is wrong with it.

    Examples
    --------
    >>> as_number("40.5", file=None, row=2, column="x")
    40.5
    >>> as_number("40 1/2 in", file=None, row=2, column="x").action
    'write 102.87, or correct the heading'
    """
    if is_empty(cell):
        return math.nan
    is_number = isinstance(cell, Real) and type(cell).__name__ not in ("bool", "bool_")
    found: Problem | None
    number = math.nan
    if is_number:
        number = float(cell)  # type: ignore[arg-type]
        found = unclear(repr(number), unit)
    elif isinstance(cell, str):
        read = quantity(cell, unit)
        found = read if isinstance(read, Problem) else None
        if isinstance(read, Quantity):
            number = read.number
            if read.said:
                found = Problem(
                    f"this is in {read.said}, and the heading in {UNIT_WORDS[unit]}",
                    "a number in the heading's unit",
                    f"write {number:.6g}, or correct the heading",
                )
    else:
        found = Problem("this is no number", _ALLOWED, "correct it, or empty the cell")
    if found is None and not (math.isfinite(number) and number >= 0):
        found = Problem(
            "a limit that no body can have",
            "a number from 0 upwards; an empty cell means no limit",
            "correct it, or empty the cell",
        )
        cell = number
    if found is None:
        return number
    shown = cell if isinstance(cell, (str, Real)) else str(cell)
    return replace(found, file=file, row=row, column=column, value=shown)
