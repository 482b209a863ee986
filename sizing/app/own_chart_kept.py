"""Where a chart comes from, and where it goes: typed, pasted, a file, kept by name."""

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import ipywidgets as w
import pandas as pd

from sizing.app.entry import UploadBox
from sizing.app.fields import button, fitting
from sizing.app.form_words import (
    CHART_HEADINGS,
    bullets,
    file_headings,
    paragraphs,
    status,
    wrong_lines,
)
from sizing.app.own_chart_fields import MINE, ordered
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.charts.files import (
    KEPT,
    TYPED,
    chart_bytes,
    chart_from_text,
    keep_chart,
    kept_as,
    kept_charts,
)
from sizing.errors import ReadingNote, SizingError, caught_warnings
from sizing.measures.tables import CHART
from sizing.resources import texts

_T = texts("own_chart")
#: What an empty table has columns for, until other measures are ticked.
_FIRST = ("body_mass_kg", "hip_circumference_cm")
#: Where a chart comes from that is neither kept nor the invented one, by its name.
Ways = Mapping[str, Callable[[], SizeChart | None]]


class KeepBox:
    """A button that keeps a chart by its name; another of that name only if asked."""

    def __init__(
        self, chart: Callable[[], SizeChart], kept: Callable[[], object]
    ) -> None:
        self._chart, self._kept = chart, kept
        self.button = button(_T.keep, self._keep)
        over = partial(self._keep, over=True)
        self.over = button(_T.replace_kept, over, display="none")
        self.told = w.HTML()
        self.view = w.VBox([w.HBox([self.button, self.over]), self.told])

    def _keep(self, *, over: bool = False) -> None:
        try:
            path = keep_chart(self._chart(), over=over)
        except SizingError as error:
            self.told.value = status(bullets(wrong_lines(error)))
            taken = "kept by this name" in str(error)
            self.over.layout.display = None if taken else "none"
            return
        self.over.layout.display = "none"
        self.told.value = status(paragraphs([_T.kept_as.format(path=path)]))
        self._kept()


class ChartList:
    def __init__(self, words: str, ways: Ways, folder: str | Path = KEPT) -> None:
        self.ways, self._folder = ways, folder
        self.box = w.Dropdown(description=words, layout=fitting())
        self.refresh()

    @property
    def name(self) -> str:
        return str(self.box.value)

    def refresh(self) -> None:
        chosen = self.box.value
        names = [*self.ways, *kept_charts(self._folder), demo_chart().name]
        names = list(dict.fromkeys(names))
        if names != list(self.box.options):
            self.box.options = names
            self.box.value = chosen if chosen in names else names[0]

    def chart(self) -> SizeChart | None:
        if self.name in self.ways:
            return self.ways[self.name]()
        path = kept_charts(self._folder).get(self.name)
        if path is None:
            return demo_chart()
        # How it was read need not be said of a chart that the kit wrote.
        with caught_warnings():
            return read_chart(path, warn=False)


class CompareBox(ChartList):
    """What the chart is set beside, if anything: nothing before it is asked for."""

    def __init__(self, changed: Callable[[], object]) -> None:
        self.taken: SizeChart | None = None
        self.upload = UploadBox(_T.second)
        self.upload.view.layout.display = "none"
        read = partial(self.upload.read, partial(read_chart, warn=False))
        taken = {_T.nothing: lambda: None, _T.taken: lambda: self.taken}
        super().__init__(_T.compare, {**taken, _T.file: read})
        self.view = w.VBox([self.box, self.upload.view])
        self.box.observe(lambda _: self._chosen(changed), "value")
        self.upload.on_change(changed)

    def _chosen(self, changed: Callable[[], object]) -> None:
        self.upload.view.layout.display = None if self.name == _T.file else "none"
        changed()


class ChartChoice(ChartList):
    """The chart for a client; ``tell`` hears of the one chosen, None if unreadable.

    The chart kept last is chosen at first, the invented one where none is kept.
    """

    def __init__(
        self, tell: Callable[[SizeChart | None], object], folder: str | Path = KEPT
    ) -> None:
        super().__init__(_T.chart, {}, folder)
        self._tell, self._quiet = tell, False
        self.told = w.HTML()
        self.view = w.VBox([self.box, self.told])
        self.box.observe(lambda _: self._chosen(), "value")
        self._chosen()

    def choose(self, name: str) -> bool:
        """Choose a chart by its name; say whether there is one of that name."""
        self.refresh()
        called = (name, kept_as(name), _T.as_typed.format(name))
        there = [one for one in called if one in self.box.options]
        if there:
            self.box.value = there[0]
        return bool(there)

    def offer(self, chart: SizeChart | None) -> None:
        """Choose the chart of the other half as it stands; None: it has problems."""
        name = next(iter(self.ways), _T.as_typed.format(MINE))
        if chart is not None:
            path = kept_charts(self._folder).get(kept_as(chart.name))
            same = path is not None and path.read_bytes() == chart_bytes(chart)
            name = kept_as(chart.name) if same else _T.as_typed.format(chart.name)
        self._quiet, self.ways = True, {name: lambda: chart}
        self.choose(name)
        self._quiet = False
        self._chosen()

    def _chosen(self) -> None:
        if self._quiet:
            return
        self.told.value = ""
        chart: SizeChart | None = None
        try:
            chart = self.chart()
        except SizingError as error:
            self.told.value = status(bullets(wrong_lines(error)))
        self._tell(chart)


class ChartStart:
    """Where the chart comes from; ``taken`` hears of it, None if it is unreadable."""

    def __init__(
        self,
        taken: Callable[[SizeChart | None], object],
        blank: Callable[[pd.DataFrame, str, str], object],
    ) -> None:
        self._tell, self._blank = taken, blank
        rows = [*_T.rows.items()]
        self.rows = w.Dropdown(
            options=rows, value=9, description=_T.sizes, layout=fitting()
        )
        self.text = w.Textarea(
            description=_T.paste, rows=6, layout=fitting(max_width="60rem")
        )
        self.take = button(_T.take, lambda: self._taken(self._pasted))
        self.upload = UploadBox(_T.my_file, help=_T.file_help, table=CHART)
        self.kept = ChartList(_T.chart, {})
        self.open = button(_T.open, lambda: self._taken(self.kept.chart))
        parts = {
            "empty": [self.rows],
            "pasted": [w.HTML(paragraphs([_T.paste_help])), self.text, self.take],
            "file": [self.upload.view, w.HTML(file_headings(CHART_HEADINGS))],
            "kept": [self.kept.box, self.open],
        }
        panels = {words: parts[name] for name, words in _T.ways.items()}
        self.how = w.ToggleButtons(options=list(panels), description=_T.start)
        panel, self.told = w.VBox(panels[self.how.value]), w.HTML()
        self.view = w.VBox([self.how, panel, self.told])
        self.how.observe(
            lambda change: setattr(panel, "children", panels[change["new"]]), "value"
        )
        self.rows.observe(lambda _: self.empty(), "value")
        read = partial(self.upload.read, partial(read_chart, warn=False))
        self.upload.on_change(lambda: self._taken(read))

    def empty(self) -> None:
        frame = demo_chart().frame
        if self.rows.value:
            names = ["size", "load_limit_kg", *(f"{m}_low" for m in _FIRST)]
            frame = pd.DataFrame(columns=names, index=range(self.rows.value))
        numbers = frame.columns.difference(["size", "group"])
        self._blank(ordered(frame.assign(**dict.fromkeys(numbers))), MINE, TYPED)

    def _taken(self, read: Callable[[], SizeChart | None]) -> None:
        try:
            with caught_warnings() as caught:
                chart = read()
        except SizingError as error:
            # What cannot be read leaves no chart that could be taken for it.
            self.told.value = status(bullets(wrong_lines(error)))
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
        self.told.value = status(paragraphs([words, *notes]))
        self._tell(chart)

    def _pasted(self) -> SizeChart:
        if not self.text.value.strip():
            raise SizingError(_T.paste_first)
        return chart_from_text(self.text.value, MINE)
