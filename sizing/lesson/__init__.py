"""What a trainer shows: guessing against measuring, and the room's own answers."""

from sizing.kinds import check_kinds
from sizing.lesson.agreement import Agreement, limits_of_agreement
from sizing.lesson.answers import Answers, read_answers
from sizing.lesson.elsewhere import elsewhere
from sizing.lesson.guessing import (
    GuessModel,
    check_guesses,
    fit_guess,
    guessing_figures,
)
from sizing.lesson.pairs import Pairs, surprising_pairs
from sizing.lesson.practice import Practice, practice_clients
from sizing.lesson.repeats import chance_of_wrong_size
from sizing.lesson.room import RoomResult, room_result
from sizing.lesson.tem import MeasuringError, measuring_error
from sizing.lesson.ways import (
    WAY_WORDS,
    WAYS,
    WaysResult,
    compare_ways,
    outcome_words,
)

__all__ = [
    "WAYS",
    "WAY_WORDS",
    "Agreement",
    "Answers",
    "GuessModel",
    "MeasuringError",
    "Pairs",
    "Practice",
    "RoomResult",
    "WaysResult",
    "chance_of_wrong_size",
    "check_guesses",
    "compare_ways",
    "elsewhere",
    "fit_guess",
    "guessing_figures",
    "limits_of_agreement",
    "measuring_error",
    "outcome_words",
    "practice_clients",
    "read_answers",
    "room_result",
    "surprising_pairs",
]

check_kinds(globals(), __all__)
