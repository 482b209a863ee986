"""The part of the purchaser's form that says what can be bought, and for how much."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.form_words import (
    CHART_HEADINGS,
    bullets,
    file_headings,
    paragraphs,
    wrong_lines,
)
from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.app.upload import UploadBox
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.errors import InputProblems, SizingError
from sizing.measures.tables import CHART, PRICES
from sizing.people.files import read_table
from sizing.resources import texts
from sizing.stock import Offer, demo_scenario, offer_from
from sizing.stock.offers import COLUMNS

_T = texts("stock")
_HEADINGS: dict[str, str] = _T.offered
#: What problems call a column that people read under its heading.
_WORDS = {"owned": "number owned", "pack": "pack", "most": "most", "last_year": "use"}
#: What of the invented prices belongs to its store and to nobody else.
_OF_THE_STORE = ["owned", "last_year"]


class OfferFields:
    """``invented`` says whether the chart in use is the invented one."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self._switch, self._listener = switch, changed
        self.charts: Sequence[SizeChart] = (demo_chart(),)
        self.invented = self._ready = self._store = True
        self._quiet = False
        words = _T.say["chart_file"]
        self.upload = UploadBox("My charts", help=words, multiple=True, table=CHART)
        words = _T.say["price_file"]
        self.prices = UploadBox("My prices and stock", help=words, table=PRICES)
        self.about, self.chart_told, self.told = w.HTML(), w.HTML(), w.HTML()
        self.table = EditableTable(
            self._demo(),
            caption="Prices and stock: one row per size",
            headings=_HEADINGS,
            words=["code"],
        )
        self.view = w.VBox(
            [
                self.upload.view,
                w.HTML(file_headings(CHART_HEADINGS)),
                self.chart_told,
                self.about,
                self.prices.view,
                w.HTML(file_headings([(v, k) for k, v in _HEADINGS.items()])),
                self.told,
                self.table.view,
            ]
        )
        self._say_which()
        self.upload.on_change(self._charts_taken)
        self.prices.on_change(self._prices_taken)
        self.table.on_change(self._changed)

    def offer(self) -> tuple[Sequence[SizeChart], pd.DataFrame]:
        """Return the charts and the prices as they stand in the table."""
        if not self._ready:
            raise SizingError(_T.say["bad_charts"])
        # The table alone counts: a cell emptied there is not filled from a chart.
        bare = [
            replace(chart, frame=chart.frame.drop(columns=[*COLUMNS], errors="ignore"))
            for chart in self.charts
        ]
        offer_from(bare, self.table.frame)
        return bare, self.table.frame

    def fill(self, charts: Sequence[SizeChart], prices: pd.DataFrame) -> None:
        rows = _filled(offer_from(charts, prices))
        self.charts, self._ready = charts, True
        self.invented = any(chart.invented for chart in charts)
        # What that plan owned is its own, whatever the invented store owns.
        self._store = False
        self._show(rows)
        names = " and ".join(chart.name for chart in charts)
        words = _T.say["kept_charts"].format(names=names)
        self.about.value = paragraphs([words + " Invented." * self.invented])

    def own_nothing_invented(self) -> None:
        """Empty what the invented store owns and used: other people do not have it."""
        if self.invented and self._store:
            self._store = False
            frame, demo = self.table.frame.copy(), demo_scenario()[1].set_index("size")
            for name in _OF_THE_STORE:
                typed = pd.to_numeric(frame[name], errors="coerce")
                frame.loc[typed == frame["size"].map(demo[name]), name] = None
            self._show(frame)
            self._say_which()

    def tell(self, error: SizingError) -> None:
        self.told.value = self._lines(error, self.table.frame)

    def _lines(self, error: SizingError, prices: pd.DataFrame | None = None) -> str:
        if isinstance(error, InputProblems):
            named = [
                replace(
                    one,
                    what=_worded(one.what),
                    column=_HEADINGS.get(str(one.column), one.column),
                )
                for one in error.problems
            ]
            error = InputProblems(named, about="the table")
        sizes = [] if prices is None else [str(name) for name in prices["size"]]
        lines = wrong_lines(error, units=self._switch.units, rows=sizes)
        return f'<div role="status"><b>Please check:</b>{bullets(lines)}</div>'

    def _charts_taken(self) -> None:
        """Use the charts that were taken, or the invented one if none is."""
        self.chart_told.value = self.told.value = ""
        self._ready = True
        try:
            taken = self.upload.read(read_chart)
            charts = (demo_chart(),) if not taken else tuple(taken)
            # Two charts of one name could not be told apart in the order.
            rows = _empty_rows(charts)
        except SizingError as error:
            self._ready = False
            self.chart_told.value = self._lines(error)
            self._listener()
            return
        self.invented, self.charts = not taken, charts
        self._show(rows if taken else self._demo())
        self._say_which()
        self._listener()

    def _prices_taken(self) -> None:
        """Put the prices that were taken into the table, or say what is wrong."""
        self.told.value = ""
        try:
            read: Offer | None = self.prices.read(self._read)
        except SizingError as error:
            self.told.value = self._lines(error)
            self._listener()
            return
        if read is not None:
            self._show(_filled(read))
        self._listener()

    def _read(self, path: Path) -> Offer:
        return offer_from(self.charts, read_table(path, PRICES))

    def _demo(self) -> pd.DataFrame:
        """Return the invented prices, and what is owned where the store is served."""
        left = [] if self._store else _OF_THE_STORE
        prices = demo_scenario()[1].drop(columns=left)
        return _filled(offer_from(self.charts, prices))

    def _show(self, rows: pd.DataFrame) -> None:
        self._quiet = True
        self.table.set(rows)
        self._quiet = False

    def _say_which(self) -> None:
        names = " and ".join(chart.name for chart in self.charts)
        words = _T.say["charts"].format(names=names)
        if self.invented:
            words += _T.say["invented"] + _T.say["store"] * (not self._store)
        self.about.value = paragraphs([words])

    def _changed(self) -> None:
        if self._quiet:
            return
        self.told.value = ""
        self._listener()


def _worded(text: str) -> str:
    """Return what a problem says without the name of a column."""
    for name, words in _WORDS.items():
        text = text.replace(f"no such {name}", f"no such {words}")
    return text


def _filled(offer: Offer) -> pd.DataFrame:
    most = offer.table["most"]
    most = most.mask(most == float("inf"))
    table = offer.table.assign(price=offer.prices, most=most)
    return _shown(table, several=len(set(table["chart"])) > 1)


def _empty_rows(charts: Sequence[SizeChart]) -> pd.DataFrame:
    """Return a row for every size, filled in as far as the charts themselves say."""
    columns = ["size", *COLUMNS, "code"]
    own = [one.frame.reindex(columns=columns).assign(chart=one.name) for one in charts]
    rows = pd.concat(own, ignore_index=True)
    if len(charts) > 1:
        # Names and numbers of sizes are judged before anything is typed.
        offer_from(charts, rows.assign(price=0.0)[["chart", "size", "price"]])
    return _shown(rows, several=len(charts) > 1)


def _shown(table: pd.DataFrame, *, several: bool) -> pd.DataFrame:
    columns = [*(["chart"] if several else []), "size", *COLUMNS, "code"]
    rows: Any = table[columns].astype(object)
    shown: pd.DataFrame = rows.where(rows.notna() & (rows != ""), None)
    return shown
