"""The tables that people bring: what each may hold, how it is headed, a blank one."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import pandas as pd

from sizing.errors import InputProblems, Problem, ReadingNote, warn
from sizing.files.writing import csv_bytes, workbook_bytes
from sizing.measures.headings import Column, Found, Table, measure_columns
from sizing.measures.vocabulary import FURTHER_LENGTHS, FURTHER_MASSES, MEASURES, plain
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
                measured = one.measure in MEASURES
                words = plain(one.measure) if measured else one.stem.replace("_", " ")
                filled = self.frame[name].notna()
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
        """Name file, rows and headings as they are in whatever goes wrong within.

        Within, the first row is row 2 and columns have the kit's names.
        """
        problems = list(self.problems)
        try:
            yield
        except InputProblems as wrong:
            problems += [self._placed(one) for one in wrong.problems]
        if problems:
            problems.sort(key=lambda one: (one.row is None, one.row or 0))
            raise InputProblems(problems, about=about or self.about) from None

    def _placed(self, one: Problem) -> Problem:
        row = one.row
        if row is not None and row <= len(self.rows):
            row = self.rows[row - 1]
        column = self.heading(one.column)
        return replace(one, file=one.file or self.file, row=row, column=column)


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
