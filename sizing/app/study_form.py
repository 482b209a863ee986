"""What the notebooks on the study and on the bands show beside plain pictures."""

from collections.abc import Iterable
from html import escape

import ipywidgets as w
import pandas as pd
from IPython.display import HTML

from sizing.app.show import show_table
from sizing.app.units import UnitSwitch
from sizing.charts import SizeChart
from sizing.measures.written import written
from sizing.words.labels import labels


def bullets(texts: Iterable[str]) -> HTML:
    """Show texts as a list.

    Examples
    --------
    >>> bullets(["a < b"]).data
    '<ul><li>a &lt; b</li></ul>'
    """
    return HTML(f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>")


def chart_view(chart: SizeChart, *, caption: str, folder: str = ".") -> w.Widget:
    """Show a chart's edges in the units that the reader chooses above it.

    Parameters
    ----------
    chart : SizeChart
    caption : str
    folder : path
        Where the choice of units is kept.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> view = chart_view(demo_chart(), caption="The sizes")
    >>> "80 cm to 104 cm" in view.children[1].value
    True
    """
    switch, shown = UnitSwitch(folder), w.HTML()

    def show(units: str) -> None:
        table = chart_in_units(chart, units)
        words = ["Size", "Group"]
        shown.value = show_table(table, caption=caption, words=words).data

    switch.on_change(show)
    show(switch.units)
    return w.VBox([switch.view, shown])


def chart_in_units(chart: SizeChart, units: str) -> pd.DataFrame:
    """Write a chart's edges out in other units, to a tenth.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> chart_in_units(demo_chart(), "pounds").loc[3, "Hip girth"]
    '31.5 in to 40.9 in'
    """
    frame = chart.frame
    rows = {"Size": frame["size"].astype(str), "Group": frame["group"].astype(str)}
    for measure in chart.measures:
        name = labels()[measure].rsplit(", ", 1)[0]
        low, high = (_ends(frame, measure, end, units) for end in ("low", "high"))
        rows[name] = low + " to " + high
    return pd.DataFrame(rows)


def _ends(frame: pd.DataFrame, measure: str, end: str, units: str) -> pd.Series:
    column = f"{measure}_{end}"
    if column not in frame:
        return pd.Series("no limit", index=frame.index)
    return frame[column].map(
        lambda value: (
            "no limit" if pd.isna(value) else written(value, measure, units, to="tenth")
        )
    )
