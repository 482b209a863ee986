"""The vocabulary of body measures, their units and the edge rule."""

from sizing.measures.edges import EDGE_RULE, to_tenths
from sizing.measures.names import EVIDENCE, MEASURES, SEATED_AND_GIRTHS, SEXES

__all__ = [
    "EDGE_RULE",
    "EVIDENCE",
    "MEASURES",
    "SEATED_AND_GIRTHS",
    "SEXES",
    "to_tenths",
]
