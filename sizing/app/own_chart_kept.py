"""Charts kept by name: put away, compared with, and chosen for a client."""

from collections.abc import Callable
from functools import partial
from pathlib import Path

import ipywidgets as w

from sizing.app.form_words import bullets, paragraphs, status, wrong_lines
from sizing.app.upload import UploadBox
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.charts.files import KEPT, chart_bytes, keep_chart, kept_charts
from sizing.errors import SizingError, caught_warnings

#: Where a second chart comes from, beside the files of those kept.
_TAKEN, _DEMO, _FILE = "taken", "demo", "file"
_TYPED = "{}, as it stands in the table"


def read_kept(path: str | Path) -> SizeChart:
    """Read a chart that was kept; how it was read need not be said again."""
    with caught_warnings():
        return read_chart(path, warn=False)


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


class CompareBox:
    """What the chart is set beside, if anything: nothing before it is asked for."""

    def __init__(self, changed: Callable[[], object]) -> None:
        self.taken: SizeChart | None = None
        self.upload = UploadBox("A second chart, to compare")
        self.upload.view.layout.display = "none"
        self.box = w.Dropdown(description="Compare with", layout=w.Layout(width="auto"))
        self.view = w.VBox([self.box, self.upload.view])
        self.refresh()
        self.box.observe(lambda _: self._chosen(), "value")
        self.upload.on_change(changed)
        self._changed = changed

    def refresh(self) -> None:
        """Offer the charts that are kept now; the one chosen stays."""
        options = [("nothing", ""), ("the chart as it was taken in", _TAKEN)]
        options += [(name, str(path)) for name, path in kept_charts().items()]
        options += [(demo_chart().name, _DEMO), ("a chart in a file", _FILE)]
        chosen = self.box.value
        self.box.options = options
        self.box.value = chosen if chosen in dict(options).values() else ""

    def chart(self) -> SizeChart | None:
        """Return the second chart, None where none is asked for."""
        where = str(self.box.value or "")
        if where == _TAKEN:
            return self.taken
        if where == _FILE:
            found: SizeChart | None = self.upload.read(partial(read_chart, warn=False))
            return found
        if where == _DEMO:
            return demo_chart()
        return read_kept(where) if where else None

    def _chosen(self) -> None:
        self.upload.view.layout.display = None if self.box.value == _FILE else "none"
        self._changed()


class ChartChoice:
    """A list of charts by name; ``tell`` hears of the one chosen, None if unreadable.

    The chart kept last is chosen at first, the invented one where none is kept.

    >>> heard = []
    >>> choice = ChartChoice(heard.append, "no such folder")
    >>> choice.name == demo_chart().name == heard[-1].name
    True
    """

    def __init__(
        self, tell: Callable[[SizeChart | None], object], folder: str | Path = KEPT
    ) -> None:
        self._tell, self._folder = tell, folder
        self._typed: dict[str, SizeChart | None] = {}
        self._quiet = False
        self.box = w.Dropdown(description="Chart", layout=w.Layout(width="auto"))
        self.told = w.HTML()
        self.view = w.VBox([self.box, self.told])
        self.box.observe(lambda _: self._chosen(), "value")
        self.refresh()
        self._chosen()

    @property
    def name(self) -> str:
        """The name of the chart chosen, to be kept with a client."""
        return str(self.box.value)

    def choose(self, name: str) -> bool:
        """Choose a chart by its name; say whether there is one of that name."""
        self.refresh()
        there = name in self.box.options
        if there:
            self.box.value = name
        return there

    def refresh(self) -> None:
        """Offer the charts that are kept now; the one chosen stays."""
        names = [*self._typed, *kept_charts(self._folder), demo_chart().name]
        chosen, self._quiet = self.box.value, True
        self.box.options = list(dict.fromkeys(names))
        self.box.value = chosen if chosen in names else names[0]
        self._quiet = False

    def offer(self, chart: SizeChart | None) -> None:
        """Choose the chart of the other half as it stands; None: it has problems."""
        name = next(iter(self._typed), _TYPED.format("my chart"))
        if chart is not None:
            path = kept_charts(self._folder).get(chart.name)
            same = path is not None and path.read_bytes() == chart_bytes(chart)
            name = chart.name if same else _TYPED.format(chart.name)
        self._typed = {name: chart}
        self.refresh()
        self._quiet, self.box.value = True, name
        self._quiet = False
        self._chosen()

    def _chosen(self) -> None:
        if self._quiet:
            return
        self.told.value = ""
        if self.name in self._typed:
            self._tell(self._typed[self.name])
            return
        path = kept_charts(self._folder).get(self.name)
        chart: SizeChart | None = demo_chart()
        try:
            chart = chart if path is None else read_kept(path)
        except SizingError as error:
            chart = None
            self.told.value = status(bullets(wrong_lines(error)))
        self._tell(chart)
