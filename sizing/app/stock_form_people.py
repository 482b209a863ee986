"""The parts of the purchaser's form on whom the stock serves, and how it is used."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.form_words import bullets, paragraphs, wrong_lines
from sizing.app.people_tables import (
    CASELOAD_HELP,
    as_file,
    caseload_headings,
    clients_table,
    typed_clients,
)
from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.app.upload import UploadBox
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures.tables import CASELOAD
from sizing.people import POPULATIONS, People, population_titles, read_caseload
from sizing.stock import Served, Use, demo_scenario, serves_from

_GROUPS = {
    "name": "Called",
    "people": "People like",
    "count": "How many on one day",
    "number": "Their number",
    "admissions": "Admitted over the period",
}
_NUMBERS = {"fixed": "is the same each day", "poisson": "varies by chance"}
#: What the list calls people, so that a cell holds it; the answer says it in full.
_SHORT = {
    "everyone": "everyone, 2 and over",
    "children": "children, 2 to 17",
    "adults": "adults, 18 and over",
    "walking_difficulty": "adults, walking difficulty",
    "wheelchair_users": "adults, as wheelchair users",
    # What older saved answers hold: it is answered with the two there are.
    "care_home": "care-home residents",
    "care_home_us": "care-home residents (US)",
    "care_home_nordic": "care-home residents (Nordic)",
    "bariatric": "adults of BMI 40 or more",
    "england_adults": "adults in England",
}
_GROUPS_HELP = (
    "One row per group. People are drawn from surveys, so as to be like yours. "
    "A number that varies by chance, as in an equipment library, is right on average. "
    "Admissions count only where slings are not passed on."
)
_WIDE = w.Layout(width="auto")
_POOL = "shared"


class _Part:
    """A part of the form: it says what is wrong with it, until something changes."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self._switch, self._listener = switch, changed
        self.told = w.HTML()

    def tell(self, error: SizingError) -> None:
        """Say what is wrong."""
        self.told.value = bullets(wrong_lines(error, units=self._switch.units))

    def _changed(self) -> None:
        self.told.value = ""
        self._listener()


class PeopleFields(_Part):
    """Groups in a table, and if wanted a caseload, from a file or typed in."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        super().__init__(switch, changed)
        self._titles = population_titles() | _SHORT
        start = demo_scenario()[0]
        start["people"] = start["people"].map(self._titles)
        start["number"] = _NUMBERS["fixed"]
        self.groups = EditableTable(
            start[list(_GROUPS)],
            caption="The groups of people",
            headings=_GROUPS,
            choices={
                "people": [self._titles[name] for name in POPULATIONS],
                "number": [*_NUMBERS.values()],
            },
            can_add=True,
        )
        words = "I also serve clients I have measured (a caseload)"
        self.own = w.Checkbox(description=words, indent=False, layout=_WIDE)
        self.upload = UploadBox("My caseload", table=CASELOAD)
        self.coming = _number("Admissions to my caseload over the period", 0)
        self.clients: EditableTable | None = None
        self._caseload = w.VBox(layout=w.Layout(display="none"))
        about = w.HTML(paragraphs([_GROUPS_HELP]))
        self.view = w.VBox(
            [about, self.groups.view, self.own, self._caseload, self.told]
        )
        self.own.observe(lambda _: self._open(), "value")
        self.coming.observe(lambda _: self._changed(), "value")
        self.groups.on_change(self._changed)
        self.upload.on_change(self._taken)

    def served(self) -> list[Served]:
        """Return the groups of people."""
        frame = self.groups.frame
        made = [] if frame.empty else [*serves_from(self._codes(frame))]
        if self.own.value:
            coming = self.coming.value
            made.append(Served(self._clients(), admissions=coming, name="my caseload"))
        if not made:
            raise SizingError("Say who the stock serves: fill in a group of people.")
        return made

    def _codes(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the table with the populations' own names."""
        needed = {
            "people": ("nobody is chosen", "one of the list"),
            "count": ("the number of people is missing", "0 or more, whole"),
        }
        problems = [
            Problem(what, allowed, "fill it in", None, row, _GROUPS[column])
            for row, record in enumerate(frame.to_dict("records"), start=2)
            for column, (what, allowed) in needed.items()
            if pd.isna(record[column])
        ]
        if problems:
            raise InputProblems(problems, about="the groups of people")
        titles = {"people": self._titles, "number": _NUMBERS}
        names = {
            column: {title: name for name, title in own.items()}
            for column, own in titles.items()
        }
        return frame.assign(**{c: frame[c].map(own) for c, own in names.items()})

    def _clients(self) -> People:
        people: People = (
            self.upload.read(read_caseload)
            if self.upload.names
            else as_file(typed_clients(self.clients), read_caseload, "my caseload")
        )
        return people

    def _taken(self) -> None:
        """Read the file at once, so that what is wrong is said beside it."""
        self._changed()
        if self.upload.names:
            try:
                self._clients()
            except SizingError as error:
                self.tell(error)

    def _open(self) -> None:
        if self.clients is None:
            self.clients = clients_table(self._switch)
            self.clients.on_change(self._changed)
            about = w.HTML(paragraphs([CASELOAD_HELP]) + caseload_headings())
            entries = self.upload.view, self.clients.view, self.coming
            self._caseload.children = (about, *entries)
        self._caseload.layout.display = None if self.own.value else "none"
        self._changed()


class UseFields(_Part):
    """How slings are used, and what is planned for."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        super().__init__(switch, changed)
        self.sharing = w.Dropdown(
            options=[
                ("each client's own", "personal"),
                ("shared, from a pool", _POOL),
            ],
            description="Slings are",
        )
        words = "A sling goes to another client when its own leaves"
        self.passed_on = w.Checkbox(
            value=True, description=words, indent=False, layout=_WIDE
        )
        self.at_once = _number("Clients in 100 who need one at once", 100, 1, 100)
        self.at_most = _number("Most clients lifted at once (0: no limit)", 0)
        self.each = _number("Slings for each client at a time", 1, 1, 10)
        self.laundry = _number("Days out of 7 in the laundry", 0, 0, 6)
        self.repair = _number("Days out of 365 in inspection or repair", 0, 0, 180)
        self.spares = _number("Spares kept back of each size", 0, 0, 20)
        self.goal = w.Dropdown(
            options=[("a target, at least cost", "target"), ("a budget", "budget")],
            description="Plan for",
        )
        self.target = _number("Days in 100 on which nobody may wait", 95, 50, 99)
        self.budget = _number("Money there is", 8000, 0, 100_000_000)
        uses = [self.sharing, self.passed_on, self.at_once, self.at_most, self.each]
        uses += [self.laundry, self.repair, self.spares]
        goals = [self.goal, self.target, self.budget]
        self.view = w.VBox([*uses, self.told])
        self.goal_view = w.VBox(goals)
        for box in (*uses, *goals):
            box.observe(lambda _: self._changed(), "value")
        self._show()

    def use(self) -> Use:
        """Return how slings are used."""
        pool = self.sharing.value == _POOL
        out = {
            "laundry": (self.laundry.value, 7),
            "inspection or repair": (self.repair.value, 365),
        }
        return Use(
            sharing=self.sharing.value,
            each=self.each.value,
            at_once=self.at_once.value / 100 if pool else 1.0,
            at_most=(self.at_most.value or None) if pool else None,
            out={reason: rate for reason, rate in out.items() if rate[0] > 0},
            spares=self.spares.value,
            passed_on=pool or self.passed_on.value,
        )

    def aim(self) -> dict[str, Any]:
        """Return the goal as ``plan_stock`` takes it."""
        if self.goal.value == "target":
            return {"target": self.target.value / 100}
        return {"budget": float(self.budget.value)}

    def _changed(self) -> None:
        self._show()
        super()._changed()

    def _show(self) -> None:
        """Show what the choices ask for, and nothing else."""
        pool = self.sharing.value == _POOL
        by_target = self.goal.value == "target"
        for box, shown in (
            (self.passed_on, not pool),
            (self.at_once, pool),
            (self.at_most, pool),
            (self.target, by_target),
            (self.budget, not by_target),
        ):
            box.layout.display = None if shown else "none"


def _number(words: str, value: int, least: int = 0, most: int = 5000) -> Any:
    return w.BoundedIntText(value=value, min=least, max=most, description=words)
