"""Margins: what is known of a population, as a tidy table.

A margin is a share (of a level, or of a range) or a mean, in everyone or within
a group; ``Margin`` says exactly what each means.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures.tables import MARGINS, take
from sizing.measures.typed import amounts
from sizing.people.files import read_table
from sizing.people.margin import CONDITION, Margin, is_number
from sizing.resources import source_table

#: Columns of a table of margins, in order.
MARGIN_COLUMNS: tuple[str, ...] = tuple(column.name for column in MARGINS.columns)
STATISTICS: tuple[str, ...] = ("share", "mean")
#: How well a margin is founded.
STANDINGS: tuple[str, ...] = (
    "published",
    "from memory",
    "common practice, no source",
    "the user's own",
)
_NUMBERS = ("low", "high", "target")


def read_margins(path: str | Path) -> pd.DataFrame:
    """Read a table of margins from a CSV or XLSX file and check it.

    Parameters
    ----------
    path : str or Path
        Columns ``variable``, ``statistic`` (share or mean) and ``target``;
        where needed ``level``, ``low``, ``high`` and ``within``; and, for the
        record, ``population``, ``source`` and ``standing``. Shares are 0 to 1.

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
            problems.append(Problem("there is no row with a margin", row=2))
        for name in MARGIN_COLUMNS:
            column = taken.frame.get(name)
            if name in _NUMBERS:
                cells = [np.nan] * len(frame) if column is None else column
                table[name], wrong, _ = amounts(cells)
                problems += [
                    replace(one, row=at + 2, column=name) for at, one in wrong.items()
                ]
            elif column is None:
                table[name] = ""
            else:
                table[name] = column.map(lambda v: "" if pd.isna(v) else str(v).strip())
        table["standing"] = table["standing"].replace("", "the user's own")
        for row in range(len(table) * (not taken.problems)):
            problems += [
                Problem(what, allowed, action, None, row + 2, column, value or None)
                for what, allowed, action, column, value in _row_faults(table.iloc[row])
            ]
        if problems:
            raise InputProblems(problems)
    return table


def to_margins(table: pd.DataFrame) -> list[Margin]:
    """Return the rows of a checked table as ``Margin`` objects."""
    columns = ["variable", "statistic", "target", "level", "low", "high", "within"]
    return [Margin(*row) for row in table[columns].itertuples(index=False, name=None)]


def named_margins(population: str) -> pd.DataFrame:
    """Return the margins shipped for a named population, with their sources.

    Parameters
    ----------
    population : str
        ``care_home`` or ``england_adults``.

    Returns
    -------
    DataFrame
        Columns ``MARGIN_COLUMNS``.

    Examples
    --------
    >>> named_margins("care_home")["standing"].unique().tolist()
    ['published']
    """
    table = margins_from(source_table("margins.csv"))
    known = sorted(table["population"].unique())
    if population not in known:
        raise SizingError(
            "no margins ship for this population",
            allowed=", ".join(known),
            action="choose one of these or give your own margins",
            value=population,
        )
    return table[table["population"] == population].reset_index(drop=True)


def _row_faults(row: pd.Series) -> list[tuple[str, str, str, str, str]]:
    """Return (what, allowed, action, column, value) for each fault of a row."""
    faults = []
    share = row["statistic"] == "share"
    ranged = not (np.isnan(row["low"]) and np.isnan(row["high"]))
    if not row["variable"]:
        faults.append(("no variable is named", "a column", "", "variable", ""))
    if row["statistic"] not in STATISTICS:
        faults.append(
            (
                "unknown statistic",
                ", ".join(STATISTICS),
                "choose one of these",
                "statistic",
                row["statistic"],
            )
        )
    if np.isnan(row["target"]):
        faults.append(("no target is given", "a number", "", "target", ""))
    elif share and not 0 < row["target"] < 1:
        faults.append(
            (
                "a share must lie between 0 and 1, both excluded",
                "0.33 for 33 %",
                "divide percent by 100; to leave people out, select before weighting",
                "target",
                f"{row['target']:g}",
            )
        )
    if share and bool(row["level"]) == ranged:
        faults.append(
            (
                "a share needs either a level or a range",
                "level, or low and/or high",
                "fill in one of them",
                "level",
                row["level"],
            )
        )
    if row["statistic"] == "mean" and (row["level"] or ranged):
        faults.append(
            (
                "a mean takes neither level nor range",
                "empty level, low and high",
                "use 'within' to name a group",
                "level",
                row["level"],
            )
        )
    if row["low"] >= row["high"]:
        faults.append(("low is not below high", "", "", "low", f"{row['low']:g}"))
    if row["standing"] not in STANDINGS:
        faults.append(
            (
                "unknown standing",
                ", ".join(STANDINGS),
                "choose one of these or leave it empty",
                "standing",
                row["standing"],
            )
        )
    for part in filter(None, (p.strip() for p in row["within"].split(";"))):
        match = CONDITION.match(part)
        if match is None or (match[2] != "=" and not is_number(match[3])):
            faults.append(
                (
                    "this condition cannot be read",
                    "such as sex=female or age_years>=65, joined by ;",
                    "rewrite it",
                    "within",
                    part,
                )
            )
    return faults
