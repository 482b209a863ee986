"""What share of a population a chart covers, and who is left out."""

from sizing.coverage.between import who_falls_between, why_none
from sizing.coverage.chunks import coverage_in_chunks
from sizing.coverage.compare import Comparison, compare_charts
from sizing.coverage.coverage import (
    HARM_WEIGHTS,
    Coverage,
    estimate_coverage,
    harm_words,
    weighed_harm,
)
from sizing.coverage.sensitivity import Sensitivity, assumptions, sensitivity
from sizing.errors import check_kinds

__all__ = [
    "HARM_WEIGHTS",
    "Comparison",
    "Coverage",
    "Sensitivity",
    "assumptions",
    "compare_charts",
    "coverage_in_chunks",
    "estimate_coverage",
    "harm_words",
    "sensitivity",
    "weighed_harm",
    "who_falls_between",
    "why_none",
]

check_kinds(globals(), __all__)
