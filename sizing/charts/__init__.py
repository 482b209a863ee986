"""Size charts: read, check, review and write them; who fits which size."""

from sizing.charts.assign import DIRECTIONS, OUTCOME_WORDS, Assignment, assign
from sizing.charts.build import chart_from
from sizing.charts.files import demo_chart, read_chart, write_chart
from sizing.charts.fits import GROUPS, OUTCOMES, SizeChart, fits_matrix
from sizing.charts.review import review_chart
from sizing.errors import check_kinds

__all__ = [
    "DIRECTIONS",
    "GROUPS",
    "OUTCOMES",
    "OUTCOME_WORDS",
    "Assignment",
    "SizeChart",
    "assign",
    "chart_from",
    "demo_chart",
    "fits_matrix",
    "read_chart",
    "review_chart",
    "write_chart",
]

check_kinds(globals(), __all__)
