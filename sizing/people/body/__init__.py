"""Draw or predict the measures nobody took, from those somebody did.

``draw_measures`` fills gaps at random, jointly, as often as asked: a share
computed on draws has the spread that people really have, where predicted means
would make everybody alike. ``predict_measures`` gives one person's estimate
with its interval, and ``condition`` narrows it by whatever a tape measure says.
"""

from sizing.kinds import check_kinds
from sizing.people.body.draw import draw_measures
from sizing.people.body.error import CoefficientError, Drawn
from sizing.people.body.evidence import evidence_rules
from sizing.people.body.prediction import (
    Prediction,
    condition,
    predict_measures,
)
from sizing.people.body.seam import seam_steps

__all__ = [
    "CoefficientError",
    "Drawn",
    "Prediction",
    "condition",
    "draw_measures",
    "evidence_rules",
    "predict_measures",
    "seam_steps",
]

check_kinds(globals(), __all__)
