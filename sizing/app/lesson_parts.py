"""Pieces of the trainer's page: the answer, buttons, and fields for numbers."""

from collections.abc import Callable

import ipywidgets as w

from sizing.app.form_words import bullets, safe, wrong_lines
from sizing.errors import SizingError

_ANSWER = (
    "font-size: 1.25em; line-height: 1.45; padding: .6rem .8rem; max-width: 60rem; "
    "color: #1f2328; background: #f5f6f7; border-left: .3rem solid #1f2328"
)


def wrong_html(error: SizingError) -> str:
    """Return what is wrong, what is allowed and what to do."""
    return f'<div role="alert">{bullets(wrong_lines(error))}</div>'


def answer_html(words: str) -> str:
    """Return the answer, large enough for the back of a room."""
    return f'<p role="status" style="{_ANSWER}">{safe(words)}</p>'


def button(words: str, press: Callable[[], object]) -> w.Button:
    """Return a button as wide as its words, and what it does."""
    made = w.Button(description=words, layout=w.Layout(width="max-content"))
    made.on_click(lambda _: press())
    return made


def number(
    words: str, value: int, most: int, *, width: str = "11rem"
) -> w.BoundedIntText:
    """Return a field for a whole number from 1."""
    style, layout = {"description_width": "initial"}, w.Layout(width=width)
    return w.BoundedIntText(
        value=value, min=1, max=most, description=words, style=style, layout=layout
    )


def wrapped(*widgets: w.Widget) -> w.Box:
    """Return widgets in a row, which wraps where the screen is narrow."""
    layout = w.Layout(flex_flow="row wrap", align_items="center")
    return w.Box(widgets, layout=layout)
