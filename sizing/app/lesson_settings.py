"""What goes into a lesson: whom, by which chart, in which units."""

from collections.abc import Callable

import ipywidgets as w

from sizing.app.client_fields import folded
from sizing.app.form_words import paragraphs
from sizing.app.lesson_parts import number, wrapped, wrong_html
from sizing.app.pattern_field import PatternField
from sizing.app.units import UnitSwitch
from sizing.app.upload import UploadBox
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.errors import SizingError
from sizing.measures.tables import CHART
from sizing.people import People, load_people, population_titles

_CHART_HELP = (
    "One row per size, as CSV or XLSX, like the chart on the adviser's page. Without a "
    "file the lesson uses an invented chart: nobody may choose a sling by it."
)
_SAME = "<p>The same number gives the same people and cards.</p>"


class LessonSettings:
    """The entries that the whole lesson rests on."""

    def __init__(
        self,
        population: str = "adults",
        chart: SizeChart | None = None,
        *,
        draws: int = 5,
    ) -> None:
        self.draws = draws
        self._own = chart or demo_chart()
        self._read: SizeChart | SizingError = self._own
        self._people: dict[tuple[str, int], People] = {}
        self._listeners: list[Callable[[], object]] = []
        self.population = w.Dropdown(
            options=[(title, name) for name, title in population_titles().items()],
            value=population,
            description="People",
            style={"description_width": "initial"},
            layout=w.Layout(width="26rem", max_width="calc(100% - 4px)"),
        )
        self.seed_box = number("Number of the draw", 1, 9999, width="15rem")
        self.upload = UploadBox("Your size chart", help=_CHART_HELP, table=CHART)
        self.units = UnitSwitch()
        self.told, self.pattern = w.HTML(), PatternField()
        self.pattern.box.style.description_width = "initial"
        for field in (self.population, self.seed_box):
            field.observe(lambda _: self._changed(), "value")
        self.upload.on_change(self._take)
        more = folded(
            "A size chart of your own; the number of the draw",
            *(self.upload.view, self.seed_box, w.HTML(_SAME)),
        )
        row = wrapped(self.population, self.units.view)
        self.view = w.VBox([row, self.pattern.view, self.told, more])
        self._tell()

    @property
    def chart(self) -> SizeChart:
        """The chart in use."""
        if isinstance(self._read, SizingError):
            raise self._read
        return self._read

    @property
    def seed(self) -> int:
        """The number of the draw."""
        return int(self.seed_box.value)

    def people(self) -> People:
        """Return the people chosen, loaded once."""
        key = str(self.population.value), self.seed
        if key not in self._people:
            found = load_people(key[0], draws=self.draws, seed=key[1])
            self._people = {key: found}
        return self._people[key]

    def on_change(self, what: Callable[[], object]) -> None:
        """Call ``what`` whenever people, chart or number change."""
        self._listeners.append(what)

    def _take(self) -> None:
        try:
            chart = self.upload.read(lambda path: read_chart(path, warn=False))
            self._read = self._own if chart is None else chart
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
        told = f"Chart in use: {self._read.name}, {sizes} sizes."
        self.told.value = paragraphs([told])

    def _changed(self) -> None:
        for listener in self._listeners:
            listener()
