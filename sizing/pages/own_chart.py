"""The page on an adviser's own chart, or on two of them side by side."""

from collections.abc import Iterable
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from sizing.charts import OUTCOME_WORDS, SizeChart
from sizing.client.chart_bands import Bands, bands_of, density
from sizing.client.own_chart import MOST_CLIENTS, ChartJudgement, too_many
from sizing.coverage import Comparison
from sizing.measures import EDGE_RULE
from sizing.measures.vocabulary import plain
from sizing.measures.written import unit_of, written
from sizing.pages.page import Page, Picture, Section, Table, picture, table, template
from sizing.people.people import People
from sizing.plots.chart import plot_bands, plot_difference
from sizing.plots.shares import plot_shares
from sizing.plots.style import FAINT, INK, SHADES, SOFT, figure_of
from sizing.words.chart import (
    change_words,
    finding_words,
    load_first_words,
    served_words,
    why_words,
)
from sizing.words.client import capital
from sizing.words.labels import LEVEL_WORDS, covered_rows, labels
from sizing.words.numbers import interval

#: Of the light picture: its width, where bands begin, and the height of a row.
_WIDTH, _LEFT, _ROW, _TOP = 760, 130, 30, 34
_TICKS = 7
_EACH = "Your clients, one by one"
_TOO_MANY = (
    f"More than {MOST_CLIENTS:,} clients are not judged one by one here: give the list "
    f"in parts of at most {MOST_CLIENTS:,} clients."
)


def measure_label(measure: str, units: str) -> str:
    """Return what a measure is called, with the unit chosen."""
    return f"{labels()[measure].rsplit(',', 1)[0]}, {unit_of(measure, units)}"


def bands_axes(
    chart: SizeChart,
    people: People,
    *,
    before: SizeChart | None = None,
    units: str = "metric",
) -> dict[str, Axes]:
    """Draw the bands of each measure known of the people over them."""
    return {
        measure: plot_bands(
            bands_of(
                chart, density(people, measure), measure, before=before, units=units
            ),
            label=measure_label(measure, units),
        )
        for measure in chart.measures
        if measure in people.frame
    }


def bands_svg(bands: Bands, *, label: str) -> str:
    """Draw each size's band over the people, to follow an edge while it moves.

    Drawing the same with matplotlib takes 0.2 to 0.4 s of processor time, this a few
    milliseconds; the report keeps matplotlib's.
    """
    left, right, spread = bands.left, bands.right, bands.density

    def x(value: float) -> float:
        part = (value - left) / (right - left)
        return round(float(_LEFT + np.clip(part, 0, 1) * (_WIDTH - _LEFT - 10)), 1)

    tall = spread["share"] / (spread["share"].max() or 1.0)
    ticks = MaxNLocator(_TICKS).tick_values(left, right)
    return template("bands.svg.j2").render(
        label=label,
        x=x,
        sizes=bands.sizes.to_dict("records"),
        gaps=bands.gaps,
        before=bands.before.to_numpy().tolist(),
        compared=bands.before.notna().any(axis=None),
        people=list(zip(map(x, spread["value"]), tall, strict=True)),
        ticks=[tick for tick in ticks if left <= tick <= right],
        height=_TOP + _ROW * len(bands.sizes),
        **{"width": _WIDTH, "left": _LEFT, "row": _ROW, "top": _TOP},
        **{"ink": INK, "soft": SOFT, "faint": FAINT},
        **{"band": SHADES[3], "gap": SHADES[0]},
    )


def own_chart_page(
    judgement: ChartJudgement,
    people: People,
    *,
    comparison: Comparison | None = None,
    clients: pd.DataFrame | None = None,
    units: str = "metric",
    bands: bool = True,
) -> Page:
    """Return what stands in the report on an own chart; maybe without its bands.

    ``clients`` is what ``clients_served`` gave of a list of one's own.
    """
    chart = judgement.chart
    say = partial(written, units=units)
    limited = ", ".join(plain(m) for m in chart.measures)
    why = judgement.why.sort_values("estimate", ascending=False, kind="stable")
    found = finding_words(judgement.findings, say=say)
    drawn = bands_axes(chart, people, units=units) if bands else {}
    idle = "Every size is the only one for some of these people."
    if judgement.unneeded:
        idle = f"Almost nobody would miss: {', '.join(judgement.unneeded)}."
    sections = [
        Section(
            "Who is covered",
            judgement.intervals,
            figures=[_covered(judgement)],
            tables=[_outcomes(judgement)],
        ),
        Section(
            "Who falls between, and why",
            tables=[_between(judgement.between)] if len(judgement.between) else [],
            bullets=[capital(why_words(row, say=say)) for _, row in why.iterrows()]
            or ["Everyone has a size."],
        ),
        Section(
            "What would reach most of those left out",
            bullets=change_words(judgement.changes, say=say)
            or ["No edge moved and no size more would reach anybody here."],
        ),
        Section(
            "Gaps and overlaps",
            [EDGE_RULE],
            figures=[_bands(measure, ax, people) for measure, ax in drawn.items()],
            bullets=[f"{capital(words)}." for words in found]
            or ["Nothing in the chart itself stands out."],
        ),
        Section(
            "Sizes nobody needs, and where the load limit bites first",
            [idle, *load_first_words(judgement.sizes, say=say)],
            tables=[_sizes(judgement, units)],
        ),
    ]
    if comparison is not None:
        sections.insert(1, _side_by_side(comparison))
    if clients is not None:
        sections.insert(1, _one_by_one(clients))
    elif too_many(people):
        sections.insert(1, Section(_EACH, [_TOO_MANY]))
    return Page(
        title=f"Size chart: {chart.name}",
        question=f"Who does this chart fit among {people.name}, and who not?",
        inputs=f"Chart: {chart.source or 'the user’s own'}, {len(chart.sizes)} sizes; "
        f"limits {limited}. People: {people.name}, n = {people.n:,}, {people.draws} "
        "draws of what was not measured.",
        answer=judgement.answer(),
        sections=sections,
        limits=judgement.limits or ("The user's own people.",),
        sources=judgement.sources or ("The user's own table.",),
        footer="Nothing was sent anywhere.",
    )


def chart_results(
    judgement: ChartJudgement, comparison: Comparison | None = None
) -> dict[str, pd.DataFrame | Axes | str]:
    """Return the tables and pictures that can be saved of a judgement."""
    found: dict[str, pd.DataFrame | Axes | str] = {
        "chart_covered": judgement.coverage.table,
        "chart_sizes": judgement.sizes,
        "chart_why": judgement.why,
        "chart_between": judgement.between,
        "chart_findings": judgement.findings,
        "chart_changes": judgement.changes,
        "chart_covered_drawn": _covered_axes(judgement),
    }
    if comparison is not None:
        found["chart_compared"] = comparison.table
        found["chart_compared_drawn"] = _difference_axes(comparison)
    return found


def _bands(measure: str, ax: Axes, people: People) -> Picture:
    name = plain(measure)
    return picture(
        figure_of(ax),
        alt=f"Bands of {name} by size, over the spread of {people.name}",
        caption=f"Bands of {name}: hatched where a size overlaps the one before it, "
        "dark where no size begins or ends.",
    )


def _covered_axes(judgement: ChartJudgement) -> Axes:
    rows = covered_rows(judgement.coverage)
    return plot_shares(rows, x_label="Share of people who fit at least one size")


def _covered(judgement: ChartJudgement) -> Picture:
    rows = covered_rows(judgement.coverage)
    told = zip(rows["level"], _shares(rows), strict=True)
    return picture(
        figure_of(_covered_axes(judgement)),
        alt="Share covered, of everyone and by group, with intervals: "
        + "; ".join(map(" ".join, told)),
        caption="Share covered, with 95 % intervals.",
    )


def _difference_axes(comparison: Comparison) -> Axes:
    """Draw the difference between two charts, outcome by outcome."""
    rows = comparison.table[comparison.table["level"] == "everyone"]
    return plot_difference(rows, words={"covered": "covered", **OUTCOME_WORDS})


def _side_by_side(comparison: Comparison) -> Section:
    words = comparison.summary().splitlines()[0]
    drawn = picture(
        figure_of(_difference_axes(comparison)),
        alt=f"Difference between the two charts by outcome, with intervals: {words}",
        caption=f"{comparison.chart_b} minus {comparison.chart_a}, person by person.",
    )
    return Section("Two charts side by side", [words], figures=[drawn])


def _one_by_one(clients: pd.DataFrame) -> Section:
    columns = {
        "row": "Row",
        "fits": "Size",
        "how_sure": "How sure",
        "measure": "To measure",
        "check": "To check",
    }
    shown = clients[list(columns)].rename(columns=columns)
    shown["Size"] = shown["Size"].replace("", "none named")
    caption = "Each client of the list; the heading of the file is row 1."
    told = table(shown, caption=caption, words=list(columns.values())[1:])
    return Section(_EACH, [served_words(clients)], tables=[told])


def _shares(rows: pd.DataFrame, name: str = "estimate") -> list[str]:
    """Write a column of shares, each with its interval."""
    prefix = "" if name == "estimate" else f"{name}_"
    return [interval(row, name, prefix) for row in rows.to_dict("records")]


def _outcomes(judgement: ChartJudgement) -> Table:
    rows = judgement.coverage.table
    rows = rows[(rows["level"] == "everyone") & (rows["outcome"] != "covered")]
    shown = pd.DataFrame(
        {"Outcome": rows["outcome"].map(OUTCOME_WORDS), "Share": _shares(rows)}
    )
    caption = f"Of everyone, 95 % intervals; n = {rows['n'].iloc[0]:,}."
    return table(shown, caption=caption, words=["Outcome"])


def _between(rows: pd.DataFrame) -> Table:
    def named(levels: Iterable[str]) -> list[str]:
        return [LEVEL_WORDS.get(level, level) for level in levels]

    shown = pd.DataFrame(
        {
            "Among": rows["fitted_to"],
            "Group": named(rows["level"]),
            "Against": named(rows["reference"]),
            "Times as likely": [
                "" if pd.isna(e) else f"{e:.2f} ({a:.2f} to {b:.2f})"
                for e, a, b in rows[["estimate", "low", "high"]].to_numpy(dtype=float)
            ],
            "People": rows["n"],
            "Remark": rows["message"],
        }
    )
    return table(
        shown,
        caption="Odds of falling between sizes, the other groupings being equal.",
        words=["Among", "Group", "Against", "Remark"],
    )


def _sizes(judgement: ChartJudgement, units: str) -> Table:
    rows, load = judgement.sizes, "load_limit_kg"
    shown = pd.DataFrame(
        {
            "Size": rows["size"],
            "Fits": _shares(rows, "fits"),
            "No other size fits": _shares(rows, "needs"),
            "Load limit": [
                "not stated" if pd.isna(v) else written(v, load, units, to="tenth")
                for v in rows[load]
            ],
            "Fabric fits, load limit does not": _shares(rows, "load_first"),
        }
    )
    caption = "Shares of all people, 95 % intervals."
    return table(shown, caption=caption, words=["Size"])
