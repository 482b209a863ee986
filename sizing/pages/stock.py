"""What a purchaser reads of a plan, and puts before a budget holder."""

from typing import Any

from matplotlib.axes import Axes

from sizing.pages.page import Page, Picture, Section, picture, render
from sizing.pages.stock_tables import pooling_words, shown_tables
from sizing.plots.stock import (
    plot_comparison,
    plot_cost_curve,
    plot_demand,
    plot_shortages,
)
from sizing.plots.style import figure_of
from sizing.resources import texts
from sizing.stock import StockPlan
from sizing.stock.need import LARGE_STORE
from sizing.stock.result import DAY, NO_SLING, money, strategy_words
from sizing.words.numbers import given
from sizing.words.numbers import share as percent

_T = texts("stock_page")
#: The tables and pictures of each part of the page, in their order.
_WITHIN = {
    "order": ("order", "service"),
    "comparison": ("comparison",),
    "demand": ("demand", "shortages"),
    "services": ("services", "own_orders"),
    "yearly": ("yearly",),
    "cost_curve": ("cost_curve", "one_more_or_less", "variants", "robustness"),
    "not_fitted": ("not_fitted",),
}


def stock_page(
    plan: StockPlan, *, units: str = "metric", pattern: str | None = None
) -> str:
    """Return the plan as one HTML page that prints.

    >>> import pandas as pd
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> from sizing.stock import Served, plan_stock
    >>> prices = pd.DataFrame({"size": demo_chart().sizes, "price": 100.0})
    >>> home = Served(load_people("care_home_nordic", draws=1), 5)
    >>> plan = plan_stock(home, demo_chart(), prices=prices, scenarios=50)
    >>> "Before any lift" in stock_page(plan)
    True
    """
    page = stock_report(plan, stock_pictures(plan), units=units)
    return render(page.for_pattern(pattern, plan.limited))


def stock_report(
    plan: StockPlan, drawn: dict[str, Picture], *, units: str = "metric"
) -> Page:
    """Return what the page says, part by part; forms show the same parts."""
    shown = shown_tables(plan, units=units)
    words = {
        "yearly": (plan.yearly_words(),),
        "cost_curve": (plan.sizes_words(),),
        "not_fitted": (_T.page["unfitted"],),
    }
    parts = dict(_T.parts)
    if len(plan.services):
        words["services"] = (pooling_words(plan),)
    else:
        del parts["services"]
    return Page(
        title=_T.page["title"],
        question=_T.page["question"],
        answer=plan.answer(),
        inputs=" ".join(
            f"{what}: {said.rstrip('.')}." for what, said in inputs_of(plan)
        ),
        sections=[
            Section(
                heading,
                words=words.get(part, ()),
                figures=[drawn[name] for name in _T.pictures if name in _WITHIN[part]],
                tables=[one for name, one in shown.items() if name in _WITHIN[part]],
                bullets=[plan.proof()] * (part == "order"),
            )
            for part, heading in parts.items()
        ],
        limits=(NO_SLING, DAY, *plan.limits),
        sources=plan.sources,
    )


def stock_axes(plan: StockPlan) -> dict[str, Axes]:
    """Return the pictures of a plan by name, in the order of the page."""
    ways = plan.comparison["strategy"].map(strategy_words)
    return {
        "comparison": plot_comparison(plan.comparison.assign(strategy=ways)),
        "demand": plot_demand(plan.demand, plan.order),
        "shortages": plot_shortages(plan.shortages),
        "cost_curve": plot_cost_curve(plan.curve, missed=_T.missed[plan.aim]),
    }


def stock_pictures(plan: StockPlan) -> dict[str, Picture]:
    compared = plan.comparison.to_dict("records")
    held = dict(zip(plan.order["key"], plan.order["stock"], strict=True))
    fitted = plan.demand.query("share == 'fits'").to_dict("records")
    worst = max(plan.shortages.to_dict("records"), key=lambda row: row["estimate"])
    curve = plan.curve.to_dict("records")
    told = {
        "met": [
            f"{strategy_words(r['strategy'])} {percent(r['needs_met'])}"
            for r in compared
        ],
        "fits": [
            f"{r['key']} fits {r['estimate']:.0f} people, {held[r['key']]} held"
            for r in fitted
        ],
        "costs": [f"{r['cost']:,.0f}: {percent(r['estimate'])}" for r in curve],
        "worst": [worst["key"]],
        "share": [percent(worst["estimate"])],
        "missed": [_T.missed[plan.aim]],
    }
    said = {name: ", ".join(parts) for name, parts in told.items()}
    return {
        name: picture(
            figure_of(ax), alt=_T.alt[name].format(**said), caption=_T.pictures[name]
        )
        for name, ax in stock_axes(plan).items()
    }


def inputs_of(plan: StockPlan) -> list[tuple[str, str]]:
    goals = []
    if plan.target is not None:
        goal = _T.page[plan.aim].format(target=given(plan.target))
        if plan.aim == "needs" and plan.groups["count"].sum() > LARGE_STORE:
            goal += _T.page["why_needs"]
        goals.append(_T.page["least"].format(goal=goal))
    if plan.budget is not None:
        spent = money(plan.budget, plan.currency)
        goals.append(_T.page["spent"].format(money=spent))
    said = {
        "served": ". ".join(
            _group_words(row) for row in plan.groups.to_dict("records")
        ),
        "use": plan.use.summary(),
        "goal": " and ".join(goals),
        "drawn": _T.page["drawn"].format(**plan.settings),
    }
    return [(heading, said[name]) for name, heading in _T.inputs.items()]


def _group_words(row: dict[Any, Any]) -> str:
    words = f"{row['group']}: {row['count']:,} people"
    if row["people"] != row["group"]:
        words += f", drawn from {row['people']}"
    if row["number"] == "poisson":
        words += ", their number varying by chance"
    if row["admissions"]:
        words += f", {row['admissions']:g} admitted over the period"
    if row["charts"]:
        words += f", from {row['charts']} alone"
    if row["use"]:
        words += f". Rules of its own: {row['use'].rstrip('.').lower()}"
    return words[0].upper() + words[1:]
