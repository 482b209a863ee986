"""What is shown of one client's answer: words, pictures, tables, and what to save."""

from collections.abc import Mapping
from functools import partial
from html import escape

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from sizing.app.form_words import bullets, name_words, paragraphs, status
from sizing.app.show import picture_html, show_table
from sizing.client import ClientAnswer
from sizing.measures.written import Say, written
from sizing.pages.client_tables import loads_table, measures_table, sizes_table
from sizing.pages.page import picture
from sizing.plots.client import plot_chances, plot_margins
from sizing.plots.style import figure_of
from sizing.words.client import (
    ABOUT_CHANCES,
    answer_lines,
    chance_words,
    chart_lines,
    not_entered_lines,
    opening_lines,
    room_words,
)
from sizing.words.client_notes import (
    allowance_words,
    borderline_words,
    further_lines,
    next_words,
    play_words,
    weight_lines,
)
from sizing.words.numbers import share


def answer_html(
    answer: ClientAnswer, *, units: str = "metric", invented: bool = False
) -> str:
    """Return the answer in words, its first sentence standing out."""
    say = partial(written, units=units)
    before = paragraphs(opening_lines(answer, say=say))
    what, sure, now = answer_lines(answer, say=say)
    if invented:
        what = f"Invented client, on {answer.chart.name}. {what}"
    lead = f"<p style='font-size:1.15em'><b>{escape(what)}</b></p>"
    lead += paragraphs([sure, now])
    lines, figures = [*weight_lines(answer), *not_entered_lines(answer)], []
    if not answer.nothing_bears:
        lines = [*borderline_words(answer, say=say), *lines]
        figures = [next_words(answer), play_words(answer)]
    figures.append(allowance_words(answer, say=say))
    figures += [*chart_lines(answer, say=say), *further_lines(answer, say=say)]
    folded = "<details><summary>More on this answer</summary>{}</details>"
    return status(before + lead + bullets(lines) + folded.format(bullets(figures)))


def pictures_html(answer: ClientAnswer, *, units: str = "metric") -> str:
    """Return the pictures with the words that stand for them, and the tables."""
    say = partial(written, units=units)
    loads = show_table(
        loads_table(answer, say=say),
        caption="Load limits; the lowest of all parts counts",
        words=["Part"],
    ).data
    if answer.nothing_bears:
        return str(loads)
    shown = [
        picture_html(
            picture(
                figure_of(drawn),
                alt=_alt(answer, name, say),
                caption=_CAPTIONS[name].format(answer.first["size"]),
            )
        )
        for name, drawn in axes_of(answer, units=units).items()
    ]
    shown.append(
        show_table(
            sizes_table(answer, say=say),
            caption="Sizes; those under 1 % are left out",
            words=["Size", "Decided by", "Room"],
        ).data
    )
    shown.append(
        show_table(
            measures_table(answer, say=say, needed=False),
            caption="What was read, and what the body may truly be",
            words=["Measure", "How", "Standing"],
        ).data
    )
    return "".join([*shown, loads, paragraphs([ABOUT_CHANCES])])


_CHANCES, _MARGINS = "client_chances", "client_measures_drawn"
_CAPTIONS = {
    _CHANCES: "Chance that every measure fits and the load is borne; the thin line is "
    "how exact the reckoning is (Monte Carlo, 95 %).",
    _MARGINS: "Where each measure lies between the edges of {}.",
}


def axes_of(answer: ClientAnswer, *, units: str = "metric") -> dict[str, Axes]:
    """Return the pictures by name, as they are shown and saved.

    Where nothing bears the body mass there are none: whatever else fits is of no
    use, and is not shown.
    """
    if answer.nothing_bears:
        return {}
    rows = _first_rows(answer)
    labels = dict(
        zip(answer.measures["measure"], answer.measures["label"], strict=True)
    )
    say = partial(written, units=units)
    return {
        _CHANCES: plot_chances(answer.sizes),
        _MARGINS: plot_margins(rows, labels=labels, say=say),
    }


def tables_of(answer: ClientAnswer) -> dict[str, pd.DataFrame]:
    """Return the figures by name, exact and in cm and kg, to be saved."""
    found = {"client_loads": answer.loads, "client_measures": answer.measures}
    if answer.nothing_bears:
        return found
    return {
        **found,
        "client_sizes": answer.sizes,
        "client_margins": answer.margins,
        "client_next_measure": answer.next_measure,
        "client_growth": answer.growth,
    }


def _first_rows(answer: ClientAnswer) -> pd.DataFrame:
    return answer.margins[answer.margins["size"] == str(answer.first["size"])]


def _alt(answer: ClientAnswer, name: str, say: Say) -> str:
    if name == _CHANCES:
        each: Mapping[str, str] = {
            str(row["size"]): chance_words(row)
            if row["over_load"] or row["not_judged"]
            else share(row["estimate"])
            for _, row in answer.sizes.iterrows()
        }
        told = ", ".join(f"{size} {words}" for size, words in each.items())
        return f"Bars: the chance of each size, likeliest first: {told}."
    told = "; ".join(
        f"{name_words(row['measure'])} not taken"
        if np.isnan(row["estimate"])
        else f"{name_words(row['measure'])} {_come_by(row)} "
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
