"""Small parts of forms that are as wide as their words."""

from collections.abc import Callable, Iterable

import ipywidgets as w


def fitting(**look: str) -> w.Layout:
    return w.Layout(width="auto", **look)


def button(words: str, press: Callable[[], object], **look: str) -> w.Button:
    made = w.Button(description=words, layout=fitting(**look))
    made.on_click(lambda _: press())
    return made


def row(parts: Iterable[w.Widget], **look: str) -> w.Box:
    return w.Box([*parts], layout=w.Layout(flex_flow="row wrap", **look))
