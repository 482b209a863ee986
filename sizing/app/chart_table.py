"""A size chart as a table to type in, with its problems beside it."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.form_words import bullets, name_words, status, wrong_lines
from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.charts import SizeChart, chart_from
from sizing.charts.size_chart import GROUPS
from sizing.errors import SizingError
from sizing.measures import MEASURES
from sizing.words.client import capital
from sizing.words.labels import labels


class ChartTable:
    """Rows are sizes, columns their limits; what is wrong is said at once.

    Attributes
    ----------
    chart : SizeChart or None
        What stands in the table; None while it has problems.
    """

    def __init__(
        self,
        chart: SizeChart,
        switch: UnitSwitch,
        changed: Callable[[SizeChart | None], object],
    ) -> None:
        self._told, self._switch = changed, switch
        self.chart: SizeChart | None = chart
        self._name, self._source = chart.name, chart.source
        self.table = EditableTable(
            _columns(chart),
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
        self._offer()

    def show(self, chart: SizeChart) -> None:
        """Show another chart; nobody is told."""
        self.chart = chart
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
        named = [(labels()[name].rsplit(",", 1)[0], name) for name in rest]
        self.more.options = [("no further measure", ""), *named]
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
    frame: Any = chart.frame.copy()
    for measure in chart.measures:
        for end in ("low", "high"):
            if f"{measure}_{end}" not in frame:
                frame[f"{measure}_{end}"] = None
    shown: pd.DataFrame = frame.astype(object).where(frame.notna(), None)
    return shown
