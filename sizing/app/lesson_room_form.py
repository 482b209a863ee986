"""The room's own answers: from a file or a table, told back at once."""

from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_parts import LiveForm
from sizing.app.form_words import bullets, paragraphs, status
from sizing.app.lesson_cards_form import CardsForm
from sizing.app.lesson_parts import (
    answer_html,
    button,
    number,
    wrapped,
    wrong_html,
)
from sizing.app.lesson_settings import LessonSettings
from sizing.app.table import EditableTable
from sizing.app.upload import UploadBox
from sizing.errors import SizingError
from sizing.lesson.answers import (
    NO_SIZE,
    Answers,
    blank_table,
    filled,
    left_out_words,
    plain_heading,
    read_answers,
)
from sizing.lesson.room import RoomResult, room_result
from sizing.lesson.tape import chance_of_wrong_size
from sizing.measures.tables import ANSWERS
from sizing.pages.lesson_pictures import Slide, drawn, repeats_slide, room_slides
from sizing.pages.page import Page, Picture, render
from sizing.pages.room import room_page
from sizing.people.files import read_table
from sizing.resources import source_table

_FILE_HELP = (
    "CSV or XLSX with the headings of 'answer_form.xlsx', which comes with the pack, "
    "or with 'Save tables' below: one row per participant, volunteer and reading."
)
_HOW = (
    "Participants are numbers, no names. Volunteers are letters; for a practice client "
    "write its card, such as card 3. In the rows of 'reference' enter what the scale "
    "and your own tape say. Leave empty what was not asked."
)
_SAVE = "<p>Save what is shown, and what was typed:</p>"


class RoomForm(LiveForm):
    """Takes the room's answers, names what is wrong, and shows what they say."""

    def __init__(self, settings: LessonSettings, cards: CardsForm) -> None:
        super().__init__()
        # Cards change with the units, and the answers after them: see the page.
        self._settings, self._cards, self.switch = settings, cards, settings.units
        self._laid_for: str | None = None
        self._slides: list[Slide] = []
        self._drawn: dict[str, Picture] = {}
        self._page: Page | None = None
        self.upload = UploadBox("The room's answers", help=_FILE_HELP, table=ANSWERS)
        self.invented, self.each = (
            w.Checkbox(
                value=False,
                description=words,
                indent=False,
                layout=w.Layout(width="max-content"),
            )
            for words in (
                "Show an invented room instead",
                "Show each participant's own figures",
            )
        )
        self.participants = number("Participants", 4, 30)
        self.volunteers = number("Volunteers", 1, 10)
        self.readings = number("Readings each", 1, 3)
        self.wrong, parts = w.HTML(), self.answered
        self._place = w.Box(layout=w.Layout(width="100%"))
        counts = (self.participants, self.volunteers, self.readings)
        lay = button("Lay out the table", self.lay_out)
        self._typing = w.VBox(
            [w.HTML(paragraphs([_HOW])), wrapped(*counts, lay), self._place]
        )
        self.view = w.VBox(
            [
                self.upload.view,
                self.invented,
                self.each,
                self._typing,
                self.wrong,
                parts.words,
                parts.pictures,
                parts.limits,
                parts.sources,
                w.HTML(_SAVE),
                self.keep_view,
            ]
        )
        self.upload.on_change(self._uploaded)
        self.invented.observe(lambda _: self._switched(), "value")
        self.each.observe(lambda _: self.show_again(), "value")
        self._show_table(pd.DataFrame(columns=["participant", "subject"]))

    def lay_out(self) -> None:
        """Lay out the table for so many people, keeping what is typed."""
        try:
            kept, chart = self.table.frame, self._settings.chart
            self._show_table(blank_table(chart, self.class_size, kept=kept))
        except SizingError as error:
            self.wrong.value = wrong_html(error)
            return
        self._laid_for = self._settings.upload.key
        self.update()

    @property
    def class_size(self) -> dict[str, int]:
        """How many people, bodies and readings the forms are laid out for."""
        return {
            name: int(getattr(self, name).value)
            for name in ("participants", "volunteers", "readings")
        }

    def source(self) -> pd.DataFrame | None:
        """Return the answers now in use as a table, or None where there are none."""
        if self.invented.value:
            return source_table("demo_room_answers.csv")
        found = self.upload.read(lambda path: read_table(path, ANSWERS))
        if found is None:
            found = filled(self.table.frame)
        return found if len(found) or self.upload.names else None

    def work_out(self) -> tuple[RoomResult, pd.DataFrame | None] | str:
        """Work out what the answers say and how often one must measure; draw it."""
        self.forget()
        try:
            answers = self._answers()
        except SizingError as error:
            self.wrong.value = wrong_html(error)
            return ""
        if answers is None:
            return "Nothing is entered yet."
        if lines := [
            left_out_words(row, rows=self._in_rows)
            for row in answers.left_out.to_dict("records")
        ]:
            what = "answer was" if len(lines) == 1 else "answers were"
            told = f"{len(lines)} {what} left out, none was guessed or repaired:"
            self.wrong.value = status(paragraphs([told]) + bullets(lines))
        chart, cards = self._settings.chart, self._cards.practice
        seed, people = self._settings.seed, self._settings.people()
        room = room_result(answers, chart, practice=cards, seed=seed)
        slides = room_slides(room, chart.sizes, units=self.switch.units)
        repeats = None
        if len(room.error.table):
            repeats = chance_of_wrong_size(people, chart, room.error, seed=seed)
            slides.append(repeats_slide(repeats))
        self._slides = slides
        self._drawn = {slide.name: drawn(slide) for slide in slides}
        return room, repeats

    def show(self, answer: tuple[RoomResult, pd.DataFrame | None]) -> None:
        """Show the page of the room's answers."""
        self._page = room_page(
            *answer,
            self._drawn,
            units=self.switch.units,
            rows=self._in_rows,
            each=bool(self.each.value),
        )
        self.answered.show(self._page)
        self.answered.words.value = answer_html(self._page.answer)

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        self.answer = None
        self.wrong.value = ""
        self.answered.take_back()

    def saved(self, answer: tuple[RoomResult, pd.DataFrame | None]) -> dict[str, Any]:
        """Return the room's results to be saved."""
        room, repeats = answer
        found: dict[str, Any] = {slide.name: slide.axes for slide in self._slides} | {
            "room_sizes_counted": room.sizes,
            "room_confusion": room.confusion,
            "room_left_out": room.answers.left_out,
        }
        for measure, agreement in room.guesses.items():
            found[f"room_guesses_{measure.rsplit('_', 1)[0]}_limits"] = agreement.table
        if repeats is not None:
            found["room_tape_errors"] = room.error.table
            found["room_how_often_to_measure"] = repeats
        return found | ({"room": render(self._page)} if self._page else {})

    def results(self) -> dict[str, Any]:
        """Return the room's results to be saved, and what was typed."""
        typed = filled(self.table.frame)
        found = {"room_answers_typed": typed} if len(typed) else {}
        if self.answer is not None:
            return found | self.saved(self.answer)
        return found or {"answer_form": self.table.frame}

    def use_settings(self) -> None:
        """Follow a new chart or other people: ask for its measures, count anew."""
        if self._laid_for == self._settings.upload.key:
            self.update()
        else:
            self.lay_out()

    @property
    def _in_rows(self) -> bool:
        """Whether the answers stand in a file, whose rows have numbers."""
        return bool(self.upload.names) or bool(self.invented.value)

    def _answers(self) -> Answers | None:
        """Return the answers now in use, checked; None where there are none."""
        chart = self._settings.chart
        if self.upload.names and not self.invented.value:
            found: Answers = self.upload.read(lambda path: read_answers(path, chart))
            return found
        table = self.source()
        return None if table is None else read_answers(table, chart)

    def _show_table(self, frame: pd.DataFrame) -> None:
        try:
            sizes = [*self._settings.chart.sizes, NO_SIZE]
        except SizingError:
            sizes = [NO_SIZE]
        self.table = EditableTable(
            frame,
            caption="The room's answers",
            headings=plain_heading,
            switch=self._settings.units,
            choices={"chosen_size": sizes},
            can_add=True,
        )
        self.table.on_change(self._typed)
        old = self._place.children
        self._place.children = [self.table.view]
        for widget in old:
            widget.close()

    def _typed(self) -> None:
        self.forget()
        self.later.ask()

    def _uploaded(self) -> None:
        if self.upload.names:
            self.invented.value = False
        self._switched()

    def _switched(self) -> None:
        """Show the table only where it is what counts."""
        self._typing.layout.display = "none" if self._in_rows else None
        self.update()
