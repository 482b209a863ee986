"""What share of a population a chart covers, and who is left out."""

from sizing.coverage.between import who_falls_between
from sizing.coverage.compare import Comparison, compare_charts
from sizing.coverage.coverage import Coverage, coverage
from sizing.coverage.misses import why_none

__all__ = [
    "Comparison",
    "Coverage",
    "compare_charts",
    "coverage",
    "who_falls_between",
    "why_none",
]
