"""The lesson's pictures, each with the words that stand for it."""

import io
import threading
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from textwrap import fill
from typing import Any, TypeVar, cast

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image

from sizing.lesson.agreement import TOGETHER, Agreement
from sizing.lesson.answers import measure_labels
from sizing.lesson.choosing import SPREAD_WORDS
from sizing.lesson.pairs import Pairs
from sizing.lesson.room import RoomResult
from sizing.lesson.ways import MISSED, WAY_WORDS, WRONG, WaysResult
from sizing.measures.written import written
from sizing.pages.page import Picture
from sizing.plots.side_views import plot_side_views
from sizing.plots.style import quiet_style
from sizing.plots.teaching import (
    plot_agreement,
    plot_confusion,
    plot_courses,
    plot_gain,
    plot_measuring_error,
    plot_repeats,
    plot_wrong,
)
from sizing.words.lesson import (
    courses_words,
    gain_labels,
    gain_words,
    guesses_words,
    of_hundred,
    title_of,
    told,
    unit_of,
)
from sizing.words.numbers import in_100, share

#: Dots an inch: a slide then has the 1920 by 1080 dots of a projector.
_DOTS = 200
#: 28 dots of them: what is read from eight metres.
_LEAST_POINTS = 10.2
Drawn = TypeVar("Drawn")
#: Drawing styles are one for the whole program: only one thread may draw.
_DRAWING = threading.RLock()


def alone(draw: Callable[..., Drawn]) -> Callable[..., Drawn]:
    """Let only one thread draw at a time: the page's, or that of long work."""

    @wraps(draw)
    def drawn(*given: Any, **named: Any) -> Drawn:
        with _DRAWING:
            return draw(*given, **named)

    return drawn


@dataclass(frozen=True)
class Slide:
    """A picture for a slide or a page: what it shows, and what to make of it."""

    name: str
    figure: Figure
    alt: str
    caption: str

    @property
    def axes(self) -> Axes:
        """The picture's Axes."""
        return self.figure.axes[0]


def _slide(axes: Axes, name: str, title: str, *, alt: str, caption: str) -> Slide:
    figure = cast(Figure, axes.figure)
    with quiet_style():
        for text in figure.findobj(Text):
            text.set_fontsize(max(text.get_fontsize(), _LEAST_POINTS))
        for one in figure.axes:
            one.tick_params(labelsize=_LEAST_POINTS)
        figure.suptitle(
            fill(title, 76), x=0.015, ha="left", fontsize=14.5, fontweight="bold"
        )
        # Inches to the edge, for projectors cut edges off.
        figure.set_layout_engine("constrained", w_pad=0.12, h_pad=0.1)
    return Slide(name, figure, alt, caption)


@alone
def slide_bytes(slide: Slide, kind: str) -> bytes:
    """Return a slide as PNG of 1920 by 1080 dots, or as SVG; the same each time.

    The canvases are called themselves: ``savefig`` would draw everything twice. Greys
    are enough for these pictures, and a third of the bytes.
    """
    buffer = io.BytesIO()
    figure = slide.figure
    with quiet_style():
        if kind == "svg":
            undated = {"Date": None, "Creator": None}
            FigureCanvasSVG(figure).print_svg(buffer, metadata=undated)
        else:
            figure.set_dpi(_DOTS)
            canvas = FigureCanvasAgg(figure)
            canvas.draw()
            dots = Image.fromarray(np.asarray(canvas.buffer_rgba()))
            dots.convert("L").save(buffer, "PNG", dpi=(_DOTS, _DOTS))
    # Laid out once: the next kind keeps the places.
    figure.set_layout_engine("none")
    return buffer.getvalue()


def drawn(slide: Slide) -> Picture:
    """Return a slide as a picture of a page."""
    return Picture(slide_bytes(slide, "png"), slide.alt, slide.caption)


@alone
def wrong_slide(found: WaysResult) -> Slide:
    """Return the answer as a picture: of a hundred, in a wrong size and in none."""
    rows = told(found)
    ways = [w for w in WAY_WORDS if (w, WRONG) in rows]
    own = found.overall[found.overall["outcome"].isin([WRONG, MISSED])]
    words = " ".join(
        f"{WAY_WORDS[w].capitalize()}: {of_hundred(rows[w, WRONG])} and "
        f"{of_hundred(rows[w, MISSED])}."
        for w in ways
    )
    eye, tape = (
        in_100(rows[w, WRONG]["estimate"]).removesuffix(" in 100")
        for w in ("by_eye", "tape_once")
    )
    return _slide(
        plot_wrong(own, ways=WAY_WORDS),
        "wrong_size",
        f"Of a hundred people who fit at least one size, {eye} get a wrong one by eye, "
        f"{tape} by tape",
        alt="Bars, one for each way of choosing. Of a hundred people who fit at least "
        f"one size, so many are put in a wrong size, and so many get none. {words}",
        caption=f"{title_of(found.people, first=True)}, sized by '{found.chart}' in "
        "each way. Lines and brackets are 95 % intervals. By tape they count that "
        f"{SPREAD_WORDS}.",
    )


def pair_builds(pairs: Pairs, units: str = "metric") -> dict[str, str]:
    """Return what is alike in each pair, by the name of its picture."""
    builds = {}
    for row in pairs.table.to_dict("records"):
        mass, stature = (
            " and ".join(
                dict.fromkeys(
                    written(row[f"{what}_{who}_{u}"], f"{what}_{u}", units)
                    for who in "ab"
                )
            )
            for what, u in (("body_mass", "kg"), ("stature", "cm"))
        )
        build = f"Both {row['sex']}, aged {row['age_a']}; {mass}; {stature}"
        builds[f"pair_{row['pair']}"] = build
    return builds


@alone
def pair_slide(pairs: Pairs, number: int, *, units: str = "metric") -> Slide:
    """Return the side views of one pair, in the units chosen."""
    bodies = pairs.bodies[pairs.bodies["pair"] == number]
    row = pairs.table[pairs.table["pair"] == number].iloc[0]
    labels = measure_labels()
    measure = str(row["parting_measure"])

    def write(value: float, name: str) -> str:
        return written(value, name, units)

    axes = plot_side_views(bodies, marked=measure, labels=labels, write=write)
    build = pair_builds(pairs, units)[f"pair_{number}"]
    values = [write(row[who], measure) for who in "ab"]
    return _slide(
        axes,
        f"pair_{number}",
        f"Alike in weight and height: {build[0].lower()}{build[1:]}",
        alt=f"Two people seated, from the side. {build}. A needs {row['size_a']}, B "
        f"needs {row['size_b']}: {labels[measure].lower()} {' and '.join(values)}.",
        caption=f"{labels[measure]} parts them ({row['evidence']}). Solid outlines are "
        "to scale from lengths and girths, depth drawn as girth / pi; broken outlines "
        "are no measure of anybody.",
    )


@alone
def repeats_slide(table: pd.DataFrame) -> Slide:
    """Return the picture of the chance of a wrong answer by number of readings."""
    same = table.pivot_table(
        index=["times", "outcome"], columns="by", values="estimate"
    )
    if np.allclose(same.iloc[:, 0], same.iloc[:, -1]):
        # Without a lasting error it is all one who measures: draw it once.
        table = table[table["by"] == "one measurer"]
    one = table[(table["by"] == "one measurer") & (table["outcome"] == "either")]
    words = ", ".join(
        f"{_times(r['times'])} {share(r['estimate'])}" for r in one.to_dict("records")
    )
    return _slide(
        plot_repeats(table),
        "how_often_to_measure",
        f"Of people who fit a size, not put in one that fits by the tape: {words}",
        alt="Lines by the number of readings. Of people who fit some size, one "
        f"measurer does not put these in one that fits: measuring {words}.",
        caption="Reading again evens out the slips of the tape; only another pair of "
        "eyes evens out a landmark found in the wrong place.",
    )


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(int(number), f"{number} times")


@alone
def room_slides(
    found: RoomResult, sizes: tuple[str, ...], *, units: str = "metric"
) -> list[Slide]:
    """Return the pictures of the room's own answers, as far as there are any."""
    slides = []
    for source, words in (("chosen", "chose"), ("tape", "would choose by tape")):
        own = found.confusion[found.confusion["source"] == source]
        if len(own):
            fits = [r["chosen"] in r["right"].split(" or ") for _, r in own.iterrows()]
            good, n = int(own.loc[fits, "count"].sum()), int(own["count"].sum())
            cells = " ".join(
                f"Where {r['right']} fits, {r['chosen']}: {r['count']}."
                for r in own.to_dict("records")
            )
            slides.append(
                _slide(
                    plot_confusion(own, sizes=sizes),
                    f"room_sizes_{source}",
                    f"What the room {words}: {good} of {n} right",
                    alt=f"How often the room {words} each size. {cells}",
                    caption=f"What the room {words}, counted. Thick frames fit.",
                )
            )
    for measure, agreement in found.guesses.items():
        if len(agreement.points):
            slides.append(_guesses(measure, agreement, units))
    if len(found.gain):
        words = gain_words(found.gain)
        slides.append(
            _slide(
                plot_gain(found.gain, labels=gain_labels()),
                "room_gain",
                "Guess, measure, guess again: what the room gained",
                alt=f"Bars: how far off guesses were before and after. {words}",
                caption=words,
            )
        )
    if len(found.error.table):
        slides.append(
            _slide(
                plot_measuring_error(found.error.table, labels=measure_labels()),
                "room_tape",
                "How far one reading is from the next",
                alt="Technical error of measurement for each measure, within and "
                "between measurers, with published targets.",
                caption="By the same person, and by another. Lines on the bars are "
                "95 % intervals.",
            )
        )
    return slides


@alone
def courses_slide(table: pd.DataFrame) -> Slide:
    """Return the picture of the courses kept."""
    return _slide(
        plot_courses(table),
        "courses",
        "Every room so far: in a wrong size, as chosen and by tape",
        alt=f"A mark for each course and way. {courses_words(table)}",
        caption="Lines are 95 % intervals of one room each. Rooms and bodies differ: "
        "a rise or fall may be theirs.",
    )


def _guesses(measure: str, agreement: Agreement, units: str) -> Slide:
    """Return the picture of one measure's guesses against the truth."""
    unit, size = unit_of(measure, units)
    name = measure_labels()[measure].lower()
    together = agreement.table[agreement.table["participant"] == TOGETHER]
    axes = plot_agreement(
        agreement.points.assign(
            truth=agreement.points["truth"] / size,
            difference=agreement.points["difference"] / size,
        ),
        together.assign(estimate=together["estimate"] / size),
        unit=unit,
    )
    words = guesses_words(agreement, measure, units)
    return _slide(
        axes,
        f"room_guesses_{name.replace(' ', '_')}",
        f"Guesses of {name} in this room",
        alt=f"Guesses of {name} against the truth. {words}",
        caption=f"{words} Each mark is one guess, whoever made it.",
    )
