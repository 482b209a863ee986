"""Draw or predict the measures nobody took, from those somebody did.

``draw_measures`` fills gaps at random, jointly, as often as asked: a share
computed on draws has the spread that people really have, where predicted means
would make everybody alike. ``predict_measures`` gives one person's estimate
with its interval, and ``condition`` narrows it by whatever a tape measure says.
"""

from sizing.population.model_draw import draw_measures
from sizing.population.model_evidence import evidence_rules
from sizing.population.model_prediction import (
    Prediction,
    condition,
    predict_measures,
)
from sizing.population.model_seam import seam_steps

__all__ = [
    "Prediction",
    "condition",
    "draw_measures",
    "evidence_rules",
    "predict_measures",
    "seam_steps",
]
