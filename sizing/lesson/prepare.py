"""All that a lesson shows, worked out; and table against tape on other charts."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.charts import SizeChart, demo_chart
from sizing.charts.fits import limits
from sizing.lesson.answers import read_answers
from sizing.lesson.choosing import reading_errors
from sizing.lesson.guessing import check_guesses, fit_guess
from sizing.lesson.practice import Pairs, Practice, practice_clients, surprising_pairs
from sizing.lesson.room import RoomResult, room_result
from sizing.lesson.tape import chance_of_wrong_size
from sizing.lesson.ways import WaysResult, compare_ways
from sizing.people import People, load_people
from sizing.resources import texts

_T = texts("lesson")
#: The study in which nurses' guesses of adults were best.
BEST_GUESSES = "Fernandes 1999"
#: Each case, and what it is called.
CASES: dict[str, str] = _T.cases
_MOVED_CM = {"narrow": 2.0, "wide": -2.0}
_TIMES = {"half": 0.5, "twice": 2.0}
#: What the forms are laid out for, if nothing else is asked.
CLASS_SIZE = {"participants": 12, "volunteers": 3, "readings": 2}
#: ``progress(words, share)``: what is being done, and how much is done, 0 to 1.
Progress = Callable[[str, float], None]


def elsewhere(people: People, chart: SizeChart, **drawing: Any) -> pd.DataFrame:
    """Compare table and tape on other charts, and with other errors of reading.

    Bands of body measures 2 cm shorter or longer at both ends, or every reading's SD
    halved or doubled: our choice, to see what the finding rests on.
    """
    found = []
    for case in CASES:
        frame = chart.frame.copy()
        for measure in limits(chart):
            if measure.endswith("_cm") and case in _MOVED_CM:
                for end, sign in (("low", 1), ("high", -1)):
                    if (name := f"{measure}_{end}") in frame:
                        frame[name] += sign * _MOVED_CM[case]
        sd = {m: e * _TIMES.get(case, 1.0) for m, e in reading_errors().items()}
        how = {"ways": ("both", "tape_once"), "by": (), "reading_sd": sd} | drawing
        told = compare_ways(people, replace(chart, frame=frame), **how).overall
        told.insert(0, "case", case)
        found.append(told)
    return pd.concat(found, ignore_index=True)


def silent(words: str, share: float) -> None: ...


@dataclass(frozen=True)
class Lesson:
    """All that a lesson shows; ``kinder``: by eye only, with ``BEST_GUESSES``."""

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
    units: str
    class_size: Mapping[str, int]
    pattern: str | None


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
    pattern: str | None = None,
    progress: Progress = silent,
) -> Lesson:
    chart = demo_chart() if chart is None else chart
    progress("Loading the people", 0.0)
    people = load_people(population, draws=draws, seed=seed)
    progress("Dealing the cards", 0.1)
    drawing = dict[str, Any](seed=seed, replicates=100)
    practice = practice_clients(people, chart, n=clients, seed=seed, units=units)
    room = None
    if answers is not None:
        progress("Reading the room's answers", 0.12)
        read = read_answers(answers, chart)
        room = room_result(read, chart, practice=practice, seed=seed)
    progress("Comparing the ways of choosing", 0.15)
    ways = compare_ways(people, chart, **drawing)
    progress("Comparing on other charts", 0.35)
    few = load_people(population, draws=1, seed=seed)
    others = elsewhere(few, chart, **drawing)
    progress("Comparing with kinder guesses", 0.4)
    guess = fit_guess("nurse", study=BEST_GUESSES)
    kinder = compare_ways(people, chart, ways=["by_eye"], by=[], guess=guess, **drawing)
    progress("Looking for pairs that surprise", 0.45)
    pairs = surprising_pairs(people, chart, n=3, seed=seed)
    progress("Trying one, two and three readings", 0.47)
    error = None if room is None else room.error
    return Lesson(
        people,
        chart,
        practice,
        ways,
        others,
        kinder,
        check_guesses(),
        pairs,
        chance_of_wrong_size(people, chart, error, **drawing),
        room,
        units,
        CLASS_SIZE | dict(class_size or {}),
        pattern,
    )
