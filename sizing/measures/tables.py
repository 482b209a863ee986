"""The tables that people bring, and the unit gate that each passes once."""

from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import (
    DoubtfulValues,
    InputProblems,
    Problem,
    ReadingNote,
    SizingError,
    UnitSaid,
    warn,
)
from sizing.files.writing import csv_bytes, workbook_bytes
from sizing.measures.headings import Column, Found, Table, measure_columns
from sizing.measures.typed import UNSAID, Quantity, quantity, unclear
from sizing.measures.vocabulary import (
    AGE_LIMITS,
    FURTHER_LENGTHS,
    FURTHER_MASSES,
    MEASURES,
    OF_KIND,
    UNIT_WORDS,
    Amount,
    Said,
    Worded,
    plain,
    plausible_range,
)
from sizing.resources import texts

#: The index of a table read from a file: each row's number in the file.
ROW = "row of the file"

_T = texts("tables")
_MEASURES = measure_columns()
_LOAD = measure_columns("load_limit")[-1]
#: What a name of the texts stands for, where it stands for several columns.
_SEVERAL = {
    "measures": _MEASURES,
    "load_limit": (_LOAD,),
    "further": tuple(
        one
        for one in measure_columns(*FURTHER_LENGTHS, *FURTHER_MASSES)
        if one not in (*_MEASURES, _LOAD)
    ),
    "stock": tuple(Column(name, **given) for name, given in _T.stock.items()),
}


def _table(title: str) -> Table:
    given = dict(_T.tables[title])
    columns = [
        _SEVERAL.get(name) or (Column(name, **about),)
        for name, about in given.pop("columns").items()
    ]
    return Table(title, tuple(one for some in columns for one in some), **given)


#: ``ANY`` is any table of people or of sizes that holds measures.
ANY, CHART, CASELOAD, CLIENTS, PRICES, GROUPS, MARGINS, ANSWERS, TRIALS = map(
    _table, _T.tables
)
TABLES = {
    t.title: t for t in (CHART, CASELOAD, PRICES, GROUPS, MARGINS, ANSWERS, TRIALS)
}


@dataclass(frozen=True)
class Taken:
    #: Rows 0, 1, ...; measures keep the unit they were given in.
    frame: pd.DataFrame
    found: list[Found]
    #: Where the heading and each row stand in the file.
    rows: list[int]
    file: str | None
    #: What is wrong with the headings.
    problems: list[Problem]
    table: Table

    @property
    def about(self) -> str:
        return self.file or f"the {self.table.title}"

    @property
    def unused(self) -> str:
        """Which columns are not used, as words; empty if all are."""
        given = [one.given for one in self.found if one.column is None]
        near = [self.table.similar(heading) for heading in given]
        told = ", ".join(
            f"'{heading}'" + (f" (did you mean '{one}'?)" if one else "")
            for heading, one in zip(given, near, strict=True)
        )
        return f"not used: column{'s' * (len(given) > 1)} {told}" if given else ""

    def read(self) -> str:
        """Say how many rows were read, what is known of how many, and what not used."""
        known: dict[str, pd.Series] = {}
        for one, name in zip(self.found, self.frame.columns, strict=True):
            if one.kind not in ("words", "age", "own"):
                filled, words = self.frame[name].notna(), plain(one.measure)
                if one.measure not in MEASURES:
                    words = one.stem.replace("_", " ")
                known[words] = filled | known.get(words, filled)
        number = int(self.frame.notna().any(axis=1).sum())
        listed = ", ".join(f"{words} for {n.sum()}" for words, n in known.items())
        head = f"{number} {self.table.row}{'s' * (number != 1)} read"
        head = f"{head}: {listed}" if listed else head
        return f"{head}; {self.unused}" if self.unused else head

    def heading(self, name: object) -> str | None:
        given = {one.as_given: one.given for one in self.found}
        given |= {one.standard: one.given for one in self.found}
        return given.get(str(name), None if name is None else str(name))

    @contextmanager
    def told(self, about: str = "") -> Iterator[None]:
        """Name the user's file, rows and headings in whatever goes wrong within."""
        problems = list(self.problems)
        try:
            yield
        except InputProblems as wrong:
            for one in wrong.problems:
                file, row = one.file or self.file, one.row
                if row is not None and row <= len(self.rows):
                    row = self.rows[row - 1]
                column = self.heading(one.column)
                problems.append(replace(one, file=file, row=row, column=column))
        if problems:
            problems.sort(key=lambda one: (one.row is None, one.row or 0))
            raise InputProblems(problems, about=about or self.about) from None


def take(
    frame: pd.DataFrame, table: Table, *, note: bool = True, collect: bool = False
) -> Taken:
    file = frame.attrs.get("file")
    first = frame.attrs.get("heading", 1)
    named = frame.index.name == ROW
    rows = [*map(int, frame.index)] if named else [*range(2, len(frame) + 2)]
    found, problems = table.read(list(frame.columns), file=file, row=first)
    named_once = {one.as_given: one for one in reversed(found)}
    found = [one for one in found if named_once[one.as_given] is one]
    kept = frame.iloc[:, [one.position for one in found]].reset_index(drop=True)
    kept.columns = pd.Index([one.as_given for one in found], dtype=object)
    have = {one.stem for one in found}
    listed = ", ".join(f"'{one.given}'" for one in found) or "none"
    problems += [
        Problem.of(_T.lacking, file, first, name=column.name, found=listed)
        for column in table.columns
        if column.needed and column.name not in have
    ]
    taken = Taken(kept, found, [first, *rows], file, problems, table)
    if problems and not collect:
        with taken.told():
            pass
    if note and not problems and (file or taken.unused):
        say(taken.about, taken.read() if file else taken.unused)
    return taken


def say(about: str, words: str) -> None:
    warn(f"{about}: {words}", ReadingNote)


def blank(table: Table) -> pd.DataFrame:
    names: list[str] = []
    for column in table.columns:
        name = column.standard
        ends = table.ends and any(column.name == one.name for one in _MEASURES)
        if table.guesses and column.name in ("body_mass", "stature"):
            names.append(f"guessed_{name}")
        names += [f"{name}_low", f"{name}_high"] if ends else [name]
    return pd.DataFrame(columns=pd.Index(names, dtype=object))


def blank_bytes(table: Table, ending: str) -> bytes:
    if ending.lower() == ".csv":
        return csv_bytes(blank(table))
    return workbook_bytes({table.title: blank(table)})


_PLACED = texts("problems")
_SEX_WORDS = {"female": "female", "male": "male", "f": "female", "m": "male"}
_MOST_ROWS = 10
#: So far beyond what is plausible at any age no body is: a slip, not a rarity. The
#: heaviest on record, 635 kg (from memory), was 1.8 times what is plausible.
_FAR = 2.0


def to_standard_units(
    frame: pd.DataFrame, *, file: str | None = None, allow_unusual: bool = False
) -> pd.DataFrame:
    """Return a copy with its measures in cm, kg and years, as floats, NaN where empty.

    Columns are known by their headings; a unit in a cell goes before the column's, with
    a warning. Every problem is refused at once; see ``take`` for headings. A value that
    only another unit makes plausible is refused unless ``allow_unusual``.
    """
    if not isinstance(frame, pd.DataFrame):
        raise SizingError.of(_T.no_table, type(frame))
    found, problems = ANY.read(list(frame.columns), file=file)
    columns = [one for one in found if one.kind in OF_KIND]
    out = frame.copy()
    doubts: list[Problem] = []
    said: list[UnitSaid] = []
    if not problems:
        made: dict[Hashable, object] = {}
        for one, name in zip(found, frame.columns, strict=True):
            wrong: list[Problem] = []
            if one.kind in OF_KIND:
                number, wrong = _numbers(frame[name], one, file, said)
                made[one.standard] = np.round(number, 9)
            elif one.column:
                made[one.standard], wrong = _sex(frame[name], one, file)
            else:
                made[name] = frame[name]
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
    given: pd.Series, column: Found, file: str | None, said: list[UnitSaid]
) -> tuple[npt.NDArray[np.float64], list[Problem]]:
    """Return a column's numbers and what is wrong; cells with units go to ``said``."""
    what: dict[int, Problem] = {}
    if given.dtype.kind in "iuf" and column.unit not in UNSAID:
        # A column of plain numbers needs no reading cell by cell.
        cells = np.array([])
        number = given.to_numpy(float, na_value=np.nan) * column.factor
    else:
        cells = given.to_numpy(dtype=object, na_value=np.nan)
        number = np.full(len(cells), np.nan)
    words = _PLACED.number["words"].format(unit=column.unit)
    allowed = Worded(**_PLACED.number | {"words": words})
    for position, value in enumerate(cells):
        text = "" if pd.isna(value) else str(value).strip()
        found: Quantity | Problem | None = None
        if isinstance(value, (bool, np.bool_)):
            found = Problem(_T.yes, allowed)
        elif text and isinstance(value, (int, float, np.number)):
            number[position] = float(value) * column.factor
            found = unclear(repr(float(value)), column.unit)
        elif text:
            found = quantity(text, column.unit)
        if isinstance(found, Problem):
            what[position] = found
        elif found is not None:
            number[position] = found.standard
            if found.said:
                named = given.index.name == ROW
                row = given.index[position] if named else position + 2
                place = f"row {row}, column '{column.given}'"
                place = f"{file}, {place}" if file else place
                said.append(UnitSaid(column.given, found.told(text), place))
    rules = [(np.isinf(number), _T.endless), (number < 0, _T.negative)]
    if column.kind == "age":
        old = _T.old.format(most=AGE_LIMITS[1])
        rules.append((number > AGE_LIMITS[1], old))
    elif not column.end:
        rules.append((number == 0, _T.zero))
    for found_at, reason in reversed(rules):
        places = np.flatnonzero(found_at).tolist()
        what |= dict.fromkeys(places, Problem(reason, allowed))
    return number, _at_cells(what, given, column, file)


def _at_cells(
    what: dict[int, Problem], given: pd.Series, column: Found, file: str | None
) -> list[Problem]:
    """Return what is wrong in a column's cells, the first of them with their place."""
    problems = []
    for at in sorted(what)[:_MOST_ROWS]:
        value = given.iloc[at]
        # A number of numpy's would not be shown as it was written.
        value = value.item() if isinstance(value, np.generic) else value
        placed = {"row": at + 2, "column": column.given, "value": value}
        action = what[at].action or Worded(**_PLACED.correct)
        problems.append(replace(what[at], action=action, file=file, **placed))
    if (more := len(what) - _MOST_ROWS) > 0:
        where = (file, None, column.given)
        problems.append(Problem.of(_T.more, *where, count=more))
    return problems


def _sex(
    given: pd.Series, column: Found, file: str | None
) -> tuple[pd.Series, list[Problem]]:
    words = given.astype("object").where(given.notna(), "")
    words = words.map(lambda value: str(value).strip().lower())
    wrong = np.flatnonzero(~words.isin([*_SEX_WORDS, ""])).tolist()
    what = dict.fromkeys(wrong, Problem(_T.sex[0], _T.sex[1], Worded(**_PLACED.sex)))
    sex = words.map(_SEX_WORDS).astype("object")
    return sex.where(sex.notna(), None), _at_cells(what, given, column, file)


def _unusual(
    out: pd.DataFrame, columns: list[Found], file: str | None
) -> tuple[list[Problem], list[Problem], list[Problem]]:
    """Return values that fit another unit only, merely unusual, and impossible."""
    told: dict[str, list[Problem]] = {"other": [], "doubt": [], "never": []}
    ages = np.full(len(out), np.nan)
    if "age_years" in out:
        years = out["age_years"].astype(float)
        ages = years.where(years.between(*AGE_LIMITS)).to_numpy()
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
        for at in np.flatnonzero(outside)[:_MOST_ROWS]:
            usual = Amount(float(low[at]), measure, float(high[at]))
            if unit := _other_unit(value[at], column, low[at], high[at]):
                names = (UNIT_WORDS[unit], UNIT_WORDS[column.unit])
                words = _T.other_unit[0].format(*names)
                kind, what = "other", Worded(words, **_PLACED.outside)
                allowed = Said(_T.other_unit[1], span=usual, name=plain(measure))
                action = Worded(**_PLACED.other_unit)
            elif column.end:
                continue
            elif not least <= value[at] <= most:
                kind, what = "never", Worded(_T.never[0])
                allowed = Said(_T.never[1], span=Amount(least, measure, most))
                action = Worded(**_PLACED.empty)
            else:
                kind, (what, action) = "doubt", map(Worded, _T.unusual)
                allowed = Said("{span}", span=usual)
            shown = float(np.round(value[at] / column.factor, 6))
            where = (file, int(at) + 2, column.given, shown)
            told[kind].append(Problem(what, allowed, action, *where))
    return told["other"], told["doubt"], told["never"]


def _limits(
    measure: str, ages: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    # The bands start on whole years, so an age's whole years decide.
    years = np.where(np.isnan(ages), -1, np.floor(ages)).astype(int)
    known, at = np.unique(years, return_inverse=True)
    ranges = [plausible_range(measure, None if y < 0 else float(y)) for y in known]
    low, high = np.array(ranges).reshape(-1, 2)[at].T
    return low, high


def _other_unit(value: float, column: Found, low: float, high: float) -> str:
    """Return the unit in which a value would be plausible, or nothing."""
    number = value / column.factor
    units = {u: f for u, f in OF_KIND[column.kind].items() if u != column.unit}
    return next((u for u, f in units.items() if low <= number * f <= high), "")
