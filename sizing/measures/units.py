"""The unit gate: every table a user brings passes here once.

Units stand in column names. The gate turns them into cm, kg and years, and
refuses what it cannot be sure of; it guesses nothing.
"""

from collections.abc import Hashable
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import (
    DoubtfulValues,
    InputProblems,
    Problem,
    SizingError,
    UnitSaid,
    warn,
)
from sizing.measures.columns import OF_KIND, UNIT_WORDS
from sizing.measures.headings import Found
from sizing.measures.names import MEASURES, SEXES
from sizing.measures.tables import ANY, ROW
from sizing.measures.typed import Quantity, quantity, unclear
from sizing.measures.vocabulary import AGE_LIMITS, plain, plausible_range
from sizing.measures.written import Amount, Said, Worded
from sizing.resources import texts

_T = texts("problems")

_SEX_WORDS = {"female": "female", "male": "male", "f": "female", "m": "male"}
_MOST_ROWS = 10
#: So far beyond what is plausible at any age no body is: a slip, not a rarity. The
#: heaviest on record, 635 kg (from memory), was 1.8 times what is plausible.
_FAR = 2.0


def to_standard_units(
    frame: pd.DataFrame, *, file: str | None = None, allow_unusual: bool = False
) -> pd.DataFrame:
    """Return a table with its measures in cm, kg and years.

    A column is recognised by its name: ``<measure>_<unit>``, for a chart
    ``<measure>_<unit>_low`` and ``<measure>_<unit>_high``. Lengths may be in
    mm, cm, m, in or ft, masses in g, kg, lb or st, age in years or months.

    What is converted: units, f/m in ``sex`` to female/male (upper or lower
    case), text such as ``5 ft 2 in``, ``10 st 4`` or ``101,5`` to numbers (see
    ``typed.quantity``). A unit in a cell goes before the column's, with a warning.
    What is kept: every other column.
    What is refused, every problem at once: a measure in two columns, without a unit or
    in an unknown one; a name that is nearly a measure's; text, or a unit of another
    kind, in a cell; what may mean two things (``1,234``; 5.11 in feet, 12.10 in stone);
    a negative or infinite number, or 0; an age outside 0 to 120; a sex other than
    female, male, f or m; a value that makes sense in another unit only (unless
    ``allow_unusual``), or less than half or more than twice what is plausible at any
    age. One outside the plausible range is warned of.

    A copy: same rows, index and column order, standard column names, the measures as
    floats, NaN where empty.

    >>> import pandas as pd
    >>> given = pd.DataFrame({"hip_circumference_in": [40], "body_mass_lb": [150]})
    >>> to_standard_units(given).round(1)
       hip_circumference_cm  body_mass_kg
    0                 101.6          68.0
    >>> to_standard_units(pd.DataFrame({"hip_circumfrence_cm": [40]}))
    Traceback (most recent call last):
    ...
    sizing.errors.InputProblems: 1 problem in table:
    - row 1, column 'hip_circumfrence_cm': this is no measure of the kit; did you mean \
'hip_circumference_cm'?. Allowed: the names in the table of measures. What to \
do: correct the column's name, or give it one that is no measure's.
    """
    if not isinstance(frame, pd.DataFrame):
        raise SizingError(
            str(Problem("this is not a table", "a DataFrame", value=type(frame)))
        )
    found, problems = ANY.read(list(frame.columns), file=file)
    columns = [one for one in found if one.kind in OF_KIND]
    out = frame.copy()
    doubts: list[Problem] = []
    said: list[UnitSaid] = []
    if not problems:
        made: dict[Hashable, object] = {}
        for one, name in zip(found, frame.columns, strict=True):
            given = frame[name]
            if one.kind in OF_KIND:
                number, wrong, words = _numbers(given, one, file)
                said += words
                made[one.standard] = np.round(number, 9)
            elif one.column:
                made[one.standard], wrong = _sex(given, one.given, file)
            else:
                made[name], wrong = given, []
            problems += wrong
        out = pd.DataFrame(made, index=frame.index)
    if not problems:
        problems, doubts, never = _unusual(out, columns, file)
        if allow_unusual:
            problems, doubts = [], problems + doubts
        problems += never
    if problems:
        raise InputProblems(problems, about=file or "table")
    if doubts:
        warn(DoubtfulValues(doubts))
    for told in said:
        warn(told)
    return out


def _numbers(
    given: pd.Series, column: Found, file: str | None
) -> tuple[npt.NDArray[np.float64], list[Problem], list[UnitSaid]]:
    """Return a column in standard units, cells that are none, and units said."""
    what: dict[int, Problem] = {}
    said: list[UnitSaid] = []
    cells = given.to_numpy(dtype=object, na_value=np.nan)
    number = np.full(len(cells), np.nan)
    words = _T.number["words"].format(unit=column.unit)
    allowed = Worded(**_T.number | {"words": words})
    for position, value in enumerate(cells):
        text = "" if pd.isna(value) else str(value).strip()
        if not text:
            continue
        found: Quantity | Problem | None
        if isinstance(value, (bool, np.bool_)):
            found = Problem("yes or no instead of a number", allowed)
        elif isinstance(value, (int, float, np.number)):
            number[position] = float(value) * column.factor
            found = unclear(repr(float(value)), column.unit)
        else:
            found = quantity(text, column.unit)
        if isinstance(found, Problem):
            what[position] = found
        elif found is not None:
            number[position] = found.standard
            if found.said:
                place = f"{file}, " if file else ""
                named = given.index.name == ROW
                row = given.index[position] if named else position + 2
                place += f"row {row}, column '{column.given}'"
                said.append(UnitSaid(column.given, found.told(text), place))
    rules = [
        (np.isinf(number), "infinity is no body measure"),
        (number < 0, "a body measure cannot be negative"),
    ]
    if column.kind == "age":
        rules.append((number > AGE_LIMITS[1], f"over {AGE_LIMITS[1]:g} years"))
    elif not column.end:
        rules.append((number == 0, "a body measure cannot be 0"))
    for found_at, reason in reversed(rules):
        for position in np.flatnonzero(found_at).tolist():
            what[position] = Problem(reason, allowed)
    wrong = sorted(what)
    problems = [
        replace(
            what[position],
            action=what[position].action or Worded(**_T.correct),
            file=file,
            row=position + 2,
            column=column.given,
            value=_plain_value(given.iloc[position]),
        )
        for position in wrong[:_MOST_ROWS]
    ]
    return number, problems + _and_more(len(wrong), file, column.given), said


def _sex(
    given: pd.Series, heading: str, file: str | None
) -> tuple[pd.Series, list[Problem]]:
    """Return sex as female/male; an empty cell stays empty."""
    words = given.astype("object").where(given.notna(), "")
    words = words.map(lambda value: str(value).strip().lower())
    wrong = np.flatnonzero(~words.isin([*_SEX_WORDS, ""]))
    problems = [
        Problem(
            "this sex is not one the kit has figures for",
            ", ".join([*SEXES, "f", "m"]) + ", or nothing where not known",
            Worded(**_T.sex),
            file=file,
            row=int(position) + 2,
            column=heading,
            value=_plain_value(given.iloc[position]),
        )
        for position in wrong[:_MOST_ROWS]
    ]
    problems += _and_more(len(wrong), file, heading)
    sex = words.map(_SEX_WORDS).astype("object")
    return sex.where(sex.notna(), None), problems


def _plain_value(value: object) -> object:
    """Return a numpy number as Python's own, which reads as it was written."""
    return value.item() if isinstance(value, np.generic) else value


def _and_more(count: int, file: str | None, column: str) -> list[Problem]:
    if count <= _MOST_ROWS:
        return []
    return [
        Problem(
            f"{count - _MOST_ROWS} more cells of this column have such a problem",
            file=file,
            column=column,
        )
    ]


def _unusual(
    out: pd.DataFrame, columns: list[Found], file: str | None
) -> tuple[list[Problem], list[Problem], list[Problem]]:
    """Return values that fit another unit only, merely unusual, and impossible."""
    problems: list[Problem] = []
    doubts: list[Problem] = []
    never: list[Problem] = []
    ages = np.full(len(out), np.nan)
    if "age_years" in out:
        given = out["age_years"].to_numpy(dtype=float)
        inside = (given >= AGE_LIMITS[0]) & (given <= AGE_LIMITS[1])
        ages = np.where(inside, given, np.nan)
    for column in columns:
        measure = column.measure
        if measure not in MEASURES:
            continue
        value = out[column.standard].to_numpy(dtype=float)
        low, high = _limits(measure, ages)
        ever = plausible_range(measure)
        least, most = ever[0] / _FAR, ever[1] * _FAR
        outside = (value < low) | (value > high)
        if column.end:
            # The edges of a chart need fit no one person: its lowest may well lie
            # below everybody. Only if all do so are they in another unit.
            both = out[[c.standard for c in columns if c.stem == column.stem]]
            all_below = not (both.to_numpy(dtype=float) >= low.max()).any()
            outside = (value > high) | ((value > 0) & all_below)
        found = np.flatnonzero(outside)
        other = [_other_unit(value[i], column, low[i], high[i]) for i in found]
        for position, unit in list(zip(found, other, strict=True))[:_MOST_ROWS]:
            number = value[position] / column.factor
            usual = Amount(float(low[position]), measure, float(high[position]))
            if unit:
                told, words = problems, f"this makes sense in {UNIT_WORDS[unit]}, not "
                what = Worded(f"{words}in {UNIT_WORDS[column.unit]}", **_T.outside)
                allowed = Said("{span} for {name}", span=usual, name=plain(measure))
                action = Worded(**_T.other_unit)
            elif column.end:
                continue
            elif not least <= value[position] <= most:
                told, what = never, Worded("no body has this value")
                allowed = Said("{span} at any age", span=Amount(least, measure, most))
                action = Worded(**_T.empty)
            else:
                told = doubts
                what = Worded("this is outside the range people were found in")
                allowed, action = Said("{span}", span=usual), Worded("measure again")
            shown = float(np.round(number, 6))
            row = int(position) + 2
            told.append(Problem(what, allowed, action, file, row, column.given, shown))
    return problems, doubts, never


def _limits(
    measure: str, ages: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return the plausible range of a measure at each age (NaN: any age)."""
    # The bands start on whole years, so an age's whole years decide.
    years = np.where(np.isnan(ages), -1, np.floor(ages)).astype(int)
    ranges = {
        year: plausible_range(measure, None if year < 0 else float(year))
        for year in np.unique(years).tolist()
    }
    low = np.array([ranges[year][0] for year in years.tolist()])
    high = np.array([ranges[year][1] for year in years.tolist()])
    return low, high


def _other_unit(value: float, column: Found, low: float, high: float) -> str:
    """Return the unit in which a value would be plausible, or nothing."""
    number = value / column.factor
    for unit, factor in OF_KIND[column.kind].items():
        if unit != column.unit and low <= number * factor <= high:
            return unit
    return ""
