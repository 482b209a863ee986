"""The tables that people bring: what each may hold, how it is headed, and a blank one.

Every reader takes a table through ``take``: each column is used, or named as not used.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import pandas as pd

from sizing.errors import InputProblems, Problem, ReadingNote, warn
from sizing.files.writing import csv_bytes, workbook_bytes
from sizing.measures.columns import FURTHER_LENGTHS, FURTHER_MASSES
from sizing.measures.headings import Column, Found, Table, measure_columns
from sizing.measures.vocabulary import vocabulary

#: The index of a table read from a file: each row's number in the file.
ROW = "row of the file"

_MEASURES = measure_columns()
_LOAD = measure_columns("load_limit")[-1]
_SEX_AGE = (Column("sex", also="gender"), Column("age", "age"))
_SIZE = Column("size", also="size name|name of the size", needed=True)
_STOCK = (
    Column("price", "number", "price of one|price each|unit price"),
    # An order list of last year's holds what is owned now under "then held".
    Column("owned", "number", "owned now|number owned|then held"),
    Column("pack", "number", "sold in packs of|pack size"),
    Column("most", "number", "most to be held"),
    Column("last_year", "number", "used last year"),
)

#: Any table of people or of sizes that holds measures.
ANY = Table(
    "table", (*_SEX_AGE, *measure_columns(*FURTHER_LENGTHS, *FURTHER_MASSES)), ends=True
)
CHART = Table(
    "chart",
    (
        _SIZE,
        Column("group"),
        _LOAD,
        *_MEASURES,
        Column("chart_name"),
        Column("chart_source"),
        *_STOCK,
    ),
    ends=True,
    row="size",
)
CASELOAD = Table(
    "caseload",
    (
        replace(_SEX_AGE[0], needed=True),
        *(c for c in ANY.columns if c.name not in ("sex", "load_limit")),
    ),
    row="client",
)
CLIENTS = Table(
    "clients",
    (
        Column("reference", also="client|file number|case number|number|id|ref"),
        Column("condition", also="conditions|stated"),
        *(c for c in ANY.columns if c.name != "load_limit"),
    ),
    row="client",
)
PRICES = Table(
    "prices",
    (
        Column("chart"),
        _SIZE,
        *_STOCK,
        Column("code", also="supplier's code|supplier code|order code"),
    ),
    row="size",
)
GROUPS = Table(
    "groups",
    (
        Column("people", also="people like", needed=True),
        Column("count", "number", "how many on one day|how many", True),
        Column("admissions", "number", "admitted over the period|admitted"),
        Column("number"),
        Column("name", also="called|service"),
        Column("sharing", also="slings are"),
        Column("each", "number", "slings for each"),
        Column("at_once", "number", "share who need one at once"),
        Column("at_most", "number", "most lifted at once"),
        Column("laundry", "number", "days of 7 in the laundry"),
        Column("spares", "number", "spares of each size"),
        Column("target", "number", "target of its own"),
        Column("charts", also="charts bought from"),
    ),
    row="group",
)
MARGINS = Table(
    "margins",
    (
        Column("population"),
        Column("variable", needed=True),
        Column("statistic", needed=True),
        Column("level"),
        Column("low", "number"),
        Column("high", "number"),
        Column("within"),
        Column("target", "number", needed=True),
        Column("source"),
        Column("standing"),
        Column("basis"),
    ),
    row="margin",
)
ANSWERS = Table(
    "answers",
    (
        Column("participant", also="participant's number", needed=True),
        Column("subject", also="volunteer or card|volunteer|card", needed=True),
        Column("reading", "number"),
        Column("chosen_size", also="size chosen"),
        *_MEASURES,
    ),
    guesses=True,
    row="answer",
)
TRIALS = Table(
    "trials",
    (
        Column("service", also="ward|home|team"),
        Column("chart"),
        Column("pattern", also="pattern of sling"),
        replace(_SIZE, also="size tried|size name|name of the size"),
        *_MEASURES,
        Column("how", also="how measured|how taken"),
        Column("outcome", also="what happened", needed=True),
        Column("too_small_where", also="where too small"),
        Column("too_large_where", also="where too large"),
    ),
    row="trial",
)
TABLES = {
    t.title: t for t in (CHART, CASELOAD, PRICES, GROUPS, MARGINS, ANSWERS, TRIALS)
}


@dataclass(frozen=True)
class Taken:
    """A table whose columns are named as the kit names them."""

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
        """What messages call the table."""
        return self.file or f"the {self.table.title}"

    @property
    def unused(self) -> str:
        """Which columns are not used, as words; empty if all are."""
        given = [one.given for one in self.found if one.column is None]
        told = ", ".join(_with_hint(heading, self.table) for heading in given)
        return f"not used: {'column' if len(given) == 1 else 'columns'} {told}" * (
            len(given) > 0
        )

    def read(self) -> str:
        """Say how many rows were read, what is known of how many, and what not used."""
        told = vocabulary().set_index("name")["label"].str.replace(",", "").str.lower()
        known: dict[str, pd.Series] = {}
        for one, name in zip(self.found, self.frame.columns, strict=True):
            if one.kind not in ("words", "age", "own"):
                words = str(told.get(one.measure, one.stem.replace("_", " ")))
                filled = self.frame[name].notna()
                known[words] = filled | known.get(words, filled)
        number = int(self.frame.notna().any(axis=1).sum())
        listed = ", ".join(f"{words} for {n.sum()}" for words, n in known.items())
        head = f"{number} {self.table.row}{'' if number == 1 else 's'} read"
        return "; ".join(
            filter(None, [f"{head}: {listed}" if listed else head, self.unused])
        )

    def heading(self, name: object) -> str | None:
        """Return a column's heading as it stands in the file."""
        given = {_column_name(one): one.given for one in self.found}
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
    """Take a table that somebody brought: every column is used, or named."""
    file = frame.attrs.get("file")
    first = frame.attrs.get("heading", 1)
    named = frame.index.name == ROW
    rows = [*map(int, frame.index)] if named else [*range(2, len(frame) + 2)]
    found, problems = table.read(list(frame.columns), file=file, row=first)
    named_once = {_column_name(one): one for one in reversed(found)}
    found = [one for one in found if named_once[_column_name(one)] is one]
    kept = frame.iloc[:, [one.position for one in found]].reset_index(drop=True)
    kept.columns = pd.Index([_column_name(one) for one in found], dtype=object)
    have = {one.stem for one in found}
    problems += [
        Problem(
            f"there is no column '{column.name}'",
            f"a column '{column.name}'; found are "
            + (", ".join(f"'{one.given}'" for one in found) or "none"),
            "add it, or rename the column that holds it",
            file,
            first,
        )
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
    """Say how a table was read."""
    warn(f"{about}: {words}", ReadingNote)


def blank(table: Table) -> pd.DataFrame:
    """Return a table to be filled in: headings and no rows."""
    names: list[str] = []
    for column in table.columns:
        name = column.standard
        ends = table.ends and any(column.name == one.name for one in _MEASURES)
        if table.guesses and column.name in ("body_mass", "stature"):
            names.append(f"guessed_{name}")
        names += [f"{name}_low", f"{name}_high"] if ends else [name]
    return pd.DataFrame(columns=pd.Index(names, dtype=object))


def blank_bytes(table: Table, ending: str) -> bytes:
    """Return a blank table as the content of a file, ``.csv`` or ``.xlsx``."""
    if ending.lower() == ".csv":
        return csv_bytes(blank(table))
    return workbook_bytes({table.title: blank(table)})


def _column_name(one: Found) -> str:
    """Return the kit's name of a column, in the unit it was given in."""
    if one.column is None or not one.unit:
        return one.standard
    start, end = "guessed_" if one.guess else "", f"_{one.end}" if one.end else ""
    return f"{start}{one.stem}_{one.unit}{end}"


def _with_hint(heading: str, table: Table) -> str:
    near = table.similar(heading)
    return f"'{heading}'" + (f" (did you mean '{near}'?)" if near else "")
