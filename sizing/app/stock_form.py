"""The purchaser's page: say whom and what, read the order, save it; no code."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as w
import numpy as np
import pandas as pd

from sizing.app import form_words as html
from sizing.app.answer_form import AnswerForm, Progress
from sizing.app.fields import PatternField, UnitSwitch, UploadBox, folded
from sizing.app.stock_form_people import PeopleFields, UseFields, YearsFields
from sizing.app.table import EditableTable
from sizing.charts import SizeChart, demo_chart, read_chart
from sizing.errors import InputProblems, SizingError
from sizing.measures.tables import CHART, PRICES
from sizing.pages.page import Section, table
from sizing.pages.stock import stock_axes, stock_page, stock_pictures, stock_report
from sizing.pages.stock_kept import reopened, side_by_side
from sizing.pages.stock_order import order_book, order_list, order_sheet
from sizing.people.files import read_table
from sizing.resources import texts
from sizing.stock import Offer, StockPlan, demo_scenario, offer_from, plan_stock
from sizing.stock.offers import COLUMNS
from sizing.words.numbers import given

#: Days drawn for the first look, and whenever the button is pressed.
FIRST, FULL = 300, 1000
_T = texts("stock")


class StockForm(AnswerForm):
    """The purchaser's page; ``scenarios`` days are drawn at the button."""

    def __init__(self) -> None:
        super().__init__("Plan the stock")
        self.scenarios = FULL
        #: Days of the next plan, where they are not those of the button.
        self._days = 0
        self.people = PeopleFields(self.switch, self._other_people)
        self.offer = OfferFields(self.switch, self.forget)
        self.use = UseFields(self.switch, self.forget)
        self.years = YearsFields(self.switch, self.forget)
        views = [self.people.view, self.offer.view, self.use.view, self.use.goal_view]
        views.append(self.years.view)
        self.parts = [
            folded(*part) for part in zip(_T.parts.values(), views, strict=True)
        ]
        words = _T.say["kept"]
        self.upload = UploadBox("A plan kept before", help=words, accept=".xlsx")
        self.bought = w.Checkbox(description=_T.say["bought"], indent=False)
        self.bought.layout.width = "auto"
        self.opened = w.HTML()
        #: The plans of this page, side by side.
        self.plans: dict[str, StockPlan] = {}
        self.upload.on_change(self.open_kept)
        self.bought.observe(lambda _: self.open_kept(), "value")
        self.pattern = PatternField()
        kept = folded(_T.say["keeping"], self.upload.view, self.bought)
        self.lay_out(kept, self.opened, self.pattern.view, *self.parts)

    def open_kept(self) -> None:
        self.opened.value = ""
        try:
            kept = self.upload.read(partial(reopened, bought=self.bought.value))
            if kept is None:
                return
            self.offer.fill(kept.charts, kept.prices)
        except SizingError as error:
            self.opened.value = html.bullets(
                html.wrong_lines(error, units=self.switch.units)
            )
            return
        self.people.fill(kept.serves, kept.lists, kept.use)
        self.use.fill(kept.use, kept.goal)
        self.years.fill(kept.years)
        self.pattern.choose(kept.pattern)
        lines = [_T.say["filled"]]
        for one in self.people.listed:
            lines.append(_T.say["listed"].format(n=one.people.n, name=one.title))
        # The fields hold whole numbers and one goal.
        for what, was, now in (
            ("use", kept.use.summary(), self.use.use().summary()),
            ("goal", _goal_words(kept.goal), _goal_words(self.use.aim())),
            ("years", f"{kept.years.years:g}.", f"{self.years.period.value}."),
        ):
            if was != now:
                part = _T.parts[what].partition(":")[0]
                lines.append(_T.say["not_held"].format(what=part, was=was, now=now))
        self.opened.value = html.bullets(lines)

    def hold(self, answer: StockPlan) -> None:
        self.plans[f"plan {len(self.plans) + 1}"] = answer
        super().hold(answer)

    def first_look(self) -> None:
        self._days = FIRST
        self.work.begin()

    def work_out(self, progress: Progress) -> StockPlan:
        days, self._days = self._days or self.scenarios, 0
        self.people.told.value = ""
        use = self._asked(2, self.use, self.use.use)
        served = self._asked(0, self.people, partial(self.people.served, use))
        charts, prices = self._asked(1, self.offer, self.offer.offer)
        how = {"years": self._asked(4, self.years, self.years.years), "use": use}
        how |= {"scenarios": days, "progress": progress, **self.use.aim()}
        return plan_stock(served, charts, prices=prices, **how)

    def _asked(self, place: int, part: Any, ask: Callable[[], Any]) -> Any:
        """Ask a part of the form; what is wrong is said there, and it is opened."""
        try:
            return ask()
        except SizingError as error:
            part.tell(error)
            self.parts[place].children[0].value = True
            raise SizingError(_T.say["correct"]) from error

    def _other_people(self) -> None:
        """Take back the answer, and the slings that only the invented store owns."""
        self.offer.own_nothing_invented()
        self.forget()

    def show(self, answer: StockPlan) -> None:
        self.pattern.use_chart(answer.limited)
        drawn = stock_pictures(answer)
        page = stock_report(answer, drawn, units=self.switch.units)
        order, *others, unfitted = page.sections
        if len(self.plans) > 1:
            caption = _T.say["beside"]
            beside = table(side_by_side(self.plans), caption=caption, words=["Plan"])
            others.append(Section("The plans of this page", tables=[beside]))
        first = answer.settings["scenarios"] == FIRST
        quick = html.paragraphs(
            [_T.say["quick"].format(first=FIRST, full=FULL)] * first
        )
        told = self.answered
        told.words.value = html.lead(page.answer) + quick + html.sections_html([order])
        told.pictures.value = html.sections_html(others)
        told.limits.value = html.sections_html([unfitted]) + html.bullets(page.limits)
        told.sources.value = html.bullets(page.sources)

    def saved(self, answer: StockPlan) -> dict[str, Any]:
        pattern: Any = {"pattern": self.pattern.pattern}
        how = {"units": self.switch.units, **pattern}
        return {
            "stock_order": order_list(answer),
            "stock_workbook": order_book(answer, **pattern),
            **{f"stock_{_T.files[name]}": getattr(answer, name) for name in _T.files},
            **{f"stock_{name}": ax for name, ax in stock_axes(answer).items()},
            "stock_order_on_one_page": order_sheet(answer, **how),
            "stock_plan": stock_page(answer, **how),
        }


def _goal_words(goal: Mapping[str, Any]) -> str:
    words = []
    if "target" in goal:
        words.append(f"{given(goal['target'])} of {goal['aim']}")
    if "budget" in goal:
        words.append(f"a budget of {goal['budget']:,.2f}")
    return " and ".join(words) + "."


#: What of the invented prices belongs to its store and to nobody else.
_OF_THE_STORE = ["owned", "last_year"]


class OfferFields:
    """``invented`` says whether the chart in use is the invented one."""

    def __init__(self, switch: UnitSwitch, changed: Callable[[], object]) -> None:
        self._switch, self._listener = switch, changed
        self.charts: Sequence[SizeChart] = (demo_chart(),)
        self.invented = self._ready = self._store = True
        words = _T.say["chart_file"]
        self.upload = UploadBox("My charts", help=words, multiple=True, table=CHART)
        words = _T.say["price_file"]
        self.prices = UploadBox("My prices and stock", help=words, table=PRICES)
        self.about, self.chart_told, self.told = w.HTML(), w.HTML(), w.HTML()
        self.table = EditableTable(
            self._demo(),
            caption="Prices and stock: one row per size",
            headings=_T.offered,
            words=["code"],
        )
        charts = w.HTML(html.file_headings(html.CHART_HEADINGS))
        prices = w.HTML(html.file_headings([(v, k) for k, v in _T.offered.items()]))
        parts = [self.upload.view, charts, self.chart_told, self.about]
        parts += [self.prices.view, prices, self.told, self.table.view]
        self.view = w.VBox(parts)
        self._say_which()
        self.upload.on_change(self._charts_taken)
        self.prices.on_change(self._prices_taken)
        self.table.on_change(self._changed)

    def offer(self) -> tuple[Sequence[SizeChart], pd.DataFrame]:
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
        self.table.set(_filled(offer_from(charts, prices)))
        self.charts, self._ready = charts, True
        self.invented = any(chart.invented for chart in charts)
        # What that plan owned is its own, whatever the invented store owns.
        self._store = False
        words = " Invented." * self.invented
        self.about.value = html.paragraphs([self._named("kept_charts") + words])

    def own_nothing_invented(self) -> None:
        """Empty what the invented store owns and used: other people do not have it."""
        if self.invented and self._store:
            self._store = False
            frame, demo = self.table.frame.copy(), demo_scenario()[1].set_index("size")
            for name in _OF_THE_STORE:
                typed = pd.to_numeric(frame[name], errors="coerce")
                frame.loc[typed == frame["size"].map(demo[name]), name] = None
            self.table.set(frame)
            self._say_which()

    def tell(self, error: SizingError) -> None:
        self.told.value = self._lines(error, map(str, self.table.frame["size"]))

    def _lines(self, error: SizingError, sizes: Iterable[str] = ()) -> str:
        if isinstance(error, InputProblems):
            named = [
                replace(one, column=_T.offered.get(str(one.column), one.column))
                for one in error.problems
            ]
            error = InputProblems(named, about="the table")
        lines = html.wrong_lines(error, units=self._switch.units, rows=[*sizes])
        return html.status(f"<b>Please check:</b>{html.bullets(lines)}")

    def _charts_taken(self) -> None:
        self.chart_told.value = self.told.value = ""
        self._ready = False
        try:
            taken = self.upload.read(read_chart)
            charts = tuple(taken or [demo_chart()])
            # Two charts of one name could not be told apart in the order.
            rows = _empty_rows(charts)
        except SizingError as error:
            self.chart_told.value = self._lines(error)
        else:
            self._ready, self.invented, self.charts = True, not taken, charts
            self.table.set(rows if taken else self._demo())
            self._say_which()
        self._listener()

    def _prices_taken(self) -> None:
        def offered(path: Path) -> Offer:
            return offer_from(self.charts, read_table(path, PRICES))

        self.told.value = ""
        try:
            read = self.prices.read(offered)
        except SizingError as error:
            self.told.value = self._lines(error)
        else:
            if read is not None:
                self.table.set(_filled(read))
        self._listener()

    def _demo(self) -> pd.DataFrame:
        left = [] if self._store else _OF_THE_STORE
        prices = demo_scenario()[1].drop(columns=left)
        return _filled(offer_from(self.charts, prices))

    def _named(self, words: str) -> str:
        names = " and ".join(chart.name for chart in self.charts)
        return str(_T.say[words].format(names=names))

    def _say_which(self) -> None:
        words = self._named("charts")
        if self.invented:
            words += _T.say["invented"] + _T.say["store"] * (not self._store)
        self.about.value = html.paragraphs([words])

    def _changed(self) -> None:
        self.told.value = ""
        self._listener()


def _filled(offer: Offer) -> pd.DataFrame:
    most = offer.table["most"]
    return _shown(
        offer.table.assign(price=offer.prices, most=most.mask(most == np.inf))
    )


def _empty_rows(charts: Sequence[SizeChart]) -> pd.DataFrame:
    """Return a row for every size, filled in as far as the charts themselves say."""
    columns = ["size", *COLUMNS, "code"]
    own = [one.frame.reindex(columns=columns).assign(chart=one.name) for one in charts]
    rows = pd.concat(own, ignore_index=True)
    if len(charts) > 1:
        # Names and numbers of sizes are judged before anything is typed.
        offer_from(charts, rows.assign(price=0.0)[["chart", "size", "price"]])
    return _shown(rows)


def _shown(table: pd.DataFrame) -> pd.DataFrame:
    several = ["chart"] * (len(set(table["chart"])) > 1)
    rows: Any = table[[*several, "size", *COLUMNS, "code"]].astype(object)
    shown: pd.DataFrame = rows.where(rows.notna() & (rows != ""), None)
    return shown
