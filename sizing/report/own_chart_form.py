"""The notebook's form for a chart of one's own: drop it in, nudge an edge."""

import hashlib
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.cautions import cautions
from sizing.chart import SizeChart, demo_chart, read_chart, write_chart
from sizing.client.own_chart import judge_chart, nudge, nudge_layout, with_edge
from sizing.coverage import compare_charts
from sizing.coverage.shares import Layout
from sizing.errors import SizingError
from sizing.population import (
    load_people,
    population_titles,
    read_margins,
    reweight,
)
from sizing.population.people import People
from sizing.report.client_form import framed, paragraphs, said
from sizing.report.own_chart import density, own_chart_page
from sizing.report.own_chart_live import bands_svg
from sizing.report.words import labels

_LABEL = {"description_width": "11rem"}


class OwnChartForm:
    """A form: choose people, drop in a chart, look, compare, move an edge.

    Parameters
    ----------
    people : str
        Population the form starts with.
    draws : int
        Draws of what was not measured.

    Attributes
    ----------
    view : ipywidgets widget
    chart : SizeChart
        The chart as dropped in; the demo chart before that.
    edited : SizeChart
        The same with the edges that were moved.
    """

    def __init__(self, people: str = "adults", *, draws: int = 5) -> None:
        self.draws = draws
        self.chart: SizeChart = demo_chart()
        self.edited = self.chart
        self.other: SizeChart | None = None
        self.listeners: list[Any] = []
        self._loaded: dict[str, People] = {}
        self._layouts: dict[str, Layout] = {}
        self._density: dict[tuple[str, str], pd.DataFrame] = {}
        self._labels = labels()
        self.people_name = w.Dropdown(
            options=[(title, name) for name, title in population_titles().items()],
            value=people,
            description="People",
            style=_LABEL,
            layout=w.Layout(width="36rem"),
        )
        self.margins = w.FileUpload(
            accept=".csv,.xlsx", description="Own margins", multiple=False
        )
        self.upload = w.FileUpload(
            accept=".csv,.xlsx", description="Your chart", multiple=False
        )
        self.second = w.FileUpload(
            accept=".csv,.xlsx", description="A second chart", multiple=False
        )
        self.judge = w.Button(description="Judge the chart")
        self.told = w.HTML()
        self.size = w.Dropdown(description="Size", style=_LABEL)
        self.measure = w.Dropdown(description="Measure", style=_LABEL)
        self.end = w.Dropdown(
            options=[("low edge", "low"), ("high edge", "high")],
            description="Edge",
            style=_LABEL,
        )
        self.value = w.FloatSlider(
            description="cm or kg",
            step=0.5,
            readout_format=".1f",
            continuous_update=False,
            style=_LABEL,
            layout=w.Layout(width="36rem"),
        )
        self.undo = w.Button(description="Undo all")
        self.path = w.Text(description="Save edited as", style=_LABEL)
        self.save = w.Button(description="Save")
        self.change = w.HTML()
        self.image = w.HTML()
        self.report = w.HTML()
        self._following = True
        self._wire()
        self.view = w.VBox(
            [
                w.HBox([self.people_name, self.margins]),
                w.HBox([self.upload, self.second, self.judge]),
                self.told,
                w.HTML("<h3>Move an edge</h3>"),
                w.HBox([self.size, self.measure, self.end]),
                self.value,
                self.change,
                self.image,
                w.HBox([self.undo, self.path, self.save]),
                w.HTML(paragraphs(list(cautions()))),
                self.report,
            ]
        )
        self.use(self.chart)

    def _wire(self) -> None:
        self.upload.observe(lambda _: self._dropped(self.upload, second=False), "value")
        self.second.observe(lambda _: self._dropped(self.second, second=True), "value")
        self.margins.observe(lambda _: self._tell_margins(), "value")
        self.people_name.observe(lambda _: self.draw(), "value")
        for box in (self.size, self.measure, self.end):
            box.observe(lambda _: self._point_slider(), "value")
        self.value.observe(lambda _: self._moved(), "value")
        self.judge.on_click(lambda _: self.show())
        self.undo.on_click(lambda _: self.use(self.chart))
        self.save.on_click(lambda _: self.save_edited())

    def people(self) -> People:
        """Return the people chosen, reweighted to the user's margins if any.

        Raises
        ------
        SizingError
            If the margins cannot be read or met.
        """
        name = str(self.people_name.value)
        key = name
        if self.margins.value:
            # By content, so that a corrected file of the same name is read anew.
            content = bytes(self.margins.value[0]["content"])
            key += hashlib.sha256(content).hexdigest()
        if key not in self._loaded:
            people = load_people(name, draws=self.draws)
            if self.margins.value:
                people = reweight(people, uploaded(self.margins, read_margins))
            self._loaded[key] = people
            self._layouts[key] = nudge_layout(people)
        self._key = key
        return self._loaded[key]

    def use(self, chart: SizeChart) -> None:
        """Take this chart as the one to try."""
        self.chart = self.edited = chart
        self._following = False
        self.size.options = list(chart.sizes)
        self.measure.options = [(self._labels[m], m) for m in chart.measures]
        self.size.value, self.measure.value = chart.sizes[0], chart.measures[0]
        self._following = True
        self._point_slider()
        for listener in self.listeners:
            listener(chart)
        self.draw()

    def _dropped(self, box: w.FileUpload, *, second: bool) -> None:
        if not box.value:
            return
        try:
            chart = uploaded(box, lambda path: read_chart(path, warn=False))
        except SizingError as error:
            self.told.value = said(error)
            return
        self.told.value = paragraphs([f"Read: {chart.name}, {len(chart.sizes)} sizes."])
        if second:
            self.other = chart
        else:
            self.use(chart)

    def _tell_margins(self) -> None:
        try:
            people = self.people()
        except SizingError as error:
            self.told.value = said(error)
            return
        self.told.value = paragraphs(list(people.limits[-1:]))
        self.draw()

    def _edge(self) -> float:
        row = self.edited.frame.set_index("size").loc[self.size.value]
        return float(row[f"{self.measure.value}_{self.end.value}"])

    def _point_slider(self) -> None:
        """Set the slider to the edge that is chosen."""
        if not self._following or self.measure.value is None:
            return
        self._following = False
        columns = [f"{self.measure.value}_{end}" for end in ("low", "high")]
        known = pd.concat([self.chart.frame[c] for c in columns]).dropna()
        low, high = float(known.min()), float(known.max())
        room = 0.2 * (high - low) + 5
        self.value.min, self.value.max = 0.0, 1000.0
        self.value.min, self.value.max = max(round(low - room), 0), round(high + room)
        edge = self._edge()
        self.value.value = high if pd.isna(edge) else edge
        self._following = True
        self.draw()

    def _moved(self) -> None:
        if not self._following:
            return
        try:
            self.edited = with_edge(
                self.edited,
                self.size.value,
                self.measure.value,
                self.end.value,
                round(self.value.value, 1),
            )
        except SizingError as error:
            self.change.value = paragraphs(str(error).splitlines())
            return
        moved = replace(self.edited, name=f"{self.chart.name}, edges moved")
        for listener in self.listeners:
            listener(moved)
        self.draw()

    def draw(self) -> None:
        """Draw the bands and say what the moved edges change."""
        if not self._following or self.measure.value is None:
            return
        try:
            people = self.people()
        except SizingError as error:
            self.told.value = said(error)
            return
        found = nudge(people, self.chart, self.edited, self._layouts[self._key])
        self.change.value = paragraphs([found.summary()])
        measure = str(self.measure.value)
        spread = (self._key, measure)
        if spread not in self._density:
            self._density[spread] = density(people, measure)
        self.image.value = bands_svg(
            self.edited.frame,
            measure,
            density=self._density[spread],
            label=self._labels[measure],
            before=self.chart.frame,
        )

    def show(self) -> None:
        """Show the whole report on the chart, and beside the second one."""
        self.report.value = paragraphs(["Working ..."])
        try:
            people = self.people()
            found = judge_chart(people, self.edited)
            comparison = None
            if self.other is not None:
                comparison = compare_charts(people, self.edited, self.other)
            page = own_chart_page(
                found, people, comparison=comparison, other=self.other
            )
        except SizingError as error:
            self.report.value = said(error)
            return
        self.report.value = framed(page)

    def save_edited(self) -> None:
        """Save the edited chart where the user says."""
        try:
            if Path(self.path.value).exists():
                raise SizingError(
                    f"There is a file '{self.path.value}' already: choose another name."
                )
            write_chart(self.edited, self.path.value)
        except SizingError as error:
            self.told.value = said(error)
            return
        self.told.value = paragraphs([f"Saved: {self.path.value}"])


def uploaded(box: w.FileUpload, read: Any) -> Any:
    """Read the file in an upload box; it is on disk only while it is read."""
    item = box.value[0]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / Path(item["name"]).name
        path.write_bytes(bytes(item["content"]))
        return read(path)
