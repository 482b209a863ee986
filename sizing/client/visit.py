"""One visit of a client: what was entered and decided, and its row in a file."""

import re
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from datetime import date
from functools import cache, partial
from typing import Any

from sizing.client.client import Client, client_from
from sizing.client.conditions import condition_keys
from sizing.client.how import ESTIMATED
from sizing.client.loads_allowances import PARTS, suggested_allowances
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
        told: dict[str, Any] = {"visit_on": self.on, **self.entries}
        told |= {f"{name}_how": way for name, way in self.how.items()}
        told |= {_load(part): limit for part, limit in self.loads.items()}
        told |= {_allowance(key): length for key, length in self.allowances.items()}
        told |= {"condition": "; ".join(self.conditions)}
        told |= {"confirmed": "yes" if self.confirmed else "", "chart": self.chart}
        told |= {"pattern": self.pattern, "knee_equation": self.knee_equation}
        told |= {name: getattr(self.decision, name) for name in _DECIDED} | {**self.own}
        return {str(name): _text(value) for name, value in told.items()}


def visit_of(client: Client, on: date) -> Visit:
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
_LOADED = (*PARTS, "sling")


def _load(part: str) -> str:
    return f"{part.replace(' ', '_')}_load_limit_kg"


def _allowance(key: str) -> str:
    return f"allowance_{key}_cm"


@cache
def visit_columns() -> tuple[str, ...]:
    measured = [name for m in MEASURES for name in (m, f"{m}_how")]
    allowances = map(_allowance, suggested_allowances())
    about = ["visit_on", "sex", "age_years", *measured, *segments(), "knee_equation"]
    rest = [*map(_load, _LOADED), *allowances, "confirmed", "chart", "pattern"]
    return (*about, "condition", *rest, *_DECIDED)


@cache
def _readers() -> dict[str, Callable[[str], Any]]:
    found: dict[str, Callable[[str], Any]] = {
        name: partial(understood, measure=name) for name in (*MEASURES, *segments())
    }
    load = partial(understood, measure="load_limit_kg")
    allowance = partial(understood, measure="allowance_cm", signed=True)
    found |= dict.fromkeys(map(_load, _LOADED), load)
    found |= dict.fromkeys(map(_allowance, suggested_allowances()), allowance)
    return found | dict.fromkeys(("visit_on", "examined_on", "review_on"), day_of)


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
    if not row["visit_on"]:
        problems.append(Problem("the day of the visit is missing", column="visit_on"))
    cells: dict[str, Any] = {}
    for name in visit_columns():
        if text := row.get(name):
            try:
                cells[name] = _readers().get(name, str)(text)
            except SizingError as error:
                what = str(error).split(". Allowed")[0].split(" (found: ")[0]
                problems.append(Problem(what, column=name, value=text))
    conditions, wrong = condition_keys(cells.get("condition", "").split(";"))
    if problems or wrong:
        raise InputProblems(problems + wrong)

    def told(
        names: Iterable[str], column: Callable[[str], str] = str
    ) -> dict[str, Any]:
        return {name: cells[column(name)] for name in names if column(name) in cells}

    return Visit(
        cells["visit_on"],
        told(("sex", "age_years", *MEASURES, *segments())),
        told(MEASURES, "{}_how".format),
        conditions,
        told(_LOADED, _load),
        told(suggested_allowances(), _allowance),
        confirmed=cells.get("confirmed", "").lower() == "yes",
        decision=Decision(**told(_DECIDED)),
        own={name: text for name, text in row.items() if name not in visit_columns()},
        **told(("knee_equation", "chart", "pattern")),
    )
