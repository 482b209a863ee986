"""The room's own answers, from a file or typed; and courses kept by date."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app import fields
from sizing.app.answer_form import LiveForm, PageForm
from sizing.app.fields import button, number, on_change, row
from sizing.app.form_words import bullets, paragraphs, status
from sizing.app.lesson_cards_form import CardsForm, LessonSettings, answer_html
from sizing.app.table import EditableTable
from sizing.errors import SizingError
from sizing.lesson import answers as given
from sizing.lesson.answers import NO_SIZE, REFERENCE, blank_table, filled
from sizing.lesson.room import (
    FOLDER,
    RoomResult,
    keep_course,
    kept_courses,
    room_result,
)
from sizing.lesson.tape import chance_of_wrong_size
from sizing.lesson.ways import CLASS_SIZE
from sizing.measures.tables import ANSWERS
from sizing.pages import lesson_pack as pack
from sizing.pages.lesson_pack import Slide, drawn
from sizing.pages.page import Page, Picture, render
from sizing.pages.room import courses_page, room_page
from sizing.people.files import read_table
from sizing.resources import source_table, texts

_T = texts("lesson")


class RoomForm(LiveForm):
    """Takes the room's answers, names what is wrong, and shows what they say."""

    def __init__(self, settings: LessonSettings, cards: CardsForm) -> None:
        super().__init__()
        self._settings, self._cards, self.switch = settings, cards, settings.units
        self._laid_for: str | None = None
        self._slides: list[Slide] = []
        self._drawn: dict[str, Picture] = {}
        self._page: Page | None = None
        help_ = _T.page["file_help"]
        self.upload = fields.UploadBox("The room's answers", help=help_, table=ANSWERS)
        self.invented, self.each = (
            w.Checkbox(description=words, indent=False, layout={"width": "max-content"})
            for words in _T.page_checks.values()
        )
        self.participants = number("Participants", 12, 200)
        self.volunteers = number("Volunteers", 3, 10)
        self.readings = number("Readings each", 2, 3)
        self.whose = number("Sheet of participant", 0, 200, width="15rem")
        self.wrong, self.typed_of, parts = fields.Told(), w.HTML(), self.answered
        # By participant's number; the reference's is 0.
        self._sheets: dict[int, pd.DataFrame] = {}
        self._place = w.Box(layout=w.Layout(width="100%"))
        counts = row(self.participants, self.volunteers, self.readings)
        turns = [
            button("The reference", lambda: self.turn(-self.whose.value)),
            button("Sheet before", lambda: self.turn(-1)),
            button("Next sheet", lambda: self.turn(1)),
        ]
        how, save = (w.HTML(paragraphs([_T.page[name]])) for name in ("typing", "save"))
        sheets = counts, row(self.whose, *turns), self.typed_of, self._place
        self._typing = w.VBox([how, *sheets])
        entry = self.upload.view, self.invented, self.each, self._typing, self.wrong
        shown = parts.words, parts.pictures, parts.limits, parts.sources
        self.view = w.VBox([*entry, *shown, save, self.keep_view])
        on_change(self._uploaded, self.upload)
        on_change(self._switched, self.invented)
        on_change(self.show_again, self.each)
        self.whose.min = self.whose.value = 0
        on_change(self.lay_out, self.volunteers, self.readings, self.whose)
        self.lay_out()

    def lay_out(self) -> None:
        whose = int(self.whose.value)
        kept, size = self._sheets.get(whose), self.class_size
        try:
            chart = self._settings.chart
        except SizingError as error:
            self.wrong.wrong(error)
            return
        self._laid_for = self._settings.upload.key
        self.table = EditableTable(
            given.blank_sheet(chart, _who(whose), size, kept),
            caption=_T.page["sheet" if whose else "reference"].format(number=whose),
            headings=given.plain_heading,
            switch=self._settings.units,
            choices={given.CHOSEN: [*chart.sizes, NO_SIZE]},
            can_add=True,
        )
        self.table.on_change(self._typed)
        old = self._place.children
        self._place.children = [self.table.view]
        for widget in old:
            widget.close()

    def turn(self, by: int) -> None:
        self.whose.value += by

    def typed(self) -> pd.DataFrame:
        sheets = [
            sheet.assign(participant=_who(whose))
            for whose, sheet in sorted(self._sheets.items())
        ]
        blank = blank_table(self._settings.chart, dict.fromkeys(CLASS_SIZE, 0))
        table = pd.concat([blank, *sheets], ignore_index=True)
        asked = [name for name in table if name in blank or table[name].notna().any()]
        return filled(table[asked])

    @property
    def class_size(self) -> dict[str, int]:
        return {name: int(getattr(self, name).value) for name in CLASS_SIZE}

    def source(self) -> pd.DataFrame | None:
        if self.invented.value:
            return source_table("demo_room_answers.csv")
        found = self.upload.read(lambda path: read_table(path, ANSWERS))
        if found is None:
            found = self.typed()
        return found if len(found) or self.upload.names else None

    def work_out(self) -> tuple[RoomResult, pd.DataFrame | None] | str:
        self.forget()
        chart, cards = self._settings.chart, self._cards.practice
        try:
            if (table := self.source()) is None:
                return str(_T.page["nothing"])
            answers = given.read_answers(table, chart)
        except SizingError as error:
            self.wrong.wrong(error)
            return ""
        lines = [
            given.left_out_words(one, rows=self._in_rows)
            for one in answers.left_out.to_dict("records")
        ]
        told = [*answers.mapped]
        if n := len(lines):
            told.append(_T.page["left_one" if n == 1 else "left_more"].format(n=n))
        if self._in_rows and self._sheets:
            told.append(_T.page["passed"])
        if told:
            # By participant: folded, so that no projector shows it unasked.
            listed = f"<details><summary>Which</summary>{bullets(lines)}</details>"
            self.wrong.value = status(paragraphs(told) + (listed if lines else ""))
        seed, people = self._settings.seed, self._settings.people()
        room = room_result(answers, chart, practice=cards, seed=seed)
        slides = pack.room_slides(room, chart.sizes, units=self.switch.units)
        repeats = None
        if len(room.error.table):
            repeats = chance_of_wrong_size(people, chart, room.error, seed=seed)
            slides.append(pack.repeats_slide(repeats))
        self._slides = slides
        self._drawn = {slide.name: drawn(slide) for slide in slides}
        return room, repeats

    def show(self, answer: tuple[RoomResult, pd.DataFrame | None]) -> None:
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
        self.answer = None
        self.wrong.value = ""
        self.answered.take_back()

    def saved(self, answer: tuple[RoomResult, pd.DataFrame | None]) -> dict[str, Any]:
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
        typed = self.typed()
        found = {"room_answers_typed": typed} if len(typed) else {}
        if self.answer is not None:
            return found | self.saved(self.answer)
        chart, units = self._settings.chart, self.switch.units
        form = blank_table(chart, self.class_size, units=units)
        return found or {"answer_form": form}

    def finding(self) -> RoomResult:
        if self.answer is None or self.invented.value:
            raise SizingError(_T.page["no_room"])
        found: RoomResult = self.answer[0]
        return found

    def use_settings(self) -> None:
        if self._laid_for != self._settings.upload.key:
            self.lay_out()
        self.update()

    @property
    def _in_rows(self) -> bool:
        """Whether the answers stand in a file, whose rows have numbers."""
        return bool(self.upload.names) or bool(self.invented.value)

    def _typed(self) -> None:
        whose = int(self.whose.value)
        self._sheets[whose] = self.table.frame
        if filled(self._sheets[whose]).empty:
            del self._sheets[whose]
        names = ", ".join(_who(one) for one in sorted(self._sheets))
        told = _T.page["typed" if names else "none_typed"].format(names=names)
        self.typed_of.value = paragraphs([told])
        self.forget()
        self.later.ask()

    def _uploaded(self) -> None:
        if self.upload.names:
            self.invented.value = False
        self._switched()

    def _switched(self) -> None:
        fields.show_if(not self._in_rows, self._typing)
        self.update()


def _who(whose: int) -> str:
    return str(whose) if whose else REFERENCE


class CoursesForm(PageForm):
    """Keeps what ``room`` gives; shows every course in the folder when asked."""

    def __init__(
        self,
        switch: fields.UnitSwitch,
        room: Callable[[], RoomResult],
        *,
        folder: Path | str = FOLDER,
    ) -> None:
        super().__init__(switch=switch, none=_T.page["no_course"])
        self.folder, self._room = Path(folder), room
        self.day = w.DatePicker(description="Course of", value=date.today())
        self.told, parts = fields.Told(), self.answered
        keep = button("Keep this course", self.keep)
        look = button("Show every course", self.look)
        how, first = paragraphs([_T.page["courses_how"]]), row(self.day, keep, look)
        shown = parts.words, parts.pictures, self.keep_view
        self.view = w.VBox([w.HTML(how), first, self.told, *shown])

    def keep(self) -> None:
        with self.told.wrong_is_told():
            if self.day.value is None:
                raise SizingError(_T.page["no_day"])
            path = keep_course(self.folder, self._room(), self.day.value)
            self.look()
            self.told.value = paragraphs([f"Kept: {path.resolve()}."])

    def look(self) -> None:
        with self.told.wrong_is_told():
            found = kept_courses(self.folder)
            if found.empty:
                self.answered.take_back(_T.page["no_course"])
            else:
                self.hold(found)

    def show(self, answer: pd.DataFrame) -> None:
        self.answered.show(self._page(answer)[1])

    def saved(self, answer: pd.DataFrame) -> dict[str, Any]:
        slide, page = self._page(answer)
        return {"courses": render(page), slide.name: slide.axes, "courses_all": answer}

    def _page(self, answer: pd.DataFrame) -> tuple[Slide, Page]:
        slide = pack.courses_slide(answer)
        return slide, courses_page(answer, drawn(slide), self.switch.units)
