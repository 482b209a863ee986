"""The notebook's form for a chart of one's own: take it in, type in it, judge it."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from operator import is_
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_form import AnswerForm, LiveForm, Progress
from sizing.app.entry import UnitSwitch
from sizing.app.form_words import bullets, lead, paragraphs, status, wrong_lines
from sizing.app.own_chart_fields import ChartTable, EdgeSlider, ordered
from sizing.app.own_chart_kept import ChartStart, CompareBox, KeepBox
from sizing.app.people_form import PeopleForm
from sizing.charts import SizeChart
from sizing.client.chart_bands import bands_of, density
from sizing.client.nudge import nudge, nudge_layout, with_edge
from sizing.client.own_chart import SERVED, clients_served, judge_chart
from sizing.coverage import compare_charts
from sizing.errors import SizingError
from sizing.measures import led_by, pattern_lacks
from sizing.pages.own_chart import (
    bands_axes,
    bands_svg,
    chart_results,
    measure_label,
    own_chart_page,
)
from sizing.pages.page import Page, render
from sizing.people.people import People
from sizing.resources import texts
from sizing.stats.estimates import Layout
from sizing.words.labels import labels

_T = texts("own_chart")
_LOOK_AGAIN = 0.05  # seconds between looks at whether the people are ready


class JudgementForm(AnswerForm):
    """Judges the chart that ``asked`` gives; answers what ``own_chart_page`` takes."""

    def __init__(
        self,
        switch: UnitSwitch,
        asked: Callable[[Progress], tuple[SizeChart, People, SizeChart | None]],
        pattern: Callable[[], str | None],
    ) -> None:
        super().__init__(_T.judge, switch=switch)
        self._asked, self._pattern = asked, pattern

    def work_out(self, progress: Progress) -> dict[str, Any]:
        chart, people, other = self._asked(progress)
        progress(_T.steps["chart"], 0.25)
        answer: dict[str, Any] = {"judgement": judge_chart(people, chart)}
        if other is not None:
            progress(_T.steps["second"], 0.7)
            answer["comparison"] = compare_charts(people, chart, other)
        progress(_T.steps["clients"], 0.9)
        return answer | {"people": people, "clients": clients_served(people, chart)}

    def show(self, answer: dict[str, Any]) -> None:
        self.answered.show(self._page(answer, bands=False))

    def saved(self, answer: dict[str, Any]) -> dict[str, Any]:
        found = chart_results(answer["judgement"], answer.get("comparison"))
        if answer["clients"] is not None:
            found["chart_clients"] = answer["clients"]
        return {**found, "chart_report": render(self._page(answer))}

    def _page(self, answer: dict[str, Any], *, bands: bool = True) -> Page:
        page = own_chart_page(**answer, units=self.switch.units, bands=bands)
        return page.for_pattern(self._pattern(), answer["judgement"].chart.measures)


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

    ``edited`` is the chart, None while it has problems; ``listeners`` hear of changes.
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
        of_chart = [self.start.view, self.table.name, self.table.view, self.keep.view]
        others = [self.people_form.view, self.second.view, self.edge.view]
        self.entry = w.VBox([*of_chart, *others])
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
        if self.second.name != _T.nothing:
            self.compared()

    def compared(self) -> None:
        """Answer anew for other people, a second chart or a pattern of sling."""
        self.judgement.forget()
        self.update()

    def _changed_to(self, chart: SizeChart | None) -> None:
        self._wrong = False
        # The slider may be in her hand.
        if not self._moving:
            self.edge.offer(chart)
        self._follow(chart)

    def _follow(self, chart: SizeChart | None) -> None:
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
        size, measure, end = (b.value for b in (edge.size, edge.measure, edge.end))
        try:
            moved = with_edge(self.edited, size, measure, end, edge.number())
        except SizingError as error:
            lines = wrong_lines(error, units=self.switch.units)
            self.change.value = status(bullets(lines))
            edge.point(self.edited)
            return
        self._moving = True
        self.table.move(moved, size, f"{measure}_{end}")
        self._moving = False

    def _chosen(self) -> None:
        if self.edited is not None:
            self.edge.point(self.edited)
            self.update()

    def work_out(self) -> Live | str:
        blank = self.table.empty and not self._wrong
        self._none = _T.to_fill if blank else _T.wrong
        if self.edited is None:
            return str(self._none)
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
            self._none = _T.whom
            return str(self._none)
        chart, other = self.edited, self._other()
        asked = f"{form.key}, {chart.measures}, {other and other.measures}"
        if self._layout is None or self._layout[0] != asked:
            charts = filter(None, (chart, other))
            self._layout = asked, nudge_layout(people, *charts)
        found = nudge(people, other, chart, self._layout[1])
        words = found.summary()
        if pattern := self._pattern():
            words = led_by([pattern_lacks(pattern, chart.measures)], words)
        return Live(chart, other, people, form.key, words)

    def show(self, answer: Live) -> None:
        self.change.value = lead(answer.words)
        self.limits_view.value = bullets(answer.people.limits)
        self.sources_view.value = bullets(answer.people.sources)
        measure, units = self.edge.measure.value, self.switch.units
        if measure not in answer.people.frame:
            words = _T.not_known.format(measure=labels()[measure])
            self.image.value = paragraphs([words])
            return
        known = (answer.key, measure)
        if known not in self._density:
            self._density[known] = density(answer.people, measure)
        of = (answer.chart, self._density[known], measure)
        bands = bands_of(*of, before=answer.other, units=units)
        self.image.value = bands_svg(bands, label=measure_label(measure, units))

    def _other(self) -> SizeChart | None:
        found = self.second.chart()
        if found is not None and self.edited and found.name == self.edited.name:
            return replace(found, name=_T.as_it_was.format(found.name))
        return found

    def _to_judge(
        self, progress: Progress
    ) -> tuple[SizeChart, People, SizeChart | None]:
        chart = self._sound()
        progress(_T.steps["people"], 0.05)
        while self.people_form.getting:
            progress(_T.steps["people"], 0.05)
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
        chart, units = answer.chart, self.switch.units
        drawn = bands_axes(chart, answer.people, before=answer.other, units=units)
        about = {"chart_name": chart.name, "chart_source": chart.source}
        found: dict[str, Any] = {f"my_chart_{name}": ax for name, ax in drawn.items()}
        judged = self.judgement
        found |= {} if judged.answer is None else judged.results()
        return found | {"my_chart": chart.frame.assign(**about)}
