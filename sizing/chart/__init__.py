"""Size charts: read, check, review and write them."""

from sizing.chart.build import chart_from
from sizing.chart.demo import demo_chart
from sizing.chart.files import read_chart, write_chart
from sizing.chart.review import review_chart
from sizing.chart.size_chart import GROUPS, SizeChart

__all__ = [
    "GROUPS",
    "SizeChart",
    "chart_from",
    "demo_chart",
    "read_chart",
    "review_chart",
    "write_chart",
]
