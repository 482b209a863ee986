"""The notebook's form for a chart of one's own: take it in, type in it, judge it."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from operator import is_
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_parts import AnswerForm, AnswerParts
from sizing.app.form_words import (
    CHART_HEADINGS,
    bullets,
    file_headings,
    heading,
    lead,
    paragraphs,
    status,
    wrong_lines,
)
from sizing.app.long_work import Progress
from sizing.app.own_chart_fields import ChartTable, EdgeSlider
from sizing.app.people_form import PeopleForm
from sizing.app.units import UnitSwitch
from sizing.app.upload import UploadBox
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.client.chart_bands import bands_of, density
from sizing.client.own_chart import (
    ChartJudgement,
    clients_served,
    judge_chart,
    nudge,
    nudge_layout,
    with_edge,
)
from sizing.coverage import Comparison, compare_charts
from sizing.errors import SizingError
from sizing.measures.tables import CHART
from sizing.pages.own_chart import (
    bands_axes,
    bands_svg,
    chart_results,
    measure_label,
    own_chart_page,
)
from sizing.pages.page import Page, render
from sizing.people.people import People
from sizing.stats.layout import Layout
from sizing.words.labels import labels

_HELP = (
    "A CSV or XLSX file with one row per size, smallest first: its name, group and "
    "load limit, and two columns for each measure, where the size begins and ends."
)
_WHOM = "Say first who the chart is for: see 'People I serve'."
_LOOK_AGAIN = 0.05  # seconds between looks at whether the people are ready


@dataclass(frozen=True)
class Judged:
    """What was found of the chart among these people, and of a second one."""

    people: People
    chart: ChartJudgement
    comparison: Comparison | None
    clients: pd.DataFrame | None

    def page(self, units: str, *, bands: bool = True) -> Page:
        """Return the report."""
        return own_chart_page(
            self.chart,
            self.people,
            comparison=self.comparison,
            clients=self.clients,
            units=units,
            bands=bands,
        )


class JudgementForm(AnswerForm):
    """The judgement of the chart that ``asked`` gives, with people and a second one."""

    def __init__(
        self,
        switch: UnitSwitch,
        asked: Callable[[Progress], tuple[SizeChart, People, SizeChart | None]],
    ) -> None:
        super().__init__("Judge the chart", switch=switch)
        #: The pattern of sling that the page around this form names.
        self.pattern: Callable[[], str | None] = lambda: None
        self._asked = asked

    def work_out(self, progress: Progress) -> Judged:
        """Judge the chart, step by step."""
        chart, people, other = self._asked(progress)
        progress("Laying the chart over them.", 0.25)
        found = judge_chart(people, chart)
        comparison = None
        if other is not None:
            progress("Laying the second chart over them.", 0.7)
            comparison = compare_charts(people, chart, other)
        progress("Looking at each client of your own.", 0.9)
        return Judged(people, found, comparison, clients_served(people, chart))

    def show(self, answer: Judged) -> None:
        """Show what the report holds, but for the bands: they are drawn already."""
        self.answered.show(self._page(answer, bands=False))

    def saved(self, answer: Judged) -> dict[str, Any]:
        """Return the tables, the pictures and the report."""
        found: dict[str, Any] = {**chart_results(answer.chart, answer.comparison)}
        if answer.clients is not None:
            found["chart_clients"] = answer.clients
        return {**found, "chart_report": render(self._page(answer))}

    def _page(self, answer: Judged, *, bands: bool = True) -> Page:
        page = answer.page(self.switch.units, bands=bands)
        return page.for_pattern(self.pattern(), answer.chart.chart.measures)


class OwnChartForm:
    """A form: choose people, take in a chart, type in it, move an edge, judge it.

    ``chart`` is the chart as taken in (the demo chart before that), ``edited`` as it
    stands in the table now, None while it has problems. ``listeners`` are called with
    ``edited`` whenever it changes.
    """

    def __init__(
        self,
        people: str = "adults",
        *,
        switch: UnitSwitch | None = None,
        draws: int = 5,
    ) -> None:
        self.switch = switch or UnitSwitch()
        self.chart: SizeChart = demo_chart()
        self.edited: SizeChart | None = self.chart
        self.listeners: list[Callable[[SizeChart | None], object]] = []
        self._layout: tuple[str, Layout] | None = None
        self._kept_of: tuple[Any, ...] = (None,) * 4
        self._kept: dict[str, Any] = {}
        self._density: dict[tuple[str, str], pd.DataFrame] = {}
        self.people_form = PeopleForm(self.switch, people, draws=draws)
        self.upload = UploadBox("My chart", help=_HELP, table=CHART)
        self.second = UploadBox("A second chart, to compare")
        self.told = w.HTML()
        self.table = ChartTable(self.chart, self.switch, self._typed)
        self.edge = EdgeSlider(self.switch, self._chosen, self._moved)
        self.undo = w.Button(
            description="Undo all changes", layout=w.Layout(width="max-content")
        )
        self.judgement = JudgementForm(self.switch, self._to_judge)
        self.answered = AnswerParts()
        self.change, self.image = self.answered.words, self.answered.pictures
        self.entry = w.VBox(
            [
                self.upload.view,
                w.HTML(file_headings(CHART_HEADINGS)),
                self.told,
                self.table.view,
                self.people_form.view,
                self.second.view,
                w.HTML(heading("Move an edge, and see what changes")),
                self.edge.view,
                self.undo,
            ]
        )
        judged = self.judgement.answered
        self.answer_view = w.VBox([self.change, self.judgement.work.view, judged.words])
        self.picture_view = w.VBox([self.image, judged.pictures])
        self.limits_view, self.sources_view = (
            self.answered.limits,
            self.answered.sources,
        )
        self.upload.on_change(self._taken)
        self.second.on_change(self._second_taken)
        self.people_form.on_change(self._people_changed)
        self.people_form.on_ready(self.draw)
        self.undo.on_click(lambda _: self.use(self.chart))
        self.switch.on_change(lambda _: self._chosen())
        self.use(self.chart)

    def use(self, chart: SizeChart) -> None:
        """Take this chart as the one to try."""
        self.chart = chart
        self.table.show(chart)
        self._changed_to(chart)

    def _taken(self) -> None:
        try:
            chart = self.upload.read(partial(read_chart, warn=False))
        except SizingError as error:
            # A file that cannot be read leaves no chart that could be taken for it.
            self._wrong_file(error)
            self._changed_to(None)
            return
        chart = demo_chart() if chart is None else chart
        self.told.value = status(
            paragraphs([f"Chart in use: {chart.name}, {len(chart.sizes)} sizes."])
        )
        self.use(chart)

    def _second_taken(self) -> None:
        self.judgement.forget()
        try:
            self._other()
        except SizingError as error:
            self._wrong_file(error)

    def _wrong_file(self, error: SizingError) -> None:
        self.told.value = status(bullets(wrong_lines(error, units="metric")))

    def _other(self) -> SizeChart | None:
        found: SizeChart | None = self.second.read(partial(read_chart, warn=False))
        if found is not None and self.edited and found.name == self.edited.name:
            found = replace(found, name=f"{found.name}, second")
        return found

    def _typed(self, chart: SizeChart | None) -> None:
        """Follow what was typed into the table."""
        if chart is not None and chart.name == self.chart.name:
            chart = replace(chart, name=f"{self.chart.name}, changed")
        self._changed_to(chart)

    def _changed_to(self, chart: SizeChart | None) -> None:
        """Take another chart, or everything back where it has problems."""
        if chart is not None:
            self.edge.offer(chart)
        self._follow(chart)

    def _follow(self, chart: SizeChart | None) -> None:
        """Let everything follow a chart but the slider, which may be in her hand."""
        self.edited = chart
        self.judgement.forget()
        for listener in self.listeners:
            listener(chart)
        self.draw()

    def _moved(self) -> None:
        if self.edited is None:
            return
        edge = self.edge
        try:
            moved = with_edge(self.edited, edge.at, edge.of, edge.which, edge.number())
        except SizingError as error:
            lines = wrong_lines(error, units=self.switch.units)
            self.change.value = status(bullets(lines))
            edge.point(self.edited)
            return
        moved = replace(moved, name=f"{self.chart.name}, changed")
        self.table.put(moved, edge.at, f"{edge.of}_{edge.which}")
        self._follow(moved)

    def _people_changed(self) -> None:
        self.judgement.forget()
        self.draw()

    def _chosen(self) -> None:
        """Show the edge that was chosen, in the units chosen."""
        if self.edited is not None:
            self.edge.point(self.edited)
            self.draw()

    def draw(self) -> None:
        """Draw the bands and say what the changes do."""
        if self.edited is None:
            self.answered.take_back("Put the chart right, and the answer comes back.")
            return
        if not self.people_form.ready:
            self.answered.take_back(self.people_form.words)
            # It may be done at once, and then this is called again.
            self.people_form.begin()
            return
        try:
            people = self.people_form.people()
        except SizingError as error:
            self.people_form.tell(error)
            self.answered.take_back(_WHOM)
            return
        key = self.people_form.key
        asked = f"{key}, {self.chart.measures}"
        if self._layout is None or self._layout[0] != asked:
            self._layout = asked, nudge_layout(people, self.chart)
        found = nudge(people, self.chart, self.edited, self._layout[1])
        first = f"{self.edited.name}, for {people.name}: "
        self.change.value = lead(first + found.summary())
        self.limits_view.value = bullets(people.limits)
        self.sources_view.value = bullets(people.sources)
        self._draw_bands(self.edited, people, key)

    def _draw_bands(self, chart: SizeChart, people: People, key: str) -> None:
        measure, units = self.edge.of, self.switch.units
        if measure not in people.frame:
            words = f"{labels()[measure]}: not known of these people."
            self.image.value = paragraphs([words])
            return
        if (key, measure) not in self._density:
            self._density[key, measure] = density(people, measure)
        spread = self._density[key, measure]
        bands = bands_of(chart, spread, measure, before=self.chart, units=units)
        self.image.value = bands_svg(bands, label=measure_label(measure, units))

    def _to_judge(
        self, progress: Progress
    ) -> tuple[SizeChart, People, SizeChart | None]:
        """Return what is to be judged, once the people are ready."""
        chart = self._sound()
        progress("Getting the people ready.", 0.05)
        while self.people_form.getting:
            progress("Getting the people ready.", 0.05)
            time.sleep(_LOOK_AGAIN)
        return chart, self.people_form.people(), self._other()

    def _sound(self) -> SizeChart:
        if self.edited is None:
            raise SizingError("Put the chart right first.")
        return self.edited

    def results(self) -> dict[str, Any]:
        """Return what can be saved: the chart, and what was found of it."""
        of = (self._sound(), self.people_form.people(), self.switch.units)
        now = (*of, self.judgement.answer)
        # One press of a button saves one kind of file: draw once for all of them.
        if not all(map(is_, self._kept_of, now)):
            self._kept_of, self._kept = now, self._found(*of)
        return self._kept

    def _found(self, chart: SizeChart, people: People, units: str) -> dict[str, Any]:
        drawn = bands_axes(chart, people, before=self.chart, units=units)
        about = {"chart_name": chart.name, "chart_source": chart.source}
        found: dict[str, Any] = {f"my_chart_{name}": ax for name, ax in drawn.items()}
        found["my_chart"] = chart.frame.assign(**about)
        judged = self.judgement
        return found if judged.answer is None else {**found, **judged.results()}
