"""The notebook's form for the handling plan's note: the kit proposes, she decides."""

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path

import ipywidgets as w

from sizing.app.entry import UnitSwitch
from sizing.app.fields import Told, button, row
from sizing.app.form_words import framed
from sizing.charts import SizeChart
from sizing.client import ClientAnswer
from sizing.client.visits import Decision
from sizing.errors import SizingError
from sizing.files.writing import write_bytes
from sizing.measures import written
from sizing.pages.client_note import NOTE_ENDINGS, HandlingNote, client_note
from sizing.resources import texts

_T = texts("client")


class NoteForm:
    """What she decided, and the note (as last shown, or None); in memory only."""

    def __init__(
        self, answer: Callable[[], ClientAnswer | None], switch: UnitSwitch
    ) -> None:
        self._answer, self._switch = answer, switch
        self.note: HandlingNote | None = None
        #: The pattern of sling that the page around this form names.
        self.pattern: Callable[[], str | None] = lambda: None
        self.size = w.Dropdown(options=[""], description="Size chosen")
        self.texts, self.dates = (
            {name: kind(description=words) for name, words in named.items()}
            for named, kind in ((_T.decided, w.Text), (_T.days, w.DatePicker))
        )
        # Her reference and the day stand where clients are kept.
        self._boxes = {**self.texts, **self.dates}
        for name in ("reference", "on"):
            del self._boxes[name]
        self.write = button("Show the note", self.show)
        self.path = w.Text(
            description="Save the note as", placeholder="note.html, note.docx"
        )
        self.save = button("Save the note", self.save_as)
        self.out = Told(switch)
        buttons = row(self.write, self.path, self.save)
        self.view = w.VBox([self.size, *self._boxes.values(), buttons, self.out])

    def use_chart(self, chart: SizeChart) -> None:
        chosen = self.size.value
        self.size.options = ["", *chart.sizes]
        self.size.value = chosen if chosen in chart.sizes else ""

    def forget(self) -> None:
        self.note = None
        self.out.value = ""

    def fill(self, decision: Decision) -> None:
        """Put what was decided into the fields; the file's name and the day stay."""
        self.forget()
        self.size.value = decision.size if decision.size in self.size.options else ""
        for name, box in self._boxes.items():
            box.value = getattr(decision, name)

    def clear(self) -> None:
        self.fill(Decision())
        self.path.value = ""

    def decision(self) -> Decision:
        told = {name: box.value for name, box in self._boxes.items()}
        reference = self.texts["reference"].value
        return Decision(size=self.size.value or "", reference=reference, **told)

    def make(self) -> HandlingNote:
        answer = self._answer()
        if answer is None:
            raise SizingError(_T.form["check_first"])
        say = partial(written, units=self._switch.units)
        note = client_note(answer, self.decision(), on=self.dates["on"].value, say=say)
        known = {one.measure for one in answer.client.readings}
        return note.for_pattern(self.pattern(), known)

    def show(self) -> None:
        with self.out.wrong_is_told():
            self.note = self.make()
            self.out.value = framed(self.note.html(), title="The note, as it prints")

    def save_as(self) -> None:
        """Save the note where the user says; nowhere else and not before."""
        with self.out.wrong_is_told():
            self.out.say(f"Saved: {save_text(self.path.value, self.make())}")


def save_text(name: str, note: HandlingNote) -> str:
    """Write the note as the ending of its file name says."""
    path = Path(name.strip())
    if path.suffix not in NOTE_ENDINGS:
        raise SizingError(_T.save["ending"])
    # os.path says no, where Path stumbles, of names that no file can have.
    if not os.path.isdir(path.parent):
        raise SizingError(_T.save["no_folder"].format(folder=path.parent))
    try:
        return str(write_bytes(path, note.as_file(path.suffix), fresh=True))
    except FileExistsError:
        raise SizingError(_T.save["already"].format(path=path)) from None
