"""The room's own answers: from a file or a table, told back at once."""

from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.lesson_cards_form import CardsForm
from sizing.app.lesson_parts import (
    Later,
    answer_html,
    bullets_html,
    button,
    sections_html,
    words_html,
    wrong_html,
)
from sizing.app.lesson_settings import LessonSettings
from sizing.app.show import save_panel
from sizing.app.table import EditableTable
from sizing.app.upload import UploadBox
from sizing.errors import SizingError
from sizing.lesson import (
    Answers,
    RoomResult,
    chance_of_wrong_size,
    read_answers,
    room_result,
)
from sizing.lesson.answers import NO_SIZE
from sizing.lesson.blank import blank_table, filled
from sizing.measures.tables import ANSWERS
from sizing.pages.lesson_pictures import Slide, drawn, repeats_slide, room_slides
from sizing.pages.room import ROOM_LIMITS, room_html, room_sections
from sizing.people.files import read_table
from sizing.resources import source_table
from sizing.words.lesson import left_out_words, plain_heading, room_answer

_FILE_HELP = (
    "CSV or XLSX with the headings of 'answer_form.xlsx', which comes with the pack, "
    "or with 'Save tables' below: one row per participant, volunteer and reading."
)
_HOW = (
    "Participants are numbers, no names. Volunteers are letters; for a practice client "
    "write its card, such as card 3. In the rows of 'reference' enter what the scale "
    "and your own tape say. Leave empty what was not asked."
)
_NOTHING = "Nothing is entered yet."


class RoomForm:
    """Takes the room's answers, names what is wrong, and shows what they say.

    Attributes
    ----------
    result : RoomResult or None
        What came of the answers now entered.
    """

    def __init__(self, settings: LessonSettings, cards: CardsForm) -> None:
        self._settings, self._cards = settings, cards
        self._laid_for: str | None = None
        self._slides: list[Slide] = []
        self._repeats: pd.DataFrame | None = None
        self.result: RoomResult | None = None
        self.upload = UploadBox("The room's answers", help=_FILE_HELP, table=ANSWERS)
        self.invented = w.Checkbox(
            value=False,
            description="Show an invented room instead",
            indent=False,
            layout=w.Layout(width="max-content"),
        )
        self.each = w.Checkbox(
            value=False,
            description="Show each participant's own figures",
            indent=False,
            layout=w.Layout(width="max-content"),
        )
        self.participants = _count("Participants", 4, 30)
        self.volunteers = _count("Volunteers", 1, 10)
        self.readings = _count("Readings each", 1, 3)
        self.lay = button("Lay out the table")
        self.wrong = w.HTML()
        self.answer = w.HTML()
        self.shown = w.HTML()
        self._place = w.Box(layout=w.Layout(width="100%"))
        wrap = w.Layout(flex_flow="row wrap", align_items="center")
        self._typing = w.VBox(
            [
                w.HTML(words_html([_HOW])),
                w.Box(
                    [self.participants, self.volunteers, self.readings, self.lay],
                    layout=wrap,
                ),
                self._place,
            ]
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
                w.HTML("<p>Save what is shown, and what was typed:</p>"),
                save_panel(self.results),
            ]
        )
        self._later = Later(self.update)
        self.upload.on_change(self._uploaded)
        self.invented.observe(lambda _: self._switched(), "value")
        self.each.observe(lambda _: self.update(), "value")
        self.lay.on_click(lambda _: self.lay_out())
        settings.units.on_change(lambda _: self.update())
        self._show_table(pd.DataFrame(columns=["participant", "subject"]))

    def lay_out(self) -> None:
        """Lay out the table for so many people, keeping what is typed."""
        try:
            self._show_table(
                blank_table(
                    self._settings.chart,
                    self.class_size,
                    kept=self.table.frame,
                )
            )
        except SizingError as error:
            self.wrong.value = wrong_html(error)
            return
        self._laid_for = self._settings.key[2]
        self.update()

    @property
    def _units(self) -> str:
        return self._settings.units.units

    @property
    def class_size(self) -> dict[str, int]:
        """How many people, bodies and readings the forms are laid out for."""
        return {
            "participants": int(self.participants.value),
            "volunteers": int(self.volunteers.value),
            "readings": int(self.readings.value),
        }

    def given(self) -> pd.DataFrame:
        """Return the answers typed, as a file of answers holds them."""
        return filled(self.table.frame)

    def source(self) -> pd.DataFrame | None:
        """Return the answers now in use as a table, or None where there are none."""
        if self.invented.value:
            return source_table("demo_room_answers.csv")
        if self.upload.names:
            table: pd.DataFrame = self.upload.read(
                lambda path: read_table(path, ANSWERS)
            )
            return table
        typed = self.given()
        return typed if len(typed) else None

    def update(self) -> None:
        """Work out what the answers say, and show it; nothing old stays."""
        self.forget()
        try:
            answers = self._answers()
            if answers is None:
                self.answer.value = words_html([_NOTHING])
                return
            self._tell_wrong(answers)
            chart = self._settings.chart
            found = room_result(
                answers,
                chart,
                practice=self._cards.practice,
                seed=int(self._settings.seed.value),
            )
            self.answer.value = answer_html(room_answer(found))
            self._slides = room_slides(found, chart.sizes, units=self._units)
            if len(found.error.table):
                self._repeats = chance_of_wrong_size(
                    self._settings.people(),
                    chart,
                    found.error,
                    seed=int(self._settings.seed.value),
                )
                self._slides.append(repeats_slide(self._repeats))
        except SizingError as error:
            self.forget()
            self.wrong.value = wrong_html(error)
            return
        self.result = found
        pictures = {slide.name: drawn(slide) for slide in self._slides}
        sections = room_sections(
            found,
            self._repeats,
            pictures,
            units=self._units,
            rows=self._by_rows(),
            each=bool(self.each.value),
        )
        self.shown.value = sections_html(sections) + words_html(ROOM_LIMITS)

    def forget(self) -> None:
        """Take back what is shown: what it rests on has changed."""
        self.result, self._repeats, self._slides = None, None, []
        self.wrong.value = self.answer.value = self.shown.value = ""

    def results(self) -> dict[str, Any]:
        """Return the room's results to be saved, and what was typed."""
        found: dict[str, Any] = {}
        typed = self.given()
        if len(typed):
            found["room_answers_typed"] = typed
        elif self.result is None:
            found["answer_form"] = self.table.frame
        if self.result is None:
            return found
        room = self.result
        found |= {slide.name: slide.axes for slide in self._slides}
        found |= {
            "room_sizes_counted": room.sizes,
            "room_confusion": room.confusion,
            "room_left_out": room.answers.left_out,
        }
        for measure, agreement in room.guesses.items():
            found[f"room_guesses_{measure.rsplit('_', 1)[0]}_limits"] = agreement.table
        pictures = {slide.name: drawn(slide) for slide in self._slides}
        if self._repeats is not None:
            found["room_tape_errors"] = room.error.table
            found["room_how_often_to_measure"] = self._repeats
        found["room"] = room_html(
            room,
            self._repeats,
            pictures,
            units=self._units,
            rows=self._by_rows(),
            each=bool(self.each.value),
        )
        return found

    def use_settings(self) -> None:
        """Follow a new chart or other people: ask for its measures, count anew."""
        if self._laid_for == self._settings.key[2]:
            self.update()
        else:
            self.lay_out()

    def _answers(self) -> Answers | None:
        """Return the answers now in use, checked; None where there are none."""
        chart = self._settings.chart
        if self.upload.names and not self.invented.value:
            found: Answers = self.upload.read(lambda path: read_answers(path, chart))
            return found
        table = self.source()
        return None if table is None else read_answers(table, chart)

    def _by_rows(self) -> bool:
        """Say whether the answers stand in a file, whose rows have numbers."""
        return bool(self.upload.names) or bool(self.invented.value)

    def _tell_wrong(self, answers: Answers) -> None:
        lines = [
            left_out_words(row, rows=self._by_rows())
            for row in answers.left_out.to_dict("records")
        ]
        if lines:
            self.wrong.value = (
                f'<div role="status">{words_html([_left_out(len(lines))])}'
                f"{bullets_html(lines)}</div>"
            )

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
        self._typing.layout.display = "none" if self._by_rows() else None
        self.update()


def _left_out(count: int) -> str:
    what = "answer was" if count == 1 else "answers were"
    return f"{count} {what} left out, none was guessed or repaired:"


def _count(words: str, value: int, most: int) -> w.BoundedIntText:
    return w.BoundedIntText(
        value=value,
        min=1,
        max=most,
        description=words,
        style={"description_width": "initial"},
        layout=w.Layout(width="11rem"),
    )
