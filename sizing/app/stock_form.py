"""The purchaser's page: say whom and what, read the order, save it; no code."""

from collections.abc import Callable
from typing import Any

import ipywidgets as w

from sizing.app.answer_form import AnswerForm
from sizing.app.form_words import bullets, lead, paragraphs
from sizing.app.long_work import Progress
from sizing.app.show import sections_html
from sizing.app.stock_form_offer import OfferFields
from sizing.app.stock_form_people import PeopleFields, UseFields
from sizing.errors import SizingError
from sizing.pages.stock import stock_axes, stock_page, stock_pictures, stock_report
from sizing.pages.stock_order import order_list, order_sheet
from sizing.stock import StockPlan, plan_stock

#: Days drawn for the first look, and whenever the button is pressed.
FIRST, FULL = 300, 1000
_QUICK = (
    f"This first look draws only {FIRST} days, so that it is here at once, and its "
    f"intervals are wide. The button draws {FULL:,}."
)
_PARTS = (
    "Who the stock serves",
    "What can be bought, prices, and what is owned",
    "How slings are used",
    "The goal: a target or a budget",
)


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
        views = self.people.view, self.offer.view, self.use.view, self.use.goal_view
        self.parts = w.Accordion(views, titles=_PARTS)
        self.lay_out(self.parts)

    def first_look(self) -> None:
        """Plan the scenario that the form opens with, on few days."""
        self._days = FIRST
        self.work.begin()

    def work_out(self, progress: Progress) -> StockPlan:
        """Plan with what the fields say; what is wrong is said beside its field."""
        days, self._days = self._days or self.scenarios, 0
        self.people.told.value = ""
        served = self._asked(0, self.people, self.people.served)
        charts, prices = self._asked(1, self.offer, self.offer.offer)
        use = self._asked(2, self.use, self.use.use)
        return plan_stock(
            served,
            charts,
            prices=prices,
            use=use,
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
            self.parts.selected_index = place
            raise SizingError(
                "correct what is marked above, then plan again."
            ) from error

    def _other_people(self) -> None:
        """Take back the answer, and the slings that only the invented store owns."""
        self.offer.own_nothing_invented()
        self.forget()

    def show(self, answer: StockPlan) -> None:
        """Show the sections of the page, in the units chosen."""
        drawn = stock_pictures(answer)
        page = stock_report(answer, drawn, units=self.switch.units)
        order, *others, unfitted = page.sections
        quick = [_QUICK] if answer.settings["scenarios"] == FIRST else []
        told = self.answered
        told.words.value = (
            lead(page.answer) + paragraphs(quick) + sections_html([order])
        )
        told.pictures.value = sections_html(others)
        told.limits.value = sections_html([unfitted]) + bullets(page.limits)
        told.sources.value = bullets(page.sources)

    def saved(self, answer: StockPlan) -> dict[str, Any]:
        """Return what can be saved: exact tables, pictures and the pages."""
        units = self.switch.units
        return {
            "stock_order": order_list(answer),
            "stock_service": answer.service,
            "stock_demand": answer.demand,
            "stock_shortages": answer.shortages,
            "stock_not_fitted": answer.not_fitted,
            "stock_other_targets": answer.curve,
            "stock_one_more_or_less": answer.one_more_or_less,
            "stock_other_people": answer.robustness,
            "stock_same_money": answer.comparison,
            "stock_days_drawn_again": answer.again,
            **{f"stock_{name}": ax for name, ax in stock_axes(answer).items()},
            "stock_order_on_one_page": order_sheet(answer, units=units),
            "stock_plan": stock_page(answer, units=units),
        }
