"""The page on size bands: people, widths and number of sizes; the best edges."""

from dataclasses import replace
from typing import Any

import ipywidgets as w
import pandas as pd
from matplotlib.axes import Axes

from sizing.app.answer_form import AnswerForm, Progress
from sizing.app.fields import PatternField, on_change, people_choice, show_if
from sizing.app.form_words import (
    bullets,
    heading,
    lead,
    paragraphs,
    picture_html,
    table_html,
)
from sizing.app.study_form import WidthFields, chart_html
from sizing.bands import (
    coverage_by_sizes,
    default_widths,
    edge_stability,
    fit_bands,
    fit_fairest,
    fit_nine_sizes,
    frontier,
    partition_bands,
    width_needed,
)
from sizing.measures import MEASURES
from sizing.pages.page import picture, table
from sizing.people import load_people, population_titles
from sizing.plots.chart import plot_people_and_chart
from sizing.plots.shares import plot_edge_stability, plot_frontier
from sizing.plots.style import figure_of
from sizing.resources import texts
from sizing.words.labels import labels, level_words
from sizing.words.numbers import probably, sizes_fit
from sizing.words.numbers import share as percent

_T = texts("bands")
USUAL, OWN = "usual", "own"


class BandsForm(AnswerForm):
    """The best edges for sizes of given widths, and what other widths would change.

    - ``people, kind, sizes``: Whom, the usual widths or one's own, and how many sizes.
    - ``widths``: Widths of one's own; an empty field leaves the measure out.
    """

    def __init__(self) -> None:
        super().__init__(_T.start)
        self.people = people_choice("everyone")
        kinds = [(words, kind) for kind, words in _T.kinds.items()]
        self.kind = w.ToggleButtons(options=kinds, description=_T.sizes)
        self.sizes = w.BoundedIntText(value=3, min=1, max=6, description=_T.sizes_each)
        self.widths = WidthFields(self.switch, self.forget)
        for name, width in default_widths()["adult"].items():
            self.widths.fields[name].set(width)
        self._own = self.widths.view
        self.pattern = PatternField()
        self.follow(self.people, self.kind, self.sizes, self.pattern)
        on_change(self._open, self.kind)
        self._open()
        self.lay_out(self.people, self.pattern.view, self.kind, self.sizes, self._own)

    def work_out(self, progress: Progress) -> dict[str, Any]:
        def step(name: str, part: float) -> None:
            progress(_T.progress[name], part)

        step("people", 0.05)
        name, sizes = str(self.people.value), int(self.sizes.value)
        people = load_people(name, draws=3, seed=1)
        people = replace(people, name=population_titles()[name])
        found: dict[str, Any] = {"people": people}
        if self.kind.value == USUAL:
            how: dict[str, Any] = {"widths": default_widths(self.pattern.pattern)}
            step("groups", 0.2)
            found["fit"] = fit_nine_sizes(people, sizes=sizes, splits=4, seed=1, **how)
            step("by_sizes", 0.8)
            numbers = sorted({2, 3, 4, sizes})
            found["by_sizes"] = coverage_by_sizes(people, numbers=numbers, **how)
            return found
        widths = self.widths.asked()
        one: dict[str, Any] = {"widths": widths, "sizes": sizes}
        some = one | {"sizes": sorted({max(sizes - 1, 1), sizes, min(sizes + 1, 6)})}
        step("fit", 0.1)
        found["fit"] = fit_bands(people, splits=6, seed=1, **one)
        step("frontier", 0.3)
        found["frontier"] = frontier(people, **some)
        step("widths_needed", 0.6)
        found["widths_needed"] = width_needed(people, **some)
        step("fairest", 0.8)
        found["fairest"] = fit_fairest(people, by="sex", **one)
        step("edges", 0.9)
        found["edges"] = edge_stability(people, replicates=20, **one)
        first = people.frame[next(iter(widths))]
        found["one_measure"] = partition_bands(
            first, sizes, weights=people.weight
        ).table
        return found

    def show(self, answer: dict[str, Any]) -> None:
        people, fit = answer["people"], answer["fit"]
        self.pattern.use_chart(fit.chart.measures)
        drawn = _pictures(answer)
        parts = [drawn.get("people_and_sizes", "")]
        edges = chart_html(fit.chart, self.switch.units)
        if "by_sizes" in answer:
            rows = answer["by_sizes"].set_index("each_group", drop=False)
            words = lead(_covered(rows.loc[self.sizes.value]))
            words += _table("by_sizes", _by_sizes(rows)) + edges
            parts.insert(0, paragraphs(fit.summary().splitlines()))
        else:
            words = lead(fit.summary().replace(". ", ".\n", 1)) + edges
            parts += _others(answer, drawn)
        self.answered.words.value = words
        self.answered.pictures.value = "".join(parts)
        self.answered.limits.value = paragraphs([_T.limits]) + bullets(people.limits)
        self.answered.sources.value = bullets(people.sources)

    def saved(self, answer: dict[str, Any]) -> dict[str, Any]:
        found = {"chart": answer["fit"].chart.frame, "fit": answer["fit"].table}
        found |= {k: v for k, v in answer.items() if isinstance(v, pd.DataFrame)}
        if "fairest" in answer:
            found["fairest"] = answer["fairest"].table
        return {**found, **_axes(answer)}

    def _open(self) -> None:
        own = self.kind.value == OWN
        show_if(own, self._own)
        self.sizes.description = _T.sizes if own else _T.sizes_each


def _others(answer: dict[str, Any], drawn: dict[str, str]) -> list[str]:
    fair, first = answer["fairest"], labels()[answer["fit"].chart.measures[0]]
    below = {
        "frontier": [
            drawn["frontier_picture"],
            _table("frontier", _needed(answer["widths_needed"])),
        ],
        "fairest": [
            paragraphs([fair.summary()]),
            _table("fairest", _sides(fair.table, level_words(answer["people"].frame))),
        ],
        "edges": [drawn["edges_picture"]],
        "one_measure": [_table("one_measure", _cut(answer["one_measure"]), first)],
    }
    return [
        part
        for name, parts in below.items()
        for part in (heading(_T.headings[name]), paragraphs([_T.words[name]]), *parts)
    ]


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


def _pictures(answer: dict[str, Any]) -> dict[str, str]:
    named = [labels()[m] for m in answer["fit"].chart.measures]
    told, found = {"x": named[0], "y": named[-1]}, {}
    if len(named) > 1:
        told["y"] = named[1]
    for name, ax in _axes(answer).items():
        words = {key: text.format(**told) for key, text in _T.pictures[name].items()}
        found[name] = picture_html(picture(figure_of(ax), **words))
    return found


def _table(name: str, frame: pd.DataFrame, measure: str = "") -> str:
    words = [head for head in frame.columns if head in ("Group", "Band")]
    caption = _T.captions[name].format(measure=measure)
    return table_html(table(frame, caption=caption, words=words))


def _covered(row: pd.Series) -> str:
    fit = sizes_fit(row["sizes"], row["estimate"])
    return str(_T.covered.format(sizes_fit=fit, probably=probably(row)))


def _by_sizes(rows: pd.DataFrame) -> pd.DataFrame:
    ends = rows["low"].map(_tenth) + " to " + rows["high"].map(_tenth)
    shown = {"Sizes": rows["sizes"], "In each group": rows["each_group"]}
    shown |= {"Share with a size": rows["estimate"].map(_tenth), "95 % interval": ends}
    return pd.DataFrame(shown)


def _needed(rows: pd.DataFrame) -> pd.DataFrame:
    shown = {"Sizes": rows["sizes"], "To cover": rows["target"].map(percent)}
    for name in rows.columns:
        if (measure := str(name).removesuffix("_width")) in MEASURES:
            shown[f"Width of {labels()[measure]}"] = rows[name].map("{:.1f}".format)
    return pd.DataFrame(shown)


def _sides(rows: pd.DataFrame, called: dict[str, str]) -> pd.DataFrame:
    told = rows.assign(
        estimate=rows["estimate"].map(_tenth), level=rows["level"].map(called)
    ).pivot_table(index="level", columns="chart", values="estimate", aggfunc="first")
    return told.rename_axis(index="Group", columns=None).reset_index()


def _cut(rows: pd.DataFrame) -> pd.DataFrame:
    shown = {"Band": rows["band"], "Share": rows["share"].map(percent)}
    for name, words in (("low", "From"), ("high", "To"), ("centre", "Centre")):
        shown[words] = rows[name].map("{:.1f}".format)
    return pd.DataFrame(shown)


def _tenth(share: float) -> str:
    return percent(share, places=1)
