"""Pieces of the trainer's page: answers, pictures and tables as HTML, and waiting."""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape

import ipywidgets as w

from sizing.app.show import picture_html, table_html
from sizing.app.wide_table import scrolling
from sizing.errors import SizingError
from sizing.pages.page import Picture, Section

_ANSWER = (
    "font-size: 1.25em; line-height: 1.45; padding: .6rem .8rem; max-width: 60rem; "
    "color: #1f2328; background: #f5f6f7; border-left: .3rem solid #1f2328"
)
#: Seconds without a further entry before the room's answers are worked out anew.
PAUSE = 0.6


def words_html(lines: Sequence[str]) -> str:
    """Return lines as paragraphs that stay narrow enough to be read."""
    return "".join(
        f'<p style="margin: .3em 0; max-width: 60rem; line-height: 1.45">'
        f"{escape(line)}</p>"
        for line in lines
    )


def wrong_html(error: SizingError) -> str:
    """Return what is wrong, what is allowed and what to do, as an error says it."""
    return f'<div role="alert">{words_html(str(error).splitlines())}</div>'


def answer_html(words: str) -> str:
    """Return the answer, large enough for the back of a room."""
    return f'<p role="status" style="{_ANSWER}">{escape(words)}</p>'


def bullets_html(lines: Sequence[str]) -> str:
    """Return lines as a list."""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<ul style="max-width: 60rem; line-height: 1.45">{items}</ul>'


def slide_html(drawn: Picture) -> str:
    """Return a slide as large as the screen allows; a phone scrolls along it."""
    # The caption stands outside, where a phone need not scroll to read it.
    alone = picture_html(replace(drawn, caption=""))
    slide = f'<div style="min-width: 36rem; max-width: 72vw">{alone}</div>'
    return scrolling(slide, label=drawn.caption) + words_html([drawn.caption])


def sections_html(sections: Sequence[Section]) -> str:
    """Return sections of a page for the screen."""
    parts = []
    for section in sections:
        parts.append(f"<h3>{escape(section.heading)}</h3>")
        parts.append(words_html(section.words))
        parts += [slide_html(figure) for figure in section.figures]
        parts += [table_html(shown) for shown in section.tables]
        if section.bullets:
            parts.append(bullets_html(section.bullets))
    return "".join(parts)


def button(words: str) -> w.Button:
    """Return a button as wide as its words."""
    return w.Button(description=words, layout=w.Layout(width="max-content"))


class Later:
    """Does something once nobody has asked for it again for a moment.

    Notes
    -----
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
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._what()
            return
        self._waiting = loop.call_later(PAUSE, self._what)
