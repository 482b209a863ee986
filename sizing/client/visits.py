"""Visits of clients by a reference of the adviser's own: one CSV file a client."""

import re
from collections import defaultdict
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from datetime import date, timedelta
from functools import cache, partial
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.client import outcomes
from sizing.client.client import GROWN, Client, client_from
from sizing.client.readings import ESTIMATED, KNEE_EQUATIONS, condition_keys, segments
from sizing.errors import InputProblems, Problem, SizingError, one_of
from sizing.files.folders import clear_leftovers, only_writer, write_bytes
from sizing.files.reading import read_rows
from sizing.files.writing import csv_bytes
from sizing.measures import MEASURES
from sizing.measures.typed import Quantity, quantity, understood
from sizing.resources import texts

_WRONG = texts("client").wrong
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


@dataclass(frozen=True)
class Decision:
    """What the assessor decided; everything may be left empty and filled by hand."""

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
    """What was entered, in cm and kg, as for ``client_from`` and ``check_client``."""

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
        return client_from(
            self.entries,
            how=self.how,
            knee_equation=self.knee_equation,
            confirmed=self.confirmed,
            conditions=self.conditions,
        )

    @property
    def besides(self) -> dict[str, Any]:
        """What ``check_client`` is given besides the client."""
        names = ("loads", "allowances", "confirmed")
        return {name: getattr(self, name) for name in names}

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
        told: dict[str, Any] = {
            **self.own,
            **{_load(part): x for part, x in self.loads.items()},
        }
        for name, (part, key, _) in _columns().items():
            of = getattr(self, part)
            of = vars(of) if part == "decision" else of
            told[name] = of.get(key) if isinstance(of, Mapping) else of
        return {name: _text(value) for name, value in told.items()}


def visit_of(client: Client, on: date) -> Visit:
    about = {"sex": client.sex, "age_years": client.age_years}
    taken = [one for one in client.readings if one.how != ESTIMATED]
    entries = about | {one.measure: one.value for one in taken} | {**client.segments}
    known = {name: value for name, value in entries.items() if value is not None}
    how = {one.measure: one.how for one in taken}
    return Visit(on, known, how, client.conditions)


_DECIDED = [one.name for one in fields(Decision)]


def _load(part: str) -> str:
    return f"{part.replace(' ', '_')}_load_limit_kg"


@cache
def _columns() -> dict[str, tuple[str, str, Callable[[str], Any]]]:
    """Return of each column the field of a visit, the key in it, and its reader."""
    load = partial(understood, measure="load_limit_kg")
    allowance = partial(understood, measure="allowance_cm", signed=True)
    found: dict[str, tuple[str, str, Callable[[str], Any]]] = {}
    found["visit_on"] = "on", "", day_of
    found |= {name: ("entries", name, str) for name in ("sex", "age_years")}
    for name in (*MEASURES, *segments()):
        found[name] = "entries", name, partial(understood, measure=name)
        if name in MEASURES:
            found[f"{name}_how"] = "how", name, str
    found["knee_equation"] = "knee_equation", "", str
    found["condition"] = "conditions", "", lambda text: text.split(";")
    found |= {_load(part): ("loads", part, load) for part in (*outcomes.PARTS, "sling")}
    for key in outcomes.suggested_allowances():
        found[f"allowance_{key}_cm"] = "allowances", key, allowance
    found["confirmed"] = "confirmed", "", lambda text: text.lower() == "yes"
    found |= {name: (name, "", str) for name in ("chart", "pattern")}
    for name in _DECIDED:
        found[name] = "decision", name, day_of if name.endswith("_on") else str
    return found


def _text(value: Any) -> str:
    if isinstance(value, tuple):
        return "; ".join(value)
    if value is None or value is False:
        return ""
    yes = "yes" if value is True else str(value).strip()
    return f"{value:.10g}" if isinstance(value, float) else yes


def day_of(text: str) -> date:
    """Read a date; one that could be two days is asked about."""
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
    raise SizingError.of(_WRONG["date"], text, what=what)


def _visit_from(row: Mapping[str, str]) -> Visit:
    """Return one row of a client's file as a visit; or raise every problem of it."""
    problems: list[Problem] = []
    if not row["visit_on"]:
        problems.append(Problem("the day of the visit is missing", column="visit_on"))
    parts: dict[str, dict[str, Any]] = defaultdict(dict)
    for name, (part, key, reader) in _columns().items():
        if text := row.get(name):
            try:
                parts[part][key] = reader(text)
            except SizingError as error:
                what = str(error).split(". Allowed")[0].split(" (found: ")[0]
                problems.append(Problem(what, column=name, value=text))
    known: dict[str, Any] = {part: of.get("", of) for part, of in parts.items()}
    known["conditions"], wrong = condition_keys(known.get("conditions"))
    if problems or wrong:
        raise InputProblems(problems + wrong)
    known["decision"] = Decision(**known.get("decision", {}))
    own = {name: text for name, text in row.items() if name not in _columns()}
    return Visit(**known, own=own)


# The files


def client_path(folder: str | Path, reference: str) -> Path:
    """Capitals do not count, unless files differ by them alone."""
    name = reference.strip()
    if not _REFERENCE.fullmatch(name):
        raise SizingError.of(_WRONG["reference"], reference[:60])
    wanted = f"{_FILE}{name}.csv"
    same = [p for p in _files(folder) if p.name.casefold() == wanted.casefold()]
    return min(same, key=lambda p: p.name != wanted, default=Path(folder) / wanted)


def _files(folder: str | Path) -> list[Path]:
    try:
        return sorted(Path(folder).glob(f"{_FILE}*.csv"))
    except OSError as error:
        raise SizingError(str(error.strerror), file=str(folder)) from None


def _of_file(kind: str, file: str, **given: object) -> SizingError:
    return SizingError(str(Problem.of(_WRONG[kind], file, **given)))


def _reference_of(path: Path) -> str:
    return path.stem.removeprefix(_FILE)


def read_visits(folder: str | Path, reference: str) -> list[Visit]:
    """The earliest first; ``InputProblems`` names every cell that cannot be read."""
    path = client_path(folder, reference)
    if not path.exists():
        kept = ", ".join(map(_reference_of, _files(folder))) or "none is kept yet"
        told = {"reference": reference, "folder": folder, "kept": kept}
        raise SizingError.of(_WRONG["not_kept"], **told)
    visits = _read(path)
    for visit in visits:
        try:
            one_of("knee_equation", visit.knee_equation, KNEE_EQUATIONS)
            outcomes.allowance_table(visit.allowances)
            outcomes.check_loads(visit.loads)
            _ = visit.client
        except SizingError as error:
            alone = (Problem(str(error)),)
            found = error.problems if isinstance(error, InputProblems) else alone
            day = f"visit of {visit.on.isoformat()}: "
            raise InputProblems(
                [replace(one, file=path.name, what=day + one.what) for one in found],
                about=f"'{path.name}'",
            ) from None
    return visits


def _read(path: Path) -> list[Visit]:
    sheet = read_rows(path, known=lambda cell: str(cell) in _columns())
    heading = [str(cell or "").strip() for cell in sheet.heading]
    about = f"'{path.name}'"
    if "visit_on" not in heading or len(set(heading)) < len(heading):
        columns = ", ".join([*_columns()][:3])
        wrong = Problem.of(_WRONG["no_visits"], path.name, 1, columns=columns)
        raise InputProblems([wrong], about=about)
    visits, problems = [], []
    for number, cells in enumerate(sheet.body, start=sheet.first + 1):
        row = dict(zip(heading, (str(c or "").strip() for c in cells), strict=True))
        if any(row.values()):
            try:
                visits.append(_visit_from(row))
            except InputProblems as error:
                problems += [
                    replace(one, file=path.name, row=number) for one in error.problems
                ]
    days = [visit.on for visit in visits]
    for day in sorted({day for day in days if days.count(day) > 1}):
        at = path.name, None, "visit_on", day.isoformat()
        problems.append(Problem.of(_WRONG["same_day"], *at))
    if not (visits or problems):
        problems = [Problem("no visit is kept in it", file=path.name)]
    if problems:
        raise InputProblems(problems, about=about)
    return sorted(visits, key=lambda visit: visit.on)


def keep_visit(
    folder: str | Path, reference: str, visit: Visit, *, instead_of: Visit | None = None
) -> Path:
    """Keep one visit in the client's file, instead of the one opened, if any was."""
    # Where the folder cannot be made, locking it says why.
    with suppress(OSError):
        Path(folder).mkdir(mode=0o700, parents=True, exist_ok=True)
    path = client_path(folder, reference)
    with only_writer(Path(folder)):
        visits = _read(path) if path.exists() else []
        if instead_of is not None:
            if instead_of not in visits:
                raise _of_file("changed", path.name)
            visits.remove(instead_of)
            visit = replace(visit, own=instead_of.own)
        if visit.on in [one.on for one in visits]:
            raise _of_file("kept_already", path.name, day=visit.on.isoformat())
        kept = sorted([*visits, visit], key=lambda one: one.on)
        rows = [{**one.row(), "reference": _reference_of(path)} for one in kept]
        frame = pd.DataFrame(rows).fillna("")
        heading = list(dict.fromkeys([*_columns(), *frame]))
        whole = frame.reindex(columns=heading, fill_value="")
        return write_bytes(path, csv_bytes(whole))


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
        raise _of_file("not_deleted", str(path), why=error.strerror) from None
    return path


def kept_clients(folder: str | Path, *, today: date | None = None) -> pd.DataFrame:
    """Return a row a client, those due first; a child is due a year after the visit."""
    today = today or date.today()
    paths = _files(folder)
    newest = max(paths, key=lambda path: path.stat().st_mtime_ns, default=None)
    rows = []
    for path in paths:
        row: dict[str, Any] = dict.fromkeys(LISTED, "")
        row |= {"reference": _reference_of(path), "visits": 0, "last": path == newest}
        rows.append(row)
        try:
            visits = _read(path)
        except SizingError as error:
            row["problem"] = str(error)
            continue
        last, due = visits[-1], visits[-1].decision.review_on
        years = quantity(str(last.entries.get("age_years", "")), "years")
        age = years.standard if isinstance(years, Quantity) else GROWN
        if due is None and age < GROWN:
            due = last.on + _CHILD_AGAIN
        row |= {"visits": len(visits), "last_visit_on": last.on.isoformat()}
        row |= {"size": last.decision.size, "due": _due(due, today)}
        row["due_on"] = due.isoformat() if due else ""
    # What is due first; what has no day comes after all that have one.
    rows.sort(key=lambda row: (row["due_on"] or "9999", row["reference"]))
    return pd.DataFrame(rows, columns=[*LISTED, "last"])


def _due(due: date | None, today: date) -> str:
    if due is None:
        return "no review day"
    if due < today:
        return f"overdue since {due.isoformat()}"
    return f"due {due.isoformat()}" if due - today <= _SOON else "not yet due"
