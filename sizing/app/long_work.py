"""Work that takes a while: its progress is shown, and it can be stopped."""

import asyncio
import threading
import time
from collections.abc import Callable
from html import escape
from typing import Any

import ipywidgets as w

from sizing.errors import SizingError
from sizing.resources import texts

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
    called as it begins, and as it ends without a result.
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
        self.running = False
        self._stop = threading.Event()
        self._shown = 0.0
        auto, hidden = {"width": "auto"}, {"display": "none"}
        self.button = w.Button(description=words, layout=auto)
        self.stop_button = w.Button(description="Stop", layout=auto | hidden)
        bar = hidden | {"width": "14rem"}
        self.bar = w.FloatProgress(min=0.0, max=1.0, layout=bar)
        self.told = w.HTML()
        row = w.Layout(flex_flow="row wrap", align_items="center")
        parts = [self.button, self.bar, self.stop_button]
        self.view = w.VBox([w.Box(parts, layout=row), self.told])
        self.button.on_click(lambda _: self.start())
        self.stop_button.on_click(lambda _: self.stop())

    def start(self) -> None:
        if self.running:
            return
        self._stop = threading.Event()
        # What is shown is shown by the kernel's own thread where it has a loop:
        # drawing is not safe in two threads at once.
        given = (self._stop, _loop())
        self._thread = threading.Thread(target=self._work, args=given, daemon=True)
        self._show_running(True)
        self._thread.start()

    def begin(self) -> None:
        """Begin in the background where a page is served meanwhile; else work now."""
        self.start() if _loop() else self.run()

    def run(self) -> None:
        self._stop = threading.Event()
        self._show_running(True)
        self._work(self._stop, None)

    def stop(self) -> None:
        self._stop.set()
        if self.running:
            self._say("Stopping at the next step.")

    def wait(self) -> None:
        while (thread := self._thread) is not None and thread.is_alive():
            thread.join()

    def _work(
        self, stop: threading.Event, loop: asyncio.AbstractEventLoop | None
    ) -> None:
        def progress(words: str, share: float) -> None:
            if stop.is_set():
                raise Stopped
            now = time.monotonic()
            if now - self._shown > _SHOWN_EVERY:
                self._shown = now
                self.bar.value = share
                self._say(words)

        result: Any = None
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
        if isinstance(result, Exception):
            self._turned(False)
        if isinstance(result, SizingError):
            lines = "<br>".join(escape(line) for line in str(result).splitlines())
            self.told.value = f'<p role="status"><b>Please check:</b> {lines}</p>'
        elif isinstance(result, Stopped):
            self._say("Stopped. Nothing was changed.")
            self._stopped()
        elif isinstance(result, Exception):
            kind = type(result).__name__
            self._say(_T.kit_failed.format(kind=kind, error=result))
            self._failed()
        else:
            self._say("")
            self._done(result)

    def _show_running(self, yes: bool) -> None:
        self.running = self.button.disabled = yes
        for part in (self.bar, self.stop_button):
            part.layout.display = None if yes else "none"
        if yes:
            self._shown = self.bar.value = 0.0
            self._say("Working.")
            self._turned(True)

    def _say(self, words: str) -> None:
        self.told.value = f'<p role="status">{escape(words)}</p>'


class Later:
    """Does something once nobody has asked for it again for a moment.

    Typing into a table asks at every cell; the work is done once, after a pause.
    Without a running loop, as in a test, it is done at once.
    """

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
