"""The tables and pictures of one client's answer, every cell written for people."""

from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import SizeChart
from sizing.client import ClientAnswer
from sizing.client.change import edges_at, over_visits, readings_of, size_at
from sizing.client.visit import Visit
from sizing.measures.vocabulary import plain
from sizing.measures.written import Say, written
from sizing.pages.page import Picture, Table, picture, table
from sizing.plots.client import plot_chances, plot_margins, plot_visits
from sizing.plots.side_views import plot_side_views
from sizing.plots.style import figure_of
from sizing.words.client import chance_words, records, room_words
from sizing.words.client_notes import (
    borderline_words,
    change_words,
    fits_words,
    visits_words,
)
from sizing.words.numbers import share

#: Sizes less likely than this are left out of a table.
_SHOWN = 0.01
_CHANCES, _MARGINS = "client_chances", "client_measures_drawn"
_EITHER = "client_one_more_or_less"
#: Measures of which no line can be drawn on a body seen from the side.
_NOT_DRAWN = ("body_mass_kg", "stature_cm", "hip_breadth_sitting_cm")


def sizes_table(answer: ClientAnswer, *, say: Say = written) -> pd.DataFrame:
    """Return the sizes that may fit, likeliest first; two at least."""
    rows = records(_may_fit(answer))
    return pd.DataFrame(
        {
            "Size": [row["size"] for row in rows],
            "Chance that all fits": [chance_words(row) for row in rows],
            "Decided by": [
                "weight" if row["over_load"] else plain(row["deciding_measure"])
                for row in rows
            ],
            "Room": [
                "none: over the load limit"
                if row["over_load"]
                else "not taken, so not judged"
                if row["not_judged"]
                else room_words(row["margin"], row["deciding_measure"], say=say)
                for row in rows
            ],
        }
    )


def _may_fit(answer: ClientAnswer) -> pd.DataFrame:
    at_most = answer.sizes["estimate"].fillna(answer.sizes["high"])
    may = answer.sizes[at_most >= _SHOWN]
    return answer.sizes.head(2) if len(may) < 2 else may


def measures_table(
    answer: ClientAnswer, *, say: Say = written, needed: bool = True
) -> pd.DataFrame:
    """Return what was read, how, and beside it the best estimate."""
    rows = answer.measures
    if needed:
        limited = rows["measure"].isin(set(answer.margins["measure"]))
        rows = rows[rows["reading"].notna() | limited]

    def each(column: str, to: str, empty: str = "") -> list[str]:
        return [
            say(value, name, to=to) if np.isfinite(value) else empty
            for value, name in zip(rows[column], rows["measure"], strict=True)
        ]

    readings = each("reading", "tenth", "not taken")
    taken = [each(column, "half") for column in ("estimate", "low", "high")]
    return pd.DataFrame(
        {
            "Measure": rows["label"],
            "Reading": readings,
            "How": rows["how"],
            "Off by (SD)": each("error_sd", "tenth"),
            "Best estimate (90 %)": [
                ("predicted: " if read == "not taken" and row[0] else "") + _span(*row)
                for read, row in zip(readings, zip(*taken, strict=True), strict=True)
            ],
            "Standing": rows["evidence"].replace("missing", "not known"),
        }
    )


def _span(middle: str, low: str, high: str) -> str:
    """Return a value with its interval; one unit is named once."""
    if not middle:
        return "not predicted"
    if all(len(words.split()) == 2 for words in (middle, low, high)):
        low, high = low.split()[0], high.split()[0]
    return f"{middle} ({low} to {high})"


def loads_table(answer: ClientAnswer, *, say: Say = written) -> pd.DataFrame:
    """Return each part's safe working load; of the slings only the first two."""
    slings = answer.loads["part"].str.startswith("sling, size ")
    play = [f"sling, size {name}" for name in answer.sizes["size"].head(2)]
    rows = answer.loads[~slings | answer.loads["part"].isin(play)]
    limits = [load_words(value, say=say) for value in rows["load_limit_kg"]]
    return pd.DataFrame({"Part": rows["part"], "Safe working load": limits})


def load_words(value: float, *, say: Say = written) -> str:
    """Return a load in the units chosen, and in kg, as labels state it.

    >>> load_words(160), load_words(160, say=partial(written, units="pounds"))
    ('160 kg', '352.7 lb (160 kg)')
    """
    if not np.isfinite(value):
        return "not entered"
    words = say(value, "load_limit_kg", to="tenth")
    kept = written(value, "load_limit_kg", to="tenth")
    return words if words == kept else f"{words} ({kept})"


def shown_tables(answer: ClientAnswer, *, units: str = "metric") -> list[Table]:
    """Return the tables beneath an answer; only the loads where nothing bears."""
    say = partial(written, units=units)
    loads = table(
        loads_table(answer, say=say),
        caption="Load limits; the lowest of all parts counts",
        words=["Part"],
    )
    if answer.nothing_bears:
        return [loads]
    sizes = table(
        sizes_table(answer, say=say),
        caption="Sizes; those under 1 % are left out",
        words=["Size", "Decided by", "Room"],
    )
    measures = table(
        measures_table(answer, say=say, needed=False),
        caption="What was read, and what the body may truly be",
        words=["Measure", "How", "Standing"],
    )
    return [sizes, measures, loads]


def drawn_answer(answer: ClientAnswer, *, units: str = "metric") -> dict[str, Axes]:
    """Return the pictures by name, as they are shown and saved.

    Where nothing bears the body mass there are none: whatever else fits is of no
    use, and is not shown.
    """
    if answer.nothing_bears:
        return {}
    labels = dict(
        zip(answer.measures["measure"], answer.measures["label"], strict=True)
    )
    say = partial(written, units=units)
    margins = plot_margins(_first_rows(answer), labels=labels, say=say)
    may = _may_fit(answer)
    chances = plot_chances(may, others=len(answer.sizes) - len(may))
    found = {_CHANCES: chances, _MARGINS: margins}
    bodies = _either_way(answer, say)
    if not bodies.empty:
        measure = str(answer.borderline["measure"].iloc[0])
        drawn = plot_side_views(bodies, marked=measure, labels=labels, write=say)
        found[_EITHER] = drawn
    return found


def _either_way(answer: ClientAnswer, say: Say) -> pd.DataFrame:
    """Return the likeliest body with one more and one less of what decides.

    No rows where nothing would change, or a measure that a body is drawn from is not
    known, or the one that decides cannot be drawn.
    """
    best = answer.measures.set_index("measure")["estimate"]
    rows = answer.borderline
    rows = (
        rows[rows["measure"] == rows["measure"].iloc[:1].item()] if len(rows) else rows
    )
    if rows["same"].all() or best.isna().any() or rows["measure"].iloc[0] in _NOT_DRAWN:
        return pd.DataFrame()
    return pd.DataFrame(
        [
            {
                **best,
                row["measure"]: best[row["measure"]] + row["change"],
                "member": change_words(row, say=say),
                "size": fits_words(row),
            }
            for row in records(rows)
        ]
    )


def shown_pictures(answer: ClientAnswer, *, units: str = "metric") -> list[Picture]:
    """Return the pictures with the words that stand for them."""
    captions = {
        _CHANCES: "Chance that every measure fits and the load is borne; the thin line "
        "is how exact the reckoning is (Monte Carlo, 95 %).",
        _MARGINS: "Where each measure lies between the edges of "
        f"{answer.first['size']}.",
        _EITHER: "What one more or one less would change, drawn on the likeliest body.",
    }
    say = partial(written, units=units)
    alts = {_CHANCES: _chances_alt(answer), _MARGINS: _margins_alt(answer, say)}
    alts[_EITHER] = " ".join(borderline_words(answer, say=say)[:1])
    return [
        picture(figure_of(drawn), alt=alts[name], caption=captions[name])
        for name, drawn in drawn_answer(answer, units=units).items()
    ]


def visits_shown(
    visits: Sequence[Visit], chart: SizeChart, *, say: Say = written
) -> tuple[list[str], list[Picture]]:
    """Return what changed over the visits, in words and as a picture each measure."""
    size, edges = size_at(chart, visits[-1]), edges_at(chart, visits[-1])
    readings = readings_of(visits)
    table = over_visits(readings, edges, size)
    words, pictures = visits_words(table, size, say=say), []
    for row, told in zip(records(table), words, strict=False):
        if row["visits"] < 2:
            continue
        mine = readings[readings["measure"] == row["measure"]]
        drawn = plot_visits(mine, edges.bands(row["measure"]), row, size=size, say=say)
        pictures.append(picture(figure_of(drawn), alt=told, caption=told))
    return words, pictures


def figures_of(answer: ClientAnswer) -> dict[str, pd.DataFrame]:
    """Return the figures by name, exact and in cm and kg, to be saved."""
    names = ["loads", "measures"]
    if not answer.nothing_bears:
        names += ["sizes", "margins", "next_measure", "growth"]
    return {f"client_{name}": getattr(answer, name) for name in names}


def _first_rows(answer: ClientAnswer) -> pd.DataFrame:
    return answer.margins[answer.margins["size"] == str(answer.first["size"])]


def _chances_alt(answer: ClientAnswer) -> str:
    each = [
        f"{row['size']} {chance_words(row)}"
        if row["over_load"] or row["not_judged"]
        else f"{row['size']} {share(row['estimate'])}"
        for row in records(_may_fit(answer))
    ]
    others = "; each other size under 1 %" if len(each) < len(answer.sizes) else ""
    return f"Bars: the chance of each size, likeliest first: {', '.join(each)}{others}."


def _margins_alt(answer: ClientAnswer, say: Say) -> str:
    told = "; ".join(
        f"{plain(row['measure'])} not taken"
        if np.isnan(row["estimate"])
        else f"{plain(row['measure'])} {_come_by(row)} "
        f"{say(row['estimate'], row['measure'])}, "
        f"{room_words(row['margin'], row['measure'], say=say)}"
        for _, row in _first_rows(answer).iterrows()
    )
    return (
        f"For each measure a band from edge to edge of {answer.first['size']}, with "
        f"the body's value and its 90 % interval: {told}."
    )


def _come_by(row: pd.Series) -> str:
    """Say what the picture shows by a full or a hollow mark."""
    if row["evidence"] == "measured":
        return "measured, best estimate"
    return "stated, best estimate" if np.isfinite(row["reading"]) else "predicted"
