"""All that a lesson shows, worked out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from sizing.charts import SizeChart, demo_chart
from sizing.lesson.answers import read_answers
from sizing.lesson.elsewhere import elsewhere
from sizing.lesson.guessing import check_guesses, fit_guess
from sizing.lesson.pairs import Pairs, surprising_pairs
from sizing.lesson.practice import (
    CARD_STEPS,
    IMPERIAL_STEPS,
    Practice,
    practice_clients,
)
from sizing.lesson.repeats import chance_of_wrong_size
from sizing.lesson.room import RoomResult, room_result
from sizing.lesson.ways import WaysResult, compare_ways
from sizing.people import People, load_people

#: The study in which nurses' guesses of adults were best.
BEST_GUESSES = "Fernandes 1999"
#: What the forms are laid out for, if nothing else is asked.
CLASS_SIZE = {"participants": 12, "volunteers": 3, "readings": 2}
#: ``progress(words, share)``: what is being done, and how much is done, 0 to 1.
Progress = Callable[[str, float], None]


def silent(words: str, share: float) -> None:
    """Take no notice of the progress."""


@dataclass(frozen=True)
class Lesson:
    """All that a lesson shows.

    Attributes
    ----------
    elsewhere : DataFrame
        Of ``sizing.lesson.elsewhere``, on fewer draws.
    kinder : WaysResult
        By eye only, with the nurses' guesses of the study where they were best.
    check : DataFrame
        Of ``check_guesses``.
    repeats : DataFrame
        Of ``chance_of_wrong_size``; with the room's own errors where there are
        answers.
    units : str
        In which people read it.
    class_size : mapping
        participants, volunteers, readings: what the forms are laid out for.
    """

    people: People
    chart: SizeChart
    practice: Practice
    ways: WaysResult
    elsewhere: pd.DataFrame
    kinder: WaysResult
    check: pd.DataFrame
    pairs: Pairs
    repeats: pd.DataFrame
    room: RoomResult | None
    units: str = "metric"
    class_size: Mapping[str, int] = field(default_factory=lambda: dict(CLASS_SIZE))


def prepare_lesson(
    population: str = "adults",
    chart: SizeChart | None = None,
    *,
    clients: int = 12,
    answers: str | Path | pd.DataFrame | None = None,
    draws: int = 5,
    seed: int = 1,
    units: str = "metric",
    class_size: Mapping[str, int] | None = None,
    progress: Progress = silent,
) -> Lesson:
    """Work out everything a lesson shows."""
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
    progress("Comparing on other charts", 0.35)
    few = load_people(population, draws=1, seed=seed)
    others = elsewhere(few, chart, replicates=100, seed=seed)
    progress("Comparing with kinder guesses", 0.4)
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
        others,
        kinder,
        check_guesses(),
        pairs,
        repeats,
        room,
        units,
        CLASS_SIZE | dict(class_size or {}),
    )


def card_steps(units: str) -> Mapping[str, float]:
    """Return to what a practice card's measures are rounded, in cm and kg."""
    return CARD_STEPS if units == "metric" else IMPERIAL_STEPS
