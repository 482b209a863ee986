"""What is written down of a client: the note for the handling plan, visits kept."""

import os
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from functools import partial
from pathlib import Path

import ipywidgets as w
from traitlets import TraitError

from sizing.app.fields import Told, UnitSwitch, button, folded, on_change, row, tick
from sizing.app.form_words import bullets, folded_html, framed, paragraphs, picture_html
from sizing.charts import SizeChart
from sizing.client import ClientAnswer, visits
from sizing.client.visits import Decision, Visit
from sizing.errors import SizingError
from sizing.files.writing import write_bytes
from sizing.measures import written
from sizing.pages.client_answer import visits_shown
from sizing.pages.client_note import NOTE_ENDINGS, HandlingNote, client_note
from sizing.resources import texts
from sizing.words.client import records
from sizing.words.client_notes import kept_words

_T = texts("client")
_NONE = ("none open", "")


class NoteForm:
    """What she decided, and the note (as last shown, or None); in memory only."""

    def __init__(
        self, answer: Callable[[], ClientAnswer | None], switch: UnitSwitch
    ) -> None:
        self._answer, self.switch = answer, switch
        self.note: HandlingNote | None = None
        #: The pattern of sling that the page around this form names.
        self.pattern: Callable[[], str | None] = lambda: None
        self.size = w.Dropdown(options=[""], description="Size chosen")
        self.texts, self.dates = (
            {name: kind(description=words) for name, words in named.items()}
            for named, kind in ((_T.decided, w.Text), (_T.days, w.DatePicker))
        )
        # Her reference and the day stand where clients are kept.
        boxes = {**self.texts, **self.dates}
        self.reference, self.day = (boxes.pop(name) for name in ("reference", "on"))
        self._boxes = boxes
        write = button("Show the note", self.show)
        save = button("Save the note", self.save_as)
        named = {"description": "Save the note as"}
        self.path = w.Text(placeholder="note.html, note.docx", **named)
        self.out = Told(switch)
        buttons = row(write, self.path, save)
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
        told |= {"size": self.size.value or "", "reference": self.reference.value}
        return Decision(**told)

    def make(self) -> HandlingNote:
        answer = self._answer()
        if answer is None:
            raise SizingError(_T.form["check_first"])
        say = partial(written, units=self.switch.units)
        on, pattern = self.day.value, self.pattern()
        return client_note(answer, self.decision(), on=on, pattern=pattern, say=say)

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


class KeptForm:
    """Clients kept in one folder: open, copy for the next visit, keep, delete."""

    def __init__(
        self,
        note: NoteForm,
        *,
        take: Callable[[], Visit],
        fill: Callable[[Visit], None],
        chart: Callable[[], SizeChart | None],
    ) -> None:
        self.folder, self._switch = Path(visits.FOLDER), note.switch
        self._take, self._fill, self._chart = take, fill, chart
        #: Chooses a chart by its name; says whether there is one.
        self.choose: Callable[[str], bool] = self._in_use
        self._visits: list[Visit] = []
        self._opened: Visit | None = None
        self.reference, self.day = note.reference, note.day
        self.which = w.Dropdown(options=[_NONE], description="Clients kept")
        self.visit = w.Dropdown(options=[_NONE], description="Visit")
        self.sure = tick(_T.kept["sure"])
        self.words, self.list, self.growth = Told(note.switch), w.HTML(), w.HTML()
        does = {
            "Open": self.open,
            "Copy for the next visit": self.copy,
            "Keep this visit": self.keep,
            "Delete": self.delete,
        }
        self.buttons = {
            words: button(words, partial(self._try, act)) for words, act in does.items()
        }
        opens, copies, keeps, deletes = self.buttons.values()
        fold = folded(
            "",
            row(self.which, self.visit, opens, copies),
            row(self.reference, self.day, keeps),
            self.growth,
            self.list,
            row(self.sure, deletes),
        )
        self.shown: w.ToggleButton = fold.children[0]
        # What was done is said where it is seen with all this hidden, too.
        self.view = w.VBox([fold, self.words])
        on_change(partial(self._try, self._days), self.which)
        note.switch.on_change(lambda _: self.follow())
        self._try(self._listed)
        self.shown.value = len(self.which.options) > 1

    def _listed(self) -> None:
        """List what is kept, what is due first; the last worked on is ready to open."""
        table = visits.kept_clients(self.folder)
        rows = records(table)
        late = sum(one["due"].startswith("overdue") for one in rows)
        place = {"folder": self.folder.resolve(), "records": visits.HEALTH_RECORDS}
        self.shown.description = _T.kept["head"].format(many=len(rows), late=late)
        said = bullets([kept_words(one) for one in rows])
        self.list.value = folded_html("The list, those due first", said) + paragraphs(
            [_T.kept["where"].format(**place)]
        )
        names = [one["reference"] for one in rows]
        short = [f"{one['reference']} ({one['due'] or 'not read'})" for one in rows]
        self.which.options = [_NONE, *zip(short, names, strict=True)]
        last = table.loc[table["last"], "reference"]
        chosen = self.reference.value or "".join(last)
        match = [name for name in names if name.casefold() == chosen.casefold()]
        self.which.value = min(match, key=lambda name: name != chosen, default="")

    def _days(self) -> None:
        self._visits = []
        self.visit.options = [_NONE]
        if self.which.value:
            self._visits = visits.read_visits(self.folder, self.which.value)[::-1]
            days = [one.on.isoformat() for one in self._visits]
            self.visit.options = list(zip(days, range(len(days)), strict=True))
        self.follow()

    def _chosen(self) -> Visit:
        """Return the visit chosen, from the file read anew: it may have changed."""
        chosen = self.visit.value
        self._days()
        with suppress(TraitError):
            self.visit.value = chosen
        if not self.which.value or not self._visits:
            raise SizingError(_T.kept["choose"])
        return self._visits[int(self.visit.value)]

    def open(self) -> None:
        visit = self._opened = self._chosen()
        self._show(visit, visit, visit.on, "opened")

    def copy(self) -> None:
        before, self._opened = self._chosen(), None
        age = before.entries.get("age_years")
        was = _T.kept["was"].format(age=age, day=before.on) if age else ""
        self._show(before, before.next, date.today(), "copied", was)

    def _show(
        self, of: Visit, filled: Visit, day: date, words: str, was: str = ""
    ) -> None:
        """Put a visit into the form, on the chart it is of; say so if that is gone."""
        told = [_T.kept[words].format(who=self.which.value, day=day, was=was)]
        if of.chart and not self.choose(of.chart):
            other, size = _T.kept["not_yours"].format(chart=of.chart), of.decision.size
            kept = _T.kept["size_kept"].format(size=size) if size else ""
            told.append(other + kept)
        self._fill(filled)
        self.reference.value, self.day.value = str(self.which.value), day
        self.words.say(*told)

    def keep(self) -> None:
        """Keep what stands in the form; the visit that is open is changed."""
        name = self.reference.value.strip()
        if not name:
            raise SizingError(_T.kept["no_reference"])
        visit, change = self._take(), self._opened
        mine = name.casefold() == str(self.which.value).casefold()
        if change is None or not mine or change.on != visit.on:
            change = None
        path = visits.keep_visit(self.folder, name, visit, instead_of=change)
        self._listed()
        self._days()
        self._opened = next(one for one in self._visits if one.on == visit.on)
        self.visit.value = self._visits.index(self._opened)
        said = "Changed" if change else "Kept"
        self.words.say(f"{said}: visit of {visit.on.isoformat()}, in {path}.")

    def delete(self) -> None:
        if not self.which.value:
            raise SizingError(_T.kept["choose"])
        if not self.sure.value:
            raise SizingError(_T.kept["tick_first"])
        path = visits.delete_client(self.folder, str(self.which.value))
        self.sure.value, self.reference.value = False, ""
        self._opened = None
        self._listed()
        self.words.say(f"Deleted for good: {path}.")

    def clear(self) -> None:
        """Close what is open: the next client is another one."""
        self._opened, self.reference.value, self.day.value = None, "", None
        self.which.value = self.words.value = ""

    def follow(self) -> None:
        """Show what changed over the visits, on the chart and in the units in use."""
        self.growth.value, chart = "", self._chart()
        if self._visits and chart is not None:
            say = partial(written, units=self._switch.units)
            words, pictures = visits_shown(self._visits[::-1], chart, say=say)
            drawn = "".join(map(picture_html, pictures))
            head = _T.kept["over_visits"]
            self.growth.value = folded_html(head, bullets(words) + drawn)

    def _in_use(self, name: str) -> bool:
        chart = self._chart()
        return chart is not None and chart.name == name

    def _try(self, act: Callable[[], object]) -> None:
        with self.words.wrong_is_told():
            act()
