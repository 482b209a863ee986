"""Pieces of the trainer's page: answers, pictures and tables as HTML, and waiting."""

from html import escape

import ipywidgets as w

from sizing.app.form_words import bullets as bullets_html
from sizing.app.form_words import paragraphs as words_html
from sizing.app.long_work import Later
from sizing.app.show import sections_html, slide_html
from sizing.errors import SizingError

__all__ = [
    "Later",
    "answer_html",
    "bullets_html",
    "button",
    "sections_html",
    "slide_html",
    "words_html",
    "wrong_html",
]

_ANSWER = (
    "font-size: 1.25em; line-height: 1.45; padding: .6rem .8rem; max-width: 60rem; "
    "color: #1f2328; background: #f5f6f7; border-left: .3rem solid #1f2328"
)


def wrong_html(error: SizingError) -> str:
    """Return what is wrong, what is allowed and what to do, as an error says it."""
    return f'<div role="alert">{words_html(str(error).splitlines())}</div>'


def answer_html(words: str) -> str:
    """Return the answer, large enough for the back of a room."""
    return f'<p role="status" style="{_ANSWER}">{escape(words)}</p>'


def button(words: str) -> w.Button:
    """Return a button as wide as its words."""
    return w.Button(description=words, layout=w.Layout(width="max-content"))
