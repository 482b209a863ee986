"""Make a checked size chart from a table, naming every problem at once."""

import math
import warnings
from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any

import numpy as np
import pandas as pd

from sizing.chart.cells import as_number, as_text, is_empty
from sizing.chart.headings import ENDS, Column, read_headings
from sizing.chart.names import name_fault
from sizing.chart.review import review_chart
from sizing.chart.size_chart import GROUPS, SizeChart
from sizing.errors import InputProblems, Problem, SizingError, SizingWarning
from sizing.measures import MEASURES, to_tenths

#: Beyond this, in cm or kg, a number is a slip; people do write 999 for no limit.
_MOST = 10_000


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
        cells are read by ``as_number``. An empty cell is no limit. Other columns
        are kept as they come.
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
    if not isinstance(frame, pd.DataFrame):
        raise SizingError(
            str(
                Problem(
                    "a chart is made from a table",
                    "a pandas DataFrame",
                    "use read_chart for a file",
                    value=type(frame).__name__,
                )
            )
        )
    rows = range(2, len(frame) + 2)
    return build(frame, rows, name=name, source=source, file=None, warn=warn)


def build(
    frame: pd.DataFrame,
    rows: Sequence[int],
    *,
    name: str,
    source: str,
    file: str | None,
    warn: bool,
) -> SizeChart:
    """Check a table whose rows stand at ``rows`` of a spreadsheet."""
    columns, problems = read_headings(list(frame.columns), file=file)
    filled = [not all(is_empty(cell) for cell in row) for row in _cells(frame)]
    rows = [row for row, keep in zip(rows, filled, strict=True) if keep]
    frame = frame.loc[np.array(filled, dtype=bool)].reset_index(drop=True)
    problems += _table_problems(frame, columns, file)

    made: dict[str, list[Any]] = {}
    for column in columns:
        if column.kind in ("limit", "plain") and column.name not in made:
            values, wrong = _column(frame, column, rows, file)
            made[column.name] = values
            problems += wrong
    by_name = {column.name: column for column in reversed(columns)}
    problems += _row_problems(made, by_name, rows, file)
    told = {c.name: _told(frame, c) for c in columns if c.kind == "about"}
    fault = name_fault(told.get("chart_name", ""))
    if fault:
        heading = by_name["chart_name"].heading
        problems.append(Problem(*fault, file, None, heading, told["chart_name"]))
    about = f"'{file}'" if file else f"the chart '{name}'"
    if problems:
        problems.sort(key=lambda p: p.row or 0)
        raise InputProblems(problems, about=about)

    chart = SizeChart(
        _ordered(made, frame, columns),
        told.get("chart_name") or name,
        told.get("chart_source") or source,
    )
    if warn:
        for words in review_chart(chart)["words"]:
            warnings.warn(f"{chart.name}: {words}", SizingWarning, stacklevel=3)
    return chart


def _cells(frame: pd.DataFrame) -> list[tuple[Any, ...]]:
    return list(frame.astype(object).itertuples(index=False, name=None))


def _told(frame: pd.DataFrame, column: Column) -> str:
    texts = [as_text(cell) for cell in frame.iloc[:, column.position]]
    return next((text for text in texts if text), "")


def _table_problems(
    frame: pd.DataFrame, columns: Sequence[Column], file: str | None
) -> list[Problem]:
    """Name what is wrong with the table as a whole."""
    problems = []
    names = {column.name for column in columns}
    if "size" not in names:
        problems.append(
            Problem(
                "there is no column 'size'",
                "a column 'size' with each size's name",
                "add it, or rename the column that holds the names",
                file,
                1,
            )
        )
    if not any(column.kind == "limit" for column in columns):
        problems.append(
            Problem(
                "no limits at all",
                "columns such as hip_circumference_cm_low and _high",
                f"add the limits of at least one of: {', '.join(MEASURES)}",
                file,
                1,
            )
        )
    if frame.empty:
        problems.append(
            Problem(
                "there are no sizes under the heading",
                "one row for each size",
                "fill in the sizes",
                file,
                2,
            )
        )
    return problems


def _column(
    frame: pd.DataFrame, column: Column, rows: Sequence[int], file: str | None
) -> tuple[list[Any], list[Problem]]:
    cells = frame.iloc[:, column.position].astype(object).tolist()
    if column.name == "size":
        return [as_text(cell) for cell in cells], []
    if column.name == "group":
        return _groups(cells, column, rows, file)
    values, problems = [], []
    for cell, row in zip(cells, rows, strict=True):
        number = as_number(
            cell, file=file, row=row, column=column.heading, unit=column.unit
        )
        if isinstance(number, Problem):
            problems.append(number)
            number = math.nan
        elif number * column.factor > _MOST:
            problems.append(
                Problem(
                    "a limit that no body can have",
                    f"at most {_MOST:g} cm or kg; an empty cell means no limit",
                    "correct it, or empty the cell",
                    file,
                    row,
                    column.heading,
                    number,
                )
            )
        elif number == 0 and column.end != "low":
            problems.append(
                Problem(
                    "an upper limit of nothing fits nobody",
                    "a number above 0; an empty cell means no limit",
                    "correct it, or empty the cell",
                    file,
                    row,
                    column.heading,
                    number,
                )
            )
        # Rounded as the unit gate does, so that 36 in is 91.44 and no more.
        values.append(round(number * column.factor, 9))
    return values, problems


def _groups(
    cells: Sequence[object], column: Column, rows: Sequence[int], file: str | None
) -> tuple[list[Any], list[Problem]]:
    groups = [as_text(cell).lower() for cell in cells]
    problems = []
    for group, cell, row in zip(groups, cells, rows, strict=True):
        if group and group not in GROUPS:
            near = get_close_matches(group, GROUPS, 1, 0.5)
            hint = f"did you mean '{near[0]}'?" if near else "choose one of these"
            problems.append(
                Problem(
                    "unknown group",
                    f"{', '.join(GROUPS)}, or an empty cell",
                    hint,
                    file,
                    row,
                    column.heading,
                    cell,
                )
            )
    return groups, problems


def _row_problems(
    made: dict[str, list[Any]],
    by_name: dict[str, Column],
    rows: Sequence[int],
    file: str | None,
) -> list[Problem]:
    """Name what is wrong within and between the rows."""
    problems = []
    first: dict[str, int] = {}
    limits = [c for c in by_name.values() if c.kind == "limit"]
    for i, row in enumerate(rows):
        if "size" in made:
            size, heading = made["size"][i], by_name["size"].heading
            if not size:
                problems.append(
                    Problem(
                        "a size without a name",
                        "a name for each size",
                        "write one",
                        file,
                        row,
                        heading,
                    )
                )
            elif fault := name_fault(size):
                problems.append(Problem(*fault, file, row, heading, size[:40]))
            elif first.setdefault(size, row) != row:
                problems.append(
                    Problem(
                        f"the size stands twice, also in row {first[size]}",
                        "each size once",
                        "rename or delete one of them",
                        file,
                        row,
                        heading,
                        size,
                    )
                )
        if limits and all(math.isnan(made[c.name][i]) for c in limits):
            problems.append(
                Problem(
                    "this size has no limits at all",
                    "at least one measure's low or high limit",
                    "fill in its limits, or delete the row",
                    file,
                    row,
                )
            )
        problems += _limit_problems(made, by_name, i, row, file)
    return problems


def _limit_problems(
    made: dict[str, list[Any]],
    by_name: dict[str, Column],
    i: int,
    row: int,
    file: str | None,
) -> list[Problem]:
    problems = []
    for measure in MEASURES:
        low, high = (made.get(f"{measure}_{end}", [])[i : i + 1] for end in ENDS)
        if low and high and to_tenths(low)[0] > to_tenths(high)[0] > 0:
            columns = [by_name[f"{measure}_{end}"] for end in ENDS]
            shown = [v[0] / c.factor for v, c in zip((low, high), columns, strict=True)]
            problems.append(
                Problem(
                    f"the low limit is above the high limit, {shown[1]:g}",
                    "a low limit at or below the high limit",
                    "exchange or correct them",
                    file,
                    row,
                    columns[0].heading,
                    round(shown[0], 6),
                )
            )
    load = made.get("load_limit_kg", [])[i : i + 1]
    low = made.get("body_mass_kg_low", [])[i : i + 1]
    if load and low and 0 <= to_tenths(load)[0] < to_tenths(low)[0]:
        problems.append(
            Problem(
                f"the load limit is under the size's body-mass band, which "
                f"begins at {low[0]:g} kg",
                "a load limit at or above the body mass the size is for",
                "check both on the sling's own label; do not use this size "
                "before they agree",
                file,
                row,
                by_name["load_limit_kg"].heading,
                round(load[0] / by_name["load_limit_kg"].factor, 6),
            )
        )
    return problems


def _ordered(
    made: dict[str, list[Any]], frame: pd.DataFrame, columns: Sequence[Column]
) -> pd.DataFrame:
    """Put the columns into the chart's order."""
    n = len(frame)
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
    for column in columns:
        if column.kind == "own":
            data[column.heading] = frame.iloc[:, column.position]
    return pd.DataFrame(data)
