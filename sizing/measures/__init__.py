"""The vocabulary of body measures, their units, the edge rule, and the gate."""

from sizing.errors import check_kinds
from sizing.measures.tables import to_standard_units as to_standard_units
from sizing.measures.vocabulary import *  # noqa: F403 - its names are the room's

__all__ = [  # noqa: F405
    *("EDGE_RULE", "EVIDENCE", "MEASURES", "SEATED_AND_GIRTHS", "SEXES"),
    *("measure_patterns", "plausible_range", "to_standard_units", "to_tenths"),
    "vocabulary",
]

check_kinds(globals(), __all__)
