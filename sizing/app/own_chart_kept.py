"""Which chart a client is checked against: hers as it stands, one kept, the demo."""

from collections.abc import Callable
from pathlib import Path

import ipywidgets as w

from sizing.app.form_words import bullets, status, wrong_lines
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.charts.files import KEPT, kept_charts
from sizing.errors import SizingError


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
        name = chart.name if chart is not None else next(iter(self._typed), "my chart")
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
            chart = chart if path is None else read_chart(path, warn=False)
        except SizingError as error:
            chart = None
            self.told.value = status(bullets(wrong_lines(error)))
        self._tell(chart)
