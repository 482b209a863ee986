"""What the cells of a chart hold: numbers, and names fit to be shown everywhere."""

import math
import unicodedata
from dataclasses import replace
from numbers import Real

import pandas as pd

from sizing.errors import Problem
from sizing.files.writing import FORMULA_STARTS
from sizing.measures import UNIT_WORDS
from sizing.measures.typed import Quantity, quantity, unclear
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
                given = {"said": read.said, "unit": UNIT_WORDS[unit]}
                found = Problem.of(_T.other_unit, number=number, **given)
    else:
        found = Problem.of(_T.no_number)
    if found is None and not (math.isfinite(number) and number >= 0):
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
