"""The lesson: everything a trainer needs for an hour, in one folder."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.files.folders import write_folder
from sizing.files.writing import csv_bytes, rounded, workbook_bytes
from sizing.lesson.answers import NO_SIZE, blank_table
from sizing.lesson.prepare import Lesson, Progress, silent
from sizing.measures import labels, written
from sizing.pages import lesson as pages
from sizing.pages.lesson_pictures import (
    Slide,
    courses_slide,
    drawn,
    handout_picture,
    pair_builds,
    pair_slide,
    repeats_slide,
    room_slides,
    slide_bytes,
    wrong_slide,
)
from sizing.pages.page import Picture, render
from sizing.pages.room import courses_page, room_page
from sizing.resources import texts
from sizing.words.lesson import table_against_tape, title_of, ways_answer, worst_group

_T = texts("lesson")
#: Pages that are written in their templates, from ``pack_words``.
_WRITTEN = "index slides wall_chart participant_sheet facilitator_plan attendance"
#: The form a room fills in; and the blank one beside it once it is filled in.
_FORM_FILE, _BLANK_FILE = "answer_form.xlsx", "answer_form_blank.xlsx"


def lesson_slides(lesson: Lesson) -> list[Slide]:
    slides = [wrong_slide(lesson.ways)]
    slides += [
        pair_slide(lesson.pairs, int(n), units=lesson.units)
        for n in lesson.pairs.table.get("pair", ())
    ]
    slides.append(repeats_slide(lesson.repeats))
    if lesson.room is not None:
        slides += room_slides(lesson.room, lesson.chart.sizes, units=lesson.units)
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
    made = {
        "handout.html": pages.handout_html(
            lesson.ways,
            lesson.people,
            lesson.chart,
            handout_picture(lesson.ways),
            lesson.pattern,
        ),
        "evidence.html": pages.evidence_html(lesson, pictures),
        "cards.html": pages.cards_html(
            lesson.practice, lesson.chart, lesson.units, lesson.pattern
        ),
        "card_answers.html": pages.answers_html(lesson.practice, lesson.units),
        "ways.csv": _csv(lesson.ways.table),
        "on_other_charts.csv": _csv(lesson.elsewhere),
        "guesses_published.csv": _csv(lesson.check),
        "how_often_to_measure.csv": _csv(lesson.repeats),
    }
    if lesson.room is not None:
        made["room.html"] = render(
            room_page(lesson.room, lesson.repeats, pictures, units=lesson.units)
        )
        made["room_left_out.csv"] = _csv(lesson.room.answers.left_out)
        made["room_sizes.csv"] = _csv(lesson.room.sizes)
        made["room_tape.csv"] = _csv(lesson.room.error.table)
    if courses is not None and len(courses):
        picture = drawn(courses_slide(courses))
        made["courses.html"] = render(courses_page(courses, picture, lesson.units))
    absent = {"room.html", "courses.html"} - set(made)
    shown = pack_words(lesson, pictures, absent)
    for name in _WRITTEN.split():
        made[f"{name}.html"] = pages.lesson_page(name, **shown)
    form = blank_table(lesson.chart, lesson.class_size, units=lesson.units)
    sizes = {"chosen_size": [*lesson.chart.sizes, NO_SIZE]}
    files[_FORM_FILE] = workbook_bytes({"answers": form}, choices=sizes)
    return files | {name: text.encode("utf-8") for name, text in made.items()}


def pack_words(
    lesson: Lesson, pictures: Mapping[str, Picture], absent: Collection[str]
) -> dict[str, Any]:
    """Return what the pack's own pages show, by the names in their templates."""
    chart, units, ways = lesson.chart, lesson.units, lesson.ways
    fronts = pages.card_rows(lesson.practice.cards, units)
    backs = pages.card_backs(lesson.practice, units)
    # One card of each difficulty, from easy to hard.
    hard = lesson.practice.answers["difficulty"].astype(str).drop_duplicates()
    parts = {
        heading: [one for one in files if one[0] not in absent]
        for heading, files in _T.pack.items()
    }
    volunteers = [chr(ord("A") + i) for i in range(lesson.class_size["volunteers"])]
    errors = ways.settings["reading_sd"]
    return {
        "answer": ways_answer(ways),
        "by_eye": pages.BY_EYE,
        "cards": len(fronts),
        "chart": pages.chart_shown(chart, units),
        "errors": ", ".join(
            f"{written(sd, m, units, to='tenth')} for {labels()[m].lower()}"
            for m, sd in errors.items()
            if m.endswith("_cm")
        ),
        "examples": [fronts[i] | backs[i] for i in hard.index],
        "guess_rows": ["Weight", "Height", "Size, or none"],
        "inputs": f"{title_of(lesson.people.name, first=True)}, "
        f"n = {lesson.people.n:,}; chart: {chart.name}; seed {ways.settings['seed']}.",
        "length_unit": "cm" if units == "metric" else "inch",
        "limits": pages.lesson_limits(lesson.people),
        "measures": pages.measures_shown(chart, units),
        "pairs": [
            {"question": build, "picture": pictures[name], "alt": pictures[name].alt}
            for name, build in pair_builds(lesson.pairs, units).items()
        ],
        "parts": parts,
        "pattern": pages.pattern_shown(lesson.pattern, chart),
        **lesson.class_size,
        "repeats": pictures["how_often_to_measure"],
        "room": [p for name, p in pictures.items() if name.startswith("room_")],
        "table_words": table_against_tape(ways, lesson.elsewhere),
        "volunteers": volunteers,
        "worst": worst_group(ways),
        "wrong": pictures["wrong_size"],
        "wrong_means": pages.wrong_words("one_too_small", "one_too_large"),
    }


def _csv(frame: pd.DataFrame) -> str:
    return csv_bytes(rounded(frame)).decode("utf-8")


def write_files(files: Mapping[str, bytes], folder: str | Path) -> list[Path]:
    written = write_folder(folder, files, kept={_FORM_FILE: _BLANK_FILE})
    return sorted(written, key=lambda path: (path.parent != Path(folder), path))
