"""The part of a form that says whom a chart is for: named people, or one's own."""

import hashlib
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import ipywidgets as w
import pandas as pd

from sizing.app import fields
from sizing.app.answer_form import LongWork, Progress
from sizing.app.form_words import bullets, file_headings, name_words, paragraphs
from sizing.app.table import EditableTable
from sizing.errors import (
    InputProblems,
    Problem,
    SizingError,
    SizingWarning,
    caught_warnings,
)
from sizing.files.writing import csv_bytes, write_bytes
from sizing.measures.tables import CASELOAD, MARGINS
from sizing.people import (
    People,
    load_people,
    population_titles,
    read_caseload,
    read_margins,
    reweight,
)
from sizing.resources import texts

#: The choice that stands for clients of one's own.
OWN = "own"
_CLIENTS = (
    "sex",
    "age_years",
    "body_mass_kg",
    "stature_cm",
    "shoulder_height_sitting_cm",
    "buttock_popliteal_length_cm",
    "hip_circumference_cm",
)
_ROWS = 3
_T = texts("people_form")


class Clients:
    """Clients of one's own: a table to type them into, or a file."""

    def __init__(self, switch: fields.UnitSwitch, upload: fields.UploadBox) -> None:
        self.table = EditableTable(
            pd.DataFrame([dict.fromkeys(_CLIENTS)] * _ROWS),
            switch=switch,
            can_add=True,
            caption="My clients",
            headings=lambda name: name_words(name).capitalize(),
            choices={"sex": ["female", "male"]},
        )
        self._upload = upload
        units = {"_kg": ", kg", "_cm": ", cm"}
        said = {n: name_words(n).capitalize() + units.get(n[-3:], "") for n in _CLIENTS}
        headings = file_headings([(words, name) for name, words in said.items()])
        self.words = w.HTML(paragraphs([_T.caseload_help]) + headings)

    def read(self, reader: Callable[[Path], People] = read_caseload) -> People:
        """Read a typed table as a file would be read, through the same gate."""
        if self._upload.names:
            uploaded: People = self._upload.read(reader)
            return uploaded
        if self.table.frame.empty:
            raise SizingError(_T.no_clients)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "my caseload.csv"
            try:
                return reader(write_bytes(path, csv_bytes(self.table.frame)))
            except InputProblems as error:
                # She sees a table and no file: its rows count from 1.
                typed = [replace(one, file=None) for one in error.problems]
                raise InputProblems(typed, about="my caseload") from None


def shares_table() -> EditableTable:
    return EditableTable(
        pd.DataFrame({"group": [None] * _ROWS, "percent": None}),
        caption="Of the people I serve",
        headings={"group": "Group", "percent": "Percent"},
        choices={"group": list(_T.groups)},
        can_add=True,
    )


def typed_shares(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the margins that typed percentages of groups stand for."""
    if frame.empty:
        raise SizingError(_T.no_shares)
    shares = pd.to_numeric(frame["percent"], errors="coerce") / 100
    sound = frame["group"].isin(list(_T.groups)) & (shares > 0) & (shares < 1)
    problems = [
        Problem.of(_T.share_problem, None, row + 2, None, str(percent))
        for row, percent in enumerate(frame["percent"])
        if not sound.iloc[row]
    ]
    if problems:
        raise InputProblems(problems, about="the shares")
    asked = zip(frame["group"], shares, strict=True)
    return pd.DataFrame(
        [{"statistic": "share", "target": of, **_T.groups[g]} for g, of in asked]
    )


class PeopleForm(fields.Heard):
    """Nothing is loaded before it is asked for; a table is made when it is opened."""

    def __init__(
        self, switch: fields.UnitSwitch, start: str = "adults", *, draws: int = 5
    ) -> None:
        super().__init__()
        self._switch, self._draws = switch, draws
        # One population at a time: all of them would fill the memory.
        self._found: tuple[str, People | SizingError] | None = None
        self._ready: list[Callable[[], object]] = []
        self._version = self._asked = 0
        self.getting = self._stopped = False
        self.clients: Clients | None = None
        self.shares: EditableTable | None = None
        self.name = fields.people_choice(start)
        self.name.options = [*self.name.options, (_T.own, OWN)]
        self.name.value, self.name.description = start, _T.serve
        self.upload = fields.UploadBox("My caseload", table=CASELOAD)
        self.margins = fields.UploadBox("My shares", table=MARGINS)
        self.weighted = fields.tick(_T.weight)
        self.told = fields.Told(switch)
        self.work = LongWork(
            _T.again, self._read, self._done, stopped=self._ended, failed=self._failed
        )
        # Work begins by itself; a button of the form's own begins it after Stop.
        fields.show_if(False, self.work.button)
        self.work.stop_button.on_click(lambda _: self._stop())
        self.again = fields.button(
            _T.again, self._changed, width="auto", display="none"
        )
        self._clients, self._shares = w.VBox(), w.VBox()
        parts = [self.name, self._clients, self.weighted, self._shares]
        self.view = w.VBox([*parts, self.work.view, self.again, self.told])
        fields.on_change(self._opened, self.name, self.weighted)
        fields.on_change(self._changed, self.upload, self.margins)
        self._opened()

    @property
    def key(self) -> str:
        parts = [str(self.name.value)]
        if self.clients is not None and self.name.value == OWN:
            parts += [self.upload.key, self.clients.table.frame.to_json()]
        if self.shares is not None and self.weighted.value:
            parts += [self.margins.key, self.shares.frame.to_json()]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()

    def people(self) -> People:
        """Return the people chosen; get them ready first where they are not."""
        if not self.ready:
            if self.getting or self._stopped:
                raise SizingError(self.words)
            key = self.key
            self._keep(key, *self._read(lambda words, share: None))
        if self._found is None:
            raise SizingError(self.words)
        if isinstance(self._found[1], SizingError):
            raise self._found[1]
        return self._found[1]

    @property
    def ready(self) -> bool:
        """Whether the people chosen are there, or what is wrong with them."""
        return self._found is not None and self._found[0] == self.key

    @property
    def words(self) -> str:
        return str(_T.stopped if self._stopped else _T.waiting)

    def begin(self) -> None:
        """Get the people ready beside the page; ``on_ready`` tells when it ends.

        Without a running loop, as in a test, it is done at once. A choice made
        while it goes on takes its place; after Stop it waits for one.
        """
        if self._stopped:
            return
        if self.getting:
            if self._asked != self._version:
                self.work.stop()
            return
        self.getting, self._asked = True, self._version
        # The work before may have told its end and not quite be gone.
        self.work.wait()
        self.work.begin()

    def on_ready(self, what: Callable[[], object]) -> None:
        """Call ``what`` whenever getting people ready has ended, however it did."""
        self._ready.append(what)

    def _done(self, read: tuple[People | SizingError, list[str]]) -> None:
        # What was changed meanwhile makes these people those of nobody.
        if self._asked == self._version:
            self._keep(self.key, *read)
        self._ended()

    def _failed(self) -> None:
        """Begin nothing by itself after a fault of the kit's own: it comes back."""
        words = self.work.told.value
        self._stop()
        self._ended()
        self.work.told.value = words

    def _ended(self) -> None:
        """Tell that the work is over; who listens begins it anew if need be."""
        self.getting = False
        self.work.told.value = ""
        for listener in self._ready:
            listener()

    def _keep(self, key: str, found: People | SizingError, told: list[str]) -> None:
        self._found = key, found
        self.told.value = bullets(told) if told else ""

    def _stop(self) -> None:
        if self.getting:
            self._stopped = True
            fields.show_if(True, self.again)

    def _read(self, progress: Progress) -> tuple[People | SizingError, list[str]]:
        """Return the people or what is wrong with them, and what was warned of."""
        with caught_warnings() as caught:
            try:
                people: People | SizingError = self._made(progress)
            except SizingError as error:
                people = error
        kept = [one for one in caught if issubclass(one.category, SizingWarning)]
        return people, [str(one.message) for one in kept]

    def _made(self, progress: Progress) -> People:
        progress(_T.drawing, 0.1)
        if self.clients is not None and self.name.value == OWN:
            people = self.clients.read(lambda p: read_caseload(p, draws=self._draws))
        else:
            name = str(self.name.value)
            people = load_people(name, draws=self._draws)
            people = replace(people, name=population_titles()[name])
        if self.shares is None or not self.weighted.value:
            return people
        progress(_T.weighting, 0.7)
        if self.margins.names:
            return reweight(people, self.margins.read(read_margins))
        return reweight(people, typed_shares(self.shares.frame))

    def _opened(self) -> None:
        """Show the tables that are needed; make them when they first are."""
        own, weighted = self.name.value == OWN, bool(self.weighted.value)
        if own and self.clients is None:
            self.clients = Clients(self._switch, self.upload)
            table = self.clients.table
            table.on_change(self._changed)
            self._clients.children = self.clients.words, table.view, self.upload.view
        if weighted and self.shares is None:
            self.shares = shares_table()
            self.shares.on_change(self._changed)
            headings = file_headings(_T.shares_headings)
            words = w.HTML(paragraphs([_T.shares_help]) + headings)
            self._shares.children = words, self.shares.view, self.margins.view
        fields.show_if(own, self._clients)
        fields.show_if(weighted, self._shares)
        self._changed()

    def _changed(self) -> None:
        self._version += 1
        self._stopped = False
        fields.show_if(False, self.again)
        self.told.value = ""
        self.tell()
