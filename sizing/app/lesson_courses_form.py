"""Courses kept by date in the trainer's own folder: keep this room, see them all."""

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_form import PageForm
from sizing.app.form_words import paragraphs
from sizing.app.lesson_parts import button, wrapped, wrong_html
from sizing.app.units import UnitSwitch
from sizing.errors import SizingError
from sizing.lesson.courses import FOLDER, keep_course, kept_courses
from sizing.lesson.room import RoomResult
from sizing.pages.lesson_pictures import Slide, courses_slide, drawn
from sizing.pages.page import Page, render
from sizing.pages.room import courses_page

_HOW = (
    "Keep what this room found, with its date: shares, gains and errors of the whole "
    "room, nothing of any participant. Every course is a file of its own; none is "
    "written over."
)
_NONE = "No course is kept here yet: press 'Keep this course' after one."


class CoursesForm(PageForm):
    """Keeps what ``room`` gives; shows every course in the folder when asked."""

    def __init__(
        self,
        switch: UnitSwitch,
        room: Callable[[], RoomResult],
        *,
        folder: Path | str = FOLDER,
    ) -> None:
        super().__init__(switch=switch, none=_NONE)
        self.folder, self._room = Path(folder), room
        self.day = w.DatePicker(description="Course of", value=date.today())
        self.told, parts = w.HTML(), self.answered
        does = [
            button("Keep this course", self.keep),
            button("Show every course", self.look),
        ]
        self.view = w.VBox(
            [
                w.HTML(paragraphs([_HOW])),
                wrapped(self.day, *does),
                self.told,
                parts.words,
                parts.pictures,
                self.keep_view,
            ]
        )

    def keep(self) -> None:
        """Keep the room under the date chosen, and show it among the others."""
        try:
            if self.day.value is None:
                raise SizingError("Choose the day of the course first.")
            path = keep_course(self.folder, self._room(), self.day.value)
        except SizingError as error:
            self.told.value = wrong_html(error)
            return
        self.look()
        self.told.value = paragraphs([f"Kept: {path.resolve()}."])

    def look(self) -> None:
        """Show every course that is kept."""
        self.told.value = ""
        try:
            found = kept_courses(self.folder)
        except SizingError as error:
            self.told.value = wrong_html(error)
            return
        if found.empty:
            self.answered.take_back(_NONE)
            return
        self.hold(found)

    def show(self, answer: pd.DataFrame) -> None:
        """Show the courses as a picture and a table."""
        self.answered.show(self._page(answer)[1])

    def saved(self, answer: pd.DataFrame) -> dict[str, Any]:
        """Return the courses to be saved."""
        slide, page = self._page(answer)
        return {"courses": render(page), slide.name: slide.axes, "courses_all": answer}

    def _page(self, answer: pd.DataFrame) -> tuple[Slide, Page]:
        slide = courses_slide(answer)
        return slide, courses_page(answer, drawn(slide), self.switch.units)
