"""Margins: what is known of a population, as a tidy table, and whom each speaks of."""

import operator
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import InputProblems, Problem
from sizing.measures import plain
from sizing.measures.tables import MARGINS, take
from sizing.measures.typed import amounts
from sizing.people.classes import body_mass_index
from sizing.people.files import read_table
from sizing.resources import source_table, texts
from sizing.stats.formulas import Floats

Mask = npt.NDArray[np.bool_]

CONDITION = re.compile(r"^\s*(\w+)\s*(>=|<=|=|<|>)\s*(.+?)\s*$")
_COMPARE: dict[str, Callable[[Floats, float], Mask]] = {
    **{">=": operator.ge, "<=": operator.le, "<": operator.lt, ">": operator.gt}
}
#: Columns of a table of margins, in order.
MARGIN_COLUMNS: tuple[str, ...] = tuple(column.name for column in MARGINS.columns)
STATISTICS: tuple[str, ...] = ("share", "mean")
_OWN = "the user's own"
#: How well a margin is founded.
STANDINGS = ("published", "from memory", "common practice, no source", _OWN)
_P: dict[str, list[str]] = texts("people").margin_problems
_ALLOWED = {"statistics": ", ".join(STATISTICS), "standings": ", ".join(STANDINGS)}


@dataclass(frozen=True)
class Margin:
    """A share (of a level or a range) or a mean of a column or ``bmi``, within a group.

    A range is half-open, low <= x < high, NaN where open, as the classes of body mass
    index are written. ``within`` is conditions joined by ``;``, empty for everyone.
    """

    variable: str
    statistic: str
    target: float
    level: str = ""
    low: float = np.nan
    high: float = np.nan
    within: str = ""

    def __str__(self) -> str:
        """Return the margin in plain words, without its target."""
        group = f" within {self.within}" if self.within else ""
        if self.statistic == "mean":
            return f"mean {plain(self.variable)}{group}"
        what = f"{self.low:g}<={self.variable}<{self.high:g}"
        if self.level:
            what = f"{self.variable}={self.level}"
        elif np.isnan(self.low):
            what = f"{self.variable}<{self.high:g}"
        elif np.isnan(self.high):
            what = f"{self.variable}>={self.low:g}"
        return f"share with {what}{group}"

    def group(self, frame: pd.DataFrame) -> Mask:
        inside = variable_of(frame, self.variable).notna().to_numpy(dtype=bool).copy()
        for condition in conditions(self.within):
            inside &= _meets(frame, *condition)
        return inside

    def value(self, frame: pd.DataFrame) -> Floats:
        column = variable_of(frame, self.variable)
        if self.statistic == "mean":
            return column.to_numpy(dtype=float, na_value=np.nan)
        if self.level:
            return _equals(column, self.level).astype(float)
        number = column.to_numpy(dtype=float, na_value=np.nan)
        beyond = (number < self.low) | (number >= self.high) | np.isnan(number)
        return np.where(beyond, 0.0, 1.0)


def variable_of(frame: pd.DataFrame, name: str) -> pd.Series:
    """Return a column; ``bmi`` is worked out as mass / stature^2 (kg/m^2)."""
    return frame[name] if name in frame else body_mass_index(frame)


def check_against(margins: list[Margin], frame: pd.DataFrame) -> None:
    """Refuse margins that these people cannot answer, all named at once."""
    found = zip(margins, (_unanswerable(one, frame) for one in margins), strict=True)
    if problems := [
        Problem.of(_P[key], margin=one, m=one, **of) for one, (key, of) in found if key
    ]:
        raise InputProblems(problems, about="the margins for these people")


def _unanswerable(margin: Margin, frame: pd.DataFrame) -> tuple[str, dict[str, Any]]:
    """Return the name of what is wrong, if anything is, and what its words need."""
    names = [margin.variable, *(name for name, _, _ in conditions(margin.within))]
    there = {*frame, "bmi"} if {"body_mass_kg", "stature_cm"} <= {*frame} else {*frame}
    absent = [name for name in names if name not in there]
    if absent:
        return "absent", {"name": absent[0], "columns": ", ".join(map(str, frame))}
    column = variable_of(frame, margin.variable)
    if not margin.level and not pd.api.types.is_numeric_dtype(column):
        return "words", {"variable": plain(margin.variable)}
    inside = margin.group(frame)
    if not inside.any():
        return "nobody", {"where": f" within {margin.within}" if margin.within else ""}
    value = margin.value(frame)[inside]
    low, high = float(value.min()), float(value.max())
    if low < margin.target < high or low == high == margin.target:
        return "", {}
    if margin.statistic == "mean":
        return "mean_beyond", {"low": low, "high": high}
    return "share_beyond", {"many": "nobody is" if high == 0 else "everybody is"}


def conditions(within: str) -> list[tuple[str, str, str]]:
    """Return the conditions of a group as (name, sign, value)."""
    found = (CONDITION.match(part) for part in within.split(";") if part.strip())
    return [(m[1], m[2], m[3]) for m in found if m is not None]


def _meets(frame: pd.DataFrame, name: str, sign: str, text: str) -> Mask:
    column = variable_of(frame, name)
    if sign == "=":
        return _equals(column, text)
    number = column.to_numpy(dtype=float, na_value=np.nan)
    return _COMPARE[sign](number, float(text))


def _equals(column: pd.Series, text: str) -> Mask:
    if pd.api.types.is_bool_dtype(column):
        level = text.lower() in {"true", "yes", "1"}
        return (column == level).fillna(False).to_numpy(dtype=bool)
    if pd.api.types.is_numeric_dtype(column) and is_number(text):
        return (column == float(text)).to_numpy(dtype=bool, na_value=False)
    words = column if pd.api.types.is_string_dtype(column) else column.astype(str)
    return (words == text).to_numpy(dtype=bool, na_value=False)


def is_number(text: str) -> bool:
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False


def read_margins(path: str | Path) -> pd.DataFrame:
    """Read a table of margins from a CSV or XLSX file and check it.

    Parameters
    ----------
    path : str or Path
        Columns ``variable``, ``statistic`` (share or mean) and ``target``;
        where needed ``level``, ``low``, ``high`` and ``within``; and, for the
        record, ``population``, ``source``, ``standing`` and ``basis`` (measured,
        self-reported, recorded). Shares are 0 to 1.

    Returns
    -------
    DataFrame
        Columns ``MARGIN_COLUMNS``, one row per margin.

    Raises
    ------
    InputProblems
        Naming every problem, with its row and column.

    Examples
    --------
    >>> import tempfile, pathlib
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "ours.csv"
    >>> _ = file.write_text("variable,statistic,level,target\\nsex,share,female,0.6\\n")
    >>> read_margins(file)[["variable", "level", "target"]].values.tolist()
    [['sex', 'female', 0.6]]
    """
    return margins_from(read_table(path, MARGINS))


def margins_from(frame: pd.DataFrame) -> pd.DataFrame:
    """Check a table of margins and return it with all its columns."""
    taken = take(frame, MARGINS, collect=True)
    table = pd.DataFrame(index=range(len(frame)))
    with taken.told():
        problems: list[Problem] = []
        if frame.empty:
            problems.append(Problem.of(_P["empty"], None, 2))
        for name in MARGIN_COLUMNS:
            column = taken.frame.get(name)
            if name in ("low", "high", "target"):
                cells = [np.nan] * len(frame) if column is None else column
                table[name], wrong, _ = amounts(cells)
                problems += [
                    replace(one, row=at + 2, column=name) for at, one in wrong.items()
                ]
            elif column is None:
                table[name] = ""
            else:
                table[name] = column.map(lambda v: "" if pd.isna(v) else str(v).strip())
        table["standing"] = table["standing"].replace("", _OWN)
        for row in range(len(table) * (not taken.problems)):
            problems += [
                Problem.of(_P[words], None, row + 2, column, value or None, **_ALLOWED)
                for words, column, value in _row_faults(table.iloc[row])
            ]
        if problems:
            raise InputProblems(problems)
    return table


def to_margins(table: pd.DataFrame) -> list[Margin]:
    """Return the rows of a checked table as ``Margin`` objects."""
    columns = ["variable", "statistic", "target", "level", "low", "high", "within"]
    return [Margin(*row) for row in table[columns].itertuples(index=False, name=None)]


def named_margins(population: str) -> pd.DataFrame:
    """Return the margins shipped for a named population, with their sources."""
    table = margins_from(source_table("margins.csv"))
    return table[table["population"] == population].reset_index(drop=True)


def _row_faults(row: pd.Series) -> list[tuple[str, str, str]]:
    statistic, target, level = row[["statistic", "target", "level"]]
    share = statistic == "share"
    ranged = not (np.isnan(row["low"]) and np.isnan(row["high"]))
    mean_of = statistic == "mean" and bool(level or ranged)
    checks = (
        ("variable", "variable", not row["variable"], ""),
        ("statistic", "statistic", statistic not in STATISTICS, statistic),
        ("target", "target", np.isnan(target), ""),
        ("share", "target", share and (target <= 0 or target >= 1), f"{target:g}"),
        ("level", "level", share and bool(level) == ranged, level),
        ("mean", "level", mean_of, level),
        ("low", "low", row["low"] >= row["high"], f"{row['low']:g}"),
        ("standing", "standing", row["standing"] not in STANDINGS, row["standing"]),
    )
    faults = [(words, column, value) for words, column, wrong, value in checks if wrong]
    for part in filter(None, (p.strip() for p in row["within"].split(";"))):
        match = CONDITION.match(part)
        if match is None or (match[2] != "=" and not is_number(match[3])):
            faults.append(("within", "within", part))
    return faults
