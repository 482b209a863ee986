"""Clients kept by a reference of the adviser's own: one CSV file each, a row a visit.

The files lie in one folder that the adviser owns and nothing is kept elsewhere. A
spreadsheet opens them; columns of the adviser's own stay as they are.
"""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.client.client import Client, client_from
from sizing.client.conditions import condition_keys
from sizing.client.growth import GROWN
from sizing.client.how import ESTIMATED
from sizing.client.parts import PARTS, suggested_allowances
from sizing.client.stature import KNEE_EQUATIONS, segments
from sizing.errors import InputProblems, Problem, SizingError
from sizing.files.folders import only_writer, write_bytes
from sizing.files.sheets import read_rows
from sizing.files.writing import csv_bytes
from sizing.measures import MEASURES
from sizing.measures.typed import understood

#: The folder within that of the results, and what each file's name begins with.
FOLDER, _FILE = "clients", "client "
#: What is said wherever clients are kept.
HEALTH_RECORDS = (
    "Such notes are health records: keep them, share them and delete them by the "
    "rules of your service. Write no name."
)
_REFERENCE = re.compile(r"\w(?:[\w .\-]{0,58}\w)?")
_SAID = {True: "yes", False: ""}
#: A review this near is due soon, and a child is seen again after a year (common
#: practice, no source).
_SOON, _CHILD_AGAIN = timedelta(days=28), timedelta(days=365)
LISTED = ["reference", "visits", "last_visit_on", "size", "due_on", "due", "problem"]


@dataclass(frozen=True)
class Decision:
    """What the assessor decided; everything may be left empty and filled by hand.

    ``size`` is one of the chart's, or empty: none yet. ``hoist``, ``spreader_bar`` and
    ``sling`` say which one, as on its label; ``shoulders`` and ``legs`` the loop or
    clip positions, as the assessor writes them; ``examined_on`` when the sling and
    what it hangs from were last examined; ``reference`` a file number of the
    assessor's own: a name is not needed.
    """

    size: str = ""
    reason: str = ""
    hoist: str = ""
    spreader_bar: str = ""
    sling: str = ""
    carers: str = ""
    shoulders: str = ""
    legs: str = ""
    positions_reason: str = ""
    trial: str = ""
    examined_on: date | None = None
    review_on: date | None = None
    reference: str = ""
    remarks: str = ""


@dataclass(frozen=True)
class Visit:
    """One visit: what was entered, in cm and kg, and what was decided.

    ``entries`` and ``how`` are those of ``client_from``; ``loads`` and ``allowances``
    those of ``check_client``. ``own`` holds columns that the adviser added.
    """

    on: date
    entries: Mapping[str, Any] = field(default_factory=dict)
    how: Mapping[str, str] = field(default_factory=dict)
    conditions: tuple[str, ...] = ()
    loads: Mapping[str, float] = field(default_factory=dict)
    allowances: Mapping[str, float] = field(default_factory=dict)
    knee_equation: str = KNEE_EQUATIONS[0]
    confirmed: bool = False
    chart: str = ""
    pattern: str = ""
    decision: Decision = field(default_factory=Decision)
    own: Mapping[str, str] = field(default_factory=dict)

    @property
    def client(self) -> Client:
        """The client as entered."""
        return client_from(
            self.entries,
            how=self.how,
            knee_equation=self.knee_equation,
            confirmed=self.confirmed,
            conditions=self.conditions,
        )

    @property
    def next(self) -> "Visit":
        """A copy for the next visit: what a tape, a scale and the day give is empty."""
        same = {"sex": self.entries["sex"]} if self.entries.get("sex") else {}
        again: dict[str, Any] = dict.fromkeys(
            ("size", "reason", "trial", "remarks"), ""
        )
        decision = replace(self.decision, **again, review_on=None)
        return replace(self, entries=same, how={}, confirmed=False, decision=decision)

    def row(self) -> dict[str, str]:
        """Return the visit as one row of the client's file."""
        told: dict[str, Any] = {"visit_on": self.on, **self.entries}
        told |= {f"{name}_how": way for name, way in self.how.items()}
        told |= {_load_column(part): limit for part, limit in self.loads.items()}
        told |= {f"allowance_{key}_cm": cm for key, cm in self.allowances.items()}
        told |= {"condition": "; ".join(self.conditions)}
        told |= {"confirmed": _SAID[self.confirmed], "chart": self.chart}
        told |= {"pattern": self.pattern, "knee_equation": self.knee_equation}
        told |= {name: getattr(self.decision, name) for name in _DECIDED} | {**self.own}
        return {str(name): _text(value) for name, value in told.items()}


def visit_of(client: Client, on: date) -> Visit:
    """Return a client as entered, to be kept as a visit."""
    about = {"sex": client.sex, "age_years": client.age_years}
    taken = [one for one in client.readings if one.how != ESTIMATED]
    entries = about | {one.measure: one.value for one in taken} | {**client.segments}
    return Visit(
        on,
        {name: value for name, value in entries.items() if value is not None},
        {one.measure: one.how for one in taken},
        client.conditions,
    )


_DECIDED = [one.name for one in fields(Decision)]


def _load_column(part: str) -> str:
    return f"{part.replace(' ', '_')}_load_limit_kg"


@cache
def _columns() -> tuple[str, ...]:
    """Return the columns of every client's file, in order."""
    measured = [name for m in MEASURES for name in (m, f"{m}_how")]
    loads = [_load_column(part) for part in (*PARTS, "sling")]
    allowances = [f"allowance_{key}_cm" for key in suggested_allowances()]
    about = ["visit_on", "sex", "age_years", *measured, *segments(), "knee_equation"]
    rest = [*loads, *allowances, "confirmed", "chart", "pattern"]
    return (*about, "condition", *rest, *_DECIDED)


def _text(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value).strip()


def day_of(text: str) -> date:
    """Read a date; one that could be two days is asked about.

    Examples
    --------
    >>> day_of("2026-03-14"), day_of("14/3/2026")
    (datetime.date(2026, 3, 14), datetime.date(2026, 3, 14))
    """
    with suppress(ValueError):
        return date.fromisoformat(text.strip())
    days = set()
    for one, two, year in re.findall(r"^\s*(\d\d?)[/.](\d\d?)[/.](\d{4})\s*$", text):
        for day, month in ((one, two), (two, one)):
            with suppress(ValueError):
                days.add(date(int(year), int(month), int(day)))
    if len(days) == 1:
        return days.pop()
    what = "the day could be the month" if days else "this is no date"
    raise SizingError(what, allowed="year-month-day, such as 2026-03-14", value=text)


def client_path(folder: str | Path, reference: str) -> Path:
    """Return the file of a client, whatever capitals its reference is written in."""
    name = reference.strip()
    if not _REFERENCE.fullmatch(name):
        raise SizingError(
            "this reference cannot be the name of a file",
            allowed="up to 60 letters, digits, spaces, points and hyphens",
            action="write a reference of your own, such as A-17; no name is needed",
            value=reference[:60],
        )
    wanted = f"{_FILE}{name}.csv"
    for path in _files(folder):
        if path.name.casefold() == wanted.casefold():
            return path
    return Path(folder) / wanted


def _files(folder: str | Path) -> list[Path]:
    try:
        return sorted(Path(folder).glob(f"{_FILE}*.csv"))
    except OSError as error:
        raise SizingError(str(error.strerror), file=str(folder)) from None


def _reference_of(path: Path) -> str:
    return path.stem.removeprefix(_FILE)


def read_visits(folder: str | Path, reference: str) -> list[Visit]:
    """Return a client's visits, the earliest first.

    Raises
    ------
    InputProblems
        Naming every cell that cannot be read; the file stays as it is.
    """
    path = client_path(folder, reference)
    if not path.exists():
        raise SizingError(
            f"no client is kept as '{reference}' in {folder}",
            allowed=", ".join(map(_reference_of, _files(folder))) or "none is kept yet",
        )
    visits = _read(path)
    for visit in visits:
        _judged(visit, path)
    return visits


def _judged(visit: Visit, path: Path) -> Client:
    """Return the client of a visit; what is wrong with it names its file and day."""
    try:
        return visit.client
    except InputProblems as error:
        day = f"visit of {visit.on.isoformat()}: "
        found = [
            replace(one, file=path.name, what=day + one.what) for one in error.problems
        ]
        raise InputProblems(found, about=f"'{path.name}'") from None


def _read(path: Path) -> list[Visit]:
    sheet = read_rows(path, known=lambda cell: str(cell) in _columns())
    heading = [str(cell or "").strip() for cell in sheet.heading]
    about = f"'{path.name}'"
    if "visit_on" not in heading or len(set(heading)) < len(heading):
        what = "this file holds no visits, or a heading twice: it was left as it is"
        allowed = f"one column each of {', '.join(_columns()[:3])}, ..."
        action = "move it out of the folder, or put its headings right"
        raise InputProblems([Problem(what, allowed, action, path.name, 1)], about=about)
    visits, problems = [], []
    for number, cells in enumerate(sheet.body, start=sheet.first + 1):
        row = dict(zip(heading, (str(c or "").strip() for c in cells), strict=True))
        if any(row.values()):
            try:
                visits.append(_visit(row))
            except InputProblems as error:
                problems += [
                    replace(one, file=path.name, row=number) for one in error.problems
                ]
    days = [visit.on for visit in visits]
    twice = {day for day in days if days.count(day) > 1}
    problems += [
        Problem(
            "two visits of one day",
            action="give one of them another day, or delete its row",
            file=path.name,
            column="visit_on",
            value=day.isoformat(),
        )
        for day in sorted(twice)
    ]
    if not (visits or problems):
        problems = [Problem("no visit is kept in it", file=path.name)]
    if problems:
        raise InputProblems(problems, about=about)
    return sorted(visits, key=lambda visit: visit.on)


def _visit(row: Mapping[str, str]) -> Visit:
    """Return one row as a visit, or every problem of it."""
    problems: list[Problem] = []

    def cell(name: str, read: Any) -> Any:
        try:
            return read(row[name]) if row.get(name) else None
        except SizingError as error:
            problems.append(
                Problem(str(error).split(". Allowed")[0], column=name, value=row[name])
            )
            return None

    def number(measure: str) -> Any:
        return lambda text: understood(text, measure)

    if not row["visit_on"]:
        problems.append(Problem("the day of the visit is missing", column="visit_on"))
    on = cell("visit_on", day_of) or date.min
    given = {name: cell(name, number(name)) for name in (*MEASURES, *segments())}
    entries = {"sex": row.get("sex"), "age_years": row.get("age_years"), **given}
    how = {m: row[f"{m}_how"] for m in MEASURES if row.get(f"{m}_how")}
    loads = {
        part: cell(_load_column(part), number("load_limit_kg"))
        for part in (*PARTS, "sling")
    }
    allowed = {
        key: cell(
            f"allowance_{key}_cm", lambda t: understood(t, "allowance_cm", signed=True)
        )
        for key in suggested_allowances()
    }
    conditions, wrong = condition_keys(row.get("condition", "").split(";"))
    dates = {name: cell(name, day_of) for name in ("examined_on", "review_on")}
    words: dict[str, Any] = {
        name: row.get(name, "") for name in _DECIDED if name not in dates
    }
    visit = Visit(
        on,
        {name: value for name, value in entries.items() if value not in (None, "")},
        how,
        conditions,
        {part: limit for part, limit in loads.items() if limit is not None},
        {key: cm for key, cm in allowed.items() if cm is not None},
        row.get("knee_equation") or KNEE_EQUATIONS[0],
        row.get("confirmed", "").lower() == _SAID[True],
        row.get("chart", ""),
        row.get("pattern", ""),
        Decision(**words, **dates),
        {name: text for name, text in row.items() if name not in _columns()},
    )
    problems += wrong
    if problems:
        raise InputProblems(problems)
    return visit


def keep_visit(
    folder: str | Path,
    reference: str,
    visit: Visit,
    *,
    instead_of: Visit | None = None,
) -> Path:
    """Keep one visit in the client's file, and return the file.

    Parameters
    ----------
    folder : str or Path
        Where clients are kept; made if it is not there.
    reference : str
        The adviser's own; no name.
    visit : Visit
    instead_of : Visit, optional
        The visit that this one changes, as it was opened.

    Raises
    ------
    SizingError
        If the file cannot be read, if a visit of that day is kept already, or if
        the one to be changed was changed by somebody else: nothing is written.
    """
    Path(folder).mkdir(mode=0o700, parents=True, exist_ok=True)
    path = client_path(folder, reference)
    with only_writer(Path(folder)):
        visits = _read(path) if path.exists() else []
        if instead_of is not None:
            if instead_of not in visits:
                raise SizingError(
                    "this visit was changed or deleted since it was opened",
                    action="open it again, then make your change",
                    file=path.name,
                )
            visits.remove(instead_of)
            visit = replace(visit, own=instead_of.own)
        if visit.on in [one.on for one in visits]:
            raise SizingError(
                f"a visit of {visit.on.isoformat()} is kept already",
                action="open that visit to change it, or write another day",
                file=path.name,
            )
        kept = sorted([*visits, visit], key=lambda one: one.on)
        rows = [{**one.row(), "reference": _reference_of(path)} for one in kept]
        own = list(dict.fromkeys(name for row in rows for name in row))
        heading = [*_columns(), *(name for name in own if name not in _columns())]
        whole = [[row.get(name, "") for name in heading] for row in rows]
        frame = pd.DataFrame(whole, columns=heading)
        return write_bytes(path, csv_bytes(frame))


def delete_client(folder: str | Path, reference: str) -> Path:
    """Delete a client's file for good, whatever is in it; return where it lay."""
    path = client_path(folder, reference)
    try:
        with only_writer(Path(folder)):
            path.unlink()
    except FileNotFoundError:
        read_visits(folder, reference)
    return path


def kept_clients(folder: str | Path, *, today: date | None = None) -> pd.DataFrame:
    """Return the clients kept, those due first.

    Returns
    -------
    DataFrame
        ``reference``, ``visits``, ``last_visit_on``, ``size``, ``due_on`` (the review,
        or of a child without one a year after the visit), ``due`` (in words),
        ``problem`` (why a file cannot be read, "" where it can), ``last`` (whether it
        is the one last worked on).
    """
    today = today or date.today()
    paths = _files(folder)
    newest = max(paths, key=lambda path: path.stat().st_mtime_ns, default=None)
    rows = []
    for path in paths:
        row: dict[str, Any] = dict.fromkeys(LISTED, "")
        row |= {"reference": _reference_of(path), "visits": 0, "last": path == newest}
        try:
            visits = _read(path)
        except SizingError as error:
            row["problem"] = str(error)
        else:
            last = visits[-1]
            due = last.decision.review_on
            years = str(last.entries.get("age_years", ""))
            age = float(years) if years.isdecimal() else GROWN
            if due is None and age < GROWN:
                due = last.on + _CHILD_AGAIN
            row |= {"visits": len(visits), "last_visit_on": last.on.isoformat()}
            row |= {"size": last.decision.size, "due": _due(due, today)}
            row |= {"due_on": due.isoformat() if due else ""}
        rows.append(row)
    table = pd.DataFrame(rows, columns=[*LISTED, "last"])
    # What is due first; what has no day comes after all that have one.
    order = table["due_on"].replace("", "9999")
    return table.assign(order=order).sort_values(
        ["order", "reference"], ignore_index=True
    )[table.columns]


def _due(due: date | None, today: date) -> str:
    if due is None:
        return "no review day"
    if due < today:
        return f"overdue since {due.isoformat()}"
    return f"due {due.isoformat()}" if due - today <= _SOON else "not yet due"
