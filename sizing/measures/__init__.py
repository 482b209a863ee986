"""The vocabulary of body measures, their units, the edge rule, and the gate."""

from sizing.errors import check_kinds
from sizing.measures.tables import to_standard_units
from sizing.measures.vocabulary import AGE_LIMITS as AGE_LIMITS
from sizing.measures.vocabulary import (
    EDGE_RULE,
    EVIDENCE,
    MEASURES,
    SEATED_AND_GIRTHS,
    SEXES,
    measure_patterns,
    plausible_range,
    to_tenths,
    vocabulary,
)
from sizing.measures.vocabulary import LENGTH_UNITS as LENGTH_UNITS
from sizing.measures.vocabulary import MASS_UNITS as MASS_UNITS
from sizing.measures.vocabulary import MISSING_TENTHS as MISSING_TENTHS
from sizing.measures.vocabulary import NO_HIGH as NO_HIGH
from sizing.measures.vocabulary import NO_LOW as NO_LOW
from sizing.measures.vocabulary import OF_KIND as OF_KIND
from sizing.measures.vocabulary import PATTERNS as PATTERNS
from sizing.measures.vocabulary import UNIT_WORDS as UNIT_WORDS
from sizing.measures.vocabulary import UNITS as UNITS
from sizing.measures.vocabulary import WRITTEN_UNITS as WRITTEN_UNITS
from sizing.measures.vocabulary import Amount as Amount
from sizing.measures.vocabulary import Said as Said
from sizing.measures.vocabulary import Say as Say
from sizing.measures.vocabulary import Worded as Worded
from sizing.measures.vocabulary import joined as joined
from sizing.measures.vocabulary import kind_of as kind_of
from sizing.measures.vocabulary import labels as labels
from sizing.measures.vocabulary import led_by as led_by
from sizing.measures.vocabulary import pattern_lacks as pattern_lacks
from sizing.measures.vocabulary import pattern_parts as pattern_parts
from sizing.measures.vocabulary import pattern_words as pattern_words
from sizing.measures.vocabulary import plain as plain
from sizing.measures.vocabulary import span as span
from sizing.measures.vocabulary import told as told
from sizing.measures.vocabulary import unit_of as unit_of
from sizing.measures.vocabulary import written as written

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
