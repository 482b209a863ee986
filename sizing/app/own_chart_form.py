"""The notebook's form for a chart of one's own: take it in, type in it, judge it."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from operator import is_
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_form import AnswerForm, LiveForm
from sizing.app.form_words import bullets, lead, paragraphs, status, wrong_lines
from sizing.app.long_work import Progress
from sizing.app.own_chart_fields import ChartTable, EdgeSlider, ordered
from sizing.app.own_chart_kept import NOTHING, CompareBox, KeepBox
from sizing.app.own_chart_start import ChartStart
from sizing.app.people_form import PeopleForm
from sizing.app.units import UnitSwitch
from sizing.charts import SizeChart
from sizing.client.chart_bands import bands_of, density
from sizing.client.nudge import nudge, nudge_layout, with_edge
from sizing.client.own_chart import SERVED, ChartJudgement, clients_served, judge_chart
from sizing.coverage import Comparison, compare_charts
from sizing.errors import SizingError
from sizing.measures.patterns import led_by, pattern_lacks
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

_TO_FILL = (
    "Type your chart into the table, paste it, or take it from a file: the answer "
    "comes as soon as one size is whole, and follows every change."
)
_WRONG = "Put the chart right first."
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
        pattern: Callable[[], str | None],
    ) -> None:
        super().__init__("Judge the chart", switch=switch)
        self._asked, self._pattern = asked, pattern

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
        return page.for_pattern(self._pattern(), answer.chart.chart.measures)


@dataclass(frozen=True)
class Live:
    """What is known at once of the chart as it stands in the table."""

    chart: SizeChart
    other: SizeChart | None
    people: People
    key: str
    words: str


class OwnChartForm(LiveForm):
    """A form: choose people, enter a chart, move an edge, judge it.

    ``edited`` is the chart as it stands in the table, None while it has problems.
    ``listeners`` are called with it whenever it changes. ``pattern`` gives the pattern
    of sling that is chosen beside it.
    """

    def __init__(
        self,
        people: str = SERVED,
        *,
        switch: UnitSwitch | None = None,
        draws: int = 5,
        pattern: Callable[[], str | None] = lambda: None,
    ) -> None:
        super().__init__(switch=switch)
        self.edited: SizeChart | None = None
        self.listeners: list[Callable[[SizeChart | None], object]] = []
        self._pattern, self._wrong, self._moving = pattern, False, False
        self._layout: tuple[str, Layout] | None = None
        self._kept_of: tuple[Any, ...] = (None,) * 4
        self._kept: dict[str, Any] = {}
        self._density: dict[tuple[str, str], pd.DataFrame] = {}
        self.people_form = PeopleForm(self.switch, people, draws=draws)
        self.table = ChartTable(self.switch, self._changed_to)
        self.start = ChartStart(self._taken, self.table.show)
        self.second = CompareBox(self.compared)
        self.keep = KeepBox(self._sound, self._put_away)
        self.edge = EdgeSlider(self.switch, self._chosen, self._moved)
        self.judgement = JudgementForm(self.switch, self._to_judge, pattern)
        self.entry = w.VBox(
            [
                self.start.view,
                self.table.name,
                self.table.view,
                self.keep.view,
                self.people_form.view,
                self.second.view,
                self.edge.view,
            ]
        )
        judged, told = self.judgement.answered, self.answered
        self.change, self.image = told.words, told.pictures
        self.answer_view = w.VBox([self.change, self.judgement.work.view, judged.words])
        self.picture_view = w.VBox([self.image, judged.pictures])
        self.limits_view, self.sources_view = told.limits, told.sources
        self.people_form.on_change(self.compared)
        self.people_form.on_ready(self.update)
        self.switch.on_change(lambda _: self._chosen())
        self.start.empty()

    def use(self, chart: SizeChart) -> None:
        """Take this chart as the one to try."""
        self._wrong, self.second.taken = False, chart
        frame = chart.frame
        if not frame["group"].any():
            frame = frame.drop(columns="group")
        self.table.show(ordered(frame), chart.name, chart.source)

    def _taken(self, chart: SizeChart | None) -> None:
        if chart is not None:
            self.use(chart)
            return
        self._wrong = True
        self._follow(None)

    def _put_away(self) -> None:
        """Offer a chart that was just kept wherever one can be chosen."""
        self.start.kept.refresh()
        self.second.refresh()
        self._tell()
        if self.second.name != NOTHING:
            self.compared()

    def compared(self) -> None:
        """Answer anew for other people, a second chart or a pattern of sling."""
        self.judgement.forget()
        self.update()

    def _changed_to(self, chart: SizeChart | None) -> None:
        """Take the chart that stands in the table now, None where it has problems."""
        self._wrong = False
        # The slider may be in her hand.
        if not self._moving:
            self.edge.offer(chart)
        self._follow(chart)

    def _follow(self, chart: SizeChart | None) -> None:
        """Let everything else follow a chart."""
        self.edited = chart
        self.judgement.forget()
        self._tell()
        if self._moving:
            self.update()
            return
        # She may be typing on: nothing old stands, and the new comes after a moment.
        self.answer = None
        self.answered.take_back()
        self.later.ask()

    def _tell(self) -> None:
        """Tell of the chart; an empty table is no chart of which to tell."""
        if self.edited is not None or self._wrong or not self.table.empty:
            for listener in self.listeners:
                listener(self.edited)

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
        self._moving = True
        self.table.move(moved, edge.at, f"{edge.of}_{edge.which}")
        self._moving = False

    def _chosen(self) -> None:
        """Show the edge that was chosen, in the units chosen."""
        if self.edited is not None:
            self.edge.point(self.edited)
            self.update()

    def work_out(self) -> Live | str:
        """Say at once whom the chart fits, or why that cannot be said."""
        self._none = _TO_FILL if self.table.empty and not self._wrong else _WRONG
        if self.edited is None:
            return self._none
        form = self.people_form
        if not form.ready:
            self._none = form.words
            self.answered.take_back(self._none)
            form.begin()
            if not form.ready:
                return form.words
        try:
            people = form.people()
        except SizingError as error:
            form.tell(error)
            self._none = _WHOM
            return _WHOM
        chart, other = self.edited, self._other()
        asked = f"{form.key}, {chart.measures}, {other and other.measures}"
        if self._layout is None or self._layout[0] != asked:
            charts = (chart,) if other is None else (chart, other)
            self._layout = asked, nudge_layout(people, *charts)
        found = nudge(people, other, chart, self._layout[1])
        words = found.summary()
        if pattern := self._pattern():
            words = led_by([pattern_lacks(pattern, chart.measures)], words)
        return Live(chart, other, people, form.key, words)

    def show(self, answer: Live) -> None:
        """Show whom it fits, and the bands of the measure chosen over the people."""
        self.change.value = lead(answer.words)
        self.limits_view.value = bullets(answer.people.limits)
        self.sources_view.value = bullets(answer.people.sources)
        measure, units = self.edge.of, self.switch.units
        if measure not in answer.people.frame:
            words = f"{labels()[measure]}: not known of these people."
            self.image.value = paragraphs([words])
            return
        if (answer.key, measure) not in self._density:
            self._density[answer.key, measure] = density(answer.people, measure)
        spread = self._density[answer.key, measure]
        bands = bands_of(
            answer.chart, spread, measure, before=answer.other, units=units
        )
        self.image.value = bands_svg(bands, label=measure_label(measure, units))

    def _other(self) -> SizeChart | None:
        found = self.second.chart()
        if found is not None and self.edited and found.name == self.edited.name:
            return replace(found, name=f"{found.name} as it was")
        return found

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
            raise SizingError(self._none)
        return self.edited

    def results(self) -> dict[str, Any]:
        """Return what can be saved; drawn once for all kinds of file."""
        now = (self.answer, self.switch.units, self.judgement.answer)
        if self.answer is None or not all(map(is_, self._kept_of, now)):
            self._kept_of, self._kept = now, super().results()
        return self._kept

    def saved(self, answer: Live) -> dict[str, Any]:
        """Return the chart, its bands, and what was found of it where it was judged."""
        chart, units = answer.chart, self.switch.units
        drawn = bands_axes(chart, answer.people, before=answer.other, units=units)
        about = {"chart_name": chart.name, "chart_source": chart.source}
        found: dict[str, Any] = {f"my_chart_{name}": ax for name, ax in drawn.items()}
        found["my_chart"] = chart.frame.assign(**about)
        judged = self.judgement
        return found if judged.answer is None else {**found, **judged.results()}
