"""The page on an adviser's own chart, or on two of them side by side."""

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from sizing.charts import OUTCOME_WORDS, SizeChart
from sizing.client.nudge import Bands, bands_of, density
from sizing.client.own_chart import MOST_CLIENTS, ChartJudgement, too_many
from sizing.coverage import Comparison
from sizing.measures import EDGE_RULE, plain, unit_of, written
from sizing.pages.page import Page, Picture, Section, Table, picture, table, template
from sizing.people.people import People
from sizing.plots.chart import plot_bands, plot_difference
from sizing.plots.shares import plot_shares
from sizing.plots.style import FAINT, INK, SHADES, SOFT, figure_of
from sizing.resources import texts
from sizing.words.client import (
    capital,
    change_words,
    finding_words,
    load_first_words,
    served_words,
    why_words,
)
from sizing.words.labels import covered_rows, labels, level_words
from sizing.words.numbers import interval

#: Of the light picture: its width, where bands begin, and the height of a row.
_WIDTH, _LEFT, _ROW, _TOP = 760, 130, 30, 34
_TICKS = 7
_TEXTS = texts("own_chart")
_T: dict[str, str] = _TEXTS.page


def measure_label(measure: str, units: str) -> str:
    return f"{labels()[measure].rsplit(',', 1)[0]}, {unit_of(measure, units)}"


def bands_axes(
    chart: SizeChart,
    people: People,
    *,
    before: SizeChart | None = None,
    units: str = "metric",
) -> dict[str, Axes]:
    """Draw the bands of each measure known of the people over them."""
    drawn = {}
    for measure in filter(people.frame.__contains__, chart.measures):
        of = (chart, density(people, measure), measure)
        bands = bands_of(*of, before=before, units=units)
        drawn[measure] = plot_bands(bands, label=measure_label(measure, units))
    return drawn


def bands_svg(bands: Bands, *, label: str) -> str:
    """Draw bands over the people in milliseconds, to follow an edge while it moves."""
    left, right, spread = bands.left, bands.right, bands.density

    def x(value: float) -> float:
        part = (value - left) / (right - left)
        return round(float(_LEFT + np.clip(part, 0, 1) * (_WIDTH - _LEFT - 10)), 1)

    tall = spread["share"] / (spread["share"].max() or 1.0)
    ticks = MaxNLocator(_TICKS).tick_values(left, right)
    return template("bands.svg.j2").render(
        label=label,
        x=x,
        bands=bands,
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
    """``clients`` is what ``clients_served`` gave of a list of one's own."""
    chart, say = judgement.chart, partial(written, units=units)
    why = judgement.why.sort_values("estimate", ascending=False, kind="stable")
    whys = [capital(why_words(row, say=say)) for _, row in why.iterrows()]
    changes = change_words(judgement.changes, say=say)
    found = [f"{capital(w)}." for w in finding_words(judgement.findings, say=say)]
    drawn = bands_axes(chart, people, units=units) if bands else {}
    idle = _T["idle" if judgement.unneeded else "none_idle"]
    loads = load_first_words(judgement.sizes, say=say)
    sections = [
        Section(
            _T["covered"],
            judgement.intervals,
            [_covered(judgement)],
            [_outcomes(judgement)],
        )
    ]
    if clients is not None:
        sections.append(_one_by_one(clients))
    elif too_many(people):
        words = _TEXTS.found["too_many"] + _TEXTS.found["in_parts"]
        sections.append(Section(_T["clients"], [words.format(most=MOST_CLIENTS)]))
    if comparison is not None:
        sections.append(_side_by_side(comparison))
    odds = [_between(judgement.between, people)] if len(judgement.between) else []
    pictures = [
        _drawn(ax, "bands", name=plain(measure), people=people.name)
        for measure, ax in drawn.items()
    ]
    sections += [
        Section(_T["between"], (), (), odds, whys or [_T["all_fit"]]),
        Section(_T["changes"], bullets=changes or [_T["no_changes"]]),
        Section(_T["gaps"], [EDGE_RULE], pictures, (), found or [_T["no_findings"]]),
        Section(
            _T["sizes"],
            [idle.format(sizes=", ".join(judgement.unneeded)), *loads],
            tables=[_sizes(judgement, units)],
        ),
    ]
    inputs = {"source": chart.source or _T["users_own"], "sizes": len(chart.sizes)}
    inputs["limited"] = ", ".join(map(plain, chart.measures))
    inputs |= {"people": people.name, "n": people.n, "draws": people.draws}
    return Page(
        title=_T["title"].format(chart=chart.name),
        question=_T["question"].format(people=people.name),
        inputs=_T["inputs"].format(**inputs),
        answer=judgement.answer(),
        sections=sections,
        limits=judgement.limits or (_T["no_limits"],),
        sources=judgement.sources or (_T["no_sources"],),
        footer=_T["footer"],
    )


def chart_results(
    judgement: ChartJudgement, comparison: Comparison | None = None
) -> dict[str, Any]:
    names = ("sizes", "why", "between", "findings", "changes")
    found = {
        "chart_covered": judgement.coverage.table,
        **{f"chart_{name}": getattr(judgement, name) for name in names},
        "chart_covered_drawn": _covered_axes(judgement),
    }
    if comparison is not None:
        found["chart_compared"] = comparison.table
        found["chart_compared_drawn"] = _difference_axes(comparison)
    return found


def _drawn(ax: Axes, key: str, /, **given: object) -> Picture:
    """Return a picture with its caption, and what stands for it (``KEY_alt``)."""
    alt, caption = (_T[one].format(**given) for one in (f"{key}_alt", key))
    return picture(figure_of(ax), alt=alt, caption=caption)


def _covered_axes(judgement: ChartJudgement) -> Axes:
    return plot_shares(covered_rows(judgement.coverage), x_label=_T["covered_axis"])


def _covered(judgement: ChartJudgement) -> Picture:
    rows = covered_rows(judgement.coverage)
    told = "; ".join(map(" ".join, zip(rows["level"], _shares(rows), strict=True)))
    return _drawn(_covered_axes(judgement), "covered_drawn", told=told)


def _difference_axes(comparison: Comparison) -> Axes:
    rows = comparison.table[comparison.table["level"] == "everyone"]
    return plot_difference(rows, words={"covered": "covered", **OUTCOME_WORDS})


def _side_by_side(comparison: Comparison) -> Section:
    words = comparison.summary().splitlines()[0]
    given = {"words": words, "a": comparison.chart_a, "b": comparison.chart_b}
    drawn = _drawn(_difference_axes(comparison), "difference", **given)
    return Section(_T["side_by_side"], [words], [drawn])


def _table(kind: str, rows: pd.DataFrame, caption: str, words: Sequence[str]) -> Table:
    heads = _TEXTS.columns[kind]
    shown = rows[list(heads)].rename(columns=heads)
    return table(shown, caption=caption, words=[heads[name] for name in words])


def _one_by_one(clients: pd.DataFrame) -> Section:
    rows = clients.assign(fits=clients["fits"].replace("", _T["none_named"]))
    words = ["fits", "how_sure", "measure", "check"]
    told = _table("clients", rows, _T["clients_caption"], words)
    return Section(_T["clients"], [served_words(clients)], tables=[told])


def _shares(rows: pd.DataFrame, name: str = "estimate") -> list[str]:
    prefix = "" if name == "estimate" else f"{name}_"
    return [interval(row, name, prefix) for row in rows.to_dict("records")]


def _outcomes(judgement: ChartJudgement) -> Table:
    rows = judgement.coverage.table
    rows = rows[(rows["level"] == "everyone") & (rows["outcome"] != "covered")]
    caption = _T["outcomes"].format(n=rows["n"].iloc[0])
    named = rows["outcome"].map(OUTCOME_WORDS)
    rows = rows.assign(outcome=named, share=_shares(rows))
    return _table("outcomes", rows, caption, ["outcome"])


def _between(rows: pd.DataFrame, people: People) -> Table:
    odds = [
        "" if pd.isna(e) else f"{e:.2f} ({a:.2f} to {b:.2f})"
        for e, a, b in rows[["estimate", "low", "high"]].to_numpy(dtype=float)
    ]
    called = level_words(people.frame)
    named = {name: rows[name].replace(called) for name in ("level", "reference")}
    words = ["fitted_to", "level", "reference", "message"]
    return _table("between", rows.assign(odds=odds, **named), _T["odds"], words)


def _sizes(judgement: ChartJudgement, units: str) -> Table:
    rows, load = judgement.sizes, "load_limit_kg"
    shares = {name: _shares(rows, name) for name in ("fits", "needs", "load_first")}
    shares[load] = [
        _T["no_load"] if pd.isna(v) else written(v, load, units, to="tenth")
        for v in rows[load]
    ]
    return _table("sizes", rows.assign(**shares), _T["of_all"], ["size"])
