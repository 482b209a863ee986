"""Study kit for sling sizes: whom a chart fits, who falls between, what to stock."""

from sizing.banding import fit_bands, fit_groups, frontier, split_sizes
from sizing.chart import (
    SizeChart,
    chart_from,
    demo_chart,
    read_chart,
    review_chart,
    write_chart,
)
from sizing.client import check_client, judge_chart

# Importing the layer binds its own name here first; the function then takes it.
from sizing.coverage import compare_charts, coverage, who_falls_between, why_none
from sizing.errors import SizingError, SizingWarning
from sizing.fit import assign
from sizing.measures import EDGE_RULE, MEASURES, vocabulary
from sizing.population import (
    POPULATIONS,
    People,
    load_people,
    people_from,
    read_caseload,
    read_margins,
)
from sizing.stock import plan_stock
from sizing.survey import (
    read_ansur2,
    read_embedded,
    read_nhanes_files,
    read_snyder1977,
    registry,
)
from sizing.teaching import compare_ways

__all__ = [
    "EDGE_RULE",
    "MEASURES",
    "POPULATIONS",
    "People",
    "SizeChart",
    "SizingError",
    "SizingWarning",
    "assign",
    "chart_from",
    "check_client",
    "compare_charts",
    "compare_ways",
    "coverage",
    "demo_chart",
    "fit_bands",
    "fit_groups",
    "frontier",
    "judge_chart",
    "load_people",
    "people_from",
    "plan_stock",
    "read_ansur2",
    "read_caseload",
    "read_chart",
    "read_embedded",
    "read_margins",
    "read_nhanes_files",
    "read_snyder1977",
    "registry",
    "review_chart",
    "split_sizes",
    "vocabulary",
    "who_falls_between",
    "why_none",
    "write_chart",
]
