"""What goes into a lesson: whom, by which chart; and pieces of the trainer's page."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w

from sizing.app.client_fields import folded
from sizing.app.entry import UnitSwitch, UploadBox
from sizing.app.form_words import bullets, paragraphs, safe, wrong_lines
from sizing.app.pattern_field import PatternField
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.errors import SizingError
from sizing.measures.tables import CHART
from sizing.people import People, load_people, population_titles
from sizing.resources import texts

_T = texts("lesson")
_ANSWER = (
    "font-size: 1.25em; line-height: 1.45; padding: .6rem .8rem; max-width: 60rem; "
    "color: #1f2328; background: #f5f6f7; border-left: .3rem solid #1f2328"
)


def wrong_html(error: SizingError) -> str:
    return f'<div role="alert">{bullets(wrong_lines(error))}</div>'


def answer_html(words: str) -> str:
    return f'<p role="status" style="{_ANSWER}">{safe(words)}</p>'


def button(words: str, press: Callable[[], object]) -> w.Button:
    """Return a button as wide as its words, and what it does."""
    made = w.Button(description=words, layout=w.Layout(width="max-content"))
    made.on_click(lambda _: press())
    return made


def wide(width: str) -> dict[str, Any]:
    """Return the look of a field with its words whole, no wider than the screen."""
    layout = w.Layout(width=width, max_width="calc(100% - 4px)")
    return {"style": {"description_width": "initial"}, "layout": layout}


def number(
    words: str, value: int, most: int, *, width: str = "11rem"
) -> w.BoundedIntText:
    ends = {"min": 1, "max": most, "value": value}
    return w.BoundedIntText(description=words, **ends, **wide(width))


def wrapped(*widgets: w.Widget) -> w.Box:
    """Return widgets in a row, which wraps where the screen is narrow."""
    layout = w.Layout(flex_flow="row wrap", align_items="center")
    return w.Box(widgets, layout=layout)


class LessonSettings:
    def __init__(self, population: str = "adults", *, draws: int = 5) -> None:
        self.draws = draws
        self._read: SizeChart | SizingError = demo_chart()
        self._people: dict[tuple[str, int], People] = {}
        self._listeners: list[Callable[[], object]] = []
        self.population = w.Dropdown(
            options=[(title, name) for name, title in population_titles().items()],
            value=population,
            description="People",
            **wide("26rem"),
        )
        self.seed_box = number("Number of the draw", 1, 9999, width="15rem")
        help_ = _T.page["chart_help"]
        self.upload = UploadBox("Your size chart", help=help_, table=CHART)
        self.units = UnitSwitch()
        self.told, self.pattern = w.HTML(), PatternField()
        self.pattern.box.style.description_width = "initial"
        for field in (self.population, self.seed_box):
            field.observe(lambda _: self._changed(), "value")
        self.upload.on_change(self._take)
        same = w.HTML(paragraphs([_T.page["same"]]))
        more = folded(_T.page["more"], self.upload.view, self.seed_box, same)
        row = wrapped(self.population, self.units.view)
        self.view = w.VBox([row, self.pattern.view, self.told, more])
        self._tell()

    @property
    def chart(self) -> SizeChart:
        if isinstance(self._read, SizingError):
            raise self._read
        return self._read

    @property
    def seed(self) -> int:
        return int(self.seed_box.value)

    @property
    def sling(self) -> str | None:
        return self.pattern.pattern

    def people(self) -> People:
        key = str(self.population.value), self.seed
        if key not in self._people:
            found = load_people(key[0], draws=self.draws, seed=key[1])
            self._people = {key: found}
        return self._people[key]

    def on_change(self, what: Callable[[], object]) -> None:
        self._listeners.append(what)

    def _take(self) -> None:
        try:
            chart = self.upload.read(lambda path: read_chart(path, warn=False))
            self._read = chart or demo_chart()
        except SizingError as error:
            self._read = error
        self._tell()
        self._changed()

    def _tell(self) -> None:
        if isinstance(self._read, SizingError):
            self.told.value = wrong_html(self._read)
            return
        self.pattern.use_chart(self._read.measures)
        sizes = len(self._read.sizes)
        told = _T.page["chart_in_use"].format(chart=self._read.name, sizes=sizes)
        self.told.value = paragraphs([told])

    def _changed(self) -> None:
        for listener in self._listeners:
            listener()
