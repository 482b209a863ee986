"""The ways in which a chart comes into the table: empty, pasted, from a file, kept."""

from collections.abc import Callable
from functools import partial

import ipywidgets as w
import pandas as pd

from sizing.app.form_words import (
    CHART_HEADINGS,
    bullets,
    file_headings,
    paragraphs,
    status,
    wrong_lines,
)
from sizing.app.own_chart_fields import MINE, ordered
from sizing.app.own_chart_kept import ChartList
from sizing.app.upload import UploadBox
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.charts.files import TYPED, chart_from_text
from sizing.errors import ReadingNote, SizingError, caught_warnings
from sizing.measures.tables import CHART

_FILE_HELP = (
    "A CSV or XLSX file with one row per size, smallest first: its name, group and "
    "load limit, and two columns for each measure, where the size begins and ends."
)
_PASTE_HELP = (
    "Copy the table with its headings from a spreadsheet, a web page or a document, "
    "and paste it here. Units stand in the headings or in the cells; ranges may be "
    "written 80-104, up to 104 or 104+. A chart of weight and height alone will do."
)
#: What an empty table has columns for, until other measures are ticked.
_FIRST = ("body_mass_kg", "hip_circumference_cm")
_NAMES = "the invented chart's names"


class ChartStart:
    """Where the chart comes from; ``taken`` hears of it, None if it is unreadable.

    ``blank`` hears of a table to be filled in.
    """

    def __init__(
        self,
        taken: Callable[[SizeChart | None], object],
        blank: Callable[[pd.DataFrame, str, str], object],
    ) -> None:
        self._tell, self._blank = taken, blank
        fitting = w.Layout(width="auto")
        self.rows = w.Dropdown(
            options=[("three", 3), ("six", 6), ("nine", 9), (_NAMES, 0)],
            value=9,
            description="Sizes",
            layout=fitting,
        )
        self.text = w.Textarea(
            description="Table to paste",
            rows=6,
            layout=w.Layout(width="auto", max_width="60rem"),
        )
        self.take = w.Button(description="Take the table in", layout=fitting)
        self.upload = UploadBox("My chart", help=_FILE_HELP, table=CHART)
        self.kept = ChartList("Chart", {})
        self.open = w.Button(description="Open it", layout=fitting)
        panels = {
            "A table to fill in": [self.rows],
            "A table I paste": [
                w.HTML(paragraphs([_PASTE_HELP])),
                self.text,
                self.take,
            ],
            "A file": [self.upload.view, w.HTML(file_headings(CHART_HEADINGS))],
            "A chart I kept, or the invented one": [self.kept.box, self.open],
        }
        self.how = w.ToggleButtons(options=list(panels), description="Start from")
        panel, self.told = w.VBox(panels[self.how.value]), w.HTML()
        self.view = w.VBox([self.how, panel, self.told])
        self.how.observe(
            lambda change: setattr(panel, "children", panels[change["new"]]), "value"
        )
        self.rows.observe(lambda _: self.empty(), "value")
        self.take.on_click(lambda _: self._taken(self._pasted))
        read = partial(self.upload.read, partial(read_chart, warn=False))
        self.upload.on_change(lambda: self._taken(read))
        self.open.on_click(lambda _: self._taken(self.kept.chart))

    def empty(self) -> None:
        """Lay out a table to be filled in."""
        frame = demo_chart().frame
        if self.rows.value:
            names = ["size", "load_limit_kg", *(f"{m}_low" for m in _FIRST)]
            frame = pd.DataFrame(columns=names, index=range(self.rows.value))
        numbers = frame.columns.difference(["size", "group"])
        self._blank(ordered(frame.assign(**dict.fromkeys(numbers))), MINE, TYPED)

    def _taken(self, read: Callable[[], SizeChart | None]) -> None:
        try:
            with caught_warnings() as caught:
                chart = read()
        except SizingError as error:
            # What cannot be read leaves no chart that could be taken for it.
            self.told.value = status(bullets(wrong_lines(error)))
            self._tell(None)
            return
        if chart is None:
            self.told.value = ""
            self.empty()
            return
        count = len(chart.sizes)
        words = f"Chart in use: {chart.name}, {count} size{'s' * (count != 1)}."
        notes = [str(c.message) for c in caught if issubclass(c.category, ReadingNote)]
        self.told.value = status(paragraphs([words, *notes]))
        self._tell(chart)

    def _pasted(self) -> SizeChart:
        if not self.text.value.strip():
            raise SizingError("Paste a table first, with its headings.")
        return chart_from_text(self.text.value, MINE)
