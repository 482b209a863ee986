"""The lesson: everything a trainer needs for an hour, in one folder."""

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.files.folders import write_folder
from sizing.files.writing import csv_bytes, rounded
from sizing.lesson.prepare import Lesson, Progress, silent
from sizing.pages.cards import answers_html, cards_html
from sizing.pages.lesson import evidence_html, handout_html
from sizing.pages.lesson_pictures import (
    Slide,
    guess_slide,
    pair_slide,
    repeats_slide,
    room_slides,
    slide_bytes,
    ways_slide,
    wrong_slide,
)
from sizing.pages.page import Picture
from sizing.pages.room import room_html

#: The form a room fills in; and the blank one beside it once it is filled in.
_FORM_FILE, _BLANK_FILE = "answer_form.csv", "answer_form_blank.csv"
#: Columns of the blank form before the tape measures.
_FORM = ("participant", "subject", "reading", "chosen_size")


def lesson_slides(lesson: Lesson) -> list[Slide]:
    """Return every picture of the lesson."""
    slides = [
        wrong_slide(lesson.ways),
        ways_slide(lesson.ways),
        guess_slide(lesson.check),
    ]
    slides += [
        pair_slide(lesson.pairs, int(n), units=lesson.units)
        for n in lesson.pairs.table.get("pair", ())
    ]
    slides.append(repeats_slide(lesson.repeats))
    if lesson.room is not None:
        slides += room_slides(lesson.room, lesson.chart.sizes, units=lesson.units)
    return slides


def blank_form(chart: SizeChart) -> pd.DataFrame:
    """Return the form the room's answers are typed into, begun.

    Columns as ``read_answers`` takes them; rows for the reference and for one
    participant and three volunteers, to be copied for the others.
    """
    measures = [m for m in limits(chart) if m not in ("body_mass_kg", "stature_cm")]
    columns = [
        *_FORM,
        "guessed_body_mass_kg",
        "guessed_stature_cm",
        "body_mass_kg",
        "stature_cm",
        *measures,
    ]
    rows = [
        {"participant": who, "subject": subject, "reading": 1}
        for who in ("reference", "1")
        for subject in "ABC"
    ]
    return pd.DataFrame(rows, columns=columns)


def lesson_files(lesson: Lesson, *, progress: Progress = silent) -> dict[str, bytes]:
    """Return the pack by file name: handout, evidence, cards, form, slides.

    Parameters
    ----------
    lesson : Lesson
    progress : callable
        As in ``prepare_lesson``.

    Returns
    -------
    dict
        Same lesson, same bytes. Slides are in ``pictures/``, as PNG of 1920 by 1080
        dots and as SVG.
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
        "cards.html": cards_html(lesson.practice, lesson.units),
        "card_answers.html": answers_html(lesson.practice, lesson.units),
        "answer_form.csv": _csv(blank_form(lesson.chart)),
        "ways.csv": _csv(lesson.ways.table),
        "guesses_published.csv": _csv(lesson.check),
        "how_often_to_measure.csv": _csv(lesson.repeats),
    }
    if lesson.room is not None:
        texts["room.html"] = room_html(
            lesson.room, lesson.repeats, pictures, units=lesson.units
        )
        texts["room_left_out.csv"] = _csv(lesson.room.answers.left_out)
        texts["room_sizes.csv"] = _csv(lesson.room.sizes)
        texts["room_tape.csv"] = _csv(lesson.room.error.table)
    return files | {name: text.encode("utf-8") for name, text in texts.items()}


def _csv(frame: pd.DataFrame) -> str:
    return csv_bytes(rounded(frame)).decode("utf-8")


def write_lesson(lesson: Lesson, folder: str | Path) -> list[Path]:
    """Write the pack into a folder.

    Parameters
    ----------
    lesson : Lesson
    folder : path
        Made if it is not there; files of the same names are replaced, but for a
        form that was filled in: the blank one then lies beside it.

    Returns
    -------
    list of Path
        What was written, pages before pictures; see ``lesson_files``.

    Raises
    ------
    SizingError
        If ``folder`` is a file or cannot be written to.
    """
    return write_files(lesson_files(lesson), folder)


def write_files(files: Mapping[str, bytes], folder: str | Path) -> list[Path]:
    """Write a pack that is made into a folder; see ``write_lesson``."""
    written = write_folder(folder, files, kept={_FORM_FILE: _BLANK_FILE})
    return sorted(written, key=lambda path: (path.parent != Path(folder), path))
