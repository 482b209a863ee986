"""The report on an adviser's own chart, or on two of them side by side."""

from dataclasses import dataclass
from functools import partial
from html import escape

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sizing.app.form_words import bullets, status
from sizing.app.show import picture_html, table_html
from sizing.charts import OUTCOME_WORDS, SizeChart
from sizing.client.own_chart import ChartJudgement
from sizing.coverage import Comparison
from sizing.measures import EDGE_RULE
from sizing.measures.typed import understood
from sizing.measures.vocabulary import plain
from sizing.measures.written import Say, unit_of, written
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.people.people import People
from sizing.plots.own_chart import plot_bands, plot_difference
from sizing.plots.shares import plot_shares
from sizing.plots.style import figure_of
from sizing.words.chart import finding_words, load_first_words, why_words
from sizing.words.client import capital
from sizing.words.labels import LEVEL_WORDS, covered_rows, labels
from sizing.words.numbers import interval

_BINS = 80


def density(people: People, measure: str) -> pd.DataFrame:
    """Return the share of people in each of 80 steps of a measure."""
    known = people.frame[measure].notna().to_numpy()
    x = people.frame[measure].to_numpy(dtype=float)[known]
    w = people.weight.to_numpy(dtype=float)[known]
    if len(x) == 0 or w.sum() == 0:
        return pd.DataFrame({"value": [0.0], "share": [0.0]})
    count, edges = np.histogram(x, bins=_BINS, weights=w)
    return pd.DataFrame(
        {"value": (edges[1:] + edges[:-1]) / 2, "share": count / count.sum()}
    )


@dataclass(frozen=True)
class InUnits:
    """One measure of a chart and of people, in the units of the page.

    Attributes
    ----------
    frame : DataFrame
        The chart's, the measure's edges rounded to a tenth.
    density : DataFrame
        As ``density`` gives it.
    label : str
        What the measure is called, with its unit.
    """

    frame: pd.DataFrame
    density: pd.DataFrame
    label: str


def in_units(
    frame: pd.DataFrame, spread: pd.DataFrame, measure: str, units: str
) -> InUnits:
    """Return a chart's edges and people's spread in one measure in other units.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> people = pd.DataFrame({"value": [100.0], "share": [1.0]})
    >>> hips = in_units(demo_chart().frame, people, "hip_circumference_cm", "pounds")
    >>> hips.label, hips.frame.loc[3, "hip_circumference_cm_high"].item()
    ('Hip girth, in', 40.9)
    """
    unit = unit_of(measure, units)
    factor = understood(f"1 {unit}", measure)
    edges = [str(name) for name in frame if str(name).startswith(f"{measure}_")]
    return InUnits(
        frame.assign(**{name: (frame[name] / factor).round(1) for name in edges}),
        spread.assign(value=spread["value"] / factor),
        f"{labels()[measure].rsplit(',', 1)[0]}, {unit}",
    )


def bands_axes(
    chart: SizeChart,
    people: People,
    measure: str,
    *,
    before: SizeChart | None = None,
    units: str = "metric",
) -> Axes:
    """Draw one measure's bands over the people."""
    spread = density(people, measure)
    now = in_units(chart.frame, spread, measure, units)
    then = None
    if before is not None and f"{measure}_low" in before.frame:
        then = in_units(before.frame, spread, measure, units).frame
    return plot_bands(
        now.frame, measure, density=now.density, label=now.label, before=then
    )


def bands_picture(
    chart: SizeChart, people: People, measure: str, *, units: str = "metric"
) -> Picture:
    """Return the picture of one measure's bands over the people."""
    name = plain(measure)
    return picture(
        figure_of(bands_axes(chart, people, measure, units=units)),
        alt=f"Bands of {name} by size, over the spread of {people.name}",
        caption=f"Bands of {name}: hatched where a size overlaps the one before it, "
        "dark where no size begins or ends.",
    )


def own_chart_page(
    judgement: ChartJudgement,
    people: People,
    *,
    comparison: Comparison | None = None,
    other: SizeChart | None = None,
    units: str = "metric",
) -> str:
    """Write the report on an own chart as one HTML text."""
    chart = judgement.chart
    say = partial(written, units=units)
    limited = ", ".join(plain(m) for m in chart.measures)
    sections = [
        Section(
            "Who is covered",
            [judgement.answer()],
            figures=[_covered(judgement)],
            tables=[_outcomes(judgement)],
        ),
        Section(
            "Who falls between, and why",
            tables=[_between(judgement)] if len(judgement.between) else [],
            bullets=_why(judgement, say) or ["Everyone has a size."],
        ),
        Section(
            "Gaps and overlaps",
            [EDGE_RULE],
            figures=[
                bands_picture(chart, people, m, units=units)
                for m in chart.measures
                if m in people.frame
            ],
            bullets=_findings(judgement, say)
            or ["Nothing in the chart itself stands out."],
        ),
        Section(
            "Sizes nobody needs, and where the load limit bites first",
            [*_idle(judgement), *load_first_words(judgement.sizes, say=say)],
            tables=[_sizes(judgement, say)],
        ),
    ]
    if comparison is not None and other is not None:
        sections.insert(1, _side_by_side(comparison))
    return render(
        Page(
            title=f"Size chart: {chart.name}",
            question=f"Who does this chart fit among {people.name}, and who not?",
            inputs=f"Chart: {chart.source or 'the user’s own'}, "
            f"{len(chart.sizes)} sizes; limits {limited}. People: "
            f"{people.name}, n = {people.n:,}, {people.draws} draws of what was not "
            "measured.",
            answer=judgement.answer(),
            sections=sections,
            limits=judgement.limits or ("The user's own people.",),
            sources=judgement.sources or ("The user's own table.",),
            footer="Nothing was sent anywhere.",
        )
    )


def _why(judgement: ChartJudgement, say: Say) -> list[str]:
    """Return why people have no size, what keeps most of them from one first."""
    rows = judgement.why.sort_values("estimate", ascending=False, kind="stable")
    return [capital(why_words(row, say=say)) for _, row in rows.iterrows()]


def _findings(judgement: ChartJudgement, say: Say) -> list[str]:
    """Return what is doubtful in the chart itself, as sentences."""
    return [f"{capital(w)}." for w in finding_words(judgement.findings, say=say)]


def covered_axes(judgement: ChartJudgement) -> Axes:
    """Draw the share covered, of everyone and by group."""
    rows = covered_rows(judgement.coverage)
    return plot_shares(rows, x_label="Share of people who fit at least one size")


def _covered(judgement: ChartJudgement) -> Picture:
    each = "; ".join(
        f"{row['level']} {interval(row)}"
        for _, row in covered_rows(judgement.coverage).iterrows()
    )
    return picture(
        figure_of(covered_axes(judgement)),
        alt=f"Share covered, of everyone and by group, with intervals: {each}",
        caption="Share covered, with 95 % intervals.",
    )


def _outcomes(judgement: ChartJudgement) -> Table:
    rows = judgement.coverage.table
    rows = rows[(rows["level"] == "everyone") & (rows["outcome"] != "covered")]
    shown = pd.DataFrame(
        {
            "Outcome": [OUTCOME_WORDS[o] for o in rows["outcome"]],
            "Share": [interval(row) for _, row in rows.iterrows()],
        }
    )
    caption = f"Of everyone, 95 % intervals; n = {rows['n'].iloc[0]:,}."
    return table(shown, caption=caption, words=["Outcome"])


def _between(judgement: ChartJudgement) -> Table:
    rows = judgement.between
    known = rows["estimate"].notna()
    shown = pd.DataFrame(
        {
            "Among": rows["fitted_to"],
            "Group": rows["level"].map(lambda level: LEVEL_WORDS.get(level, level)),
            "Against": rows["reference"].map(
                lambda level: LEVEL_WORDS.get(level, level)
            ),
            "Times as likely": [
                f"{e:.2f} ({a:.2f} to {b:.2f})" if ok else ""
                for e, a, b, ok in zip(
                    rows["estimate"], rows["low"], rows["high"], known, strict=True
                )
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


def _sizes(judgement: ChartJudgement, say: Say) -> Table:
    rows = judgement.sizes
    shown = pd.DataFrame(
        {
            "Size": rows["size"],
            "Fits": [interval(row, "fits", "fits_") for _, row in rows.iterrows()],
            "No other size fits": [
                interval(row, "needs", "needs_") for _, row in rows.iterrows()
            ],
            "Load limit": [
                say(v, "load_limit_kg", to="tenth") if np.isfinite(v) else "not stated"
                for v in rows["load_limit_kg"]
            ],
            "Fabric fits, load limit does not": [
                interval(row, "load_first", "load_first_") for _, row in rows.iterrows()
            ],
        }
    )
    caption = "Shares of all people, 95 % intervals."
    return table(shown, caption=caption, words=["Size"])


def _idle(judgement: ChartJudgement) -> list[str]:
    if not judgement.unneeded:
        return ["Every size is the only one for some of these people."]
    return [f"Almost nobody would miss: {', '.join(judgement.unneeded)}."]


def difference_axes(comparison: Comparison) -> Axes:
    """Draw the difference between two charts, outcome by outcome."""
    rows = comparison.table[comparison.table["level"] == "everyone"]
    return plot_difference(rows, words={"covered": "covered", **OUTCOME_WORDS})


def difference_words(comparison: Comparison) -> str:
    """Return what the second chart covers more or less, with its interval."""
    return comparison.summary().splitlines()[0]


def _side_by_side(comparison: Comparison) -> Section:
    words = difference_words(comparison)
    return Section(
        "Two charts side by side", [words], figures=[_difference(comparison)]
    )


def _difference(comparison: Comparison) -> Picture:
    return picture(
        figure_of(difference_axes(comparison)),
        alt="Difference between the two charts by outcome, with intervals: "
        + difference_words(comparison),
        caption=f"{comparison.chart_b} minus {comparison.chart_a}, person by person.",
    )


def judgement_words(
    judgement: ChartJudgement,
    comparison: Comparison | None = None,
    *,
    units: str = "metric",
) -> str:
    """Return a judgement in words, as HTML for a notebook."""
    say = partial(written, units=units)
    lines = [difference_words(comparison)] if comparison is not None else []
    lines += _why(judgement, say)
    lines += [*_idle(judgement), *load_first_words(judgement.sizes, say=say)]
    lines += [f"Of the chart: {words}" for words in _findings(judgement, say)]
    lead = f"<p><b>{escape(judgement.answer())}</b></p>"
    return status(lead + bullets(lines))


def judgement_pictures(
    judgement: ChartJudgement,
    comparison: Comparison | None = None,
    *,
    units: str = "metric",
) -> str:
    """Return a judgement's pictures and tables, as HTML for a notebook."""
    say = partial(written, units=units)
    drawn = [_covered(judgement)]
    if comparison is not None:
        drawn.append(_difference(comparison))
    tables = [_outcomes(judgement), _sizes(judgement, say)]
    if len(judgement.between):
        tables.append(_between(judgement))
    return "".join([*map(picture_html, drawn), *map(table_html, tables)])


def chart_results(
    judgement: ChartJudgement,
    people: People,
    comparison: Comparison | None = None,
    *,
    other: SizeChart | None = None,
    units: str = "metric",
) -> dict[str, pd.DataFrame | Axes | str]:
    """Return what can be saved of a judgement: tables, pictures, the page."""
    found: dict[str, pd.DataFrame | Axes | str] = {
        "chart_covered": judgement.coverage.table,
        "chart_sizes": judgement.sizes,
        "chart_why": judgement.why,
        "chart_between": judgement.between,
        "chart_findings": judgement.findings,
        "chart_covered_drawn": covered_axes(judgement),
        "chart_report": own_chart_page(
            judgement, people, comparison=comparison, other=other, units=units
        ),
    }
    if comparison is not None:
        found["chart_compared"] = comparison.table
        found["chart_compared_drawn"] = difference_axes(comparison)
    return found
