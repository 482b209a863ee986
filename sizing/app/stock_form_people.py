"""The part of the purchaser's form that says whom the stock serves."""

from collections.abc import Callable
from pathlib import Path

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
from sizing.stock import Served, demo_scenario, serves_from

_GROUPS = {
    "name": "Called",
    "people": "People like",
    "count": "How many on one day",
    "admissions": "Admitted over the period",
}
#: What the list calls people, so that a cell holds it; the answer says it in full.
_SHORT = {
    "everyone": "everyone, 2 and over",
    "children": "children, 2 to 17",
    "adults": "adults, 18 and over",
    "walking_difficulty": "adults, walking difficulty",
    "care_home": "care-home residents",
    "bariatric": "adults of BMI 40 or more",
    "england_adults": "adults in England",
}
_GROUPS_HELP = (
    "One row per group. People are drawn from surveys, so as to be like yours. "
    "Admissions count only where slings are not passed on."
)


class PeopleFields:
    """Groups in a table, and if wanted a caseload, from a file or typed in."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self._switch, self._told = switch, changed
        self._titles = {
            name: _SHORT.get(name, title) for name, title in population_titles().items()
        }
        start = demo_scenario()[0]
        start["people"] = start["people"].map(self._titles)
        self.groups = EditableTable(
            start[list(_GROUPS)],
            caption="The groups of people",
            headings=_GROUPS,
            choices={"people": [self._titles[name] for name in POPULATIONS]},
            can_add=True,
        )
        self.own = w.Checkbox(
            description="I also serve clients I have measured (a caseload)",
            indent=False,
            layout=w.Layout(width="auto"),
        )
        self.upload = UploadBox("My caseload", table=CASELOAD)
        self.coming = w.BoundedIntText(
            value=0, max=5000, description="Admissions to my caseload over the period"
        )
        self.clients: EditableTable | None = None
        self._caseload = w.VBox(layout=w.Layout(display="none"))
        self.told = w.HTML()
        self.view = w.VBox(
            [
                w.HTML(paragraphs([_GROUPS_HELP])),
                self.groups.view,
                self.own,
                self._caseload,
                self.told,
            ]
        )
        self.own.observe(lambda _: self._open(), "value")
        self.coming.observe(lambda _: self._changed(), "value")
        self.groups.on_change(self._changed)
        self.upload.on_change(self._taken)

    def served(self) -> list[Served]:
        """Return the groups of people."""
        frame = self.groups.frame
        made: list[Served] = []
        if not frame.empty:
            made += serves_from(self._codes(frame))
        if self.own.value:
            people = self._clients()
            made.append(
                Served(people, admissions=self.coming.value, name="my caseload")
            )
        if not made:
            raise SizingError("Say who the stock serves: fill in a group of people.")
        return made

    def tell(self, error: SizingError) -> None:
        """Say what is wrong with the people."""
        self.told.value = bullets(wrong_lines(error, units=self._switch.units))

    def _codes(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the table with the populations' own names."""
        names = {title: name for name, title in self._titles.items()}
        problems = [
            Problem(what, allowed, "fill it in", None, row, _GROUPS[column])
            for row, record in enumerate(frame.to_dict("records"), start=2)
            for column, what, allowed in (
                ("people", "nobody is chosen", "one of the list"),
                ("count", "the number of people is missing", "0 or more, whole"),
            )
            if pd.isna(record[column])
        ]
        if problems:
            raise InputProblems(problems, about="the groups of people")
        return frame.assign(people=frame["people"].map(names))

    def _clients(self) -> People:
        if self.upload.names:
            people: People = self.upload.read(read_caseload)
            return people
        read: People = as_file(typed_clients(self.clients), _read, "my caseload")
        return read

    def _taken(self) -> None:
        """Read the file at once, so that what is wrong is said beside it."""
        self._changed()
        if not self.upload.names:
            return
        try:
            self._clients()
        except SizingError as error:
            self.tell(error)

    def _open(self) -> None:
        if self.clients is None:
            self.clients = clients_table(self._switch)
            self.clients.on_change(self._changed)
            self._caseload.children = (
                w.HTML(paragraphs([CASELOAD_HELP]) + caseload_headings()),
                self.upload.view,
                self.clients.view,
                self.coming,
            )
        self._caseload.layout.display = None if self.own.value else "none"
        self._changed()

    def _changed(self) -> None:
        self.told.value = ""
        self._told()


def _read(path: Path) -> People:
    return read_caseload(path)
