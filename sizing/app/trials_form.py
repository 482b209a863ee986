"""The page of slings tried on: type trials in or take a file; no code."""

from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.answer_form import LiveForm, boxed
from sizing.app.fields import PatternField, UploadBox
from sizing.app.form_words import paragraphs
from sizing.app.table import EditableTable
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.client.readings import HOW
from sizing.measures import labels
from sizing.measures.tables import CHART, TRIALS
from sizing.pages.page import render
from sizing.pages.trials import form_page, pictures, trials_page
from sizing.people.files import read_table
from sizing.resources import texts
from sizing.trials import demo_trials, learn_chart, read_trials
from sizing.trials.learn import LearnedChart
from sizing.trials.model import OUTCOMES
from sizing.trials.read import LEAST, WHERE, taught

_T = texts("trials")
_ROWS = 5


class TrialsForm(LiveForm):
    """The page; ``answer`` is what the trials now entered teach."""

    def __init__(self) -> None:
        super().__init__()
        self.chart = UploadBox("The printed chart", table=CHART)
        self.trials = UploadBox("My trials", table=TRIALS)
        self.pattern = PatternField()
        #: The table, wider than a column: it stands beneath the answer.
        self.typing = boxed(w.HTML(paragraphs([_T.screen["how"]])))
        self._laid: tuple[str, ...] = ()
        self.table: EditableTable
        self.lay_out(self.chart.view, self.pattern.view, self.trials.view)
        self.follow(self.chart, self.trials, self.pattern)
        self.update()

    def work_out(self) -> LearnedChart | str:
        own, chart = self._charts()
        self.pattern.use_chart(chart.measures)
        self._lay_out(chart)
        typed = self.table.frame.dropna(axis=1, how="all")
        given = self.trials.read(lambda path: read_table(path, TRIALS))
        invented = own is None and given is None and typed.empty
        if given is None:
            given = demo_trials() if invented else typed
        if given.empty:
            return str(_T.screen["nothing"].format(least=LEAST))
        how: Any = {"pattern": self.pattern.pattern, "invented": invented}
        return learn_chart(read_trials(given, chart, **how))

    def show(self, answer: LearnedChart) -> None:
        both = self.trials.names and len(self.table.frame)
        passed = paragraphs([_T.screen["passed"]] if both else [])
        page = trials_page(answer, units=self.switch.units)
        self.answered.show(page, words=passed)

    def saved(self, answer: LearnedChart) -> dict[str, Any]:
        chart, units = answer.chart, self.switch.units
        about = {"chart_name": chart.name, "chart_source": chart.source}
        return {
            "learned_chart": chart.frame.assign(**about),
            "learned_edges": answer.edges,
            "trials_by_service": answer.services,
            **pictures(answer, units=units),
            "trials": render(trials_page(answer, units=units)),
        }

    def results(self) -> dict[str, Any]:
        form = form_page(self._charts()[1], self.pattern.pattern)
        made: dict[str, Any] = {"trials_form": form}
        if len(typed := self.table.frame):
            made["trials_typed"] = typed
        return made | ({} if self.answer is None else self.saved(self.answer))

    def _charts(self) -> tuple[SizeChart | None, SizeChart]:
        own = self.chart.read(lambda path: read_chart(path, warn=False))
        return own, own or demo_chart()

    def _lay_out(self, chart: SizeChart) -> None:
        """Show a table for the chart's sizes and measures, with what is typed."""
        measures = taught(chart)
        if self._laid == (*chart.sizes, *measures):
            return
        kept = self.table.frame if self._laid else pd.DataFrame()
        kept = kept.dropna(axis=1, how="all")
        self._laid = (*chart.sizes, *measures)
        columns = ["service", "size", *measures, "how", "outcome", *WHERE[::-1]]
        columns += [str(name) for name in kept if name not in columns]
        rows = range(max(_ROWS, len(kept)))
        self.table = EditableTable(
            kept.reindex(rows, columns=columns).astype(object),
            caption="Slings tried on",
            headings=_T.headings | labels(),
            choices={
                "size": list(chart.sizes),
                "outcome": list(OUTCOMES),
                "how": [h for h in HOW if "scale" not in h],
            },
            can_add=True,
            switch=self.switch,
        )
        self.follow(self.table)
        self.typing.children = (self.typing.children[0], self.table.view)
