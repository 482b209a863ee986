"""The page on size bands: people, widths and number of sizes; the best edges."""

from dataclasses import replace
from typing import Any

import ipywidgets as w
import pandas as pd
from matplotlib.axes import Axes

from sizing.app.answer_form import AnswerForm
from sizing.app.form_words import bullets, heading, lead, paragraphs
from sizing.app.long_work import Progress
from sizing.app.pattern_field import PatternField
from sizing.app.show import picture_html, table_html
from sizing.app.study_form import chart_html, people_choice
from sizing.app.width_fields import WidthFields
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
from sizing.people import People, load_people, population_titles
from sizing.plots.bands import plot_edge_stability, plot_frontier
from sizing.plots.chart import plot_people_and_chart
from sizing.plots.style import figure_of
from sizing.words.labels import LEVEL_WORDS, labels
from sizing.words.numbers import probably, sizes_fit
from sizing.words.numbers import share as percent

USUAL, OWN = "usual", "own"
_LIMITS = (
    "Half-splits repeat the draw of persons, not the survey's design nor the model's "
    "error, so the intervals are too narrow rather than too wide. A fitted chart is "
    "evidence about widths and edges; it is not a sling."
)
_FAIR = (
    "The chart that is best on average need not be best for women, or for men. The "
    "next one serves the worse-served of the two as well as any chart can."
)
_MOVES = (
    "Had the survey met other people, the edges would stand elsewhere. An edge that "
    "moves by centimetres is not worth arguing about by millimetres."
)
_WIDER = (
    "Wider bands and more sizes cover more people; neither is free: a wider band fits "
    "each less well."
)
_ALONE = (
    "Where one measure decides and nobody may be left out, the same people are cut "
    "into bands whose members are most alike."
)


class BandsForm(AnswerForm):
    """The best edges for sizes of given widths, and what other widths would change.

    - ``people, kind, sizes``: Whom, the usual widths or one's own, and how many sizes.
    - ``widths``: Widths of one's own; an empty field leaves the measure out.
    """

    def __init__(self) -> None:
        super().__init__("Fit the sizes")
        self.people = people_choice("everyone")
        self.kind = w.ToggleButtons(
            options=[
                ("Usual widths, three groups apart", USUAL),
                ("Widths of my own", OWN),
            ],
            description="Sizes",
        )
        self.sizes = w.BoundedIntText(
            value=3, min=1, max=6, description="Sizes of each group"
        )
        self.widths = WidthFields(self.switch, self.forget)
        for name, width in default_widths()["adult"].items():
            self.widths.fields[name].set(width)
        self._own = self.widths.view
        self._own.layout.display = "none"
        self.follow(self.people, self.kind, self.sizes)
        self.kind.observe(lambda _: self._open(), "value")
        self.pattern = PatternField()
        self.pattern.on_change(self.forget)
        self.lay_out(self.people, self.pattern.view, self.kind, self.sizes, self._own)

    def work_out(self, progress: Progress) -> dict[str, Any]:
        """Fit the sizes, and whatever else says how good they are."""
        progress("Getting the people ready.", 0.05)
        name = str(self.people.value)
        people = load_people(name, draws=3, seed=1)
        people = replace(people, name=population_titles()[name])
        sizes = int(self.sizes.value)
        found: dict[str, Any] = {"people": people}
        if self.kind.value == USUAL:
            progress("Fitting the sizes of each group.", 0.2)
            wide = default_widths(self.pattern.pattern)
            fit: Any = fit_nine_sizes(
                people, sizes=sizes, widths=wide, splits=4, seed=1
            )
            progress("Trying fewer and more sizes.", 0.8)
            numbers = sorted({2, 3, 4, sizes})
            more = coverage_by_sizes(people, numbers=numbers, widths=wide)
            return found | {"fit": fit, "by_sizes": more}
        widths = self.widths.asked()
        numbers = sorted({max(sizes - 1, 1), sizes, min(sizes + 1, 6)})
        progress("Fitting the sizes.", 0.1)
        found["fit"] = fit_bands(people, widths=widths, sizes=sizes, splits=6, seed=1)
        progress("Trying other widths and numbers.", 0.3)
        found["frontier"] = frontier(
            people, widths=widths, sizes=numbers, scales=(0.6, 0.8, 1, 1.2, 1.4), seed=1
        )
        progress("Looking for the widths that cover a given share.", 0.6)
        found["widths_needed"] = width_needed(people, widths=widths, sizes=numbers)
        progress("Looking for the fairest edges.", 0.8)
        found["fairest"] = fit_fairest(people, by="sex", widths=widths, sizes=sizes)
        progress("Drawing other people, to see how far the edges move.", 0.9)
        found["edges"] = edge_stability(
            people, widths=widths, sizes=sizes, replicates=20, seed=1
        )
        first = next(iter(widths))
        found["one_measure"] = partition_bands(
            people.frame[first], sizes, weights=people.weight
        ).table
        return found

    def show(self, answer: dict[str, Any]) -> None:
        """Show the edges, the pictures and what other choices would give."""
        people, fit = answer["people"], answer["fit"]
        measures = list(fit.chart.measures)
        self.pattern.use_chart(measures)
        drawn, parts = _axes(answer), []
        if "people_and_sizes" in drawn:
            parts += _picture(
                drawn["people_and_sizes"],
                f"People by {labels()[measures[0]]} and {labels()[measures[1]]}, the "
                "darker the more; over them one numbered box for each size. Exact "
                "edges stand in the table above.",
                "The darker, the more people; each numbered box is one size. Who lies "
                "in no box has no size.",
            )
        edges = chart_html(fit.chart, self.switch.units)
        if "by_sizes" in answer:
            rows = answer["by_sizes"].set_index("each_group", drop=False)
            words = lead(_covered(rows.loc[self.sizes.value]))
            words += _table(_by_sizes(rows), "What fewer and more sizes cover") + edges
            parts.insert(0, paragraphs(fit.summary().splitlines()))
        else:
            words = lead(fit.summary().replace(". ", ".\n", 1)) + edges
            parts += _others(answer, drawn, measures)
        self.answered.words.value = words
        self.answered.pictures.value = "".join(parts)
        self.answered.limits.value = paragraphs([_LIMITS]) + bullets(people.limits)
        self.answered.sources.value = bullets(people.sources)

    def saved(self, answer: dict[str, Any]) -> dict[str, Any]:
        """Return the tables, exact, and the pictures."""
        tables = {
            name: table
            for name, table in answer.items()
            if isinstance(table, pd.DataFrame)
        }
        if "fairest" in answer:
            tables["fairest"] = answer["fairest"].table
        fit = answer["fit"]
        return {"chart": fit.chart.frame, "fit": fit.table, **tables, **_axes(answer)}

    def _open(self) -> None:
        own = self.kind.value == OWN
        self._own.layout.display = None if own else "none"
        self.sizes.description = "Sizes" if own else "Sizes of each group"


def _others(
    answer: dict[str, Any], drawn: dict[str, Axes], measures: list[str]
) -> list[str]:
    """Return what other widths, numbers, aims and people would give."""
    fair = answer["fairest"]
    return [
        heading("How wide, and how many sizes"),
        paragraphs([_WIDER]),
        *_picture(
            drawn["frontier_picture"],
            "Share covered against the width of the bands, one line for each "
            "number of sizes: it rises with the width and with the number. The "
            "figures can be saved below.",
        ),
        _table(_needed(answer["widths_needed"]), "Width each band needs"),
        heading("Who pays for the average"),
        paragraphs([_FAIR, fair.summary()]),
        _table(_sides(fair.table), "Share who fit under each chart"),
        heading("How far the edges move"),
        paragraphs([_MOVES]),
        *_picture(
            drawn["edges_picture"],
            f"For each size the fitted low and high edge of {labels()[measures[0]]}"
            " and the range in which it lies in "
            "resamples of the people. The figures can be saved below.",
        ),
        heading("One measure alone"),
        paragraphs([_ALONE]),
        _table(_cut(answer["one_measure"]), f"{labels()[measures[0]]}, cut into bands"),
    ]


def _axes(answer: dict[str, Any]) -> dict[str, Axes]:
    """Draw the answer's pictures."""
    people: People = answer["people"]
    fit, found = answer["fit"], {}
    measures = list(fit.chart.measures)
    if len(measures) > 1:
        found["people_and_sizes"] = plot_people_and_chart(
            people.frame,
            fit.chart.frame,
            x=measures[0],
            y=measures[1],
            labels=labels(),
            weight=people.weight,
        )
    if "edges" in answer:
        found["frontier_picture"] = plot_frontier(answer["frontier"])
        found["edges_picture"] = plot_edge_stability(answer["edges"], measures[0])
    return found


def _picture(ax: Axes, alt: str, caption: str = "") -> list[str]:
    return [picture_html(picture(figure_of(ax), alt=alt, caption=caption))]


def _table(frame: pd.DataFrame, caption: str) -> str:
    words = [name for name in frame.columns if name in ("Group", "Band")]
    return table_html(table(frame, caption=caption, words=words))


def _covered(row: pd.Series) -> str:
    """Say in a sentence what a number of sizes covers."""
    fit = sizes_fit(row["sizes"], row["estimate"])
    return f"{fit}, {probably(row)} (95 % interval)."


def _by_sizes(rows: pd.DataFrame) -> pd.DataFrame:
    ends = rows["low"].map(_tenth) + " to " + rows["high"].map(_tenth)
    return pd.DataFrame(
        {
            "Sizes": rows["sizes"],
            "In each group": rows["each_group"],
            "Share with a size": rows["estimate"].map(_tenth),
            "95 % interval": ends,
        }
    )


def _needed(rows: pd.DataFrame) -> pd.DataFrame:
    shown = {"Sizes": rows["sizes"], "To cover": rows["target"].map(percent)}
    for name in rows.columns:
        if (measure := str(name).removesuffix("_width")) in MEASURES:
            shown[f"Width of {labels()[measure]}"] = rows[name].map("{:.1f}".format)
    return pd.DataFrame(shown)


def _sides(rows: pd.DataFrame) -> pd.DataFrame:
    told = rows.assign(
        estimate=rows["estimate"].map(_tenth), level=rows["level"].map(LEVEL_WORDS)
    ).pivot_table(index="level", columns="chart", values="estimate", aggfunc="first")
    return told.rename_axis(index="Group", columns=None).reset_index()


def _cut(rows: pd.DataFrame) -> pd.DataFrame:
    shown = {"Band": rows["band"], "Share": rows["share"].map(percent)}
    for name, words in (("low", "From"), ("high", "To"), ("centre", "Centre")):
        shown[words] = rows[name].map("{:.1f}".format)
    return pd.DataFrame(shown)


def _tenth(share: float) -> str:
    return percent(share, places=1)
