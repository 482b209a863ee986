"""The room's own answers: from a file or a table, told back at once."""

from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.form_words import bullets, status
from sizing.app.lesson_cards_form import CardsForm
from sizing.app.lesson_parts import (
    Later,
    answer_html,
    button,
    narrow,
    number,
    sections_html,
    words_html,
    wrapped,
    wrong_html,
)
from sizing.app.lesson_settings import LessonSettings
from sizing.app.show import save_panel
from sizing.app.table import EditableTable
from sizing.app.upload import UploadBox
from sizing.errors import SizingError
from sizing.lesson.answers import (
    NO_SIZE,
    Answers,
    blank_table,
    filled,
    read_answers,
)
from sizing.lesson.room import RoomResult, room_result
from sizing.lesson.tape import chance_of_wrong_size
from sizing.measures.tables import ANSWERS
from sizing.pages.lesson_pictures import Slide, drawn, repeats_slide, room_slides
from sizing.pages.page import Page, render
from sizing.pages.room import room_page
from sizing.people.files import read_table
from sizing.resources import source_table
from sizing.words.lesson import left_out_words, plain_heading

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


class RoomForm:
    """Takes the room's answers, names what is wrong, and shows what they say."""

    def __init__(self, settings: LessonSettings, cards: CardsForm) -> None:
        self._settings, self._cards = settings, cards
        self._laid_for: str | None = None
        self._slides: list[Slide] = []
        self._repeats: pd.DataFrame | None = None
        self._page: Page | None = None
        self.result: RoomResult | None = None
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
        self.wrong, self.answer, self.shown = w.HTML(), w.HTML(), w.HTML()
        self._place = w.Box(layout=w.Layout(width="100%"))
        counts = (self.participants, self.volunteers, self.readings)
        lay = button("Lay out the table", self.lay_out)
        self._typing = w.VBox(
            [w.HTML(words_html(_HOW)), wrapped(*counts, lay), self._place]
        )
        self.view = w.VBox(
            [
                self.upload.view,
                self.invented,
                self.each,
                self._typing,
                self.wrong,
                self.answer,
                self.shown,
                w.HTML(_SAVE),
                save_panel(self.results),
            ]
        )
        self._later = Later(self.update)
        self.upload.on_change(self._uploaded)
        self.invented.observe(lambda _: self._switched(), "value")
        self.each.observe(lambda _: self.update(), "value")
        settings.units.on_change(lambda _: self.update())
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

    def update(self) -> None:
        """Work out what the answers say, and show it; nothing old stays."""
        self.forget()
        seed, units = self._settings.seed, self._settings.units.units
        try:
            answers = self._answers()
            if answers is None:
                self.answer.value = words_html("Nothing is entered yet.")
                return
            if lines := [
                left_out_words(row, rows=self._in_rows)
                for row in answers.left_out.to_dict("records")
            ]:
                what = "answer was" if len(lines) == 1 else "answers were"
                told = f"{len(lines)} {what} left out, none was guessed or repaired:"
                self.wrong.value = status(words_html(told) + narrow(bullets(lines)))
            chart, cards = self._settings.chart, self._cards.practice
            room = room_result(answers, chart, practice=cards, seed=seed)
            self._slides = room_slides(room, chart.sizes, units=units)
            if len(room.error.table):
                self._repeats = chance_of_wrong_size(
                    self._settings.people(), chart, room.error, seed=seed
                )
                self._slides.append(repeats_slide(self._repeats))
        except SizingError as error:
            self.forget()
            self.wrong.value = wrong_html(error)
            return
        self.result = room
        self._page = room_page(
            room,
            self._repeats,
            {slide.name: drawn(slide) for slide in self._slides},
            units=units,
            rows=self._in_rows,
            each=bool(self.each.value),
        )
        self.answer.value = answer_html(self._page.answer)
        self.shown.value = sections_html(self._page.sections)
        self.shown.value += words_html(*self._page.limits)

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        self.result = self._page = self._repeats = None
        self._slides = []
        self.wrong.value = self.answer.value = self.shown.value = ""

    def results(self) -> dict[str, Any]:
        """Return the room's results to be saved, and what was typed."""
        found: dict[str, Any] = {}
        typed, room = filled(self.table.frame), self.result
        if len(typed):
            found["room_answers_typed"] = typed
        elif room is None:
            found["answer_form"] = self.table.frame
        if room is None or self._page is None:
            return found
        found |= {slide.name: slide.axes for slide in self._slides}
        found |= {
            "room_sizes_counted": room.sizes,
            "room_confusion": room.confusion,
            "room_left_out": room.answers.left_out,
        }
        for measure, agreement in room.guesses.items():
            found[f"room_guesses_{measure.rsplit('_', 1)[0]}_limits"] = agreement.table
        if self._repeats is not None:
            found["room_tape_errors"] = room.error.table
            found["room_how_often_to_measure"] = self._repeats
        return found | {"room": render(self._page)}

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
        self._later.ask()

    def _uploaded(self) -> None:
        if self.upload.names:
            self.invented.value = False
        self._switched()

    def _switched(self) -> None:
        """Show the table only where it is what counts."""
        self._typing.layout.display = "none" if self._in_rows else None
        self.update()
