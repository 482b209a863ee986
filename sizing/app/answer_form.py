"""The bases of forms: an answer holds for what is entered, or is taken back whole."""

import asyncio
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any

import ipywidgets as w

from sizing.app import form_words as html
from sizing.app.fields import Told, UnitSwitch, button, on_change, row, show_if
from sizing.app.show import save_panel
from sizing.errors import SizingError
from sizing.pages.page import Page
from sizing.resources import cautions, texts

_T = texts("forms")
#: ``progress(words, share)``: what is being done, and how much is done, 0 to 1.
Progress = Callable[[str, float], None]
#: Seconds without a further entry before a page that follows is worked out anew.
PAUSE = 0.6
_SHOWN_EVERY = 0.1  # seconds: the browser cannot follow more, and each costs a message


class Stopped(Exception):  # noqa: N818 - a wish, not an error
    """The user asked for the work to stop."""


def _loop() -> asyncio.AbstractEventLoop | None:
    """Return the loop of a page that is served meanwhile; there is none in a test."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


class LongWork:
    """A button for work that takes a while, with its progress and a way to stop.

    ``running`` says whether it goes on; its result may begin it again. ``turned`` is
    called as it begins, and as it ends without a result. ``bool`` does nothing.
    """

    def __init__(
        self,
        words: str,
        job: Callable[[Progress], Any],
        done: Callable[[Any], object],
        stopped: Callable[[], object] = bool,
        failed: Callable[[], object] = bool,
        turned: Callable[[bool], object] = bool,
    ) -> None:
        self._job, self._done, self._turned = job, done, turned
        self._stopped, self._failed = stopped, failed
        self._thread: threading.Thread | None = None
        self._stop, self._shown, self.running = threading.Event(), 0.0, False
        self.button, self.told = button(words, self.start), w.HTML()
        self.stop_button = button("Stop", self.stop, display="none")
        self.bar = w.FloatProgress(
            min=0.0, max=1.0, layout=w.Layout(display="none", width="14rem")
        )
        first = row(self.button, self.bar, self.stop_button)
        self.view = w.VBox([first, self.told])

    def start(self) -> None:
        if self.running:
            return
        self._begin()
        # What is shown is shown by the kernel's own thread where it has a loop:
        # drawing is not safe in two threads at once.
        given = (self._stop, _loop())
        self._thread = threading.Thread(target=self._work, args=given, daemon=True)
        self._thread.start()

    def begin(self) -> None:
        """Begin in the background where a page is served meanwhile; else work now."""
        self.start() if _loop() else self.run()

    def run(self) -> None:
        self._begin()
        self._work(self._stop, None)

    def stop(self) -> None:
        self._stop.set()
        if self.running:
            self._say("Stopping at the next step.")

    def wait(self) -> None:
        while (thread := self._thread) is not None and thread.is_alive():
            thread.join()

    def _begin(self) -> None:
        self._stop = threading.Event()
        self._show_running(True)

    def _work(
        self, stop: threading.Event, loop: asyncio.AbstractEventLoop | None
    ) -> None:
        def progress(words: str, share: float) -> None:
            if stop.is_set():
                raise Stopped
            now = time.monotonic()
            if now - self._shown > _SHOWN_EVERY:
                self._shown, self.bar.value = now, share
                self._say(words)

        try:
            result = self._job(progress)
            if stop.is_set():
                result = Stopped()
        except Exception as error:
            # Untold, a fault of the kit's own would leave the page waiting for ever.
            result = error
        if loop is None or loop.is_closed():
            self._end(result)
        else:
            loop.call_soon_threadsafe(self._end, result)

    def _end(self, result: Any) -> None:
        self._show_running(False)
        self._say("")
        if not isinstance(result, Exception):
            self._done(result)
            return
        self._turned(False)
        if isinstance(result, SizingError):
            lines = "<br>".join(map(html.safe, str(result).splitlines()))
            self.told.value = f'<p role="status"><b>Please check:</b> {lines}</p>'
        elif isinstance(result, Stopped):
            self._say("Stopped. Nothing was changed.")
            self._stopped()
        else:
            kind = type(result).__name__
            self._say(_T.kit_failed.format(kind=kind, error=result))
            self._failed()

    def _show_running(self, yes: bool) -> None:
        self.running = self.button.disabled = yes
        show_if(yes, self.bar, self.stop_button)
        if yes:
            self._shown = self.bar.value = 0.0
            self._say("Working.")
            self._turned(True)

    def _say(self, words: str) -> None:
        self.told.value = f'<p role="status">{html.safe(words)}</p>'


class Later:
    """Does something once nobody has asked for it again for a moment; in a test now."""

    def __init__(self, what: Callable[[], object]) -> None:
        self._what = what
        self._waiting: asyncio.TimerHandle | None = None

    def ask(self) -> None:
        """Ask for it, in place of whatever was asked before."""
        if self._waiting is not None:
            self._waiting.cancel()
        if loop := _loop():
            self._waiting = loop.call_later(PAUSE, self._what)
        else:
            self._what()


class AnswerParts:
    """What is shown of an answer."""

    def __init__(self, switch: UnitSwitch) -> None:
        self.words, self.pictures = Told(switch), w.HTML()
        self.limits, self.sources = w.HTML(), w.HTML()

    def take_back(self, words: str = "") -> None:
        """Let nothing stand that the entries no longer give; say why in its place."""
        for view in (self.pictures, self.limits, self.sources):
            view.value = ""
        self.words.say(words)

    def wrong(self, error: SizingError, **how: Any) -> None:
        self.take_back()
        self.words.wrong(error, **how)

    def show(self, page: Page, *, words: str = "") -> None:
        """``words`` is HTML to stand between the answer and what went in."""
        # No picture of what was stands beside words of what is.
        self.pictures.value = ""
        self.words.value = (
            html.lead(page.answer) + words + html.paragraphs([page.inputs])
        )
        self.limits.value = html.bullets(page.limits)
        self.sources.value = html.bullets(page.sources)
        self.pictures.value = html.sections_html(page.sections)


class PageForm(ABC):
    """A page's views, in the order every page keeps, and its answer while it holds."""

    def __init__(self, *, switch: UnitSwitch | None = None, none: str = "") -> None:
        self.answer: Any = None
        self.switch = switch or UnitSwitch()
        self.answered = told = AnswerParts(self.switch)
        self._none = none or _T.nothing_to_save
        self.entry = boxed(w.HTML(html.FORM_STYLE), self.switch.view)
        self.answer_view, self.picture_view = boxed(told.words), boxed(told.pictures)
        self.limits_view, self.sources_view = boxed(told.limits), boxed(told.sources)
        self.cautions_view = boxed(w.HTML(html.bullets(cautions())))
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

    def follow(self, *fields: Any) -> None:
        on_change(self.later.ask, *fields)

    def update(self) -> None:
        """Answer what is now entered, or say what is wrong; nothing old stays."""
        self.answer = None
        try:
            found = self.work_out()
        except SizingError as error:
            self.answered.wrong(error)
            return
        if found is None or isinstance(found, str):
            self.answered.take_back(found or "")
        else:
            self.hold(found)


class AnswerForm(PageForm):
    """A form whose answer a button works out, kept until an entry changes."""

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

    def follow(self, *fields: Any) -> None:
        on_change(self.forget, *fields)

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
