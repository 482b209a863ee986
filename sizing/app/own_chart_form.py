"""The notebook's form for a chart of one's own: take it in, type in it, judge it."""

import time
from dataclasses import replace
from functools import partial
from html import escape
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_parts import AnswerParts
from sizing.app.chart_table import ChartTable
from sizing.app.edge_slider import EdgeSlider
from sizing.app.form_words import (
    CHART_HEADINGS,
    bullets,
    file_headings,
    heading,
    paragraphs,
    status,
    wrong_lines,
)
from sizing.app.long_work import LongWork, Progress
from sizing.app.own_chart import (
    bands_axes,
    chart_results,
    density,
    in_units,
    judgement_pictures,
    judgement_words,
)
from sizing.app.own_chart_live import bands_svg
from sizing.app.people_form import PeopleForm
from sizing.app.units import UnitSwitch
from sizing.app.upload import UploadBox
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.client.own_chart import (
    ChartJudgement,
    judge_chart,
    nudge,
    nudge_layout,
    with_edge,
)
from sizing.coverage import Comparison, compare_charts
from sizing.errors import SizingError
from sizing.measures.tables import CHART
from sizing.people.people import People
from sizing.stats.layout import Layout
from sizing.words.labels import labels

_HELP = (
    "A CSV or XLSX file with one row per size, smallest first: its name, group and "
    "load limit, and two columns for each measure, where the size begins and ends."
)

_WHOM = "Say first who the chart is for: see 'People I serve'."
_LOOK_AGAIN = 0.05  # seconds between looks at whether the people are ready


class OwnChartForm:
    """A form: choose people, take in a chart, type in it, move an edge, judge it.

    Attributes
    ----------
    entry, answer_view, picture_view, limits_view, sources_view : Widget
        Parts of the page, in its order.
    chart : SizeChart
        The chart as taken in; the demo chart before that.
    edited : SizeChart or None
        As it stands in the table now; None while it has problems.
    judgement : ChartJudgement or None
        The last judgement, None where it no longer holds.
    listeners : list
        Called with ``edited`` whenever it changes.
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
        self.judgement: ChartJudgement | None = None
        self.comparison: Comparison | None = None
        self.listeners: list[Any] = []
        self._layout: tuple[str, Layout] | None = None
        self._density: dict[tuple[str, str], pd.DataFrame] = {}
        self._labels = labels()
        self._results: tuple[Any, ...] | None = None
        self.people_form = PeopleForm(self.switch, people, draws=draws)
        self.upload = UploadBox("My chart", help=_HELP, table=CHART)
        self.second = UploadBox("A second chart, to compare")
        self.told = w.HTML()
        self.table = ChartTable(self.chart, self.switch, self._typed)
        self.edge = EdgeSlider(self.switch, self._chosen, self._moved)
        self.undo = w.Button(
            description="Undo all changes", layout=w.Layout(width="max-content")
        )
        self.work = LongWork("Judge the chart", self._judge, self._show_judgement)
        self.answered = AnswerParts()
        self.change, self.image = self.answered.words, self.answered.pictures
        self.judged, self.judged_pictures = w.HTML(), w.HTML()
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
        self.answer_view = w.VBox([self.change, self.work.view, self.judged])
        self.picture_view = w.VBox([self.image, self.judged_pictures])
        self.limits_view, self.sources_view = (
            self.answered.limits,
            self.answered.sources,
        )
        self._wire()
        self.use(self.chart)

    def _wire(self) -> None:
        self.upload.on_change(self._taken)
        self.second.on_change(self._second_taken)
        self.people_form.on_change(self._people_changed)
        self.people_form.on_ready(self.draw)
        self.undo.on_click(lambda _: self.use(self.chart))
        self.switch.on_change(lambda _: self._in_other_units())

    def people(self) -> People:
        """Return the people chosen."""
        return self.people_form.people()

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
            self.told.value = status(bullets(wrong_lines(error, units="metric")))
            self._changed_to(None)
            return
        chart = demo_chart() if chart is None else chart
        self.told.value = status(
            paragraphs([f"Chart in use: {chart.name}, {len(chart.sizes)} sizes."])
        )
        self.use(chart)

    def _second_taken(self) -> None:
        self._forget_judgement()
        try:
            self._other()
        except SizingError as error:
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
        """Let everything follow a chart, or take it all back where it has problems."""
        self.edited = chart
        self._forget_judgement()
        if chart is not None:
            self.edge.offer(chart)
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
        self.edited = replace(moved, name=f"{self.chart.name}, changed")
        self.table.put(self.edited, edge.at, f"{edge.of}_{edge.which}")
        self._forget_judgement()
        for listener in self.listeners:
            listener(self.edited)
        self.draw()

    def _people_changed(self) -> None:
        self._forget_judgement()
        self.draw()

    def _chosen(self) -> None:
        """Show the edge that was chosen."""
        if self.edited is not None:
            self.edge.point(self.edited)
            self.draw()

    def _in_other_units(self) -> None:
        self._chosen()
        if self.judgement is not None:
            self._tell_judgement()

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
            people = self.people()
        except SizingError as error:
            self.people_form.tell(error)
            self.answered.take_back(
                "Say first who the chart is for: see 'People I serve'."
            )
            return
        key = self.people_form.key
        if self._layout is None or self._layout[0] != key:
            self._layout = key, nudge_layout(people)
        found = nudge(people, self.chart, self.edited, self._layout[1])
        first = f"{escape(self.edited.name)}, for {escape(people.name)}: "
        self.change.value = status(
            f"<p style='font-size:1.15em'><b>{first}{escape(found.summary())}</b></p>"
        )
        self.limits_view.value = bullets(people.limits)
        self.sources_view.value = bullets(people.sources)
        self._draw_bands(people, key)

    def _draw_bands(self, people: People, key: str) -> None:
        if self.edited is None:
            return
        measure = self.edge.of
        if measure not in people.frame:
            words = f"{self._labels[measure]}: not known of these people."
            self.image.value = paragraphs([words])
            return
        if (key, measure) not in self._density:
            self._density[key, measure] = density(people, measure)
        spread, units = self._density[key, measure], self.switch.units
        now = in_units(self.edited.frame, spread, measure, units)
        self.image.value = bands_svg(
            now.frame,
            measure,
            density=now.density,
            label=now.label,
            before=in_units(self.chart.frame, spread, measure, units).frame,
        )

    def _judge(self, progress: Progress) -> tuple[Any, ...]:
        """Judge the chart, step by step; what is found goes to the page at the end."""
        chart = self.edited
        if chart is None:
            raise SizingError("Put the chart right first.")
        progress("Getting the people ready.", 0.05)
        while self.people_form.getting:
            progress("Getting the people ready.", 0.05)
            time.sleep(_LOOK_AGAIN)
        people = self.people()
        progress("Laying the chart over them.", 0.25)
        found = judge_chart(people, chart)
        comparison = None
        other = self._other()
        if other is not None:
            progress("Laying the second chart over them.", 0.7)
            comparison = compare_charts(people, chart, other)
        progress("Writing it down.", 0.95)
        return chart, people, found, comparison

    def _show_judgement(self, result: tuple[Any, ...]) -> None:
        chart, people, found, comparison = result
        if chart is not self.edited or not self.people_form.holds(people):
            words = "Something was changed meanwhile: judge the chart again."
            self.judged.value = status(paragraphs([words]))
            return
        self.judgement, self.comparison = found, comparison
        self._tell_judgement()

    def _tell_judgement(self) -> None:
        if self.judgement is None:
            return
        found, units = self.judgement, self.switch.units
        self.judged.value = judgement_words(found, self.comparison, units=units)
        self.judged_pictures.value = judgement_pictures(
            found, self.comparison, units=units
        )

    def _forget_judgement(self) -> None:
        """Let no judgement stand of what has changed since."""
        was = self.judgement is not None
        self.judgement = self.comparison = None
        self.judged_pictures.value = ""
        words = "Something was changed: judge the chart again." if was else ""
        self.judged.value = status(paragraphs([words])) if was else ""

    def results(self) -> dict[str, Any]:
        """Return what can be saved: the chart, and what was found of it."""
        if self.edited is None:
            raise SizingError("Put the chart right first.")
        # One press of a button saves one kind of file: draw once for all of them.
        words = self.people_form.key, self.switch.units
        kept = self._results
        if (
            kept is None
            or kept[0] != words
            or kept[1] is not self.edited
            or kept[2] is not self.judgement
        ):
            found = self._found(self.edited)
            kept = words, self.edited, self.judgement, found
            self._results = kept
        results: dict[str, Any] = kept[3]
        return results

    def _found(self, chart: SizeChart) -> dict[str, Any]:
        people = self.people()
        known = [m for m in chart.measures if m in people.frame]
        drawn: dict[str, Any] = {
            f"my_chart_{measure}": bands_axes(
                chart,
                people,
                measure,
                before=self.chart,
                units=self.switch.units,
            )
            for measure in known
        }
        about = {"chart_name": chart.name, "chart_source": chart.source}
        drawn["my_chart"] = chart.frame.assign(**about)
        if self.judgement is None:
            return drawn
        found = chart_results(
            self.judgement,
            people,
            self.comparison,
            other=self._other(),
            units=self.switch.units,
        )
        return {**drawn, **found}
