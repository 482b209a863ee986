"""Charts kept by name: put away, set beside another, and chosen for a client."""

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

import ipywidgets as w

from sizing.app.form_words import bullets, paragraphs, status, wrong_lines
from sizing.app.upload import UploadBox
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.charts.files import KEPT, chart_bytes, keep_chart, kept_as, kept_charts
from sizing.errors import SizingError, caught_warnings

NOTHING, TAKEN = "nothing", "the chart as it was taken in"
FILE = "a chart in a file"
_TYPED = "{}, as it stands in the table"
#: Where a chart comes from that is neither kept nor the invented one, by its name.
Ways = Mapping[str, Callable[[], SizeChart | None]]


class KeepBox:
    """A button that keeps a chart by its name; another of that name only if asked."""

    def __init__(
        self, chart: Callable[[], SizeChart], kept: Callable[[], object]
    ) -> None:
        self._chart, self._kept = chart, kept
        fitting = w.Layout(width="auto")
        self.button = w.Button(description="Keep this chart", layout=fitting)
        self.over = w.Button(
            description="Replace the one kept",
            layout=w.Layout(width="auto", display="none"),
        )
        self.told = w.HTML()
        self.view = w.VBox([w.HBox([self.button, self.over]), self.told])
        self.button.on_click(lambda _: self._keep(over=False))
        self.over.on_click(lambda _: self._keep(over=True))

    def _keep(self, *, over: bool) -> None:
        try:
            path = keep_chart(self._chart(), over=over)
        except SizingError as error:
            self.told.value = status(bullets(wrong_lines(error)))
            taken = "kept by this name" in str(error)
            self.over.layout.display = None if taken else "none"
            return
        self.over.layout.display = "none"
        self.told.value = status(
            paragraphs([f"Kept as {path}, a plain file of yours."])
        )
        self._kept()


class ChartList:
    """A list to choose a chart from: ``ways`` first, then those kept, then the demo."""

    def __init__(self, words: str, ways: Ways, folder: str | Path = KEPT) -> None:
        self.ways, self._folder = ways, folder
        self.box = w.Dropdown(description=words, layout=w.Layout(width="auto"))
        self.refresh()

    @property
    def name(self) -> str:
        """The name of the chart chosen."""
        return str(self.box.value)

    def refresh(self) -> None:
        """Offer the charts that are kept now; the one chosen stays."""
        chosen = self.box.value
        names = [*self.ways, *kept_charts(self._folder), demo_chart().name]
        names = list(dict.fromkeys(names))
        if names != list(self.box.options):
            self.box.options = names
            self.box.value = chosen if chosen in names else names[0]

    def chart(self) -> SizeChart | None:
        """Return the chart chosen; None where there is none."""
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
        self.upload = UploadBox("A second chart, to compare")
        self.upload.view.layout.display = "none"
        read = partial(self.upload.read, partial(read_chart, warn=False))
        ways: Ways = {NOTHING: lambda: None, TAKEN: lambda: self.taken, FILE: read}
        super().__init__("Compare with", ways)
        self.view = w.VBox([self.box, self.upload.view])
        self.box.observe(lambda _: self._chosen(changed), "value")
        self.upload.on_change(changed)

    def _chosen(self, changed: Callable[[], object]) -> None:
        self.upload.view.layout.display = None if self.name == FILE else "none"
        changed()


class ChartChoice(ChartList):
    """The chart for a client; ``tell`` hears of the one chosen, None if unreadable.

    The chart kept last is chosen at first, the invented one where none is kept.

    >>> heard = []
    >>> choice = ChartChoice(heard.append, "no such folder")
    >>> choice.name == demo_chart().name == heard[-1].name
    True
    """

    def __init__(
        self, tell: Callable[[SizeChart | None], object], folder: str | Path = KEPT
    ) -> None:
        super().__init__("Chart", {}, folder)
        self._tell, self._quiet = tell, False
        self.told = w.HTML()
        self.view = w.VBox([self.box, self.told])
        self.box.observe(lambda _: self._chosen(), "value")
        self._chosen()

    def choose(self, name: str) -> bool:
        """Choose a chart by its name; say whether there is one of that name."""
        self.refresh()
        called = (name, kept_as(name), _TYPED.format(name))
        there = [one for one in called if one in self.box.options]
        if there:
            self.box.value = there[0]
        return bool(there)

    def offer(self, chart: SizeChart | None) -> None:
        """Choose the chart of the other half as it stands; None: it has problems."""
        name = next(iter(self.ways), _TYPED.format("my chart"))
        if chart is not None:
            path = kept_charts(self._folder).get(kept_as(chart.name))
            same = path is not None and path.read_bytes() == chart_bytes(chart)
            name = kept_as(chart.name) if same else _TYPED.format(chart.name)
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
