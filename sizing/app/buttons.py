"""Small parts of forms that are as wide as their words."""

from collections.abc import Callable, Iterable

import ipywidgets as w


def fitting(**look: str) -> w.Layout:
    """Return a layout as wide as what is in it."""
    return w.Layout(width="auto", **look)


def button(words: str, press: Callable[[], object], **look: str) -> w.Button:
    """Return a button, and what pressing it does."""
    made = w.Button(description=words, layout=fitting(**look))
    made.on_click(lambda _: press())
    return made


def row(parts: Iterable[w.Widget], **look: str) -> w.Box:
    """Return parts beside each other, in as many lines as they need."""
    return w.Box([*parts], layout=w.Layout(flex_flow="row wrap", **look))
