"""The purchaser's page: say whom and what, read the order, save it; no code."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

import ipywidgets as w

from sizing.app.answer_form import AnswerForm
from sizing.app.client_fields import folded
from sizing.app.form_words import bullets, lead, paragraphs, wrong_lines
from sizing.app.long_work import Progress
from sizing.app.pattern_field import PatternField
from sizing.app.show import sections_html
from sizing.app.stock_form_offer import OfferFields
from sizing.app.stock_form_people import PeopleFields, UseFields, YearsFields
from sizing.app.upload import UploadBox
from sizing.errors import SizingError
from sizing.pages.page import Section, table
from sizing.pages.stock import stock_axes, stock_page, stock_pictures, stock_report
from sizing.pages.stock_kept import reopened, side_by_side
from sizing.pages.stock_order import order_book, order_list, order_sheet
from sizing.resources import texts
from sizing.stock import StockPlan, plan_stock
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
        """Fill the form with what was entered for a plan kept before."""
        self.opened.value = ""
        try:
            kept = self.upload.read(partial(reopened, bought=self.bought.value))
            if kept is None:
                return
            self.offer.fill(kept.charts, kept.prices)
        except SizingError as error:
            self.opened.value = bullets(wrong_lines(error, units=self.switch.units))
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
        self.opened.value = bullets(lines)

    def hold(self, answer: StockPlan) -> None:
        """Let a plan hold, and stand beside those before it."""
        self.plans[f"plan {len(self.plans) + 1}"] = answer
        super().hold(answer)

    def first_look(self) -> None:
        """Plan the scenario that the form opens with, on few days."""
        self._days = FIRST
        self.work.begin()

    def work_out(self, progress: Progress) -> StockPlan:
        days, self._days = self._days or self.scenarios, 0
        self.people.told.value = ""
        use = self._asked(2, self.use, self.use.use)
        served = self._asked(0, self.people, partial(self.people.served, use))
        charts, prices = self._asked(1, self.offer, self.offer.offer)
        years = self._asked(4, self.years, self.years.years)
        return plan_stock(
            served,
            charts,
            prices=prices,
            use=use,
            years=years,
            scenarios=days,
            progress=progress,
            **self.use.aim(),
        )

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
        quick = [_T.say["quick"].format(first=FIRST, full=FULL)] * first
        told = self.answered
        told.words.value = (
            lead(page.answer) + paragraphs(quick) + sections_html([order])
        )
        told.pictures.value = sections_html(others)
        told.limits.value = sections_html([unfitted]) + bullets(page.limits)
        told.sources.value = bullets(page.sources)

    def saved(self, answer: StockPlan) -> dict[str, Any]:
        how: dict[str, Any] = {
            "units": self.switch.units,
            "pattern": self.pattern.pattern,
        }
        return {
            "stock_order": order_list(answer),
            "stock_workbook": order_book(answer, pattern=self.pattern.pattern),
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
