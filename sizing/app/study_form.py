"""The page on the study: whose people, which chart; whom it fits, and why."""

from collections.abc import Callable
from itertools import count
from typing import Any

import ipywidgets as w

from sizing.app.answer_form import AnswerForm, Progress
from sizing.app.entry import UnitField, UnitSwitch, UploadBox
from sizing.app.fields import PatternField, folded, on_change, people_choice
from sizing.app.form_words import CHART_HEADINGS, file_headings, paragraphs, table_html
from sizing.charts import SizeChart, read_chart
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import MEASURES
from sizing.measures.tables import CHART
from sizing.pages.page import table
from sizing.pages.study import study_axes, study_page, study_pictures, study_report
from sizing.resources import texts
from sizing.study.study import Study, run_study
from sizing.words.labels import chart_words, labels

#: Of ``run_study``, and what is left to draw afterwards.
_STEPS = 6
_T = texts("study")


class WidthFields:
    """How wide each size is; an empty field leaves the measure out."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self.fields = {
            name: UnitField(labels()[name], name, switch, placeholder="no limit")
            for name in MEASURES
        }
        on_change(changed, *self.fields.values())
        words = w.HTML(paragraphs([_T.form["widths"]]))
        self.view = w.VBox([words, *(field.box for field in self.fields.values())])

    def found(self) -> dict[str, float]:
        found, problems = {}, []
        for name, field in self.fields.items():
            try:
                number = field.number()
            except SizingError as error:
                problems.append(Problem(str(error), column=name, value=field.typed))
                continue
            if number is not None:
                found[name] = number
        if problems:
            raise InputProblems(problems, about="the widths")
        return found

    def asked(self) -> dict[str, float]:
        if found := self.found():
            return found
        raise SizingError(
            "no width is entered",
            allowed="a width in one to four measures",
            action="fill in the measures that the sizes are to limit",
        )


class StudyForm(AnswerForm):
    """Whom nine fitted sizes, or those of a chart of one's own, fit."""

    def __init__(self) -> None:
        super().__init__(_T.form["start"])
        self.people = people_choice("everyone")
        draws = _T.form["draws"]
        self.draws = w.BoundedIntText(value=5, min=1, max=20, description=draws)
        own, without = _T.form["own"], _T.form["without"]
        self.upload = UploadBox(own, help=without, table=CHART)
        headings = w.HTML(file_headings(CHART_HEADINGS))
        self.widths = WidthFields(self.switch, self.forget)
        wide = folded(_T.form["folded"], self.widths.view)
        self.pattern = PatternField()
        self.follow(self.people, self.draws, self.upload, self.pattern)
        self.lay_out(
            self.people, self.pattern.view, wide, self.upload.view, headings, self.draws
        )

    def work_out(self, progress: Progress) -> Study:
        steps = count()
        return run_study(
            str(self.people.value),
            chart=self.upload.read(lambda path: read_chart(path, warn=False)),
            widths=self.widths.found(),
            pattern=self.pattern.pattern,
            draws=int(self.draws.value),
            progress=lambda step: progress(f"Now: {step}.", next(steps) / _STEPS),
        )

    def show(self, answer: Study) -> None:
        self.pattern.use_chart(answer.chart.measures)
        page = study_report(answer, study_pictures(answer))
        self.answered.show(page, words=chart_html(answer.chart, self.switch.units))

    def saved(self, answer: Study) -> dict[str, Any]:
        drawn = {f"{name}_picture": ax[0] for name, ax in study_axes(answer).items()}
        return {
            **drawn,
            "study_report": study_page(answer, study_pictures(answer)),
            "chart": answer.chart.frame,
            "coverage": answer.coverage.table,
            "misses": answer.misses,
            "who_falls_between": answer.between,
            "assumptions": answer.sensitivity.table,
        }


def chart_html(chart: SizeChart, units: str) -> str:
    words = ["Size", "Group"]
    caption = _T.form["sizes"]
    return table_html(table(chart_words(chart, units), caption=caption, words=words))
