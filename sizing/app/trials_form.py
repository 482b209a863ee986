"""The page of slings tried on: type trials in or take a file; no code."""

from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_parts import AnswerParts
from sizing.app.form_style import FORM_STYLE
from sizing.app.form_words import bullets, paragraphs, status, wrong_lines
from sizing.app.lesson_parts import Later, answer_html, sections_html
from sizing.app.pattern_field import PatternField
from sizing.app.show import save_panel
from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.app.upload import UploadBox
from sizing.cautions import cautions, invented_first
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.client.how import HOW
from sizing.errors import SizingError
from sizing.measures.tables import CHART, TRIALS
from sizing.pages.trials import (
    TRIAL_LIMITS,
    TRIAL_SOURCES,
    form_page,
    pictures,
    sections,
    trials_page,
)
from sizing.people.files import read_table
from sizing.trials import LearnedChart, demo_trials, learn_chart, read_trials
from sizing.trials.model import OUTCOMES
from sizing.trials.read import LEAST, WHERE, taught
from sizing.words.labels import labels

_ROWS = 5
_HOW = (
    "One row for each size that was tried, also for those that were given up. No name "
    "and no date of birth. Where: in words such as back; hips. Longer lists belong in "
    "a file."
)
_HEADINGS = {
    "service": "Service",
    "size": "Size tried",
    "how": "How taken",
    "outcome": "What happened",
    "too_small_where": "Too small where",
    "too_large_where": "Too large where",
}
_NOTHING = (
    f"Nothing is learned yet: from {LEAST} trials the page begins to say something."
)


class TrialsForm:
    """The page, part by part, in the order every page keeps.

    Attributes
    ----------
    answered : AnswerParts
        The answer's words, pictures and tables, limits and sources.
    found : LearnedChart or None
        What the trials now entered teach.
    """

    def __init__(self) -> None:
        self.found: LearnedChart | None = None
        self.switch = UnitSwitch()
        self.chart = UploadBox("The printed chart", table=CHART)
        self.trials = UploadBox("My trials", table=TRIALS)
        self.pattern = PatternField()
        self._place = w.VBox()
        self._laid: tuple[str, ...] = ()
        self._later = Later(self.update)
        self.entry = w.VBox(
            [
                w.HTML(FORM_STYLE),
                self.switch.view,
                self.chart.view,
                self.pattern.view,
                self.trials.view,
                w.HTML(paragraphs(["Or type them in:", _HOW])),
                self._place,
            ]
        )
        self.answered = AnswerParts()
        self.cautions_view = w.HTML(bullets(cautions()))
        self.keep_view = save_panel(self.results)
        for box in (self.chart, self.trials):
            box.on_change(self._later.ask)
        self.pattern.on_change(self._later.ask)
        self.switch.on_change(lambda _: self._show())
        self.update()

    def update(self) -> None:
        """Learn from what is now entered, and show it; nothing old stays."""
        self.found = None
        try:
            own = self.chart.read(lambda path: read_chart(path, warn=False))
            chart: SizeChart = demo_chart() if own is None else own
            self.pattern.use_chart(chart.measures)
            self._lay_out(chart)
            typed = self.table.frame.dropna(axis=1, how="all")
            given = self.trials.read(lambda path: read_table(path, TRIALS))
            invented = own is None and given is None and typed.empty
            if given is None:
                given = demo_trials() if invented else typed
            if given.empty:
                self.answered.take_back(_NOTHING)
                return
            read = read_trials(
                given, chart, pattern=self.pattern.pattern, invented=invented
            )
            self.found = learn_chart(read)
        except SizingError as error:
            self.answered.take_back()
            lines = wrong_lines(error, units=self.switch.units)
            self.answered.words.value = status(bullets(lines))
            return
        self._show()

    def results(self) -> dict[str, Any]:
        """Return what can be saved: the form, and whatever was learned."""
        own = self.chart.read(lambda path: read_chart(path, warn=False))
        made: dict[str, Any] = {"trials_form": form_page(own or demo_chart())}
        typed = self.table.frame
        if len(typed):
            made["trials_typed"] = typed
        if self.found is None:
            return made
        found, chart = self.found, self.found.chart
        about = {"chart_name": chart.name, "chart_source": chart.source}
        made["learned_chart"] = chart.frame.assign(**about)
        made |= {"learned_edges": found.edges, "trials_by_service": found.services}
        made |= pictures(found, units=self.switch.units)
        made["trials"] = trials_page(found, units=self.switch.units)
        return made

    def _show(self) -> None:
        found, parts = self.found, self.answered
        if found is None:
            return
        words = invented_first(found.invented, found.answer())
        parts.words.value = answer_html(words)
        shown = sections(found, units=self.switch.units)
        parts.pictures.value = sections_html(shown)
        parts.limits.value = bullets(TRIAL_LIMITS)
        parts.sources.value = bullets(TRIAL_SOURCES)

    def _lay_out(self, chart: SizeChart) -> None:
        """Show a table for the chart's sizes and measures, where it shows another."""
        measures = taught(chart)
        if self._laid == (*chart.sizes, *measures):
            return
        self._laid = (*chart.sizes, *measures)
        columns = ["service", "size", *measures, "how", "outcome", *WHERE[::-1]]
        names = {m: labels()[m].rsplit(", ", 1)[0] for m in measures}
        self.table = EditableTable(
            pd.DataFrame(None, range(_ROWS), columns, dtype=object),
            caption="Slings tried on",
            headings=_HEADINGS | names,
            choices={
                "size": list(chart.sizes),
                "outcome": list(OUTCOMES),
                "how": [h for h in HOW if "scale" not in h],
            },
            can_add=True,
            switch=self.switch,
        )
        self.table.on_change(self._later.ask)
        self._place.children = [self.table.view]
