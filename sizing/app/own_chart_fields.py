"""A size chart as a table to type in, and a slider on one of its edges."""

from collections.abc import Callable, Iterable

import ipywidgets as w
import pandas as pd

from sizing.app.form_words import bullets, name_words, status, wrong_lines
from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.charts import SizeChart, chart_from
from sizing.charts.size_chart import GROUPS
from sizing.errors import SizingError
from sizing.measures import MEASURES
from sizing.measures.typed import understood
from sizing.measures.written import unit_of
from sizing.words.client import capital
from sizing.words.labels import labels

_STEPS = {"cm": 0.5, "kg": 0.5, "in": 0.25, "lb": 1.0}


class ChartTable:
    """Rows are sizes, columns their limits; what is wrong is said at once.

    ``chart`` is what stands in the table; None while it has problems.
    """

    def __init__(
        self,
        chart: SizeChart,
        switch: UnitSwitch,
        changed: Callable[[SizeChart | None], object],
    ) -> None:
        self._told, self._switch = changed, switch
        self.table = EditableTable(
            chart.frame[:0],
            switch=switch,
            can_add=True,
            caption="The chart: one row per size, smallest first; empty: no limit",
            headings=lambda name: capital(name_words(name)),
            choices={"group": GROUPS},
        )
        self.table.on_change(self._changed)
        self.problems = w.HTML()
        self.more = w.Dropdown(
            description="Also limited by", layout=w.Layout(width="auto")
        )
        self.more.observe(lambda _: self._add_measure(), "value")
        self.view = w.VBox([self.table.view, self.more, self.problems])
        switch.on_change(lambda _: self._judge())
        self.show(chart)

    def show(self, chart: SizeChart) -> None:
        """Show another chart; nobody is told."""
        self.chart: SizeChart | None = chart
        self._name, self._source = chart.name, chart.source
        self.table.set(_columns(chart))
        self.problems.value = ""
        self._offer()

    def put(self, chart: SizeChart, size: str, column: str) -> None:
        """Show the same chart with one edge moved; nobody is told."""
        self.chart = chart
        row = chart.sizes.index(size)
        self.table.put(row, column, float(chart.frame[column].iloc[row]))

    def _changed(self) -> None:
        self._judge()
        self._told(self.chart)

    def _judge(self) -> None:
        frame = self.table.frame
        try:
            self.chart = chart_from(
                frame, name=self._name, source=self._source, warn=False
            )
        except SizingError as error:
            self.chart = None
            rows = [str(size or "") for size in frame.get("size", [])]
            lines = wrong_lines(error, units=self._switch.units, rows=rows)
            words = "<p><b>Before this chart can be used:</b></p>"
            self.problems.value = status(words + bullets(lines))
            return
        self.problems.value = ""

    def _offer(self) -> None:
        """Offer the measures that the chart does not limit yet."""
        have = set(self.table.frame.columns)
        rest = [name for name in MEASURES if f"{name}_low" not in have]
        self.more.options = [("no further measure", ""), *_named(rest)]
        self.more.value = ""

    def _add_measure(self) -> None:
        name = self.more.value
        if not name:
            return
        frame = self.table.frame
        frame[f"{name}_low"], frame[f"{name}_high"] = None, None
        self.table.set(frame)
        self._offer()


def _columns(chart: SizeChart) -> pd.DataFrame:
    """Return the chart's frame with both columns of every measure, empty as None."""
    ends = [f"{m}_{end}" for m in chart.measures for end in ("low", "high")]
    columns = dict.fromkeys([*chart.frame, *ends])
    frame = chart.frame.reindex(columns=list(columns)).astype(object)
    return frame.where(frame.notna(), None)


def _named(measures: Iterable[str]) -> list[tuple[str, str]]:
    """Return measures as a list to choose from."""
    return [(labels()[name].rsplit(",", 1)[0], name) for name in measures]


class EdgeSlider:
    """Which edge of which size in which measure, and a slider in the units chosen."""

    def __init__(
        self,
        switch: UnitSwitch,
        chosen: Callable[[], object],
        moved: Callable[[], object],
    ) -> None:
        self._switch, self._chosen, self._moved = switch, chosen, moved
        self._quiet = False
        narrow = w.Layout(width="auto")
        self.size = w.Dropdown(description="Size", layout=narrow)
        self.measure = w.Dropdown(description="Measure", layout=narrow)
        self.end = w.Dropdown(
            options=[("low edge", "low"), ("high edge", "high")],
            description="Edge",
            layout=narrow,
        )
        self.value = w.FloatSlider(
            readout_format=".1f",
            continuous_update=False,
            layout=w.Layout(width="auto", max_width="36rem"),
        )
        self.view = w.VBox([self.size, self.measure, self.end, self.value])
        for box in (self.size, self.measure, self.end):
            box.observe(lambda _: self._tell(self._chosen), "value")
        self.value.observe(lambda _: self._tell(self._moved), "value")

    @property
    def at(self) -> str:
        """The size chosen."""
        return str(self.size.value)

    @property
    def of(self) -> str:
        """The measure chosen."""
        return str(self.measure.value)

    @property
    def which(self) -> str:
        """Which end: ``low`` or ``high``."""
        return str(self.end.value)

    def number(self) -> float:
        """Return where the slider stands, in cm or kg, to a tenth."""
        return round(float(self.value.value) * self._factor(), 1)

    def offer(self, chart: SizeChart) -> None:
        """Offer the edges of a chart; what was chosen stays if it is there."""
        size, measure = self.size.value, self.measure.value
        self._quiet = True
        self.size.options = list(chart.sizes)
        self.measure.options = _named(chart.measures)
        self.size.value = size if size in chart.sizes else chart.sizes[0]
        self.measure.value = measure if measure in chart.measures else chart.measures[0]
        self._quiet = False
        self.point(chart)

    def point(self, chart: SizeChart) -> None:
        """Set the slider to the edge that is chosen."""
        frame, factor = chart.frame, self._factor()
        ends = [f"{self.of}_{end}" for end in ("low", "high")]
        edges = frame.reindex(columns=ends).astype(float)
        low, high = edges.min().min(), edges.max().max()
        room = 0.2 * (high - low) + 5
        row = chart.sizes.index(self.at)
        edge = edges[f"{self.of}_{self.which}"].iloc[row]
        unit = self._unit()
        self._quiet = True
        self.value.min, self.value.max = 0.0, 1e4
        self.value.step = _STEPS[unit]
        self.value.description = f"Edge, {unit}"
        self.value.value = (high if pd.isna(edge) else edge) / factor
        self.value.min = float(round(max(low - room, 0) / factor))
        self.value.max = float(round((high + room) / factor))
        self._quiet = False

    def _factor(self) -> float:
        """Return the size in cm or kg of the unit chosen."""
        return understood(f"1 {self._unit()}", self.of)

    def _unit(self) -> str:
        # A slider has one number: 12.10 of stone would be no 12 st 10 lb.
        unit = unit_of(self.of, self._switch.units)
        return "lb" if unit == "st" else unit

    def _tell(self, whom: Callable[[], object]) -> None:
        if not self._quiet:
            whom()
