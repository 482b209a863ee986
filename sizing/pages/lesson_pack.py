"""The lesson: everything a trainer needs for an hour, in one folder."""

from collections.abc import Mapping
from pathlib import Path
from string import ascii_uppercase
from typing import Any

import pandas as pd

from sizing.files.folders import write_folder
from sizing.files.writing import csv_bytes, rounded, workbook_bytes
from sizing.lesson.answers import NO_SIZE, blank_table
from sizing.lesson.prepare import Lesson, Progress, silent
from sizing.measures import labels, written
from sizing.pages import lesson as pages
from sizing.pages import lesson_pictures as drawing
from sizing.pages.lesson_pictures import Slide
from sizing.pages.page import Picture, render
from sizing.pages.room import courses_page, room_page
from sizing.resources import texts
from sizing.words.lesson import table_against_tape, title_of, ways_answer, worst_group

_T = texts("lesson")
#: Pages that are written in their templates.
_WRITTEN = "index slides wall_chart participant_sheet facilitator_plan attendance"
#: The form a room fills in; and the blank one beside it once it is filled in.
_FORM_FILE, _BLANK_FILE = "answer_form.xlsx", "answer_form_blank.xlsx"


def lesson_slides(lesson: Lesson) -> list[Slide]:
    numbers, units = map(int, lesson.pairs.table.get("pair", ())), lesson.units
    pairs = (drawing.pair_slide(lesson.pairs, n, units=units) for n in numbers)
    slides = [
        drawing.wrong_slide(lesson.ways),
        *pairs,
        drawing.repeats_slide(lesson.repeats),
    ]
    if lesson.room is not None:
        slides += drawing.room_slides(lesson.room, lesson.chart.sizes, units=units)
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
            files[f"pictures/{slide.name}.{kind}"] = drawing.slide_bytes(slide, kind)
        png = files[f"pictures/{slide.name}.png"]
        pictures[slide.name] = Picture(png, slide.alt, slide.caption)
    progress("Writing the pages", 0.95)
    ways, people, chart, units = lesson.ways, lesson.people, lesson.chart, lesson.units
    practice, pattern, room = lesson.practice, lesson.pattern, lesson.room
    figure = drawing.handout_picture(ways)
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
        picture = drawing.drawn(drawing.courses_slide(courses))
        made["courses.html"] = render(courses_page(courses, picture, units))
    errors = (
        f"{written(sd, m, units, to='tenth')} for {labels()[m].lower()}"
        for m, sd in ways.settings["reading_sd"].items()
        if m.endswith("_cm")
    )
    told: dict[str, Any] = {
        **lesson.class_size,
        "absent": {"room.html", "courses.html"} - set(made),
        "answer": ways_answer(ways),
        "cards": pages.cards_shown(practice, units),
        "errors": ", ".join(errors),
        "inputs": f"{title_of(people.name, first=True)}, n = {people.n:,}; "
        f"chart: {chart.name}; seed {ways.settings['seed']}.",
        "limits": pages.lesson_limits(people),
        "pairs": drawing.pair_builds(lesson.pairs, units),
        "parts": _T.pack,
        "pictures": pictures,
        "table_words": table_against_tape(ways, lesson.elsewhere),
        "units": units,
        "volunteers": ascii_uppercase[: lesson.class_size["volunteers"]],
        "worst": worst_group(ways),
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
