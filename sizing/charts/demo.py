"""The invented chart that the notebooks and examples use."""

from sizing.charts.build import build
from sizing.charts.size_chart import SizeChart
from sizing.resources import source_table


def demo_chart() -> SizeChart:
    """Return an invented chart of nine sizes, three in each group.

    It limits body mass, shoulder height sitting, buttock-popliteal length and
    hip circumference, and states load limits. Nobody may choose a sling by
    it: its numbers are made up (``data_sources/demo_chart.md``).

    Returns
    -------
    SizeChart
        Its source says that it is invented.

    Examples
    --------
    >>> chart = demo_chart()
    >>> len(chart.sizes), chart.source.startswith("invented")
    (9, True)
    """
    frame = source_table("demo_chart.csv")
    return build(frame, name="", source="", warn=False)
