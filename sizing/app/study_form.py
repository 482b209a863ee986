"""The pages on the study and on size bands: whom sizes fit, and the best edges."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from itertools import count
from typing import Any

import ipywidgets as w
import pandas as pd
from matplotlib.axes import Axes

import sizing.bands as bands
from sizing.app.answer_form import AnswerForm, Progress
from sizing.app.fields import (
    PatternField,
    UnitField,
    UnitSwitch,
    UploadBox,
    folded,
    on_change,
    people_choice,
    show_if,
)
from sizing.app.form_words import CHART_HEADINGS, file_headings, paragraphs, table_html
from sizing.charts import SizeChart, read_chart
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures import MEASURES
from sizing.measures.tables import CHART
from sizing.pages.page import Page, Section, Table, picture, table
from sizing.pages.study import study_axes, study_page, study_pictures, study_report
from sizing.people import load_people, population_titles
from sizing.plots.chart import plot_people_and_chart
from sizing.plots.shares import plot_edge_stability, plot_frontier
from sizing.plots.style import figure_of
from sizing.resources import texts
from sizing.study.study import Study, run_study
from sizing.words.labels import chart_words, labels, level_words
from sizing.words.numbers import probably, sizes_fit
from sizing.words.numbers import share as percent

_T, _B = texts("study"), texts("bands")
#: Of ``run_study``, and what is left to draw afterwards.
_STEPS = 6
USUAL, OWN = "usual", "own"
_TENTH = partial(percent, places=1)
#: How the cells of a column of the bands' tables are written.
_WRITTEN = {"": str, "share": percent, "tenth": _TENTH, "cm": "{:.1f}".format}


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


class StudyForm(AnswerForm):
    """Whom nine fitted sizes, or those of a chart of one's own, fit."""

    def __init__(self) -> None:
        words = _T.form
        super().__init__(words["start"])
        self.people, self.pattern = people_choice("everyone"), PatternField()
        self.draws = w.BoundedIntText(
            value=5, min=1, max=20, description=words["draws"]
        )
        self.upload = UploadBox(words["own"], help=words["without"], table=CHART)
        self.widths = WidthFields(self.switch, self.forget)
        self.follow(self.people, self.draws, self.upload, self.pattern)
        wide = folded(words["folded"], self.widths.view)
        headings = w.HTML(file_headings(CHART_HEADINGS))
        chosen = self.people, self.pattern.view, wide, self.upload.view
        self.lay_out(*chosen, headings, self.draws)

    def work_out(self, progress: Progress) -> Study:
        steps = count()
        return run_study(
            str(self.people.value),
            chart=self.upload.read(partial(read_chart, warn=False)),
            widths=self.widths.found(),
            pattern=self.pattern.pattern,
            draws=int(self.draws.value),
            progress=lambda step: progress(f"Now: {step}.", next(steps) / _STEPS),
        )

    def show(self, answer: Study) -> None:
        self.pattern.use_chart(answer.chart.measures)
        page = study_report(answer, study_pictures(answer))
        sizes = table_html(_sizes(answer.chart, self.switch.units))
        self.answered.show(page, words=sizes)

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


class BandsForm(AnswerForm):
    """The best edges for the usual widths, or one's own; what others would change."""

    def __init__(self) -> None:
        super().__init__(_B.start)
        self.people, self.pattern = people_choice("everyone"), PatternField()
        kinds = [(words, kind) for kind, words in _B.kinds.items()]
        self.kind = w.ToggleButtons(options=kinds, description=_B.sizes)
        self.sizes = w.BoundedIntText(value=3, min=1, max=6)
        self.widths = WidthFields(self.switch, self.forget)
        for name, width in bands.default_widths()["adult"].items():
            self.widths.fields[name].set(width)
        self.follow(self.people, self.kind, self.sizes, self.pattern)
        on_change(self._open, self.kind)
        self._open()
        chosen = self.people, self.pattern.view, self.kind
        self.lay_out(*chosen, self.sizes, self.widths.view)

    def work_out(self, progress: Progress) -> dict[str, Any]:
        def step(name: str, part: float) -> None:
            progress(_B.progress[name], part)

        step("people", 0.05)
        name, sizes = str(self.people.value), int(self.sizes.value)
        people = load_people(name, draws=3, seed=1)
        people = replace(people, name=population_titles()[name])
        found: dict[str, Any] = {"people": people}
        if self.kind.value == USUAL:
            how: dict[str, Any] = {"widths": bands.default_widths(self.pattern.pattern)}
            step("groups", 0.2)
            found["fit"] = bands.fit_nine_sizes(
                people, sizes=sizes, splits=4, seed=1, **how
            )
            step("by_sizes", 0.8)
            numbers = sorted({2, 3, 4, sizes})
            found["by_sizes"] = bands.coverage_by_sizes(people, numbers=numbers, **how)
            return found
        widths = self.widths.found()
        if not widths:
            raise SizingError(**_B.no_width)
        one: dict[str, Any] = {"widths": widths, "sizes": sizes}
        some = one | {"sizes": sorted({max(sizes - 1, 1), sizes, min(sizes + 1, 6)})}
        step("fit", 0.1)
        found["fit"] = bands.fit_bands(people, splits=6, seed=1, **one)
        step("frontier", 0.3)
        found["frontier"] = bands.frontier(people, **some)
        step("widths_needed", 0.6)
        found["widths_needed"] = bands.width_needed(people, **some)
        step("fairest", 0.8)
        found["fairest"] = bands.fit_fairest(people, by="sex", **one)
        step("edges", 0.9)
        found["edges"] = bands.edge_stability(people, replicates=20, **one)
        first = people.frame[next(iter(widths))]
        cut = bands.partition_bands(first, sizes, weights=people.weight)
        return found | {"one_measure": cut}

    def show(self, answer: dict[str, Any]) -> None:
        people, fit = answer["people"], answer["fit"]
        self.pattern.use_chart(fit.chart.measures)
        told = fit.summary().replace(". ", ".\n", 1)
        shown, words = [_sizes(fit.chart, self.switch.units)], []
        if "by_sizes" in answer:
            rows, words = answer["by_sizes"], fit.summary().splitlines()
            row = rows.set_index("each_group", drop=False).loc[self.sizes.value]
            covers = sizes_fit(row["sizes"], row["estimate"])
            told = _B.covered.format(sizes_fit=covers, probably=probably(row))
            ends = rows["low"].map(_TENTH) + " to " + rows["high"].map(_TENTH)
            shown.insert(0, _table("by_sizes", rows.assign(ends=ends)))
        limits = [_B.limits, *people.limits]
        page = Page("", "", told, _sections(answer, words), limits, people.sources)
        self.answered.show(page, words="".join(map(table_html, shown)))

    def saved(self, answer: dict[str, Any]) -> dict[str, Any]:
        found = {"chart": answer["fit"].chart.frame, "fit": answer["fit"].table}
        found |= {k: v for k, v in answer.items() if isinstance(v, pd.DataFrame)}
        if "fairest" in answer:
            found["fairest"] = answer["fairest"].table
        return {**found, **_axes(answer)}

    def _open(self) -> None:
        own = self.kind.value == OWN
        show_if(own, self.widths.view)
        self.sizes.description = _B.sizes if own else _B.sizes_each


def _sizes(chart: SizeChart, units: str) -> Table:
    caption = _T.form["sizes"]
    return table(chart_words(chart, units), caption=caption, words=["Size", "Group"])


def _sections(answer: dict[str, Any], words: list[str]) -> list[Section]:
    chart, drawn = answer["fit"].chart, {}
    named = [labels()[measure] for measure in chart.measures]
    told = {"x": named[0], "y": named[:2][-1]}
    for name, ax in _axes(answer).items():
        said = {key: text.format(**told) for key, text in _B.pictures[name].items()}
        drawn[name] = [picture(figure_of(ax), **said)]
    found = [Section("", words, drawn.pop("people_and_sizes", []))]
    if "edges" not in answer:
        return found
    fair, needed = answer["fairest"], answer["widths_needed"]
    widths = {
        f"Width of {labels()[measure]}": [f"{measure}_width", "cm"]
        for measure in MEASURES
    }
    called = level_words(answer["people"].frame)
    sides = fair.table.assign(level=fair.table["level"].map(called)).pivot_table(
        index="level", columns="chart", values="estimate", aggfunc="first"
    )
    charts = {name: [name, "tenth"] for name in sides}
    shown: dict[str, list[Table]] = {
        "frontier": [_table("frontier", needed, widths)],
        "fairest": [_table("fairest", sides.reset_index(), charts)],
        "edges": [],
        "one_measure": [_table("one_measure", answer["one_measure"], of=named[0])],
    }
    for name, tables in shown.items():
        words = [_B.words[name], *([fair.summary()] if name == "fairest" else [])]
        found.append(
            Section(_B.headings[name], words, drawn.get(f"{name}_picture", ()), tables)
        )
    return found


def _axes(answer: dict[str, Any]) -> dict[str, Axes]:
    people, chart, found = answer["people"], answer["fit"].chart, {}
    if len(chart.measures) > 1:
        x, y = chart.measures[:2]
        how: dict[str, Any] = {"labels": labels(), "weight": people.weight}
        found["people_and_sizes"] = plot_people_and_chart(
            people.frame, chart.frame, x=x, y=y, **how
        )
    if "edges" in answer:
        found["frontier_picture"] = plot_frontier(answer["frontier"])
        found["edges_picture"] = plot_edge_stability(answer["edges"], chart.measures[0])
    return found


def _table(
    name: str, frame: pd.DataFrame, more: Mapping[str, Any] | None = None, of: str = ""
) -> Table:
    """Write a table out: for each heading the column, and how its cells are written."""
    columns = {**_B.columns[name], **(more or {})}
    cells = {
        heading: frame[column].map(_WRITTEN[how])
        for heading, (column, how) in columns.items()
        if column in frame
    }
    caption = _B.captions[name].format(measure=of)
    return table(pd.DataFrame(cells), caption=caption, words=["Group", "Band"])
