"""The part of a form that says whom a chart is for: named people, or one's own."""

import asyncio
import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import ipywidgets as w

from sizing.app.answer_form import LongWork, Progress
from sizing.app.entry import UnitSwitch, UploadBox
from sizing.app.form_words import bullets, file_headings, paragraphs, wrong_lines
from sizing.app.people_tables import (
    CASELOAD_HELP,
    SHARES_HEADINGS,
    SHARES_HELP,
    as_file,
    caseload_headings,
    clients_table,
    shares_table,
    typed_clients,
    typed_shares,
)
from sizing.app.table import EditableTable
from sizing.errors import SizingError, SizingWarning, caught_warnings
from sizing.measures.tables import CASELOAD, MARGINS
from sizing.people import (
    load_people,
    population_titles,
    read_caseload,
    read_margins,
    reweight,
)
from sizing.people.people import People
from sizing.resources import texts

#: The choice that stands for clients of one's own.
OWN = "own"
_T = texts("people_form")


class PeopleForm:
    """Nothing is loaded before it is asked for; a table is made when it is opened."""

    def __init__(
        self, switch: UnitSwitch, start: str = "adults", *, draws: int = 5
    ) -> None:
        self._switch, self._draws = switch, draws
        self._listeners: list[Callable[[], object]] = []
        # One population at a time: all of them would fill the memory.
        self._found: tuple[str, People | SizingError] | None = None
        self._ready: list[Callable[[], object]] = []
        self._version = self._asked = 0
        self.getting = self._stopped = False
        self.clients: EditableTable | None = None
        self.shares: EditableTable | None = None
        titles = [(title, name) for name, title in population_titles().items()]
        self.name = w.Dropdown(
            options=[*titles, (_T.own, OWN)],
            value=start,
            description=_T.serve,
            layout=w.Layout(width="auto"),
        )
        self.upload = UploadBox("My caseload", table=CASELOAD)
        self.margins = UploadBox("My shares", table=MARGINS)
        self.weighted = w.Checkbox(
            description=_T.weight, indent=False, layout=w.Layout(width="auto")
        )
        self.told = w.HTML()
        self.work = LongWork(
            _T.again, self._read, self._done, stopped=self._ended, failed=self._failed
        )
        # Work begins by itself; a button of the form's own begins it after Stop.
        self.work.button.layout.display = "none"
        self.work.stop_button.on_click(lambda _: self._stop())
        self.again = w.Button(
            description=_T.again, layout=w.Layout(width="auto", display="none")
        )
        self.again.on_click(lambda _: self._changed())
        self._clients, self._shares = w.VBox(), w.VBox()
        self.view = w.VBox(
            [
                self.name,
                self._clients,
                self.weighted,
                self._shares,
                self.work.view,
                self.again,
                self.told,
            ]
        )
        for box in (self.name, self.weighted):
            box.observe(lambda _: self._opened(), "value")
        for upload in (self.upload, self.margins):
            upload.on_change(self._changed)
        self._opened()

    @property
    def key(self) -> str:
        parts = [str(self.name.value)]
        if self.name.value == OWN:
            parts += [self.upload.key, self._clients_text()]
        if self.weighted.value:
            parts += [self.margins.key, self._shares_text()]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()

    def people(self) -> People:
        """Return the people chosen; get them ready first where they are not."""
        if not self.ready:
            if self.getting or self._stopped:
                raise SizingError(self.words)
            key = self.key
            self._keep(key, *self._read(lambda words, share: None))
        found = self._found
        if found is None:
            raise SizingError(self.words)
        if isinstance(found[1], SizingError):
            raise found[1]
        return found[1]

    @property
    def ready(self) -> bool:
        """Whether the people chosen are there, or what is wrong with them."""
        return self._found is not None and self._found[0] == self.key

    def holds(self, people: People) -> bool:
        return self.ready and self._found is not None and self._found[1] is people

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
        try:
            asyncio.get_running_loop()
        except RuntimeError:
            self.work.run()
            return
        # The work before may have told its end and not quite be gone.
        self.work.wait()
        self.work.start()

    def on_change(self, what: Callable[[], object]) -> None:
        self._listeners.append(what)

    def on_ready(self, what: Callable[[], object]) -> None:
        """Call ``what`` whenever getting people ready has ended, however it did."""
        self._ready.append(what)

    def tell(self, error: SizingError) -> None:
        self.told.value = bullets(wrong_lines(error, units=self._switch.units))

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
            self.again.layout.display = None

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
        if self.name.value != OWN:
            name = str(self.name.value)
            people = load_people(name, draws=self._draws)
            people = replace(people, name=population_titles()[name])
        elif self.upload.names:
            people = self.upload.read(self._caseload)
        else:
            typed = typed_clients(self.clients)
            people = as_file(typed, self._caseload, "my caseload")
        if not self.weighted.value:
            return people
        progress(_T.weighting, 0.7)
        if self.margins.names:
            return reweight(people, self.margins.read(read_margins))
        return reweight(people, typed_shares(self.shares))

    def _caseload(self, path: Path) -> People:
        return read_caseload(path, draws=self._draws)

    def _clients_text(self) -> str:
        return "" if self.clients is None else self.clients.frame.to_json()

    def _shares_text(self) -> str:
        return "" if self.shares is None else self.shares.frame.to_json()

    def _opened(self) -> None:
        """Show the tables that are needed; make them when they first are."""
        own, weighted = self.name.value == OWN, bool(self.weighted.value)
        if own and self.clients is None:
            self.clients = clients_table(self._switch)
            self.clients.on_change(self._changed)
            words = w.HTML(paragraphs([CASELOAD_HELP]) + caseload_headings())
            self._clients.children = (words, self.clients.view, self.upload.view)
        if weighted and self.shares is None:
            self.shares = shares_table()
            self.shares.on_change(self._changed)
            words = w.HTML(paragraphs([SHARES_HELP]) + file_headings(SHARES_HEADINGS))
            self._shares.children = (words, self.shares.view, self.margins.view)
        self._clients.layout.display = None if own else "none"
        self._shares.layout.display = None if weighted else "none"
        self._changed()

    def _changed(self) -> None:
        self._version += 1
        self._stopped = False
        self.again.layout.display = "none"
        self.told.value = ""
        for listener in self._listeners:
            listener()
