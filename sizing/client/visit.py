"""One visit of a client: what was entered and decided, and its row in a file."""

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from datetime import date
from functools import cache
from typing import Any

from sizing.client.client import Client, client_from
from sizing.client.conditions import condition_keys
from sizing.client.how import ESTIMATED
from sizing.client.parts import PARTS, suggested_allowances
from sizing.client.stature import KNEE_EQUATIONS, segments
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import MEASURES
from sizing.measures.typed import understood


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
        told |= {"confirmed": "yes" if self.confirmed else "", "chart": self.chart}
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
def visit_columns() -> tuple[str, ...]:
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


def visit_from(row: Mapping[str, str]) -> Visit:
    """Return one row of a client's file as a visit; or raise every problem of it."""
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
        row.get("confirmed", "").lower() == "yes",
        row.get("chart", ""),
        row.get("pattern", ""),
        Decision(**words, **dates),
        {name: text for name, text in row.items() if name not in visit_columns()},
    )
    problems += wrong
    if problems:
        raise InputProblems(problems)
    return visit
