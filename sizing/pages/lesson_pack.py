"""The lesson: everything a trainer needs for an hour, in one folder."""

from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.files.folders import write_folder
from sizing.files.writing import csv_bytes, rounded, workbook_bytes
from sizing.lesson.answers import NO_SIZE, blank_table, measure_labels
from sizing.lesson.prepare import Lesson, Progress, silent
from sizing.measures.written import written
from sizing.pages.cards import (
    answers_html,
    card_backs,
    card_rows,
    cards_html,
    chart_shown,
    lesson_page,
)
from sizing.pages.lesson import (
    BY_EYE,
    evidence_html,
    handout_html,
    lesson_limits,
    measures_shown,
    wrong_words,
)
from sizing.pages.lesson_pictures import (
    Slide,
    courses_slide,
    drawn,
    pair_builds,
    pair_slide,
    repeats_slide,
    room_slides,
    slide_bytes,
    wrong_slide,
)
from sizing.pages.page import Picture, render
from sizing.pages.room import courses_page, room_page
from sizing.words.lesson import table_against_tape, title_of, ways_answer, worst_group

#: The form a room fills in; and the blank one beside it once it is filled in.
_FORM_FILE, _BLANK_FILE = "answer_form.xlsx", "answer_form_blank.xlsx"


def lesson_slides(lesson: Lesson) -> list[Slide]:
    """Return every picture of the lesson."""
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
    """Return the pack by file name: handout, evidence, cards, form, slides.

    ``courses``: those kept, for a page of their own.
    """
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
    texts = {
        "handout.html": handout_html(
            lesson.ways, lesson.people, lesson.chart, pictures["wrong_size"]
        ),
        "evidence.html": evidence_html(lesson, pictures),
        "cards.html": cards_html(lesson.practice, lesson.chart, lesson.units),
        "card_answers.html": answers_html(lesson.practice, lesson.units),
        "ways.csv": _csv(lesson.ways.table),
        "on_other_charts.csv": _csv(lesson.elsewhere),
        "guesses_published.csv": _csv(lesson.check),
        "how_often_to_measure.csv": _csv(lesson.repeats),
    }
    if lesson.room is not None:
        texts["room.html"] = render(
            room_page(lesson.room, lesson.repeats, pictures, units=lesson.units)
        )
        texts["room_left_out.csv"] = _csv(lesson.room.answers.left_out)
        texts["room_sizes.csv"] = _csv(lesson.room.sizes)
        texts["room_tape.csv"] = _csv(lesson.room.error.table)
    if courses is not None and len(courses):
        picture = drawn(courses_slide(courses))
        texts["courses.html"] = render(courses_page(courses, picture, lesson.units))
    absent = {"room.html", "courses.html"} - set(texts)
    shown = pack_words(lesson, pictures, absent)
    texts |= {f"{name}.html": lesson_page(name, **shown) for name in _WRITTEN}
    form = blank_table(lesson.chart, lesson.class_size, units=lesson.units)
    sizes = {"chosen_size": [*lesson.chart.sizes, NO_SIZE]}
    files[_FORM_FILE] = workbook_bytes({"answers": form}, choices=sizes)
    return files | {name: text.encode("utf-8") for name, text in texts.items()}


#: Pages that are written in their templates, from ``pack_words``.
_WRITTEN = (
    "index",
    "slides",
    "wall_chart",
    "participant_sheet",
    "facilitator_plan",
    "attendance",
)
#: The pack in the order of its use: file, what it is called, and what for.
_PARTS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "Read first": (
        ("facilitator_plan.html", "Your plan", "minute by minute, what to bring"),
        ("evidence.html", "The evidence", "every figure, its interval and source"),
    ),
    "Print": (
        ("participant_sheet.html", "A sheet for each participant", "on both sides"),
        ("wall_chart.html", "The chart for the wall", "A4 or A3, landscape"),
        ("cards.html", "Practice cards", "on both sides; the answers are behind"),
        ("handout.html", "The handout", "one page to take home"),
        ("attendance.html", "The record of the session", "who was there"),
    ),
    "In the room": (
        ("slides.html", "Slides", "F: full screen; N: what to say; arrows: move"),
        ("answer_form.xlsx", "The answer form", "laid out for your room"),
        ("card_answers.html", "All cards' answers", "for you alone"),
        ("room.html", "What this room found", "all together, nobody's own figures"),
        ("courses.html", "Every room so far", "course by course, no participants"),
    ),
}


def pack_words(
    lesson: Lesson, pictures: Mapping[str, Picture], absent: Collection[str]
) -> dict[str, Any]:
    """Return what the pack's own pages show, by the names in their templates."""
    chart, units, ways = lesson.chart, lesson.units, lesson.ways
    fronts = card_rows(lesson.practice.cards, units)
    backs = card_backs(lesson.practice, units)
    # One card of each difficulty, from easy to hard.
    hard = lesson.practice.answers["difficulty"].astype(str).drop_duplicates()
    measures = measures_shown(chart, units)
    guess = ["Weight", "Height", "Size, or none"]
    parts = {
        heading: [one for one in files if one[0] not in absent]
        for heading, files in _PARTS.items()
    }
    volunteers = [chr(ord("A") + i) for i in range(lesson.class_size["volunteers"])]
    taped = {
        m: sd for m, sd in ways.settings["reading_sd"].items() if m.endswith("_cm")
    }
    return {
        "answer": ways_answer(ways),
        "by_eye": BY_EYE,
        "cards": len(fronts),
        "chart": chart_shown(chart, units),
        "errors": ", ".join(
            f"{written(sd, m, units, to='tenth')} for {measure_labels()[m].lower()}"
            for m, sd in taped.items()
        ),
        "examples": [fronts[i] | backs[i] for i in hard.index],
        "guess_rows": guess,
        "inputs": f"{title_of(lesson.people.name, first=True)}, "
        f"n = {lesson.people.n:,}; chart: {chart.name}; seed {ways.settings['seed']}.",
        "length_unit": "cm" if units == "metric" else "inch",
        "limits": lesson_limits(lesson.people),
        "measures": measures,
        "pairs": [
            {"question": build, "picture": pictures[name], "alt": pictures[name].alt}
            for name, build in pair_builds(lesson.pairs, units).items()
        ],
        "parts": parts,
        "participants": lesson.class_size["participants"],
        "readings": lesson.class_size["readings"],
        "repeats": pictures["how_often_to_measure"],
        "room": [p for name, p in pictures.items() if name.startswith("room_")],
        "table_words": table_against_tape(ways, lesson.elsewhere),
        "volunteers": volunteers,
        "worst": worst_group(ways),
        "wrong": pictures["wrong_size"],
        "wrong_means": wrong_words("one_too_small", "one_too_large"),
    }


def _csv(frame: pd.DataFrame) -> str:
    return csv_bytes(rounded(frame)).decode("utf-8")


def write_lesson(
    lesson: Lesson, folder: str | Path, *, courses: pd.DataFrame | None = None
) -> list[Path]:
    """Write the pack into a folder."""
    return write_files(lesson_files(lesson, courses=courses), folder)


def write_files(files: Mapping[str, bytes], folder: str | Path) -> list[Path]:
    """Write a pack that is made into a folder; see ``write_lesson``."""
    written = write_folder(folder, files, kept={_FORM_FILE: _BLANK_FILE})
    return sorted(written, key=lambda path: (path.parent != Path(folder), path))
