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
from sizing.stock import StockPlan
from sizing.stock.need import LARGE_STORE
from sizing.stock.result import DAY, NO_SLING, money, strategy_words
from sizing.words.numbers import given
from sizing.words.numbers import share as percent

QUESTION = (
    "Which sizes of sling should be stocked, and how many of each, so that almost "
    "nobody is without one that fits, for the least money?"
)
#: What is drawn of a plan, in this order, and what to make of it.
_CAPTIONS = {
    "comparison": "Every way of spending meets the same people on the same days.",
    "demand": "People who fit several sizes count in each; slings are handed out so "
    "that as few as possible wait.",
    "shortages": "Days on which someone waits and one more of this size would serve.",
    "cost_curve": "Each point is the cheapest order for a target, judged on days it "
    "was not planned on.",
}
_UNFITTED = (
    "More stock does not help people who fit no size offered. Look for another pattern "
    "or one made to measure; the table says by what they miss."
)
WHY_NEEDS = (
    "among very many people someone waits on most days whatever is bought, and a day "
    "with one waiting counts as one with fifty"
)
#: What an order misses of each kind of target.
_MISSED = {
    "days": "Days on which somebody waits",
    "needs": "Needs not met, of people who fit at least one size",
}
_OWN = ("services", "own_orders")


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

    def section(heading: str, words: tuple[str, ...], *names: str) -> Section:
        return Section(
            heading,
            words=words,
            figures=[drawn[name] for name in _CAPTIONS if name in names],
            tables=[one for name, one in shown.items() if name in names],
        )

    needed = "What is needed, and what runs short"
    more = ("cost_curve", "one_more_or_less", "variants", "robustness")
    own = (pooling_words(plan),) if len(plan.services) else ()
    return Page(
        title="Which slings to stock",
        question=QUESTION,
        answer=plan.answer(),
        inputs=" ".join(
            f"{what}: {said.rstrip('.')}." for what, said in inputs_of(plan)
        ),
        sections=(
            section("The order", (plan.proof(),), "order", "service"),
            section("The same money spent otherwise", (), "comparison"),
            section(needed, (), "demand", "shortages"),
            *[section("A store for each service, or one for all", own, *_OWN)]
            * bool(own),
            section("What it costs over the years", (plan.yearly_words(),), "yearly"),
            section("What more or less money does", (), *more),
            section("Who fits no size", (_UNFITTED,), "not_fitted"),
        ),
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
        "cost_curve": plot_cost_curve(plan.curve, missed=_MISSED[plan.aim]),
    }


def stock_pictures(plan: StockPlan) -> dict[str, Picture]:
    """Return the same with the words that stand for them."""
    alt = _alts(plan)
    return {
        name: picture(figure_of(ax), alt=alt[name], caption=_CAPTIONS[name])
        for name, ax in stock_axes(plan).items()
    }


def _alts(plan: StockPlan) -> dict[str, str]:
    met = ", ".join(
        f"{strategy_words(r['strategy'])} {percent(r['needs_met'])}"
        for r in plan.comparison.to_dict("records")
    )
    held = dict(zip(plan.order["key"], plan.order["stock"], strict=True))
    fits = ", ".join(
        f"{r['key']} fits {r['estimate']:.0f} people, {held[r['key']]} held"
        for r in plan.demand.query("share == 'fits'").to_dict("records")
    )
    short = plan.shortages.to_dict("records")
    worst = max(short, key=lambda row: row["estimate"])
    missed = _MISSED[plan.aim]
    costs = ", ".join(
        f"{r['cost']:,.0f}: {percent(r['estimate'])}"
        for r in plan.curve.to_dict("records")
    )
    return {
        "comparison": f"Bars of the needs met by the same money: {met}.",
        "demand": f"Each size on an average day, and the slings held: {fits}.",
        "shortages": "Chance of being short by size; the largest is "
        f"{worst['key']}, {percent(worst['estimate'])} of days.",
        "cost_curve": f"{missed}, by cost: {costs}.",
    }


def inputs_of(plan: StockPlan) -> list[tuple[str, str]]:
    """Return what went into a plan: what it is called, and what it was."""
    goals = []
    if plan.target is not None:
        goal = f"nobody waits on {given(plan.target)} of days"
        if plan.aim == "needs":
            goal = f"{given(plan.target)} of needs are met"
            goal += f" ({WHY_NEEDS})" * (int(plan.groups["count"].sum()) > LARGE_STORE)
        goals.append(f"{goal}, at least cost")
    if plan.budget is not None:
        spent = money(plan.budget, plan.currency)
        goals.append(f"no more than {spent} is spent")
    days = plan.settings
    drawn = (
        f"{days['scenarios']:,} for planning, {days['choosing']:,} for choosing, "
        f"{days['checks']:,} for judging, seed {days['seed']}"
    )
    served = ". ".join(_group_words(row) for row in plan.groups.to_dict("records"))
    return [
        ("Who it serves", served),
        ("How slings are used", plan.use.summary()),
        ("Goal", " and ".join(goals)),
        ("Days simulated", drawn),
    ]


def _group_words(row: dict[Any, Any]) -> str:
    words = f"{row['group']}: {row['count']:,} people"
    if row["people"] != row["group"]:
        words += f" like {row['people']}"
    if row["number"] == "poisson":
        words += ", their number varying by chance"
    if row["admissions"]:
        words += f", {row['admissions']:g} admitted over the period"
    if row["charts"]:
        words += f", from {row['charts']} alone"
    words += f" ({row['use'].rstrip('.')})" * bool(row["use"])
    return words[0].upper() + words[1:]
