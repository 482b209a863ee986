"""The notebook's form for the handling plan's note: the kit proposes, she decides."""

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path

import ipywidgets as w

from sizing.app.form_words import framed, paragraphs, status, wrong_lines
from sizing.app.units import UnitSwitch
from sizing.charts import SizeChart
from sizing.client import ClientAnswer
from sizing.client.visit import Decision
from sizing.errors import SizingError
from sizing.files.writing import write_bytes
from sizing.measures.written import written
from sizing.pages.client_note import NOTE_ENDINGS, HandlingNote, client_note

#: What she may write, and how each field is called.
_TEXTS = {
    "reason": "Why this size",
    "hoist": "Which hoist (type, number)",
    "spreader_bar": "Which spreader bar",
    "sling": "Which sling (pattern, number)",
    "carers": "Carers needed",
    "shoulders": "Attachment at the shoulders",
    "legs": "Attachment at the legs",
    "positions_reason": "Why these positions",
    "trial": "Outcome of the trial",
    "reference": "Your reference (no name)",
    "remarks": "Remarks",
}
_DATES = {
    "on": "Day of the visit",
    "examined_on": "Equipment examined on",
    "review_on": "Review on",
}


class NoteForm:
    """What she decided, and the note that comes of it; kept in memory only.

    ``note`` is the note as last shown, or None.
    """

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
            for named, kind in ((_TEXTS, w.Text), (_DATES, w.DatePicker))
        )
        self.write = w.Button(
            description="Show the note", layout=w.Layout(width="auto")
        )
        self.path = w.Text(
            description="Save the note as", placeholder="note.html, note.docx"
        )
        self.save = w.Button(description="Save the note", layout=w.Layout(width="auto"))
        self.out = w.HTML()
        self.write.on_click(lambda _: self.show())
        self.save.on_click(lambda _: self.save_as())
        buttons = w.Box(
            [self.write, self.path, self.save],
            layout=w.Layout(flex_flow="row wrap", align_items="center"),
        )
        # Her reference and the day stand where clients are kept.
        named = {**self.texts, **self.dates}
        fields = [box for name, box in named.items() if name not in ("reference", "on")]
        self.view = w.VBox([self.size, *fields, buttons, self.out])

    def use_chart(self, chart: SizeChart) -> None:
        """Offer this chart's sizes; what was chosen stays if it is still there."""
        chosen = self.size.value
        self.size.options = ["", *chart.sizes]
        self.size.value = chosen if chosen in chart.sizes else ""

    def forget(self) -> None:
        """Take the note back: what it rests on has changed."""
        self.note = None
        self.out.value = ""

    def fill(self, decision: Decision) -> None:
        """Put what was decided into the fields; the file's name and the day stay."""
        self.forget()
        self.size.value = decision.size if decision.size in self.size.options else ""
        for name, box in {**self.texts, **self.dates}.items():
            if name not in ("reference", "on"):
                box.value = getattr(decision, name)

    def clear(self) -> None:
        """Empty the form for the next client."""
        self.fill(Decision())
        self.path.value = ""

    def decision(self) -> Decision:
        """Return what was decided."""
        boxes = {**self.texts, **self.dates}
        told = {name: box.value for name, box in boxes.items() if name != "on"}
        return Decision(size=self.size.value or "", **told)

    def make(self) -> HandlingNote:
        """Return the note for the answer of the moment."""
        answer = self._answer()
        if answer is None:
            raise SizingError("Check the client first.")
        say = partial(written, units=self._switch.units)
        note = client_note(answer, self.decision(), on=self.dates["on"].value, say=say)
        known = {one.measure for one in answer.client.readings}
        return note.for_pattern(self.pattern(), known)

    def show(self) -> None:
        """Show the note under the form."""
        try:
            self.note = self.make()
        except SizingError as error:
            self._tell(error)
            return
        self.out.value = framed(self.note.html(), title="The note, as it prints")

    def save_as(self) -> None:
        """Save the note where the user says; nowhere else and not before."""
        try:
            path = save_text(self.path.value, self.make())
        except SizingError as error:
            self._tell(error)
            return
        self.out.value = status(paragraphs([f"Saved: {path}"]))

    def _tell(self, error: SizingError) -> None:
        lines = wrong_lines(error, units=self._switch.units)
        self.out.value = status(paragraphs(lines))


def save_text(name: str, note: HandlingNote) -> str:
    """Write the note as the ending of its file name says."""
    path = Path(name.strip())
    if path.suffix not in NOTE_ENDINGS:
        raise SizingError("Name the file so that it ends in .html, .md or .docx.")
    # os.path says no, where Path stumbles, of names that no file can have.
    if not os.path.isdir(path.parent):
        raise SizingError(f"There is no folder '{path.parent}': make it first.")
    try:
        return str(write_bytes(path, note.as_file(path.suffix), fresh=True))
    except FileExistsError:
        raise SizingError(
            f"There is a file '{path}' already: choose another name."
        ) from None
