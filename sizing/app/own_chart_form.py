"""The form for a chart of one's own: take it in, type in it, move an edge, judge it."""

import time
from collections.abc import Callable
from dataclasses import replace
from operator import is_
from typing import Any, NamedTuple

import ipywidgets as w
import pandas as pd

from sizing.app import own_chart_fields as fields
from sizing.app.answer_form import AnswerForm, LiveForm, Progress
from sizing.app.fields import UnitSwitch, fitting, on_change, show_if
from sizing.app.form_words import bullets, heading, lead, paragraphs
from sizing.app.people_form import PeopleForm
from sizing.charts import SizeChart
from sizing.client.nudge import bands_of, density, nudge, nudge_layout, with_edge
from sizing.client.own_chart import SERVED, clients_served, judge_chart
from sizing.coverage import compare_charts
from sizing.errors import SizingError
from sizing.measures import led_by, pattern_lacks, unit_of
from sizing.measures.typed import understood
from sizing.pages import own_chart as pages
from sizing.pages.page import Page, render
from sizing.people.people import People
from sizing.resources import texts
from sizing.stats.estimates import Layout
from sizing.words.labels import labels

_T = texts("own_chart")
_STEPS = {"cm": 0.5, "kg": 0.5, "in": 0.25, "lb": 1.0}
_LOOK_AGAIN = 0.05  # seconds between looks at whether the people are ready


class JudgementForm(AnswerForm):
    """Judges the form's chart; answers what ``own_chart_page`` takes."""

    def __init__(self, form: "OwnChartForm") -> None:
        super().__init__(_T.judge, switch=form.switch)
        self._form = form

    def work_out(self, progress: Progress) -> dict[str, Any]:
        chart, people = self._form.sound(), self._form.people_form
        progress(_T.steps["people"], 0.05)
        while people.getting:
            progress(_T.steps["people"], 0.05)
            time.sleep(_LOOK_AGAIN)
        served, other = people.people(), self._form.other()
        progress(_T.steps["chart"], 0.25)
        answer: dict[str, Any] = {"judgement": judge_chart(served, chart)}
        if other is not None:
            progress(_T.steps["second"], 0.7)
            answer["comparison"] = compare_charts(served, chart, other)
        progress(_T.steps["clients"], 0.9)
        return answer | {"people": served, "clients": clients_served(served, chart)}

    def show(self, answer: dict[str, Any]) -> None:
        self.answered.show(self._page(answer, bands=False))

    def saved(self, answer: dict[str, Any]) -> dict[str, Any]:
        found = pages.chart_results(answer["judgement"], answer.get("comparison"))
        if answer["clients"] is not None:
            found["chart_clients"] = answer["clients"]
        return {**found, "chart_report": render(self._page(answer))}

    def _page(self, answer: dict[str, Any], *, bands: bool = True) -> Page:
        page = pages.own_chart_page(**answer, units=self.switch.units, bands=bands)
        return page.for_pattern(
            self._form.pattern(), answer["judgement"].chart.measures
        )


class EdgeSlider:
    def __init__(
        self,
        switch: UnitSwitch,
        chosen: Callable[[], object],
        moved: Callable[[], object],
    ) -> None:
        self._switch, self._quiet = switch, False
        asked = {_T.size: (), _T.measure: (), _T.edge: [*_T.ends.items()]}
        boxes = [
            w.Dropdown(description=words, layout=fitting(), options=options)
            for words, options in asked.items()
        ]
        self.size, self.measure, self.end = boxes
        self.value = w.FloatSlider(
            readout_format=".1f",
            continuous_update=False,
            layout=fitting(max_width="36rem"),
        )
        self.view = w.VBox([w.HTML(heading(_T.edge_title)), *boxes, self.value])
        on_change(lambda: self._quiet or chosen(), *boxes)
        on_change(lambda: self._quiet or moved(), self.value)

    def number(self) -> float:
        return round(float(self.value.value) * self._factor(), 1)

    def offer(self, chart: SizeChart | None) -> None:
        show_if(chart is not None, self.view)
        if chart is not None:
            self._quiet = True
            fields.offer_in(self.size, chart.sizes, chart.sizes)
            fields.offer_in(self.measure, chart.measures, fields.named(chart.measures))
            self._quiet = False
            self.point(chart)

    def point(self, chart: SizeChart) -> None:
        factor = self._factor()
        edges = chart.frame.reindex(columns=fields.columns_of(self.measure.value))
        edges = edges.astype(float) / factor
        low, high = edges.min().min(), edges.max().max()
        room = 0.2 * (high - low) + 5 / factor
        row = chart.sizes.index(self.size.value)
        edge = edges[f"{self.measure.value}_{self.end.value}"].iloc[row]
        self._quiet = True
        self.value.min, self.value.max = 0.0, 1e4
        self.value.step = _STEPS[self._unit()]
        self.value.description = _T.edge_in.format(unit=self._unit())
        self.value.value = high if pd.isna(edge) else edge
        self.value.min, self.value.max = round(max(low - room, 0)), round(high + room)
        self._quiet = False

    def _factor(self) -> float:
        return understood(f"1 {self._unit()}", self.measure.value)

    def _unit(self) -> str:
        # A slider has one number: 12.10 of stone would be no 12 st 10 lb.
        unit = unit_of(self.measure.value, self._switch.units)
        return "lb" if unit == "st" else unit


class Live(NamedTuple):
    """What is known at once of the chart as it stands in the table."""

    chart: SizeChart
    other: SizeChart | None
    people: People
    words: str


class OwnChartForm(LiveForm):
    """Choose people, enter a chart, move an edge, judge it; ``edited`` is the chart."""

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
        self.pattern, self._wrong, self._moving = pattern, False, False
        self._layout: tuple[str, Layout] | None = None
        self._kept_of: tuple[Any, ...] = (None,) * 3
        self._kept: dict[str, Any] = {}
        self.people_form = PeopleForm(self.switch, people, draws=draws)
        self.table = fields.ChartTable(self.switch, self._changed_to)
        self.start = fields.ChartStart(self._taken, self.table.show)
        self.second = fields.CompareBox(self.compared)
        self.keep = fields.KeepBox(self.sound, self._put_away)
        self.edge = EdgeSlider(self.switch, self._chosen, self._moved)
        self.judgement = JudgementForm(self)
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

    def _taken(self, chart: SizeChart | None) -> None:
        if chart is None:
            self._wrong = True
            self._follow(None)
            return
        self._wrong, self.second.taken = False, chart
        frame = chart.frame
        if not frame["group"].any():
            frame = frame.drop(columns="group")
        self.table.show(fields.ordered(frame), chart.name, chart.source)

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
            self.change.wrong(error)
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
        chart, form = self.edited, self.people_form
        if chart is None:
            return str(self._none)
        if not form.ready:
            self._none = form.words
            self.answered.take_back(self._none)
            form.begin()
            if not form.ready:
                return form.words
        try:
            people = form.people()
        except SizingError as error:
            form.told.wrong(error)
            self._none = _T.whom
            return str(self._none)
        other = self.other()
        asked = f"{form.key}, {chart.measures}, {other and other.measures}"
        if self._layout is None or self._layout[0] != asked:
            charts = filter(None, (chart, other))
            self._layout = asked, nudge_layout(people, *charts)
        words = nudge(people, other, chart, self._layout[1]).summary()
        if pattern := self.pattern():
            words = led_by([pattern_lacks(pattern, chart.measures)], words)
        return Live(chart, other, people, words)

    def show(self, answer: Live) -> None:
        self.change.value = lead(answer.words)
        self.limits_view.value = bullets(answer.people.limits)
        self.sources_view.value = bullets(answer.people.sources)
        measure, units = self.edge.measure.value, self.switch.units
        if measure not in answer.people.frame:
            words = _T.not_known.format(measure=labels()[measure])
            self.image.value = paragraphs([words])
            return
        of = (answer.chart, density(answer.people, measure), measure)
        bands = bands_of(*of, before=answer.other, units=units)
        label = pages.measure_label(measure, units)
        self.image.value = pages.bands_svg(bands, label=label)

    def other(self) -> SizeChart | None:
        found = self.second.chart()
        if found is not None and self.edited and found.name == self.edited.name:
            return replace(found, name=_T.as_it_was.format(found.name))
        return found

    def sound(self) -> SizeChart:
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
        drawn = pages.bands_axes(chart, answer.people, before=answer.other, units=units)
        about = {"chart_name": chart.name, "chart_source": chart.source}
        found: dict[str, Any] = {f"my_chart_{name}": ax for name, ax in drawn.items()}
        found |= {} if self.judgement.answer is None else self.judgement.results()
        return found | {"my_chart": chart.frame.assign(**about)}
