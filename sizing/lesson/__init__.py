"""What a trainer shows: guessing against measuring, and the room's own answers."""

from sizing.errors import check_kinds
from sizing.lesson.answers import read_answers
from sizing.lesson.choosing import GuessModel, fit_guess
from sizing.lesson.practice import practice_clients, surprising_pairs
from sizing.lesson.room import limits_of_agreement, room_result
from sizing.lesson.tape import chance_of_wrong_size, measuring_error
from sizing.lesson.ways import WaysResult, compare_ways

__all__ = [
    "GuessModel",
    "WaysResult",
    "chance_of_wrong_size",
    "compare_ways",
    "fit_guess",
    "limits_of_agreement",
    "measuring_error",
    "practice_clients",
    "read_answers",
    "room_result",
    "surprising_pairs",
]

check_kinds(globals(), __all__)
