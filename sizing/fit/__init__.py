"""Who fits which size, and why some fit none."""

from sizing.fit.assign import (
    DIRECTIONS,
    OUTCOME_WORDS,
    Assignment,
    assign,
)
from sizing.fit.core import fits_matrix, size_masks
from sizing.fit.judge import OUTCOMES

__all__ = [
    "DIRECTIONS",
    "OUTCOMES",
    "OUTCOME_WORDS",
    "Assignment",
    "assign",
    "fits_matrix",
    "size_masks",
]
