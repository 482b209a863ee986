"""A size chart as a table to type in, and a slider on one of its edges."""

from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.entry import UnitSwitch
from sizing.app.fields import button, fitting, row
from sizing.app.form_words import bullets, heading, name_words, status, wrong_lines
from sizing.app.table import EditableTable
from sizing.charts import GROUPS, SizeChart, chart_from, review_chart
from sizing.errors import SizingError
from sizing.measures import MEASURES, unit_of, written
from sizing.measures.typed import understood
from sizing.resources import texts
from sizing.words.chart import finding_words
from sizing.words.client import capital
from sizing.words.labels import labels

_T = texts("own_chart")
#: What a chart is called that its user has not named.
MINE: str = _T.mine
#: So many changes can be undone.
_MOST_STEPS = 100
_STEPS = {"cm": 0.5, "kg": 0.5, "in": 0.25, "lb": 1.0}


class ChartTable:
    """Rows are sizes, columns their limits; what is wrong is said at once.

    ``chart`` is None while the table is empty or wrong; every change is remembered.
    """

    def __init__(
        self, switch: UnitSwitch, changed: Callable[[SizeChart | None], object]
    ) -> None:
        self._told, self._switch = changed, switch
        self._past: list[tuple[pd.DataFrame, str, str]] = []
        self._at, self._quiet = -1, False
        self._source = ""
        self.chart: SizeChart | None = None
        self.table = EditableTable(
            pd.DataFrame({"size": []}),
            switch=switch,
            can_add=True,
            column_units=True,
            caption=_T.caption,
            headings=lambda name: capital(name_words(name)),
            choices={"group": GROUPS},
        )
        self.table.on_change(self._changed)
        self.name = w.Text(description=_T.name, continuous_update=False)
        self.name.observe(lambda _: self._changed(), "value")
        self.limited = {
            name: w.Checkbox(description=label, indent=False, layout=fitting())
            for label, name in (*_named(MEASURES), (_T.group, "group"))
        }
        for name, box in self.limited.items():
            box.observe(partial(self._limit, name), "value")
        self.undo = button(_T.undo, partial(self._step, -1))
        self.redo = button(_T.redo, partial(self._step, 1))
        self.problems = w.HTML()
        limits, steps = row(*self.limited.values()), row(self.undo, self.redo)
        parts = [w.HTML(_T.limits), limits, self.table.view, steps, self.problems]
        self.view = w.VBox(parts)
        switch.on_change(lambda _: self._judge())

    @property
    def empty(self) -> bool:
        return bool(self.table.frame.empty)

    def show(self, frame: pd.DataFrame, name: str, source: str) -> None:
        self._put(frame, name, source)
        self._changed()

    def move(self, chart: SizeChart, size: str, column: str) -> None:
        row = chart.sizes.index(size)
        self.table.put(row, column, float(chart.frame[column].iloc[row]))
        self._changed()

    def _put(self, frame: pd.DataFrame, name: str, source: str) -> None:
        self._quiet, self._source = True, source
        self.table.set(frame)
        self.name.value = name
        for measure, box in self.limited.items():
            box.value = columns_of(measure)[0] in frame
        self._quiet = False

    def _changed(self) -> None:
        if self._quiet:
            return
        now = (self.table.cells, self.name.value, self._source)
        self._past = [*self._past[: self._at + 1], now][-_MOST_STEPS:]
        self._at = len(self._past) - 1
        self._tell()

    def _step(self, by: int) -> None:
        if 0 <= self._at + by < len(self._past):
            self._at += by
            self._put(*self._past[self._at])
            self._tell()

    def _tell(self) -> None:
        self.undo.disabled = self._at < 1
        self.redo.disabled = self._at == len(self._past) - 1
        self._judge()
        self._told(self.chart)

    def _judge(self) -> None:
        frame, self.problems.value, self.chart = self.table.frame, "", None
        if frame.empty:
            return
        name = self.name.value.strip() or MINE
        try:
            named = frame.assign(chart_name=name, chart_source=self._source)
            self.chart = chart_from(named, warn=False)
        except SizingError as error:
            rows = [str(size or "") for size in frame.get("size", [])]
            lines = wrong_lines(error, units=self._switch.units, rows=rows)
            self.problems.value = status(_T.before_use + bullets(lines))
            return
        say = partial(written, units=self._switch.units)
        if doubts := finding_words(review_chart(self.chart), say=say):
            lines = [f"{capital(doubt)}." for doubt in doubts]
            self.problems.value = _T.to_look_at + bullets(lines)

    def _limit(self, measure: str, change: dict[str, Any]) -> None:
        """Add the columns of a measure that is ticked, take away those of one not."""
        if self._quiet:
            return
        cells, columns = self.table.cells, columns_of(measure)
        if change["new"]:
            cells[columns] = None
        else:
            cells = cells.drop(columns=columns)
        self.table.set(ordered(cells))
        self._changed()


def columns_of(name: str) -> list[str]:
    return [name] if name == "group" else [f"{name}_low", f"{name}_high"]


def ordered(frame: pd.DataFrame) -> pd.DataFrame:
    have = {name for m in MEASURES for name in columns_of(m) if name in frame}
    kept = [c for m in MEASURES if have & {*columns_of(m)} for c in columns_of(m)]
    first = [c for c in ("size", "group", "load_limit_kg") if c in frame]
    columns = list(dict.fromkeys([*first, *kept, *frame]))
    made = frame.reindex(columns=columns).astype(object)
    return made.where(made.notna(), None)


def _named(measures: Iterable[str]) -> list[tuple[str, str]]:
    return [(labels()[name].rsplit(",", 1)[0], name) for name in measures]


class EdgeSlider:
    def __init__(
        self,
        switch: UnitSwitch,
        chosen: Callable[[], object],
        moved: Callable[[], object],
    ) -> None:
        self._switch, self._chosen, self._moved = switch, chosen, moved
        self._quiet = False
        self.size, self.measure, self.end = (
            w.Dropdown(description=words, layout=fitting(), options=options)
            for words, options in (
                (_T.size, ()),
                (_T.measure, ()),
                (_T.edge, [*_T.ends.items()]),
            )
        )
        self.value = w.FloatSlider(
            readout_format=".1f",
            continuous_update=False,
            layout=fitting(max_width="36rem"),
        )
        boxes = [self.size, self.measure, self.end]
        self.view = w.VBox([w.HTML(heading(_T.edge_title)), *boxes, self.value])
        for box in boxes:
            box.observe(lambda _: self._tell(self._chosen), "value")
        self.value.observe(lambda _: self._tell(self._moved), "value")

    def number(self) -> float:
        return round(float(self.value.value) * self._factor(), 1)

    def offer(self, chart: SizeChart | None) -> None:
        self.view.layout.display = None if chart is not None else "none"
        if chart is None:
            return
        self._quiet = True
        for box, names, options in (
            (self.size, chart.sizes, chart.sizes),
            (self.measure, chart.measures, _named(chart.measures)),
        ):
            chosen, box.options = box.value, options
            box.value = chosen if chosen in names else names[0]
        self._quiet = False
        self.point(chart)

    def point(self, chart: SizeChart) -> None:
        frame, factor = chart.frame, self._factor()
        edges = frame.reindex(columns=columns_of(self.measure.value)).astype(float)
        low, high = edges.min().min(), edges.max().max()
        room = 0.2 * (high - low) + 5
        row = chart.sizes.index(self.size.value)
        edge = edges[f"{self.measure.value}_{self.end.value}"].iloc[row]
        unit = self._unit()
        self._quiet = True
        self.value.min, self.value.max = 0.0, 1e4
        self.value.step = _STEPS[unit]
        self.value.description = _T.edge_in.format(unit=unit)
        self.value.value = (high if pd.isna(edge) else edge) / factor
        self.value.min = float(round(max(low - room, 0) / factor))
        self.value.max = float(round((high + room) / factor))
        self._quiet = False

    def _factor(self) -> float:
        return understood(f"1 {self._unit()}", self.measure.value)

    def _unit(self) -> str:
        # A slider has one number: 12.10 of stone would be no 12 st 10 lb.
        unit = unit_of(self.measure.value, self._switch.units)
        return "lb" if unit == "st" else unit

    def _tell(self, whom: Callable[[], object]) -> None:
        if not self._quiet:
            whom()
