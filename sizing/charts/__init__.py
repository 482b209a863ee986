"""Size charts: read, check, review and write them; who fits which size."""

from sizing.charts.assign import (
    DIRECTIONS,
    OUTCOME_WORDS,
    Assignment,
    assign,
)
from sizing.charts.build import chart_from
from sizing.charts.demo import demo_chart
from sizing.charts.files import read_chart, write_chart
from sizing.charts.fits import fits_matrix, size_masks
from sizing.charts.judge import OUTCOMES
from sizing.charts.nearest import misfits
from sizing.charts.review import review_chart
from sizing.charts.size_chart import GROUPS, SizeChart
from sizing.kinds import check_kinds

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
    "misfits",
    "read_chart",
    "review_chart",
    "size_masks",
    "write_chart",
]

check_kinds(globals(), __all__)
