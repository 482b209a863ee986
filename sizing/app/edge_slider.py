"""A slider on one edge of a chart, in the units of the page."""

from collections.abc import Callable

import ipywidgets as w
import pandas as pd

from sizing.app.units import UnitSwitch
from sizing.charts import SizeChart
from sizing.measures.typed import understood
from sizing.measures.written import unit_of
from sizing.words.labels import labels

_STEPS = {"cm": 0.5, "kg": 0.5, "in": 0.25, "lb": 1.0}


class EdgeSlider:
    """Which edge of which size in which measure, and a slider to move it.

    Attributes
    ----------
    value : ipywidgets.FloatSlider
        In the units chosen.
    """

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
        called = labels()
        self.measure.options = [
            (called[name].rsplit(",", 1)[0], name) for name in chart.measures
        ]
        self.size.value = size if size in chart.sizes else chart.sizes[0]
        self.measure.value = measure if measure in chart.measures else chart.measures[0]
        self._quiet = False
        self.point(chart)

    def point(self, chart: SizeChart) -> None:
        """Set the slider to the edge that is chosen."""
        frame, factor = chart.frame, self._factor()
        columns = [f"{self.of}_{end}" for end in ("low", "high")]
        known = pd.concat([frame[c] for c in columns if c in frame]).dropna()
        low, high = float(known.min()), float(known.max())
        room = 0.2 * (high - low) + 5
        column = f"{self.of}_{self.which}"
        edge = float("nan")
        if column in frame:
            edge = float(frame[column].iloc[chart.sizes.index(self.at)])
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
