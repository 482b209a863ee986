"""What a purchaser reads of a plan, and puts before a budget holder."""

import math
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from sizing.charts import OUTCOME_WORDS
from sizing.measures import vocabulary
from sizing.measures.written import Say, told, written
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.plots.stock import (
    plot_comparison,
    plot_cost_curve,
    plot_demand,
    plot_shortages,
)
from sizing.plots.style import figure_of
from sizing.stock import SERVICE, StockPlan
from sizing.stock.result import DAY, NO_SLING, money
from sizing.stock.tables import SHARES
from sizing.words.numbers import interval, points, points_interval
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
#: How many kinds of people whom no size fits are listed.
_KINDS_SHOWN = 12
_DIRECTIONS = {
    "too_small_for": "too small",
    "too_large_for": "too large",
    "over_load": "load limit exceeded",
    "not_measured": "not measured",
}


def stock_page(plan: StockPlan, *, units: str = "metric") -> str:
    """Return the plan as one HTML page that prints.

    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> from sizing.stock import Served, plan_stock
    >>> prices = pd.DataFrame({"size": demo_chart().sizes, "price": 100.0})
    >>> home = Served(load_people("care_home_nordic", draws=1), 5)
    >>> plan = plan_stock(home, demo_chart(), prices=prices, scenarios=50)
    >>> "Before any lift" in stock_page(plan)
    True
    """
    return render(stock_report(plan, stock_pictures(plan), units=units))


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
    more = ("cost_curve", "one_more_or_less", "robustness")
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
        "cost_curve": plot_cost_curve(plan.curve),
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
    costs = ", ".join(
        f"{r['cost']:,.0f}: {percent(r['estimate'])}"
        for r in plan.curve.to_dict("records")
    )
    return {
        "comparison": f"Bars of the needs met by the same money: {met}.",
        "demand": f"Each size on an average day, and the slings held: {fits}.",
        "shortages": "Chance of being short by size; the largest is "
        f"{worst['key']}, {percent(worst['estimate'])} of days.",
        "cost_curve": f"Days on which somebody waits, by cost: {costs}.",
    }


def strategy_words(name: str) -> str:
    """Return what a way of spending is called."""
    names = {"plan": "this plan", "last year's use": "in last year's proportions"}
    return names.get(name, f"in {name}")


def inputs_of(plan: StockPlan) -> list[tuple[str, str]]:
    """Return what went into a plan: what it is called, and what it was."""
    goals = []
    if plan.target is not None:
        goals.append(f"nobody waits on {percent(plan.target)} of days, at least cost")
    if plan.budget is not None:
        spent = money(plan.budget, plan.currency)
        goals.append(f"no more than {spent} is spent")
    days = plan.settings
    drawn = (
        f"{days['scenarios']:,} for planning, {days['choosing']:,} for choosing, "
        f"{days['checks']:,} for judging, seed {days['seed']}"
    )
    served = "; ".join(_group_words(row) for row in plan.groups.to_dict("records"))
    return [
        ("Who it serves", served),
        ("How slings are used", plan.use.summary()),
        ("Goal", " and ".join(goals)),
        ("Days drawn", drawn),
    ]


def _group_words(row: dict[Any, Any]) -> str:
    words = f"{row['count']} {row['group']}"
    if row["people"] != row["group"]:
        words += f" (drawn from {row['people']})"
    if row["number"] == "poisson":
        words += ", their number varying by chance"
    if row["admissions"]:
        words += f", {row['admissions']:g} admitted over the period"
    return words


def shown_tables(plan: StockPlan, *, units: str = "metric") -> dict[str, Table]:
    """Return a plan's tables as people read them, in the order of the page."""
    say = partial(written, units=units)
    made = {
        "order": _order(plan, say),
        "service": _service(plan),
        "comparison": _compared(plan),
        "one_more_or_less": _one(plan),
        "robustness": _robust(plan, say),
    }
    if len(plan.not_fitted):
        made["not_fitted"] = _unfitted(plan, say)
    return made


def _order(plan: StockPlan, say: Say) -> Table:
    order = plan.order
    shown = pd.DataFrame(
        {
            "Size": order["key"],
            "Buy": order["order"],
            "Owned": order["owned"],
            "Then held": order["stock"],
            "Price of one": [money(p, plan.currency, 2) for p in order["price"]],
            "Cost": [money(c, plan.currency) for c in order["cost"]],
            "Load limit": [
                "not stated" if pd.isna(kg) else say(kg, "load_limit_kg", to="down")
                for kg in order["load_limit_kg"]
            ],
        }
    )
    sums = order[["order", "owned", "stock"]].sum()
    shown.loc[len(shown)] = ["All", *sums, "", money(plan.cost, plan.currency), ""]
    return table(shown, caption="What to buy", words=["Size"])


def _service(plan: StockPlan) -> Table:
    rows = plan.service.to_dict("records")
    shown = pd.DataFrame(
        {
            "What": [SERVICE[row["measure"]] for row in rows],
            "Estimate": [_number(row, "estimate") for row in rows],
            "Likely between": [
                f"{_number(row, 'low')} and {_number(row, 'high')}" for row in rows
            ],
        }
    )
    caption = (
        "What the order does, on days simulated afresh: shares with 95 % intervals, "
        "numbers as 9 such services of 10 would see them"
    )
    return table(shown, caption=caption, words=["What"])


def _number(row: dict[Any, Any], column: str) -> str:
    if row["measure"] in SHARES:
        return percent(row[column])
    # Of one service, so in whole people and slings, its ends outwards.
    if column == "estimate":
        return f"{row[column]:,.1f}"
    low = column == "low"
    end = math.floor(row[column] + 0.05) if low else math.ceil(row[column] - 0.05)
    return f"{end:,}"


def _compared(plan: StockPlan) -> Table:
    rows = plan.comparison.to_dict("records")
    first = "The same money spent"
    shown = pd.DataFrame(
        {
            first: [strategy_words(row["strategy"]) for row in rows],
            "Slings": [row["slings"] for row in rows],
            "Cost": [money(row["cost"], plan.currency) for row in rows],
            "Needs met": [percent(row["needs_met"]) for row in rows],
            "Days nobody waits": [percent(row["nobody_waits"]) for row in rows],
            "The plan meets more, points": [
                "" if row["strategy"] == "plan" else points_interval(row)
                for row in rows
            ],
        }
    )
    caption = "Side by side; the same people on the same days"
    return table(shown, caption=caption, words=[first])


def _one(plan: StockPlan) -> Table:
    change = plan.one_more_or_less
    more = change[change["change"] == 1].set_index("key")
    less = change[change["change"] == -1].set_index("key")["nobody_waits_change"]
    shown = pd.DataFrame(
        {
            "Size": list(more.index),
            "One more": [_points(v) for v in more["nobody_waits_change"]],
            "One fewer": [_points(v) for v in less.reindex(more.index)],
        }
    )
    caption = "One sling more or fewer: change in days on which nobody waits, in 100"
    return table(shown, caption=caption, words=["Size"])


def _points(value: float) -> str:
    if pd.isna(value):
        return "none held"
    return "none" if abs(value) < 5e-4 else points(value, places=1)


def _robust(plan: StockPlan, say: Say) -> Table:
    rows = plan.robustness.to_dict("records")
    first = "If the people are"
    shown = pd.DataFrame(
        {
            first: [f"{r['people']}: {told(r['shift'], say)}" for r in rows],
            "Days nobody waits": [interval(r) for r in rows],
            "Needs met": [percent(r["needs_met"]) for r in rows],
            "Who fits no size": [f"{r['not_fitted']:.1f}" for r in rows],
        }
    )
    if plan.target is not None:
        shown["Cost to keep the target"] = [
            "out of reach" if pd.isna(r["cost"]) else money(r["cost"], plan.currency)
            for r in rows
        ]
    return table(shown, caption="The same order if the people differ", words=[first])


def _who(row: dict[Any, Any]) -> str:
    if pd.isna(row["client"]):
        return str(row["group"])
    return f"{row['group']}, row {row['client']:.0f}"


def _unfitted(plan: StockPlan, say: Say) -> Table:
    labels = vocabulary().set_index("name")["label"]
    rows = plan.not_fitted.head(_KINDS_SHOWN).to_dict("records")
    shown = pd.DataFrame(
        {
            "Group": [_who(r) for r in rows],
            "Why": [OUTCOME_WORDS.get(str(r["outcome"]), "") for r in rows],
            "Nearest size": [r["nearest_size"] for r in rows],
            "It is": [_DIRECTIONS.get(str(r["direction"]), "") for r in rows],
            "In": [
                str(labels.get(r["failing_measure"], r["failing_measure"]))
                for r in rows
            ],
            "By (median)": [_miss(r, say) for r in rows],
            "People": [f"{r['estimate']:.1f}" for r in rows],
            "On 90 % of days": [f"{r['low']:.0f} to {r['high']:.0f}" for r in rows],
        }
    )
    rest = plan.not_fitted["estimate"][_KINDS_SHOWN:].sum()
    caption = "People who fit no size, on an average day"
    if rest >= 0.05:
        caption += f": the commonest kinds; {rest:.1f} more are of rarer kinds"
    return table(shown, caption=caption, words=[str(name) for name in shown][:5])


def _miss(row: dict[Any, Any], say: Say) -> str:
    measure = str(row["failing_measure"])
    if pd.isna(row["miss_median"]) or not measure.endswith(("_cm", "_kg")):
        return ""
    return say(row["miss_median"], measure, to="tenth")
