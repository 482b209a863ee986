"""What a trainer shows: guessing against measuring, and the room's own answers."""

from sizing.teaching.guessing import (
    GuessModel,
    check_guesses,
    fit_guess,
    guessing_figures,
)
from sizing.teaching.ways import WAY_WORDS, WAYS, WaysResult, compare_ways
from sizing.teaching.ways_shares import outcome_words

__all__ = [
    "WAYS",
    "WAY_WORDS",
    "GuessModel",
    "WaysResult",
    "check_guesses",
    "compare_ways",
    "fit_guess",
    "guessing_figures",
    "outcome_words",
]
