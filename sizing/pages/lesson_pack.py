"""The lesson: everything a trainer needs for an hour, in one folder."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.demo import demo_chart
from sizing.charts.fits import limits
from sizing.files.folders import write_folder
from sizing.files.writing import csv_bytes, rounded
from sizing.lesson import (
    Pairs,
    Practice,
    RoomResult,
    WaysResult,
    chance_of_wrong_size,
    check_guesses,
    compare_ways,
    fit_guess,
    practice_clients,
    read_answers,
    room_result,
    surprising_pairs,
)
from sizing.lesson.practice import CARD_STEPS, IMPERIAL_STEPS
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
from sizing.people import People, load_people

#: The form a room fills in; and the blank one beside it once it is filled in.
_FORM_FILE, _BLANK_FILE = "answer_form.csv", "answer_form_blank.csv"
#: The study in which nurses' guesses of adults were best.
BEST_GUESSES = "Fernandes 1999"
#: ``progress(words, share)``: what is being done, and how much is done, 0 to 1.
Progress = Callable[[str, float], None]
#: Columns of the blank form before the tape measures.
_FORM = ("participant", "subject", "reading", "chosen_size")


def silent(words: str, share: float) -> None:
    """Take no notice of the progress."""


@dataclass(frozen=True)
class Lesson:
    """All that a lesson shows.

    Attributes
    ----------
    people : People
    chart : SizeChart
    practice : Practice
    ways : WaysResult
    kinder : WaysResult
        By eye only, with the nurses' guesses of the study where they were best.
    check : DataFrame
        Of ``check_guesses``.
    pairs : Pairs
    repeats : DataFrame
        Of ``chance_of_wrong_size``; with the room's own errors where there are
        answers.
    room : RoomResult or None
    units : str
        In which people read it.
    """

    people: People
    chart: SizeChart
    practice: Practice
    ways: WaysResult
    kinder: WaysResult
    check: pd.DataFrame
    pairs: Pairs
    repeats: pd.DataFrame
    room: RoomResult | None
    units: str = "metric"


def prepare_lesson(
    population: str = "adults",
    chart: SizeChart | None = None,
    *,
    clients: int = 12,
    answers: str | Path | pd.DataFrame | None = None,
    draws: int = 5,
    seed: int = 1,
    units: str = "metric",
    progress: Progress = silent,
) -> Lesson:
    """Work out everything a lesson shows.

    Parameters
    ----------
    population : str
        A name that ``load_people`` knows.
    chart : SizeChart, optional
        The invented demo chart if not given.
    clients : int
        Practice cards.
    answers : path or DataFrame, optional
        The room's answers, of the same chart, population, clients and seed.
    draws, seed : int
    units : str
        In which people read it: a key of ``sizing.app.lab_units.UNITS``.
    progress : callable
        ``progress(words, share)`` is told what is being done; whatever it raises
        ends the work.

    Returns
    -------
    Lesson
    """
    chart = demo_chart() if chart is None else chart
    progress("Loading the people", 0.0)
    people = load_people(population, draws=draws, seed=seed)
    progress("Dealing the cards", 0.1)
    practice = practice_clients(
        people, chart, n=clients, seed=seed, steps=card_steps(units)
    )
    room = None
    if answers is not None:
        progress("Reading the room's answers", 0.12)
        read = read_answers(answers, chart)
        room = room_result(read, chart, practice=practice, seed=seed)
    progress("Comparing the ways of choosing", 0.15)
    ways = compare_ways(people, chart, seed=seed, replicates=100)
    progress("Comparing with kinder guesses", 0.38)
    kinder = compare_ways(
        people,
        chart,
        ways=["by_eye"],
        by=[],
        guess=fit_guess("nurse", study=BEST_GUESSES),
        seed=seed,
        replicates=100,
    )
    progress("Looking for pairs that surprise", 0.45)
    pairs = surprising_pairs(people, chart, n=3, seed=seed)
    progress("Trying one, two and three readings", 0.47)
    repeats = chance_of_wrong_size(
        people, chart, None if room is None else room.error, seed=seed
    )
    return Lesson(
        people,
        chart,
        practice,
        ways,
        kinder,
        check_guesses(),
        pairs,
        repeats,
        room,
        units,
    )


def card_steps(units: str) -> Mapping[str, float]:
    """Return to what a practice card's measures are rounded, in cm and kg."""
    return CARD_STEPS if units == "metric" else IMPERIAL_STEPS


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
