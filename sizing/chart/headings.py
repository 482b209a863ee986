"""What a column of a size chart means: the size, a limit, or the user's own."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from sizing.errors import Problem
from sizing.measures import MEASURES
from sizing.measures.columns import LENGTH_UNITS, MASS_UNITS

#: The columns that are no limits of a measure.
PLAIN: tuple[str, ...] = ("size", "group", "load_limit_kg")
#: Columns that carry the chart's name and source through a file.
ABOUT: tuple[str, ...] = ("chart_name", "chart_source")
ENDS: tuple[str, ...] = ("low", "high")

_LIMIT = re.compile(r"^(?P<what>.+)_(?P<end>low|high)$")
#: As a limit's heading shrinks to.
_BARE_ENDS = ("low", "high", "min", "max", "lower", "upper", "from", "to")
_BASES = {measure.rsplit("_", 1)[0]: measure for measure in MEASURES}


@dataclass(frozen=True)
class Column:
    """One understood column.

    Attributes
    ----------
    position : int
        Where it stands, 0 the first.
    heading : str
        As the user wrote it.
    name : str
        The kit's name for it, such as ``hip_circumference_cm_low``; the
        heading itself for a column of the user's own.
    kind : str
        plain, limit, about or own.
    factor : float
        What its numbers are multiplied by to be in cm or kg.
    measure, end, unit : str
        For a limit: the measure, ``low`` or ``high``, and the unit written.
    """

    position: int
    heading: str
    name: str
    kind: str
    factor: float = 1.0
    measure: str = ""
    end: str = ""
    unit: str = ""


def read_headings(
    headings: Sequence[object], *, file: str | None = None
) -> tuple[list[Column], list[Problem]]:
    """Say what each heading means, and what is wrong with the headings.

    Capitals, surrounding spaces, and spaces for underscores do not matter in
    the kit's own names. A column that is no name of the kit's is the user's
    own, unless it looks like a slip of the pen.

    Parameters
    ----------
    headings : sequence
        The cells of the heading row.
    file : str, optional
        Named in the problems.

    Returns
    -------
    columns : list of Column
    problems : list of Problem

    Examples
    --------
    >>> columns, problems = read_headings(["size", "Hip_circumference_in_low"])
    >>> columns[1].name, columns[1].factor, problems
    ('hip_circumference_cm_low', 2.54, [])
    """
    columns: list[Column] = []
    problems: list[Problem] = []
    for position, cell in enumerate(headings):
        heading = "" if cell is None else str(cell).strip()
        if not heading:
            problems.append(
                Problem(
                    f"column {position + 1} has no heading",
                    "a heading over every column",
                    "write one in row 1, or delete the column",
                    file,
                    1,
                )
            )
            continue
        found = _understand(position, heading, file)
        if isinstance(found, Problem):
            problems.append(found)
        else:
            columns.append(found)
    problems += _repeats(columns, file)
    return columns, problems


def _understand(position: int, heading: str, file: str | None) -> Column | Problem:
    key = re.sub(r"\s+", "_", heading.lower())
    if key in PLAIN:
        return Column(position, heading, key, "plain", unit=key.rpartition("_")[2])
    if key in ABOUT:
        return Column(position, heading, key, "about")
    if key.startswith("load_limit_") and key[11:] in MASS_UNITS:
        unit = key[11:]
        return Column(
            position, heading, "load_limit_kg", "plain", MASS_UNITS[unit], unit=unit
        )
    match = _LIMIT.match(key)
    if match:
        return _limit(position, heading, match["what"], match["end"], file)
    return _own(position, heading, key, file)


def _limit(
    position: int, heading: str, what: str, end: str, file: str | None
) -> Column | Problem:
    base, _, unit = what.rpartition("_")
    measure = _BASES.get(base)
    if measure is None:
        near = [known for known in _BASES if known.startswith(f"{base}_")][:1]
        near = near or get_close_matches(base, _BASES, 1, 0.6)
        near = near or get_close_matches(what, _BASES, 1, 0.6)
        hint = f"did you mean '{_BASES[near[0]]}_{end}'? " if near else ""
        return Problem(
            "unknown measure",
            ", ".join(MEASURES),
            f"{hint}write the measure's name, then _low or _high",
            file,
            1,
            heading,
        )
    units = MASS_UNITS if measure.endswith("_kg") else LENGTH_UNITS
    if unit not in units:
        return Problem(
            f"unknown unit '{unit}'",
            ", ".join(units),
            f"did you mean '{measure}_{end}'? Convert the numbers if need be",
            file,
            1,
            heading,
        )
    return Column(
        position,
        heading,
        f"{measure}_{end}",
        "limit",
        units[unit],
        measure,
        end,
        unit,
    )


def _own(position: int, heading: str, key: str, file: str | None) -> Column | Problem:
    """Keep a column of the user's own, unless it looks like a slip."""
    for base, measure in _BASES.items():
        if key == base or key.startswith(f"{base}_"):
            return Problem(
                "a limit whose end is not said",
                "names that end in _low or _high",
                f"write '{measure}_low' or '{measure}_high'",
                file,
                1,
                heading,
            )
    if key in _BARE_ENDS:
        return Problem(
            "a limit whose measure is not said",
            "names such as hip_circumference_cm_low",
            "write the measure before it, and the unit",
            file,
            1,
            heading,
        )
    near = get_close_matches(key, (*PLAIN, *ABOUT), 1, 0.8)
    if key.startswith(("load_limit", "safe_working_load")):
        near = ["load_limit_kg"]
    if near:
        return Problem(
            "unknown column",
            ", ".join(PLAIN) + ", limits, or columns of your own",
            f"did you mean '{near[0]}'? If it is your own column, rename it",
            file,
            1,
            heading,
        )
    return Column(position, heading, heading, "own")


def _repeats(columns: Sequence[Column], file: str | None) -> list[Problem]:
    """Name columns given twice and measures given in two units."""
    problems = []
    first: dict[str, Column] = {}
    units: dict[str, Column] = {}
    for column in columns:
        known = first.setdefault(column.name, column)
        other = units.setdefault(column.measure, column) if column.measure else column
        if column.measure and other.unit != column.unit:
            problems.append(
                Problem(
                    f"{column.measure.rsplit('_', 1)[0]} is given in two units, "
                    f"'{other.unit}' and '{column.unit}'",
                    "one unit for each measure",
                    f"keep one of '{other.heading}' and '{column.heading}', "
                    "or write both ends in one unit",
                    file,
                    1,
                    column.heading,
                )
            )
        elif known is not column:
            problems.append(
                Problem(
                    f"the column stands twice, also as '{known.heading}'",
                    "each column once",
                    "delete or rename one of them",
                    file,
                    1,
                    column.heading,
                )
            )
    return problems
