"""The parts that forms are made of, alike on every page, and who listens to them."""

from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from typing import Any

import ipywidgets as w

from sizing.app.form_words import bullets, paragraphs, status, wrong_lines
from sizing.errors import SizingError
from sizing.measures import MEASURES, PATTERNS, pattern_words
from sizing.people import population_titles

_ANY = "not said"


def fitting(**look: str) -> w.Layout:
    """Return a layout as wide as the words, and of one part alone.

    One made while a module loads is lost to a page opened anew on the same kernel.
    """
    return w.Layout(**{"width": "auto"} | look)


def wide(width: str) -> dict[str, Any]:
    """Return the look of a field with its words whole, no wider than the screen."""
    layout = w.Layout(width=width, max_width="calc(100% - 4px)")
    return {"style": {"description_width": "initial"}, "layout": layout}


def button(words: str, press: Callable[[], object], **look: str) -> w.Button:
    look = {"width": "max-content", "max_width": "calc(100% - 4px)"} | look
    made = w.Button(description=words, layout=fitting(**look))
    made.on_click(lambda _: press())
    return made


def tick(words: str, **given: Any) -> w.Checkbox:
    return w.Checkbox(description=words, layout=fitting(), indent=False, **given)


def number(
    words: str, value: int, most: int, *, width: str = "11rem"
) -> w.BoundedIntText:
    """Return a field for a whole number from 1."""
    ends = {"min": 1, "max": most, "value": value}
    return w.BoundedIntText(description=words, **ends, **wide(width))


def people_choice(start: str, **look: Any) -> w.Dropdown:
    options = [(title, name) for name, title in population_titles().items()]
    look = look or {"layout": fitting()}
    return w.Dropdown(options=options, value=start, description="People", **look)


def row(*parts: w.Widget) -> w.Box:
    """Put parts side by side, as far as the page is wide."""
    layout = w.Layout(flex_flow="row wrap", align_items="center")
    return w.Box(parts, layout=layout)


def show_if(yes: object, *parts: w.Widget) -> None:
    for part in parts:
        part.layout.display = None if yes else "none"


def folded(words: str, *widgets: w.Widget) -> w.VBox:
    """Return widgets that a button shows and hides: a keyboard reaches it."""
    turner = w.ToggleButton(description=words, layout=fitting())
    box = w.VBox(widgets, layout=w.Layout(display="none"))
    on_change(lambda: show_if(turner.value, box), turner)
    return w.VBox([turner, box])


def on_change(what: Callable[[], object], *fields: Any) -> None:
    """Call ``what`` whenever one of these changes: widgets, or fields of the kit."""
    for field in fields:
        if isinstance(field, w.Widget):
            field.observe(lambda _: what(), "value")
        else:
            field.on_change(what)


class Heard:
    """What tells whoever has asked of its changes."""

    def __init__(self) -> None:
        self._listeners: list[Callable[[], object]] = []

    def on_change(self, what: Callable[[], object]) -> None:
        self._listeners.append(what)

    def tell(self) -> None:
        for listener in self._listeners:
            listener()


class Told(w.HTML):
    """Says what was done, or what is wrong, in the units of the page."""

    def __init__(self, switch: Any = None) -> None:
        super().__init__()
        self._switch = switch

    def say(self, *lines: str) -> None:
        self.value = status(paragraphs(lines))

    def wrong(self, error: SizingError, **how: Any) -> None:
        units = "metric" if self._switch is None else self._switch.units
        self.value = status(bullets(wrong_lines(error, units=units, **how)))

    @contextmanager
    def wrong_is_told(self) -> Iterator[None]:
        """Say what is wrong with what is done in this block; it ends there."""
        self.value = ""
        try:
            yield
        except SizingError as error:
            self.wrong(error)


class PatternField:
    """A pattern of sling; beneath it what a chart lacks for it, and its warnings."""

    def __init__(self) -> None:
        # Before a chart is known only the pattern's own warnings can be given.
        self._limits: Collection[str] = MEASURES
        self.box = w.Dropdown(options=[_ANY, *PATTERNS], description="Pattern of sling")
        self.words = w.HTML()
        self.view = w.VBox([self.box, self.words])
        self.on_change(self._show)

    @property
    def pattern(self) -> str | None:
        return None if self.box.value == _ANY else str(self.box.value)

    def choose(self, pattern: str | None) -> None:
        self.box.value = pattern or _ANY

    def use_chart(self, limits: Collection[str]) -> None:
        self._limits = limits
        self._show()

    def on_change(self, what: Callable[[], object]) -> None:
        on_change(what, self.box)

    def _show(self) -> None:
        limits, told = self._limits, ""
        if self.pattern is not None:
            told = status(bullets(pattern_words(self.pattern, limits, limits)))
        self.words.value = told
