"""Draw the measures nobody took, jointly, from those somebody did."""

from sizing.errors import check_kinds
from sizing.people.body.donors import BUILD
from sizing.people.body.draw import draw_measures
from sizing.people.body.error import CoefficientError, Drawn

__all__ = ["BUILD", "CoefficientError", "Drawn", "draw_measures"]

check_kinds(globals(), __all__)
