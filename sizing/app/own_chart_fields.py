"""Where an own chart comes from and goes, its table to type in, a slider on an edge."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app import form_words as html
from sizing.app.fields import (
    Told,
    UnitSwitch,
    UploadBox,
    button,
    fitting,
    on_change,
    row,
    show_if,
    tick,
)
from sizing.app.table import EditableTable
from sizing.charts import (
    GROUPS,
    SizeChart,
    chart_from,
    demo_chart,
    files,
    read_chart,
    review_chart,
)
from sizing.errors import ReadingNote, SizingError, caught_warnings
from sizing.measures import MEASURES, written
from sizing.measures.tables import CHART
from sizing.resources import texts
from sizing.words.client import capital, finding_words
from sizing.words.labels import labels

_T = texts("own_chart")
#: What a chart is called that its user has not named.
MINE: str = _T.mine
#: So many changes can be undone.
_MOST_STEPS = 100
#: What an empty table has columns for, until other measures are ticked.
_FIRST = ("body_mass_kg", "hip_circumference_cm")
#: What is doubtful in a chart is said of its table.
_read = partial(read_chart, warn=False)


class ChartTable:
    """Rows are sizes, columns their limits; ``chart`` is None while it has problems."""

    def __init__(
        self, switch: UnitSwitch, changed: Callable[[SizeChart | None], object]
    ) -> None:
        self._told, self._switch = changed, switch
        self._past: list[tuple[pd.DataFrame, str, str]] = []
        self._at, self._quiet, self._source = -1, False, ""
        self.chart: SizeChart | None = None
        self.table = EditableTable(
            pd.DataFrame({"size": []}),
            switch=switch,
            can_add=True,
            column_units=True,
            caption=_T.caption,
            headings=lambda name: capital(html.name_words(name)),
            choices={"group": GROUPS},
        )
        self.name = w.Text(description=_T.name, continuous_update=False)
        on_change(self._changed, self.table, self.name)
        ticks = [*named(MEASURES), (_T.group, "group")]
        self.limited = {name: tick(label) for label, name in ticks}
        for name, box in self.limited.items():
            on_change(partial(self._limit, name), box)
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
        if not self._quiet:
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
            about = {"chart_name": name, "chart_source": self._source}
            self.chart = chart_from(frame.assign(**about), warn=False)
        except SizingError as error:
            rows = [str(size or "") for size in frame.get("size", [])]
            lines = html.wrong_lines(error, units=self._switch.units, rows=rows)
            self.problems.value = html.status(_T.before_use + html.bullets(lines))
            return
        say = partial(written, units=self._switch.units)
        if doubts := finding_words(review_chart(self.chart), say=say):
            lines = [f"{capital(doubt)}." for doubt in doubts]
            self.problems.value = _T.to_look_at + html.bullets(lines)

    def _limit(self, measure: str) -> None:
        """Add the columns of a measure that is ticked, take away those of one not."""
        if not self._quiet:
            cells, columns = self.table.cells, columns_of(measure)
            if self.limited[measure].value:
                cells[columns] = None
            else:
                cells = cells.drop(columns=columns)
            self.table.set(ordered(cells))
            self._changed()


def columns_of(name: str) -> list[str]:
    return [name] if name == "group" else [f"{name}_low", f"{name}_high"]


def ordered(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a chart's columns in the kit's order, both ends of each measure it has."""
    ends = [columns_of(m) for m in MEASURES]
    kept = [c for both in ends if {*both} & {*frame} for c in both]
    first = [c for c in ("size", "group", "load_limit_kg") if c in frame]
    columns = list(dict.fromkeys([*first, *kept, *frame]))
    made = frame.reindex(columns=columns).astype(object)
    return made.where(made.notna(), None)


def named(measures: Sequence[str]) -> list[tuple[str, str]]:
    return [(labels()[name].rsplit(",", 1)[0], name) for name in measures]


def offer_in(box: w.Dropdown, names: Sequence[str], options: Sequence[Any]) -> None:
    """Offer these names, and keep what was chosen if it is among them."""
    chosen, box.options = box.value, options
    box.value = chosen if chosen in names else names[0]


class KeepBox:
    """A button that keeps a chart by its name; another of that name only if asked."""

    def __init__(
        self, chart: Callable[[], SizeChart], kept: Callable[[], object]
    ) -> None:
        self._chart, self._kept, self.told = chart, kept, Told()
        over = partial(self._keep, over=True)
        self.button = button(_T.keep, self._keep)
        self.over = button(_T.replace_kept, over, display="none")
        self.view = w.VBox([w.HBox([self.button, self.over]), self.told])

    def _keep(self, *, over: bool = False) -> None:
        try:
            path = files.keep_chart(self._chart(), over=over)
        except SizingError as error:
            self.told.wrong(error)
            show_if("kept by this name" in str(error), self.over)
            return
        show_if(False, self.over)
        self.told.say(_T.kept_as.format(path=path))
        self._kept()


class ChartList:
    """Charts kept by name and the invented one; ``ways``: what else, by its name."""

    def __init__(
        self,
        words: str,
        ways: Mapping[str, Callable[[], SizeChart | None]],
        folder: str | Path = files.KEPT,
    ) -> None:
        self.ways, self._folder = ways, folder
        self.box = w.Dropdown(description=words, layout=fitting())
        self.refresh()

    @property
    def name(self) -> str:
        return str(self.box.value)

    def refresh(self) -> None:
        names = [*self.ways, *files.kept_charts(self._folder), demo_chart().name]
        names = list(dict.fromkeys(names))
        if names != list(self.box.options):
            offer_in(self.box, names, names)

    def chart(self) -> SizeChart | None:
        if self.name in self.ways:
            return self.ways[self.name]()
        path = files.kept_charts(self._folder).get(self.name)
        # How it was read need not be said of a chart that the kit wrote.
        with caught_warnings():
            return demo_chart() if path is None else _read(path)


class CompareBox(ChartList):
    """What the chart is set beside, if anything: nothing before it is asked for."""

    def __init__(self, changed: Callable[[], object]) -> None:
        self.taken: SizeChart | None = None
        self.upload = UploadBox(_T.second)
        taken = {_T.nothing: lambda: None, _T.taken: lambda: self.taken}
        super().__init__(
            _T.compare, {**taken, _T.file: lambda: self.upload.read(_read)}
        )
        self.view = w.VBox([self.box, self.upload.view])
        on_change(self._turn, self.box)
        on_change(changed, self.box, self.upload)
        self._turn()

    def _turn(self) -> None:
        show_if(self.name == _T.file, self.upload.view)


class ChartChoice(ChartList):
    """The chart for a client, at first the one kept last; ``tell`` hears of it."""

    def __init__(
        self,
        tell: Callable[[SizeChart | None], object],
        folder: str | Path = files.KEPT,
    ) -> None:
        super().__init__(_T.chart, {}, folder)
        self._tell, self._quiet, self.told = tell, False, Told()
        self.view = w.VBox([self.box, self.told])
        on_change(self._chosen, self.box)
        self._chosen()

    def choose(self, name: str) -> bool:
        """Choose a chart by its name; say whether there is one of that name."""
        self.refresh()
        called = (name, files.kept_as(name), _T.as_typed.format(name))
        there = [one for one in called if one in self.box.options]
        if there:
            self.box.value = there[0]
        return bool(there)

    def offer(self, chart: SizeChart | None) -> None:
        """Choose the chart of the other half as it stands; None: it has problems."""
        name = next(iter(self.ways), _T.as_typed.format(MINE))
        if chart is not None:
            path = files.kept_charts(self._folder).get(files.kept_as(chart.name))
            same = path is not None and path.read_bytes() == files.chart_bytes(chart)
            name = files.kept_as(chart.name) if same else _T.as_typed.format(chart.name)
        self._quiet, self.ways = True, {name: lambda: chart}
        self.choose(name)
        self._quiet = False
        self._chosen()

    def _chosen(self) -> None:
        if not self._quiet:
            chart: SizeChart | None = None
            with self.told.wrong_is_told():
                chart = self.chart()
            self._tell(chart)


class ChartStart:
    """Where the chart comes from; ``taken`` hears of it, None if it is unreadable."""

    def __init__(
        self,
        taken: Callable[[SizeChart | None], object],
        blank: Callable[[pd.DataFrame, str, str], object],
    ) -> None:
        self._tell, self._blank, self.told = taken, blank, Told()
        rows = {"options": [*_T.rows.items()], "value": 9}
        self.rows = w.Dropdown(description=_T.sizes, layout=fitting(), **rows)
        self.text = w.Textarea(
            description=_T.paste, rows=6, layout=fitting(max_width="60rem")
        )
        self.take = button(_T.take, lambda: self._taken(self._pasted))
        self.upload = UploadBox(_T.my_file, help=_T.file_help, table=CHART)
        self.kept = ChartList(_T.chart, {})
        self.open = button(_T.open, lambda: self._taken(self.kept.chart))
        parts = {
            "empty": [self.rows],
            "pasted": [w.HTML(html.paragraphs([_T.paste_help])), self.text, self.take],
            "file": [self.upload.view, w.HTML(html.file_headings(html.CHART_HEADINGS))],
            "kept": [self.kept.box, self.open],
        }
        panels = {words: parts[name] for name, words in _T.ways.items()}
        self.how = w.ToggleButtons(options=list(panels), description=_T.start)
        panel = w.VBox(panels[self.how.value])
        self.view = w.VBox([self.how, panel, self.told])
        on_change(lambda: setattr(panel, "children", panels[self.how.value]), self.how)
        on_change(self.empty, self.rows)
        on_change(lambda: self._taken(lambda: self.upload.read(_read)), self.upload)

    def empty(self) -> None:
        frame = demo_chart().frame
        if self.rows.value:
            names = ["size", "load_limit_kg", *(f"{m}_low" for m in _FIRST)]
            frame = pd.DataFrame(columns=names, index=range(self.rows.value))
        numbers = frame.columns.difference(["size", "group"])
        self._blank(ordered(frame.assign(**dict.fromkeys(numbers))), MINE, files.TYPED)

    def _taken(self, read: Callable[[], SizeChart | None]) -> None:
        try:
            with caught_warnings() as caught:
                chart = read()
        except SizingError as error:
            # What cannot be read leaves no chart that could be taken for it.
            self.told.wrong(error)
            self._tell(None)
            return
        if chart is None:
            self.told.value = ""
            self.empty()
            return
        count = len(chart.sizes)
        sizes = f"{count} size{'s' * (count != 1)}"
        words = _T.in_use.format(name=chart.name, sizes=sizes)
        notes = [str(c.message) for c in caught if issubclass(c.category, ReadingNote)]
        self.told.say(words, *notes)
        self._tell(chart)

    def _pasted(self) -> SizeChart:
        if not self.text.value.strip():
            raise SizingError(_T.paste_first)
        return files.chart_from_text(self.text.value, MINE)
