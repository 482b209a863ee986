"""The report on an adviser's own chart, or on two of them side by side."""

import numpy as np
import pandas as pd

from sizing.chart import SizeChart
from sizing.client.own_chart import ChartJudgement, why_words
from sizing.client.words import plain
from sizing.coverage import Comparison
from sizing.fit import OUTCOME_WORDS
from sizing.measures import EDGE_RULE
from sizing.plots.own_chart import plot_bands, plot_difference
from sizing.plots.shares import plot_shares
from sizing.population.people import People
from sizing.report.page import Page, Picture, Section, Table, picture, render, table
from sizing.report.words import labels

_BINS = 80


def density(people: People, measure: str) -> pd.DataFrame:
    """Return the share of people in each of 80 steps of a measure.

    Returns
    -------
    DataFrame
        ``value`` (middle of the step), ``share``.
    """
    known = people.frame[measure].notna().to_numpy()
    x = people.frame[measure].to_numpy(dtype=float)[known]
    w = people.weight.to_numpy(dtype=float)[known]
    if len(x) == 0 or w.sum() == 0:
        return pd.DataFrame({"value": [0.0], "share": [0.0]})
    count, edges = np.histogram(x, bins=_BINS, weights=w)
    return pd.DataFrame(
        {"value": (edges[1:] + edges[:-1]) / 2, "share": count / count.sum()}
    )


def bands_picture(
    chart: SizeChart, people: People, measure: str, before: SizeChart | None = None
) -> Picture:
    """Draw one measure's bands over the people."""
    ax = plot_bands(
        chart.frame,
        measure,
        density=density(people, measure),
        label=labels()[measure],
        before=None if before is None else before.frame,
    )
    name = plain(measure)
    return picture(
        ax.figure,  # type: ignore[arg-type]
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
) -> str:
    """Write the report on an own chart as one HTML text.

    Parameters
    ----------
    judgement : ChartJudgement
    people : People
        Those it was judged on.
    comparison, other : optional
        Another chart on the same people (second minus this).

    Returns
    -------
    str
    """
    chart = judgement.chart
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
            bullets=[why_words(row) for _, row in judgement.why.iterrows()]
            or ["Everyone has a size."],
        ),
        Section(
            "Gaps and overlaps",
            [EDGE_RULE],
            figures=[bands_picture(chart, people, m) for m in chart.measures],
            bullets=[f"{w[0].upper()}{w[1:]}." for w in judgement.findings["words"]]
            or ["Nothing in the chart itself stands out."],
        ),
        Section(
            "Sizes nobody needs, and where the load limit bites first",
            _idle(judgement),
            tables=[_sizes(judgement)],
        ),
    ]
    if comparison is not None and other is not None:
        sections.insert(1, _side_by_side(comparison))
    return render(
        Page(
            title=f"Size chart: {chart.name}",
            question=f"Whom does this chart fit among {people.name}, and whom not?",
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


def _covered(judgement: ChartJudgement) -> Picture:
    rows = judgement.coverage.table
    rows = rows[rows["outcome"] == "covered"]
    ax = plot_shares(rows, x_label="Share for whom at least one size fits")
    return picture(
        ax.figure,  # type: ignore[arg-type]
        alt="Share covered, of everyone and by group, with intervals",
        caption="Share covered, with 95 % intervals.",
    )


def _share(row: pd.Series, prefix: str) -> str:
    low, high = row[f"{prefix}_low"], row[f"{prefix}_high"]
    return f"{100 * row[prefix]:.1f} ({100 * low:.1f} to {100 * high:.1f})"


def _outcomes(judgement: ChartJudgement) -> Table:
    rows = judgement.coverage.table
    rows = rows[(rows["level"] == "everyone") & (rows["outcome"] != "covered")]
    shown = pd.DataFrame(
        {
            "Outcome": [OUTCOME_WORDS[o] for o in rows["outcome"]],
            "Share, %": [
                f"{100 * p:.1f} ({100 * a:.1f} to {100 * b:.1f})"
                for p, a, b in zip(
                    rows["estimate"], rows["low"], rows["high"], strict=True
                )
            ],
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
            "Group": rows["level"],
            "Against": rows["reference"],
            "Odds ratio": [
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


def _sizes(judgement: ChartJudgement) -> Table:
    rows = judgement.sizes
    shown = pd.DataFrame(
        {
            "Size": rows["size"],
            "Fits, %": [_share(row, "fits") for _, row in rows.iterrows()],
            "No other size fits, %": [
                _share(row, "needs") for _, row in rows.iterrows()
            ],
            "Load limit, kg": [
                f"{v:g}" if np.isfinite(v) else "not stated"
                for v in rows["load_limit_kg"]
            ],
            "Fabric fits, load limit does not, %": [
                _share(row, "load_first") for _, row in rows.iterrows()
            ],
        }
    )
    caption = "Shares of all people, 95 % intervals."
    return table(shown, caption=caption, words=["Size"])


def _idle(judgement: ChartJudgement) -> list[str]:
    if not judgement.unneeded:
        return ["Every size is the only one for some of these people."]
    return [f"Almost nobody would miss: {', '.join(judgement.unneeded)}."]


def _side_by_side(comparison: Comparison) -> Section:
    rows = comparison.table[comparison.table["level"] == "everyone"]
    words = {"covered": "covered", **OUTCOME_WORDS}
    ax = plot_difference(rows, words=words)
    first = rows.iloc[0]
    told = (
        f"{comparison.chart_b} covers {100 * first['share_b']:.1f} %, "
        f"{comparison.chart_a} {100 * first['share_a']:.1f} %: a difference of "
        f"{100 * first['estimate']:+.1f} points ({100 * first['low']:+.1f} to "
        f"{100 * first['high']:+.1f}; {first['method']}; n = {first['n']:,})."
    )
    drawn = picture(
        ax.figure,  # type: ignore[arg-type]
        alt="Difference between the two charts by outcome, with intervals",
        caption=f"{comparison.chart_b} minus {comparison.chart_a}, person by person.",
    )
    return Section("Two charts side by side", [told], figures=[drawn])
