"""Practice cards to print: measures on the front, answers on another sheet."""

from collections.abc import Hashable, Mapping
from functools import cache, partial
from importlib.resources import files
from typing import Any

import jinja2
import numpy as np
import pandas as pd

from sizing.cautions import cautions, invented_first
from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.lesson.answers import measure_labels
from sizing.lesson.practice import DIFFICULTIES, Practice, size_margins
from sizing.measures import EDGE_RULE
from sizing.measures.written import written
from sizing.pages.page import Table, shown, table
from sizing.words.lesson import distance
from sizing.words.numbers import span

#: Cards on a side of a sheet.
_A_SHEET = 6


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(str(files("sizing.pages") / "lesson_pages")),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=shown,
    )


def lesson_page(name: str, **shown: Any) -> str:
    """Write one page of the lesson; a name its template lacks is an error."""
    page = _environment().get_template(f"{name}.html.j2")
    return page.render(cautions=cautions(), edge_rule=EDGE_RULE, **shown)


def chart_shown(chart: SizeChart, units: str = "metric") -> dict[str, Any]:
    """Return a chart as a caption, headings and rows of words."""
    say = partial(written, units=units)

    def band(row: Mapping[Any, Any], measure: str) -> str:
        low, high = (row.get(f"{measure}_{end}", np.nan) for end in ("low", "high"))
        if pd.notna(low) and pd.notna(high):
            return span(low, high, measure, say)
        ends = [
            f"{word} {say(end, measure, to='tenth')}"
            for word, end in (("from", low), ("to", high))
            if pd.notna(end)
        ]
        return ends[0] if ends else "no limit"

    rows = []
    for row in chart.frame.to_dict("records"):
        load = row.get("load_limit_kg", np.nan)
        limit = say(load, "load_limit_kg", to="tenth") if pd.notna(load) else ""
        bands = [band(row, m) for m in limits(chart)]
        rows.append([str(row["size"]), limit or "not stated", *bands])
    labels = measure_labels()
    return {
        "caption": f"{chart.name}: {chart.source}.",
        "heads": ["Size", "Load limit", *(labels[m] for m in limits(chart))],
        "rows": rows,
        "source": chart.source or "the one given",
    }


def card_rows(cards: pd.DataFrame, units: str = "metric") -> list[dict[str, Any]]:
    """Return each card as its name and rows of words."""
    labels = measure_labels()
    made = []
    for card in cards.to_dict("records"):
        rows = [
            (name.capitalize(), str(card[name]))
            for name in ("sex", "age")
            if name in card
        ]
        rows += [
            (labels[name], written(card[name], name, units))
            for name in (str(c) for c in cards.columns)
            if name in labels
        ]
        made.append({"name": str(card["card"]).capitalize(), "rows": rows})
    return made


def card_backs(practice: Practice, units: str = "metric") -> list[dict[str, str]]:
    """Return each card's answer in words: name, right, edge, hard."""
    labels = measure_labels()
    return [
        {
            "name": str(row["card"]).capitalize(),
            "right": "No size fits: none"
            if row["outcome"] == "none"
            else f"Fits: {row['right']}",
            "edge": f"What decides: {labels.get(row['measure'], row['measure'])}, "
            f"{margin_words(row['miss'], row['measure'], units)}.",
            "hard": f"{str(row['difficulty']).capitalize()}: "
            f"{row['distance_sd']:.1f} typical errors of one reading from that edge.",
        }
        for row in practice.answers.to_dict("records")
    ]


def cards_html(practice: Practice, chart: SizeChart, units: str = "metric") -> str:
    """Return the cards as a page to print on both sides: six, then their answers."""
    to = "half a cm and whole kg" if units == "metric" else "half an inch and whole lb"
    fronts = card_rows(practice.cards, units)
    backs = card_backs(practice, units)
    sheets = []
    for start in range(0, len(fronts), _A_SHEET):
        own: list[dict[str, str] | None] = [*backs[start : start + _A_SHEET]]
        own += [None] * (len(own) % 2)
        # Turned over the long edge, left and right change places.
        turned = [own[i ^ 1] for i in range(len(own))]
        sheets.append({"fronts": fronts[start : start + _A_SHEET], "backs": turned})
    return lesson_page(
        "cards",
        note=f"Choose a size of '{practice.chart}' for each, or write 'none'. "
        f"Measures are rounded to {to}. They belong to nobody: each card "
        "is drawn from survey people and models, and numbered anew.",
        sheets=sheets,
        chart=chart_shown(chart, units),
    )


def margin_words(miss: float, measure: str, units: str = "metric") -> str:
    """Write how far inside or outside an edge a measure is."""
    if miss == 0:
        return "on the edge, which counts as inside"
    side = "inside" if miss > 0 else "outside"
    return f"{distance(miss, measure, units)} {side}"


def margins_table(
    card: pd.Series, chart: SizeChart, size: str, units: str = "metric"
) -> Table:
    """Return one client beside the bands of one size, measure by measure."""
    labels = measure_labels()
    rows = size_margins(card, chart, size).to_dict("records")

    def band(row: Mapping[Hashable, Any]) -> str:
        low, high = (
            written(row[end], row["measure"], units)
            if pd.notna(row[end])
            else "no limit"
            for end in ("low", "high")
        )
        return f"{low} to {high}"

    frame = pd.DataFrame(
        {
            "Measure": [labels[r["measure"]] for r in rows],
            "This client": [written(r["value"], r["measure"], units) for r in rows],
            "Band of this size": [band(r) for r in rows],
            "Nearest edge": [
                margin_words(r["margin"], r["measure"], units) for r in rows
            ],
        }
    )
    return table(frame, caption=f"This client and '{size}'", words=["Measure"])


def answers_html(practice: Practice, units: str = "metric") -> str:
    """Return the trainer's sheet: what fits each card, and how hard it is."""
    first = invented_first(
        practice.invented,
        f"{int((practice.answers['outcome'] != 'none').sum())} of "
        f"{len(practice.answers)} cards have a size that fits.",
    )
    return lesson_page(
        "card_answers",
        answer=first,
        summary=practice.summary(),
        backs=card_backs(practice, units),
        difficulties=DIFFICULTIES,
    )
