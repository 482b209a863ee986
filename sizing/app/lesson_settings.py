"""What goes into a lesson: whom, by which chart; and pieces of the trainer's page."""

from collections.abc import Callable

import ipywidgets as w

from sizing.app.entry import UnitSwitch, UploadBox
from sizing.app.fields import (
    PatternField,
    folded,
    number,
    on_change,
    people_choice,
    row,
    wide,
)
from sizing.app.form_words import bullets, paragraphs, safe, wrong_lines
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.errors import SizingError
from sizing.measures.tables import CHART
from sizing.people import People, load_people
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


class LessonSettings:
    def __init__(self, population: str = "adults", *, draws: int = 5) -> None:
        self.draws = draws
        self._read: SizeChart | SizingError = demo_chart()
        self._people: dict[tuple[str, int], People] = {}
        self._listeners: list[Callable[[], object]] = []
        self.population = people_choice(population, **wide("26rem"))
        self.seed_box = number("Number of the draw", 1, 9999, width="15rem")
        help_ = _T.page["chart_help"]
        self.upload = UploadBox("Your size chart", help=help_, table=CHART)
        self.units = UnitSwitch()
        self.told, self.pattern = w.HTML(), PatternField()
        self.pattern.box.style.description_width = "initial"
        on_change(self._changed, self.population, self.seed_box)
        self.upload.on_change(self._take)
        same = w.HTML(paragraphs([_T.page["same"]]))
        more = folded(_T.page["more"], self.upload.view, self.seed_box, same)
        first = row(self.population, self.units.view)
        self.view = w.VBox([first, self.pattern.view, self.told, more])
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
