"""The vocabulary of body measures, their units and the edge rule."""

from sizing.kinds import check_kinds
from sizing.measures.columns import EVIDENCE, MEASURES, SEATED_AND_GIRTHS, SEXES
from sizing.measures.edges import EDGE_RULE, to_tenths
from sizing.measures.units import to_standard_units
from sizing.measures.vocabulary import measure_patterns, plausible_range, vocabulary

__all__ = [
    "EDGE_RULE",
    "EVIDENCE",
    "MEASURES",
    "SEATED_AND_GIRTHS",
    "SEXES",
    "measure_patterns",
    "plausible_range",
    "to_standard_units",
    "to_tenths",
    "vocabulary",
]

check_kinds(globals(), __all__)
