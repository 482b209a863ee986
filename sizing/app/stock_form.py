"""The purchaser's page: say whom and what, read the order, save it; no code."""

from html import escape
from typing import Any

import ipywidgets as w
import pandas as pd
from matplotlib.axes import Axes

from sizing.app.answer_parts import AnswerParts
from sizing.app.form_style import FORM_STYLE
from sizing.app.form_words import bullets, paragraphs, status
from sizing.app.long_work import LongWork, Progress
from sizing.app.show import picture_html, save_panel, show_table
from sizing.app.stock_form_offer import OfferFields
from sizing.app.stock_form_people import PeopleFields
from sizing.app.stock_form_use import UseFields
from sizing.app.units import UnitSwitch
from sizing.cautions import cautions
from sizing.errors import SizingError
from sizing.pages.stock import axes_of, order_list, pictures_of, stock_page
from sizing.pages.stock_sheet import order_sheet
from sizing.pages.stock_tables import shown_tables
from sizing.stock import StockPlan, plan_stock
from sizing.stock.result import DAY, NO_SLING

#: Days drawn for the first look, and whenever the button is pressed.
FIRST, FULL = 300, 1000
_STALE = "Something was changed: press 'Plan the stock' again."
_QUICK = (
    f"This first look draws only {FIRST} days, so that it is here at once, and its "
    f"intervals are wide. The button draws {FULL:,}."
)
_UNFITTED = (
    "More stock does not help people who fit no size: look for another pattern or a "
    "sling made to measure. The table says which size comes nearest and by how much "
    "it misses."
)


class StockForm:
    """The purchaser's page, part by part, in the order every page keeps.

    Attributes
    ----------
    keep_view : Widget
        The parts.
    plan : StockPlan or None
        The last plan; None where an entry was changed since.
    work : LongWork
        The button that plans, with its progress and Stop.
    scenarios : int
        Days drawn when the button is pressed.
    """

    def __init__(self) -> None:
        self.plan: StockPlan | None = None
        self.scenarios = FULL
        #: Days of the next plan, where they are not those of the button.
        self._days = 0
        self._version = 0
        self._drawn: list[str] = []
        self._touched = False
        self.switch = UnitSwitch()
        self.people = PeopleFields(self.switch, self._other_people)
        self.offer = OfferFields(self.switch, self._forget)
        self.use = UseFields(self._forget)
        self.work = LongWork("Plan the stock", self._job, self._done)
        self.parts = w.Accordion(
            [
                self.people.view,
                self.offer.view,
                self.use.use_view,
                self.use.goal_view,
            ],
            titles=(
                "Who the stock serves",
                "What can be bought, prices, and what is owned",
                "How slings are used",
                "The goal: a target or a budget",
            ),
        )
        self.entry = self._boxed(
            w.HTML(FORM_STYLE), self.switch.view, self.parts, self.work.view
        )
        self.answered = AnswerParts()
        self.answer_view = self._boxed(self.answered.words)
        self.picture_view = self._boxed(self.answered.pictures)
        self.limits_view = self._boxed(self.answered.limits)
        self.cautions_view = self._boxed(w.HTML(bullets(cautions())))
        self.sources_view = self._boxed(self.answered.sources)
        self.keep_view = self._boxed(save_panel(self.results))
        self.switch.on_change(lambda _: self._show())

    def first_look(self) -> None:
        """Plan the scenario that the form opens with, on few days."""
        self._days = FIRST
        self.work.begin()

    def run(self) -> StockPlan | None:
        """Plan at once, as the button does, and return the plan."""
        self.work.run()
        return self.plan

    def results(self) -> dict[str, pd.DataFrame | Axes | str]:
        """Return what can be saved: exact tables, pictures and the page."""
        plan = self.plan
        if plan is None:
            raise SizingError("There is no plan to save: press 'Plan the stock'.")
        tables = {
            "stock_order": order_list(plan),
            "stock_service": plan.service,
            "stock_demand": plan.demand,
            "stock_shortages": plan.shortages,
            "stock_not_fitted": plan.not_fitted,
            "stock_other_targets": plan.curve,
            "stock_one_more_or_less": plan.one_more_or_less,
            "stock_other_people": plan.robustness,
            "stock_same_money": plan.comparison,
            "stock_days_drawn_again": plan.again,
        }
        drawn = {f"stock_{name}": ax for name, ax in axes_of(plan).items()}
        pages = {
            "stock_order_on_one_page": order_sheet(plan, units=self.switch.units),
            "stock_plan": stock_page(plan, units=self.switch.units),
        }
        return {**tables, **drawn, **pages}

    def _job(self, progress: Progress) -> tuple[int, StockPlan | None]:
        self.people.told.value = ""
        days, self._days = self._days or self.scenarios, 0
        return self._version, self._made(days, progress)

    def _made(self, days: int, progress: Progress) -> StockPlan | None:
        """Plan with what the fields say; None where a field is wrong."""
        served: Any = self._asked(self.people, self.people.served, 0)
        offered: Any = self._asked(self.offer, self.offer.offer, 1)
        use: Any = self._asked(self.use, self.use.use, 2)
        if served is None or offered is None or use is None:
            return None
        charts, prices = offered
        return plan_stock(
            served,
            charts,
            prices=prices,
            use=use,
            scenarios=days,
            progress=progress,
            **self.use.aim(),
        )

    def _asked(self, part: Any, ask: Any, place: int) -> Any:
        """Ask a part of the form; what is wrong is said there, and it is opened."""
        try:
            return ask()
        except SizingError as error:
            part.tell(error)
            self.parts.selected_index = place
            return None

    def _done(self, result: tuple[int, StockPlan | None]) -> None:
        version, plan = result
        # An entry changed while planning went on: this is no answer to it.
        self.plan = plan if version == self._version else None
        if plan is None:
            self.answered.take_back(
                "Please check what is marked above; then plan again."
            )
        elif self.plan is None:
            self.answered.take_back(_STALE)
        else:
            self._drawn = _drawn(plan)
            self._show()

    def _forget(self) -> None:
        """Take back an answer that the entries no longer give."""
        self._version += 1
        self._touched = True
        if self.plan is not None:
            self.plan = None
            self.answered.take_back(_STALE)

    def _other_people(self) -> None:
        """Take back the answer, and the slings that only the invented store owns."""
        self.offer.own_nothing_invented()
        self._forget()

    def _show(self) -> None:
        """Show the plan, in the units chosen."""
        plan = self.plan
        if plan is None:
            return
        tables = {
            name: show_table(frame, caption=caption, words=words).data
            for name, (frame, caption, words) in shown_tables(
                plan, units=self.switch.units
            ).items()
        }
        lead = f"<p style='font-size:1.15em'><b>{escape(plan.answer())}</b></p>"
        told = []
        if plan.settings["scenarios"] == FIRST:
            told.append(_QUICK)
        told.append(plan.proof())
        self.answered.words.value = (
            status(lead + paragraphs(told)) + tables["order"] + tables["service"]
        )
        compared, needed, short, curve = self._drawn
        self.answered.pictures.value = "".join(
            (
                compared,
                tables["comparison"],
                needed,
                short,
                curve,
                tables["one_more_or_less"],
                tables["robustness"],
            )
        )
        unfitted = paragraphs([_UNFITTED]) + tables.get("not_fitted", "")
        self.answered.limits.value = unfitted + bullets([NO_SLING, DAY, *plan.limits])
        self.answered.sources.value = bullets(plan.sources)

    @staticmethod
    def _boxed(*children: w.Widget) -> w.Widget:
        box = w.VBox(children)
        box.add_class("sizing-form")
        return box


def _drawn(plan: StockPlan) -> list[str]:
    """Return a plan's pictures as HTML."""
    return [picture_html(one) for one in pictures_of(plan)]
