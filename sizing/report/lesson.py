"""The lesson: everything a trainer needs for an hour, in one folder."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from sizing.chart import SizeChart
from sizing.chart.demo import demo_chart
from sizing.errors import SizingError
from sizing.fit.core import limits
from sizing.plots.style import quiet_style
from sizing.population import People, load_people
from sizing.report.cards import answers_html, cards_html
from sizing.report.lesson_page import evidence_html, handout_html
from sizing.report.lesson_pictures import (
    Slide,
    guess_slide,
    pair_slide,
    repeats_slide,
    room_slides,
    ways_slide,
)
from sizing.report.page import Picture
from sizing.report.room_page import room_html
from sizing.teaching import (
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

#: The study in which nurses' guesses of adults were best.
BEST_GUESSES = "Fernandes 1999"
#: Columns of the blank form before the tape measures.
_FORM = ("participant", "subject", "reading", "chosen_size")


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


def prepare_lesson(
    population: str = "adults",
    chart: SizeChart | None = None,
    *,
    clients: int = 12,
    answers: str | Path | pd.DataFrame | None = None,
    draws: int = 5,
    seed: int = 1,
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

    Returns
    -------
    Lesson
    """
    chart = demo_chart() if chart is None else chart
    people = load_people(population, draws=draws, seed=seed)
    practice = practice_clients(people, chart, n=clients, seed=seed)
    room = None
    if answers is not None:
        read = read_answers(answers, chart)
        room = room_result(read, chart, practice=practice, seed=seed)
    return Lesson(
        people,
        chart,
        practice,
        compare_ways(people, chart, seed=seed, replicates=100),
        compare_ways(
            people,
            chart,
            ways=["by_eye"],
            by=[],
            guess=fit_guess("nurse", study=BEST_GUESSES),
            seed=seed,
            replicates=100,
        ),
        check_guesses(),
        surprising_pairs(people, chart, n=3, seed=seed),
        chance_of_wrong_size(
            people, chart, None if room is None else room.error, seed=seed
        ),
        room,
    )


def lesson_slides(lesson: Lesson) -> list[Slide]:
    """Return every picture of the lesson."""
    slides = [ways_slide(lesson.ways), guess_slide(lesson.check)]
    slides += [
        pair_slide(lesson.pairs, int(n)) for n in lesson.pairs.table.get("pair", ())
    ]
    slides.append(repeats_slide(lesson.repeats))
    if lesson.room is not None:
        slides += room_slides(lesson.room, lesson.chart.sizes)
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


def write_lesson(lesson: Lesson, folder: str | Path) -> list[Path]:
    """Write the pack: handout, evidence, cards, answers, form, pictures.

    Parameters
    ----------
    lesson : Lesson
    folder : path
        Made if it is not there; files of the same names are replaced.

    Returns
    -------
    list of Path
        What was written. Same lesson, same bytes.

    Raises
    ------
    SizingError
        If ``folder`` is a file or cannot be written to.
    """
    home = Path(folder)
    with _plainly(folder):
        (home / "pictures").mkdir(parents=True, exist_ok=True)
    slides = lesson_slides(lesson)
    texts: dict[str, str] = {}
    files: dict[str, bytes] = {}
    pictures: dict[str, Picture] = {}
    for slide in slides:
        drawn = {kind: _drawn(slide, kind) for kind in ("png", "svg")}
        pictures[slide.name] = Picture(drawn["png"], slide.alt, slide.caption)
        files |= {f"pictures/{slide.name}.{k}": data for k, data in drawn.items()}
    texts["handout.html"] = handout_html(lesson, pictures["ways"])
    texts["evidence.html"] = evidence_html(lesson, pictures)
    texts["cards.html"] = cards_html(lesson.practice)
    texts["card_answers.html"] = answers_html(lesson.practice)
    texts["answer_form.csv"] = blank_form(lesson.chart).to_csv(index=False)
    texts["ways.csv"] = lesson.ways.table.to_csv(index=False)
    texts["guesses_published.csv"] = lesson.check.to_csv(index=False)
    texts["how_often_to_measure.csv"] = lesson.repeats.to_csv(index=False)
    if lesson.room is not None:
        texts["room.html"] = room_html(lesson.room, lesson.repeats, pictures)
        texts["room_left_out.csv"] = lesson.room.answers.left_out.to_csv(index=False)
        texts["room_tape.csv"] = lesson.room.error.table.to_csv(index=False)
    files |= {name: text.encode("utf-8") for name, text in texts.items()}
    with _plainly(folder):
        for name, data in files.items():
            (home / name).write_bytes(data)
    return [home / name for name in _in_order(files)]


@contextmanager
def _plainly(folder: str | Path) -> Iterator[None]:
    """Say in plain words that a folder cannot be written to."""
    try:
        yield
    except OSError as error:
        raise SizingError(
            f"The lesson cannot be written to {folder}: {error.strerror}. Choose "
            "another folder with --out."
        ) from error


def _in_order(names: Sequence[str] | dict[str, bytes]) -> list[str]:
    """Return file names, pages before pictures."""
    return sorted(names, key=lambda name: ("/" in name, name))


def _drawn(slide: Slide, kind: str) -> bytes:
    """Return a picture's bytes, the same for the same picture."""
    buffer = io.BytesIO()
    undated = {"png": {"Software": None}, "svg": {"Date": None, "Creator": None}}
    with quiet_style():
        slide.figure.savefig(buffer, format=kind, metadata=undated[kind])
    # Laid out once: the next kind keeps the places, and costs half the time.
    slide.figure.set_layout_engine("none")
    return buffer.getvalue()
