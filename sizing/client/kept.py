"""Clients kept by a reference of the adviser's own: one CSV file each, a row a visit.

The files lie in one folder that the adviser owns and nothing is kept elsewhere. A
spreadsheet opens them; columns of the adviser's own stay as they are.
"""

import re
from contextlib import suppress
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.client.growth import GROWN
from sizing.client.loads_allowances import allowance_table, check_loads
from sizing.client.stature import KNEE_EQUATIONS
from sizing.client.visit import Visit, visit_columns, visit_from
from sizing.errors import InputProblems, Problem, SizingError, one_of
from sizing.files.folders import clear_leftovers, only_writer, write_bytes
from sizing.files.reading import read_rows
from sizing.files.writing import csv_bytes
from sizing.measures.typed import Quantity, quantity

#: The folder within that of the results, and what each file's name begins with.
FOLDER, _FILE = "clients", "client "
#: What is said wherever clients are kept.
HEALTH_RECORDS = (
    "Such notes are health records: keep them, share them and delete them by the "
    "rules of your service. Write no name."
)
_REFERENCE = re.compile(r"\w(?:[\w .\-]{0,58}\w)?")
#: A review this near is due soon, and a child is seen again after a year (common
#: practice, no source).
_SOON, _CHILD_AGAIN = timedelta(days=28), timedelta(days=365)
LISTED = ["reference", "visits", "last_visit_on", "size", "due_on", "due", "problem"]


def client_path(folder: str | Path, reference: str) -> Path:
    """Capitals do not count, unless files differ by them alone."""
    name = reference.strip()
    if not _REFERENCE.fullmatch(name):
        raise SizingError(
            "this reference cannot be the name of a file",
            allowed="up to 60 letters, digits, spaces, points and hyphens",
            action="write a reference of your own, such as A-17; no name is needed",
            value=reference[:60],
        )
    wanted = f"{_FILE}{name}.csv"
    same = [p for p in _files(folder) if p.name.casefold() == wanted.casefold()]
    return min(same, key=lambda p: p.name != wanted, default=Path(folder) / wanted)


def _files(folder: str | Path) -> list[Path]:
    try:
        return sorted(Path(folder).glob(f"{_FILE}*.csv"))
    except OSError as error:
        raise SizingError(str(error.strerror), file=str(folder)) from None


def _reference_of(path: Path) -> str:
    return path.stem.removeprefix(_FILE)


def read_visits(folder: str | Path, reference: str) -> list[Visit]:
    """The earliest first; ``InputProblems`` names every cell that cannot be read."""
    path = client_path(folder, reference)
    if not path.exists():
        raise SizingError(
            f"no client is kept as '{reference}' in {folder}",
            allowed=", ".join(map(_reference_of, _files(folder))) or "none is kept yet",
        )
    visits = _read(path)
    for visit in visits:
        _check(visit, path)
    return visits


def _check(visit: Visit, path: Path) -> None:
    try:
        one_of("knee_equation", visit.knee_equation, KNEE_EQUATIONS)
        allowance_table(visit.allowances)
        check_loads(visit.loads)
        _ = visit.client
    except SizingError as error:
        day = f"visit of {visit.on.isoformat()}: "
        alone = (Problem(str(error)),)
        problems = error.problems if isinstance(error, InputProblems) else alone
        found = [replace(one, file=path.name, what=day + one.what) for one in problems]
        raise InputProblems(found, about=f"'{path.name}'") from None


def _read(path: Path) -> list[Visit]:
    sheet = read_rows(path, known=lambda cell: str(cell) in visit_columns())
    heading = [str(cell or "").strip() for cell in sheet.heading]
    about = f"'{path.name}'"
    if "visit_on" not in heading or len(set(heading)) < len(heading):
        what = "this file holds no visits, or a heading twice: it was left as it is"
        allowed = f"one column each of {', '.join(visit_columns()[:3])}, ..."
        action = "move it out of the folder, or put its headings right"
        raise InputProblems([Problem(what, allowed, action, path.name, 1)], about=about)
    visits, problems = [], []
    for number, cells in enumerate(sheet.body, start=sheet.first + 1):
        row = dict(zip(heading, (str(c or "").strip() for c in cells), strict=True))
        if any(row.values()):
            try:
                visits.append(visit_from(row))
            except InputProblems as error:
                problems += [
                    replace(one, file=path.name, row=number) for one in error.problems
                ]
    days = [visit.on for visit in visits]
    twice = {day for day in days if days.count(day) > 1}
    what, do = (
        "two visits of one day",
        "give one of them another day, or delete its row",
    )
    problems += [
        Problem(what, "", do, path.name, None, "visit_on", day.isoformat())
        for day in sorted(twice)
    ]
    if not (visits or problems):
        problems = [Problem("no visit is kept in it", file=path.name)]
    if problems:
        raise InputProblems(problems, about=about)
    return sorted(visits, key=lambda visit: visit.on)


def keep_visit(
    folder: str | Path, reference: str, visit: Visit, *, instead_of: Visit | None = None
) -> Path:
    """Keep one visit in the client's file, and return the file.

    ``folder`` is made if it is not there; ``reference`` is the adviser's own, no name;
    ``instead_of`` is the visit that this one changes, as it was opened. Nothing is
    written (``SizingError``) if the file cannot be read, if a visit of that day is kept
    already, or if somebody else changed the one to be changed.
    """
    # Where the folder cannot be made, locking it says why.
    with suppress(OSError):
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
        named = (name for row in rows for name in row)
        heading = list(dict.fromkeys([*visit_columns(), *named]))
        whole = [[row.get(name, "") for name in heading] for row in rows]
        frame = pd.DataFrame(whole, columns=heading)
        return write_bytes(path, csv_bytes(frame))


def delete_client(folder: str | Path, reference: str) -> Path:
    """Delete a client's file for good, whatever is in it; return where it lay."""
    path = client_path(folder, reference)
    try:
        with only_writer(Path(folder)):
            # What a writer that was stopped left holds the visits, too.
            clear_leftovers(Path(folder))
            path.unlink()
    except FileNotFoundError:
        read_visits(folder, reference)
    except OSError as error:
        raise SizingError(
            f"the file cannot be deleted: {error.strerror}",
            action="close it where it is open, or delete it by hand",
            file=str(path),
        ) from None
    return path


def kept_clients(folder: str | Path, *, today: date | None = None) -> pd.DataFrame:
    """Those due first; of a child without a review ``due_on`` is a year after the
    visit.

    ``reference``, ``visits``, ``last_visit_on``, ``size``, ``due_on``, ``due`` (in
    words), ``problem`` (why a file cannot be read, or ""), ``last`` (the one last
    worked on).
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
            years = quantity(str(last.entries.get("age_years", "")), "years")
            age = years.standard if isinstance(years, Quantity) else GROWN
            if due is None and age < GROWN:
                due = last.on + _CHILD_AGAIN
            row |= {"visits": len(visits), "last_visit_on": last.on.isoformat()}
            row |= {"size": last.decision.size, "due": _due(due, today)}
            row |= {"due_on": due.isoformat() if due else ""}
        rows.append(row)
    table = pd.DataFrame(rows, columns=[*LISTED, "last"])
    # What is due first; what has no day comes after all that have one.
    order = table.assign(due_on=table["due_on"].replace("", "9999"))
    order = order.sort_values(["due_on", "reference"])
    return table.loc[order.index].reset_index(drop=True)


def _due(due: date | None, today: date) -> str:
    if due is None:
        return "no review day"
    if due < today:
        return f"overdue since {due.isoformat()}"
    return f"due {due.isoformat()}" if due - today <= _SOON else "not yet due"
