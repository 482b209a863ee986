"""What a trainer shows: guessing against measuring, and the room's own answers."""

from sizing.teaching.agreement import Agreement, limits_of_agreement
from sizing.teaching.answers import Answers, read_answers
from sizing.teaching.guessing import (
    GuessModel,
    check_guesses,
    fit_guess,
    guessing_figures,
)
from sizing.teaching.pairs import Pairs, surprising_pairs
from sizing.teaching.practice import Practice, practice_clients
from sizing.teaching.repeats import chance_of_wrong_size
from sizing.teaching.room import RoomResult, room_result
from sizing.teaching.tem import MeasuringError, measuring_error
from sizing.teaching.ways import WAY_WORDS, WAYS, WaysResult, compare_ways
from sizing.teaching.ways_shares import outcome_words

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
