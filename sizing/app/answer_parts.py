"""The answer of a form: it holds for what is entered, or it is taken back whole."""

from abc import ABC, abstractmethod
from typing import Any

import ipywidgets as w

from sizing.app.form_style import FORM_STYLE
from sizing.app.form_words import bullets, paragraphs, status
from sizing.app.long_work import LongWork, Progress
from sizing.app.show import save_panel
from sizing.app.units import UnitSwitch
from sizing.cautions import cautions
from sizing.errors import SizingError


class AnswerParts:
    """Words, pictures, whom they do not hold for, and sources."""

    def __init__(self) -> None:
        self.words, self.pictures = w.HTML(), w.HTML()
        self.limits, self.sources = w.HTML(), w.HTML()

    def take_back(self, words: str = "") -> None:
        """Let nothing stand that the entries no longer give; say why in its place."""
        for view in (self.pictures, self.limits, self.sources):
            view.value = ""
        self.words.value = status(paragraphs([words] if words else []))


class AnswerForm(ABC):
    """A form whose answer is worked out by a button and kept until an entry changes.

    What was changed while the work went on makes its answer stale: it is not shown.

    Attributes
    ----------
    keep_view : Widget
        The parts of a page, in the order every page keeps.
    answer : object or None
        What ``work_out`` gave; None where it no longer holds.
    work : LongWork
        The button, with its progress and Stop.
    """

    def __init__(self, button: str) -> None:
        self.answer: Any = None
        self.switch = UnitSwitch()
        self.answered = AnswerParts()
        self._version = 0
        self._stale = f"Something was changed: press '{button}' again."
        self._none = f"There is nothing to save: press '{button}'."
        self.work = LongWork(button, self._job, self._done)
        self.entry = boxed(w.HTML(FORM_STYLE), self.switch.view)
        self.answer_view = boxed(self.answered.words)
        self.picture_view = boxed(self.answered.pictures)
        self.limits_view = boxed(self.answered.limits)
        self.cautions_view = boxed(w.HTML(bullets(cautions())))
        self.sources_view = boxed(self.answered.sources)
        self.keep_view = boxed(save_panel(self.results))
        self.switch.on_change(lambda _: self._show_again())

    @abstractmethod
    def work_out(self, progress: Progress) -> Any:
        """Return the answer to what is entered; beside the page, so draw nothing."""

    @abstractmethod
    def show(self, answer: Any) -> None:
        """Show the answer in ``answered``, in the units chosen."""

    @abstractmethod
    def saved(self, answer: Any) -> dict[str, Any]:
        """Return what can be saved of the answer: tables, pictures, pages."""

    def lay_out(self, *fields: w.Widget) -> None:
        """Lay out the fields, with the button beneath."""
        self.entry.children = (*self.entry.children, *fields, self.work.view)

    def follow(self, *boxes: w.ValueWidget) -> None:
        """Take the answer back whenever one of these widgets changes."""
        for box in boxes:
            box.observe(lambda _: self.forget(), "value")

    def forget(self) -> None:
        """Take back an answer that the entries no longer give."""
        self._version += 1
        if self.answer is not None:
            self.answer = None
            self.answered.take_back(self._stale)

    def results(self) -> dict[str, Any]:
        """Return what can be saved."""
        if self.answer is None:
            raise SizingError(self._none)
        return self.saved(self.answer)

    def _job(self, progress: Progress) -> tuple[int, Any]:
        return self._version, self.work_out(progress)

    def _done(self, result: tuple[int, Any]) -> None:
        version, answer = result
        if version != self._version:
            self.answered.take_back(self._stale)
            return
        self.answer = answer
        self._show_again()

    def _show_again(self) -> None:
        if self.answer is not None:
            self.show(self.answer)


def boxed(*children: w.Widget) -> w.VBox:
    """Return widgets one under the other, in the look of the forms."""
    box = w.VBox(children)
    box.add_class("sizing-form")
    return box
