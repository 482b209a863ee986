"""The lesson in one folder: its pictures, with their words, and everything else."""

import io
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial, wraps
from pathlib import Path
from string import ascii_uppercase
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

from sizing.files.folders import write_folder
from sizing.files.writing import csv_bytes, rounded, workbook_bytes
from sizing.lesson.answers import NO_SIZE, blank_table
from sizing.lesson.choosing import SPREAD_WORDS
from sizing.lesson.practice import Pairs
from sizing.lesson.room import TOGETHER, RoomResult
from sizing.lesson.ways import (
    MISSED,
    WAY_WORDS,
    WRONG,
    Lesson,
    Progress,
    WaysResult,
    silent,
)
from sizing.measures import labels, written
from sizing.pages import lesson as pages
from sizing.pages.page import Picture, render
from sizing.pages.room import courses_page, room_page
from sizing.plots import teaching as plots
from sizing.plots.client import plot_side_views
from sizing.plots.style import quiet_style
from sizing.resources import texts
from sizing.words import lesson as words_of
from sizing.words.numbers import in_100, share

_T = texts("lesson")
#: Pages that are written in their templates.
_WRITTEN = "index slides wall_chart participant_sheet facilitator_plan attendance"
#: The form a room fills in; and the blank one beside it once it is filled in.
_FORM_FILE, _BLANK_FILE = "answer_form.xlsx", "answer_form_blank.xlsx"
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
        return self.figure.axes[0]


def _slide(axes: Axes, name: str, kind: str = "", **given: object) -> Slide:
    """Return a picture with its words, those of ``kind`` where not of its name."""
    title, alt, caption = (
        _T.pictures[kind or name][part].format(**given)
        for part in ("title", "alt", "caption")
    )
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
    return Picture(slide_bytes(slide, "png"), slide.alt, slide.caption)


@alone
def wrong_slide(found: WaysResult) -> Slide:
    """Return the answer as a picture: of a hundred, in a wrong size and in none."""
    rows = words_of.told(found)
    own = found.overall[found.overall["outcome"].isin([WRONG, MISSED])]
    said = {
        way: [words_of.of_hundred(rows[way, one]) for one in (WRONG, MISSED)]
        for way in WAY_WORDS
        if (way, WRONG) in rows
    }
    words = (f"{WAY_WORDS[w].capitalize()}: {a} and {b}." for w, (a, b) in said.items())
    eye, tape = (
        in_100(rows[way, WRONG]["estimate"]).removesuffix(" in 100")
        for way in ("by_eye", "tape_once")
    )
    return _slide(
        plots.plot_wrong(own, ways=WAY_WORDS),
        "wrong_size",
        eye=eye,
        tape=tape,
        words=" ".join(words),
        who=words_of.title_of(found.people, first=True),
        chart=found.chart,
        spread=SPREAD_WORDS,
    )


def handout_picture(found: WaysResult) -> Picture:
    """Return the answer as the handout has room for: no letter is under 9 points."""
    slide = wrong_slide(found)
    slide.figure.set_size_inches(8.5, 2.75)
    bold: Any = {"x": 0.015, "ha": "left", "fontweight": "bold"}
    slide.figure.suptitle(slide.figure.get_suptitle(), fontsize=12, **bold)
    # The title says it, and the legend needs its place.
    slide.axes.set_xlabel("")
    return drawn(slide)


def pair_builds(pairs: Pairs, units: str = "metric") -> dict[str, str]:
    """Return what is alike in each pair, by the name of its picture."""

    def both(row: dict[Any, Any], what: str, unit: str) -> str:
        ends = (row[f"{what}_{who}_{unit}"] for who in "ab")
        said = (written(end, f"{what}_{unit}", units) for end in ends)
        return " and ".join(dict.fromkeys(said))

    return {
        f"pair_{row['pair']}": f"Both {row['sex']}, aged {row['age_a']}; "
        f"{both(row, 'body_mass', 'kg')}; {both(row, 'stature', 'cm')}"
        for row in pairs.table.to_dict("records")
    }


@alone
def pair_slide(pairs: Pairs, number: int, *, units: str = "metric") -> Slide:
    bodies = pairs.bodies[pairs.bodies["pair"] == number]
    row = pairs.table[pairs.table["pair"] == number].iloc[0]
    measure = str(row["parting_measure"])
    write = partial(written, units=units)
    build = pair_builds(pairs, units)[f"pair_{number}"]
    return _slide(
        plot_side_views(bodies, marked=measure, labels=labels(), write=write),
        f"pair_{number}",
        "pair",
        build=build,
        alike=f"{build[0].lower()}{build[1:]}",
        measure=labels()[measure].lower(),
        label=labels()[measure],
        values=" and ".join(write(row[who], measure) for who in "ab"),
        **row[["size_a", "size_b", "evidence"]],
    )


@alone
def repeats_slide(table: pd.DataFrame) -> Slide:
    same = table.pivot_table(
        index=["times", "outcome"], columns="by", values="estimate"
    )
    if np.allclose(same.iloc[:, 0], same.iloc[:, -1]):
        # Without a lasting error it is all one who measures: draw it once.
        table = table[table["by"] == "one measurer"]
    one = table[(table["by"] == "one measurer") & (table["outcome"] == "either")]
    times = one["times"].map({1: "once", 2: "twice"})
    times = times.fillna(one["times"].astype(str) + " times")
    words = ", ".join(times + " " + one["estimate"].map(share))
    return _slide(plots.plot_repeats(table), "how_often_to_measure", words=words)


@alone
def room_slides(
    found: RoomResult, sizes: tuple[str, ...], *, units: str = "metric"
) -> list[Slide]:
    slides, own = [], _T.pictures["room_sizes"]
    for source, rows in found.confusion.groupby("source"):
        each = rows.to_dict("records")
        right = (r["count"] for r in each if r["chosen"] in r["right"].split(" or "))
        slides.append(
            _slide(
                plots.plot_confusion(rows, sizes=sizes),
                f"room_sizes_{source}",
                "room_sizes",
                words=own[source],
                good=sum(right),
                n=rows["count"].sum(),
                cells=" ".join(own["cell"].format_map(row) for row in each),
            )
        )
    for measure, agreement in found.guesses.items():
        if agreement.points.empty:
            continue
        (unit, size), what = words_of.unit_of(measure, units), labels()[measure].lower()
        points, rows = agreement.points, agreement.table
        points = points.assign(**points[["truth", "difference"]] / size)
        rows = rows[rows["participant"] == TOGETHER]
        rows = rows.assign(estimate=rows["estimate"] / size)
        name = f"room_guesses_{what.replace(' ', '_')}"
        said = {"what": what, "words": agreement.summary(unit, size)}
        ax = plots.plot_agreement(points, rows, unit=unit)
        slides.append(_slide(ax, name, "room_guesses", **said))
    if len(found.gain):
        ax = plots.plot_gain(found.gain)
        slides.append(_slide(ax, "room_gain", words=words_of.gain_words(found.gain)))
    if len(found.error.table):
        ax = plots.plot_measuring_error(found.error.table)
        slides.append(_slide(ax, "room_tape"))
    return slides


@alone
def courses_slide(table: pd.DataFrame) -> Slide:
    words = words_of.courses_words(table)
    return _slide(plots.plot_courses(table), "courses", words=words)


def lesson_slides(lesson: Lesson) -> list[Slide]:
    numbers, units = map(int, lesson.pairs.table.get("pair", ())), lesson.units
    pairs = (pair_slide(lesson.pairs, n, units=units) for n in numbers)
    slides = [wrong_slide(lesson.ways), *pairs, repeats_slide(lesson.repeats)]
    if lesson.room is not None:
        slides += room_slides(lesson.room, lesson.chart.sizes, units=units)
    return slides


def lesson_files(
    lesson: Lesson, *, courses: pd.DataFrame | None = None, progress: Progress = silent
) -> dict[str, bytes]:
    """The pack by file name; ``courses``: those kept, for a page of their own."""
    files: dict[str, bytes] = {}
    pictures: dict[str, Picture] = {}
    progress("Drawing the slides", 0.5)
    slides = lesson_slides(lesson)
    for number, slide in enumerate(slides):
        progress("Drawing the slides", 0.55 + 0.4 * number / len(slides))
        for kind in ("png", "svg"):
            files[f"pictures/{slide.name}.{kind}"] = slide_bytes(slide, kind)
        png = files[f"pictures/{slide.name}.png"]
        pictures[slide.name] = Picture(png, slide.alt, slide.caption)
    progress("Writing the pages", 0.95)
    ways, people, chart, units = lesson.ways, lesson.people, lesson.chart, lesson.units
    practice, pattern, room = lesson.practice, lesson.pattern, lesson.room
    figure = handout_picture(ways)
    made = {
        "handout.html": pages.handout_html(ways, people, chart, figure, pattern),
        "evidence.html": pages.evidence_html(lesson, pictures),
        "cards.html": pages.cards_html(practice, chart, units, pattern),
        "card_answers.html": pages.answers_html(practice, chart, units),
        "ways.csv": _csv(ways.table),
        "on_other_charts.csv": _csv(lesson.elsewhere),
        "guesses_published.csv": _csv(lesson.check),
        "how_often_to_measure.csv": _csv(lesson.repeats),
    }
    if room is not None:
        made["room.html"] = render(
            room_page(room, lesson.repeats, pictures, units=units)
        )
        made["room_left_out.csv"] = _csv(room.answers.left_out)
        made["room_sizes.csv"] = _csv(room.sizes)
        made["room_tape.csv"] = _csv(room.error.table)
    if courses is not None and len(courses):
        picture = drawn(courses_slide(courses))
        made["courses.html"] = render(courses_page(courses, picture, units))
    errors = (
        f"{written(sd, m, units, to='tenth')} for {labels()[m].lower()}"
        for m, sd in ways.settings["reading_sd"].items()
        if m.endswith("_cm")
    )
    told: dict[str, Any] = {
        **lesson.class_size,
        "absent": {"room.html", "courses.html"} - set(made),
        "answer": words_of.ways_answer(ways),
        "cards": pages.cards_shown(practice, units),
        "errors": ", ".join(errors),
        "inputs": f"{words_of.title_of(people.name, first=True)}, n = {people.n:,}; "
        f"chart: {chart.name}; seed {ways.settings['seed']}.",
        "limits": pages.lesson_limits(people),
        "pairs": pair_builds(lesson.pairs, units),
        "parts": _T.pack,
        "pictures": pictures,
        "table_words": words_of.table_against_tape(ways, lesson.elsewhere),
        "units": units,
        "volunteers": ascii_uppercase[: lesson.class_size["volunteers"]],
        "worst": words_of.worst_group(ways),
        "wrong": pages.wrong_words(*pages.BY_ONE),
    }
    for name in _WRITTEN.split():
        made[f"{name}.html"] = pages.lesson_page(name, chart, pattern=pattern, **told)
    form = blank_table(chart, lesson.class_size, units=units)
    sizes = {"chosen_size": [*chart.sizes, NO_SIZE]}
    files[_FORM_FILE] = workbook_bytes({"answers": form}, choices=sizes)
    return files | {name: text.encode("utf-8") for name, text in made.items()}


def _csv(frame: pd.DataFrame) -> str:
    return csv_bytes(rounded(frame)).decode("utf-8")


def write_files(files: Mapping[str, bytes], folder: str | Path) -> list[Path]:
    written = write_folder(folder, files, kept={_FORM_FILE: _BLANK_FILE})
    return sorted(written, key=lambda path: (path.parent != Path(folder), path))
