"""The lesson's pictures, each with the words that stand for it."""

from dataclasses import dataclass
from typing import cast

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sizing.measures import vocabulary
from sizing.plots.side_views import plot_side_views
from sizing.plots.teaching import (
    plot_agreement,
    plot_confusion,
    plot_guess_check,
    plot_measuring_error,
    plot_repeats,
    plot_ways,
)
from sizing.teaching.agreement import TOGETHER
from sizing.teaching.choosing import CHOICE_WORDS
from sizing.teaching.pairs import Pairs
from sizing.teaching.room import RoomResult
from sizing.teaching.ways import WAY_WORDS, WaysResult


@dataclass(frozen=True)
class Slide:
    """A picture for a slide or a page, and the words that go with it."""

    name: str
    figure: Figure
    alt: str
    caption: str


def measure_labels() -> dict[str, str]:
    """Return what each measure is called."""
    table = vocabulary()
    return dict(zip(table["name"], table["label"], strict=True))


def _figure(axes: Axes) -> Figure:
    return cast(Figure, axes.figure)


def ways_slide(found: WaysResult) -> Slide:
    """Return the picture of the ways of choosing."""
    axes = plot_ways(found.overall, ways=WAY_WORDS, outcomes=CHOICE_WORDS)
    rows = found.overall.set_index(["way", "outcome"])["estimate"]
    ways = list(dict.fromkeys(found.overall["way"]))
    told = "; ".join(
        f"{WAY_WORDS[w]} {100 * rows[w, 'fitting']:.0f} % in a size that fits, "
        f"{100 * rows[w, 'put_in_a_wrong_size']:.0f} % in one that does not"
        for w in ways
    )
    return Slide(
        "ways",
        _figure(axes),
        f"Stacked bars, one for each way of choosing: {told}.",
        "The same people sized in each way. Whoever measures finds no size rather "
        "than a wrong one.",
    )


def guess_slide(check: pd.DataFrame) -> Slide:
    """Return the picture of the guessing curves against published shares."""
    rows = check[check["statistic"].isin(["within", "beyond"])].copy()
    rows["words"] = [
        f"{r['guesser']} ({r['subjects']}), {r['statistic']} {100 * r['bound']:.0f} %: "
        f"{r['study']}"
        for r in rows.to_dict("records")
    ]
    inside = int(rows["inside"].astype(bool).sum())
    return Slide(
        "guesses_published",
        _figure(plot_guess_check(rows)),
        f"Published shares of guesses within or beyond a bound, and what the curves "
        f"say: {inside} of {len(rows)} inside the published figure's interval.",
        "Each curve is fitted on one study and predicts the others. Studies differ "
        "from each other: a curve fitted on one misses another.",
    )


def pair_slide(pairs: Pairs, number: int) -> Slide:
    """Return the side views of one pair."""
    bodies = pairs.bodies[pairs.bodies["pair"] == number]
    row = pairs.table[pairs.table["pair"] == number].iloc[0]
    labels = measure_labels()
    measure = str(row["parting_measure"])
    axes = plot_side_views(bodies, marked=measure, labels=labels)
    build = (
        f"Both {row['sex']}, aged {row['age_a']}; "
        f"{row['body_mass_a_kg']:.0f} and {row['body_mass_b_kg']:.0f} kg; "
        f"{row['stature_a_cm']:.0f} and {row['stature_b_cm']:.0f} cm"
    )
    return Slide(
        f"pair_{number}",
        _figure(axes),
        f"Two people seated, from the side. {build}. A needs {row['size_a']}, B "
        f"needs {row['size_b']}.",
        f"{build}. {labels[measure]} parts them ({row['evidence']}). Solid outlines "
        "are to scale from lengths and girths, depth drawn as girth / pi; broken "
        "outlines are no measure of anybody.",
    )


def repeats_slide(table: pd.DataFrame) -> Slide:
    """Return the picture of the chance of a wrong answer by number of readings."""
    same = table.pivot_table(
        index=["times", "outcome"], columns="by", values="estimate"
    )
    if np.allclose(same.iloc[:, 0], same.iloc[:, -1]):
        # Without a lasting error it is all one who measures: draw it once.
        table = table[table["by"] == "one measurer"]
    one = table[(table["by"] == "one measurer") & (table["outcome"] == "wrong_size")]
    told = ", ".join(
        f"{r['times']} time{'s' if r['times'] > 1 else ''}: {100 * r['estimate']:.1f} %"
        for r in one.to_dict("records")
    )
    return Slide(
        "how_often_to_measure",
        _figure(plot_repeats(table)),
        f"Chance of being put in a wrong size by one measurer, measuring {told}.",
        "Reading again evens out the slips of the tape; only another pair of eyes "
        "evens out a landmark found in the wrong place.",
    )


def room_slides(found: RoomResult, sizes: tuple[str, ...]) -> list[Slide]:
    """Return the pictures of the room's own answers, as far as there are any."""
    slides = []
    for source, words in (("chosen", "chose"), ("tape", "would choose by tape")):
        own = found.confusion[found.confusion["source"] == source]
        if len(own):
            slides.append(
                Slide(
                    f"room_sizes_{source}",
                    _figure(plot_confusion(own, sizes=sizes)),
                    f"Table of the sizes that fit and the sizes the room {words}.",
                    f"What the room {words}. Thick frames fit.",
                )
            )
    for measure, agreement in found.guesses.items():
        if not len(agreement.points):
            continue
        unit = measure.rsplit("_", 1)[1]
        together = agreement.table[agreement.table["participant"] == TOGETHER]
        name = "body mass" if unit == "kg" else "stature"
        slides.append(
            Slide(
                f"room_guesses_{name.replace(' ', '_')}",
                _figure(
                    plot_agreement(
                        agreement.points, together, unit=unit, truth="the measure"
                    )
                ),
                f"Guesses of {name} against the truth. {agreement.summary(unit)}",
                f"{agreement.summary(unit)} Each mark is a participant.",
            )
        )
    if len(found.error.table):
        labels = measure_labels()
        slides.append(
            Slide(
                "room_tape",
                _figure(plot_measuring_error(found.error.table, labels=labels)),
                "Technical error of measurement for each measure, within and between "
                "measurers, with published targets.",
                "How far one reading is from the next, by the same person and by "
                "another.",
            )
        )
    return slides
