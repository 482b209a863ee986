"""The parts of a form: its answer holds for what is entered, or is taken back whole."""

from abc import ABC, abstractmethod
from collections.abc import Sequence
from typing import Any

import ipywidgets as w

from sizing.app.entry import UnitSwitch
from sizing.app.form_words import (
    FORM_STYLE,
    bullets,
    lead,
    paragraphs,
    status,
    wrong_lines,
)
from sizing.app.long_work import Later, LongWork, Progress
from sizing.app.show import save_panel, sections_html
from sizing.errors import SizingError
from sizing.pages.page import Page, Section
from sizing.resources import cautions, texts

_T = texts("forms")


class AnswerParts:
    def __init__(self) -> None:
        self.words, self.pictures = w.HTML(), w.HTML()
        self.limits, self.sources = w.HTML(), w.HTML()

    def take_back(self, words: str = "") -> None:
        """Let nothing stand that the entries no longer give; say why in its place."""
        for view in (self.pictures, self.limits, self.sources):
            view.value = ""
        self.words.value = status(paragraphs([words]))

    def wrong(self, error: SizingError, units: str, **how: Any) -> None:
        self.take_back()
        self.words.value = status(bullets(wrong_lines(error, units=units, **how)))

    def show(
        self, page: Page, *, words: str = "", sections: Sequence[Section] | None = None
    ) -> None:
        """``words`` is HTML to stand between the answer and what went in."""
        # No picture of what was stands beside words of what is.
        self.pictures.value = ""
        self.words.value = lead(page.answer) + words + paragraphs([page.inputs])
        self.limits.value = bullets(page.limits)
        self.sources.value = bullets(page.sources)
        shown = page.sections if sections is None else sections
        self.pictures.value = sections_html(shown)


class PageForm(ABC):
    """The parts of a page, in the order every page keeps, and its one answer.

    ``entry``, ``answer_view``, ``picture_view``, ``keep_view``, ``limits_view``,
    ``cautions_view`` and ``sources_view`` are shown; ``answer`` is None where it no
    longer holds.
    """

    def __init__(self, *, switch: UnitSwitch | None = None, none: str = "") -> None:
        self.answer: Any = None
        self.switch = switch or UnitSwitch()
        self.answered = AnswerParts()
        self._none = none or _T.nothing_to_save
        self.entry = boxed(w.HTML(FORM_STYLE), self.switch.view)
        self.answer_view = boxed(self.answered.words)
        self.picture_view = boxed(self.answered.pictures)
        self.limits_view = boxed(self.answered.limits)
        self.cautions_view = boxed(w.HTML(bullets(cautions())))
        self.sources_view = boxed(self.answered.sources)
        self.keep_view = boxed(save_panel(self.results))
        self.switch.on_change(lambda _: self.show_again())

    @abstractmethod
    def show(self, answer: Any) -> None:
        """Show the answer in ``answered``, in the units chosen."""

    @abstractmethod
    def saved(self, answer: Any) -> dict[str, Any]:
        """Return what can be saved of the answer: tables, pictures, pages."""

    def lay_out(self, *fields: w.Widget) -> None:
        self.entry.children = (*self.entry.children, *fields)

    def hold(self, answer: Any) -> None:
        self.answer = answer
        self.show_again()

    def show_again(self) -> None:
        if self.answer is not None:
            self.show(self.answer)

    def results(self) -> dict[str, Any]:
        if self.answer is None:
            raise SizingError(self._none)
        return self.saved(self.answer)


class LiveForm(PageForm):
    """A form whose answer follows every entry, after a moment without another."""

    def __init__(self, *, switch: UnitSwitch | None = None, none: str = "") -> None:
        super().__init__(switch=switch, none=none)
        self.later = Later(self.update)

    @abstractmethod
    def work_out(self) -> Any:
        """Return the answer to what is entered; None or words why there is none."""

    def update(self) -> None:
        """Answer what is now entered, or say what is wrong; nothing old stays."""
        self.answer = None
        try:
            found = self.work_out()
        except SizingError as error:
            self.answered.wrong(error, self.switch.units)
            return
        if found is None or isinstance(found, str):
            self.answered.take_back(found or "")
        else:
            self.hold(found)


class AnswerForm(PageForm):
    """A form whose answer is worked out by a button and kept until an entry changes.

    What was changed while the work went on makes its answer stale: it is not shown.
    """

    def __init__(self, button: str, *, switch: UnitSwitch | None = None) -> None:
        super().__init__(switch=switch, none=_T.press_first.format(button=button))
        self._version = 0
        self._stale = _T.stale.format(button=button)
        self.work = LongWork(button, self._job, self._done, turned=self._turn)

    @abstractmethod
    def work_out(self, progress: Progress) -> Any:
        """Beside the page, so draw nothing; None: a field says itself what is wrong."""

    def lay_out(self, *fields: w.Widget) -> None:
        super().lay_out(*fields, self.work.view)

    def follow(self, *boxes: w.ValueWidget) -> None:
        for box in boxes:
            box.observe(lambda _: self.forget(), "value")

    def forget(self) -> None:
        self._version += 1
        if self.answer is not None:
            self.answer = None
            self.answered.take_back(self._stale)

    def run(self) -> Any:
        self.work.run()
        return self.answer

    def _turn(self, running: bool) -> None:
        if self.answer is None:
            words = _T.being_worked_out if running else _T.no_answer
            button = f"'{self.work.button.description}'"
            self.answered.take_back(words.format(button=button))

    def _job(self, progress: Progress) -> tuple[int, Any]:
        return self._version, self.work_out(progress)

    def _done(self, result: tuple[int, Any]) -> None:
        version, answer = result
        self.answer = None
        if answer is None:
            self.answered.take_back(_T.marked)
        elif version != self._version:
            self.answered.take_back(self._stale)
        else:
            self.hold(answer)


def boxed(*children: w.Widget) -> w.VBox:
    box = w.VBox(children)
    box.add_class("sizing-form")
    return box
