"""Study kit for sling sizes: whom a chart fits, who falls between, what to stock."""

# ruff: noqa: F401 - what follows the first ``if`` is for whoever reads types

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sizing.bands import fit_bands, fit_groups, frontier
    from sizing.charts import (
        SizeChart,
        assign,
        chart_from,
        demo_chart,
        read_chart,
        review_chart,
        write_chart,
    )
    from sizing.client import check_client, judge_chart
    from sizing.coverage import (
        compare_charts,
        coverage_in_chunks,
        estimate_coverage,
        sensitivity,
        who_falls_between,
        why_none,
    )
    from sizing.errors import SizingError, SizingWarning
    from sizing.lesson import compare_ways
    from sizing.measures import EDGE_RULE, MEASURES, vocabulary
    from sizing.people import (
        POPULATIONS,
        People,
        load_people,
        people_from,
        read_caseload,
        read_margins,
    )
    from sizing.stock import plan_stock
    from sizing.surveys import read_embedded, read_nhanes_files, registry
    from sizing.trials import learn_chart, read_trials

#: The public names by their layer. A layer is loaded when a name of it is first
#: asked for: all of them take seconds, and no command or page needs them all.
_NAMES = {
    "bands": "fit_bands fit_groups frontier",
    "charts": "SizeChart assign chart_from demo_chart read_chart review_chart "
    "write_chart",
    "client": "check_client judge_chart",
    "coverage": "compare_charts coverage_in_chunks estimate_coverage sensitivity "
    "who_falls_between why_none",
    "errors": "SizingError SizingWarning",
    "lesson": "compare_ways",
    "measures": "EDGE_RULE MEASURES vocabulary",
    "people": "POPULATIONS People load_people people_from read_caseload read_margins",
    "stock": "plan_stock",
    "trials": "learn_chart read_trials",
    "surveys": "read_embedded read_nhanes_files registry",
}
_LAYER_OF = {name: layer for layer, names in _NAMES.items() for name in names.split()}

__all__ = sorted(_LAYER_OF)


def __getattr__(name: str) -> Any:
    if name == "__version__":
        # Looked up when it is asked for: reading what is installed takes time.
        from importlib.metadata import version

        return version("sizing")
    if name not in _LAYER_OF:
        raise AttributeError(f"module 'sizing' has no attribute '{name}'")
    return getattr(import_module(f"sizing.{_LAYER_OF[name]}"), name)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
