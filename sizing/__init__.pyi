# The public names, by the room that each is of; __init__.py reads them here.

from sizing.bands import fit_bands as fit_bands
from sizing.bands import fit_groups as fit_groups
from sizing.bands import frontier as frontier
from sizing.charts import SizeChart as SizeChart
from sizing.charts import assign as assign
from sizing.charts import chart_from as chart_from
from sizing.charts import demo_chart as demo_chart
from sizing.charts import read_chart as read_chart
from sizing.charts import review_chart as review_chart
from sizing.charts import write_chart as write_chart
from sizing.client import check_client as check_client
from sizing.client import judge_chart as judge_chart
from sizing.coverage import compare_charts as compare_charts
from sizing.coverage import coverage_in_chunks as coverage_in_chunks
from sizing.coverage import estimate_coverage as estimate_coverage
from sizing.coverage import sensitivity as sensitivity
from sizing.coverage import who_falls_between as who_falls_between
from sizing.coverage import why_none as why_none
from sizing.errors import SizingError as SizingError
from sizing.errors import SizingWarning as SizingWarning
from sizing.lesson import compare_ways as compare_ways
from sizing.measures import EDGE_RULE as EDGE_RULE
from sizing.measures import MEASURES as MEASURES
from sizing.measures import vocabulary as vocabulary
from sizing.people import POPULATIONS as POPULATIONS
from sizing.people import People as People
from sizing.people import load_people as load_people
from sizing.people import people_from as people_from
from sizing.people import read_caseload as read_caseload
from sizing.people import read_margins as read_margins
from sizing.stock import plan_stock as plan_stock
from sizing.surveys import read_embedded as read_embedded
from sizing.surveys import read_nhanes_files as read_nhanes_files
from sizing.surveys import registry as registry
from sizing.trials import learn_chart as learn_chart
from sizing.trials import read_trials as read_trials

__version__: str
__all__: list[str]
