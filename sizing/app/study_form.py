"""The page on the study: whose people, which chart; whom it fits, and why."""

from itertools import count
from typing import Any

import ipywidgets as w

from sizing.app.answer_form import AnswerForm
from sizing.app.client_fields import folded
from sizing.app.form_words import CHART_HEADINGS, file_headings
from sizing.app.long_work import Progress
from sizing.app.pattern_field import PatternField
from sizing.app.show import table_html
from sizing.app.upload import UploadBox
from sizing.app.width_fields import WidthFields
from sizing.charts import SizeChart, read_chart
from sizing.measures.tables import CHART
from sizing.pages.page import table
from sizing.pages.study import study_axes, study_page, study_pictures, study_report
from sizing.people import population_titles
from sizing.study.study import Study, run_study
from sizing.words.labels import chart_words

#: Of ``run_study``, and what is left to draw afterwards.
_STEPS = 6
SIZES = "The sizes, to a tenth; a load limit comes from a sling's label"


class StudyForm(AnswerForm):
    """Whom nine fitted sizes, or those of a chart of one's own, fit."""

    def __init__(self) -> None:
        super().__init__("Make the study")
        self.people = people_choice("everyone")
        self.draws = w.BoundedIntText(
            value=5, min=1, max=20, description="Draws of what nobody measured"
        )
        self.upload = UploadBox(
            "A chart of my own", help="Without one, nine sizes are fitted.", table=CHART
        )
        self.follow(self.people, self.draws)
        self.upload.on_change(self.forget)
        headings = w.HTML(file_headings(CHART_HEADINGS))
        self.widths = WidthFields(self.switch, self.forget)
        wide = folded("Widths of the fitted sizes, if not the usual", self.widths.view)
        self.pattern = PatternField()
        self.pattern.on_change(self.forget)
        self.lay_out(
            self.people, self.pattern.view, wide, self.upload.view, headings, self.draws
        )

    def work_out(self, progress: Progress) -> Study:
        """Make the study of the people and the chart entered."""
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
        """Show the answer, the sizes' edges and the report's sections."""
        self.pattern.use_chart(answer.chart.measures)
        page = study_report(answer, study_pictures(answer))
        self.answered.show(page, words=chart_html(answer.chart, self.switch.units))

    def saved(self, answer: Study) -> dict[str, Any]:
        """Return the report, its tables and its pictures."""
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


def people_choice(start: str) -> w.Dropdown:
    """Return the field that chooses a population by its title."""
    return w.Dropdown(
        options=[(title, name) for name, title in population_titles().items()],
        value=start,
        description="People",
        layout=w.Layout(width="auto"),
    )


def chart_html(chart: SizeChart, units: str) -> str:
    """Return a chart as a table in the units chosen."""
    words = ["Size", "Group"]
    return table_html(table(chart_words(chart, units), caption=SIZES, words=words))
