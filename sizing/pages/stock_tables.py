"""A plan's tables, as a purchaser reads them."""

import math
from collections.abc import Callable
from functools import partial
from typing import Any

import pandas as pd

from sizing.charts import OUTCOME_WORDS
from sizing.measures import vocabulary
from sizing.measures.written import Say, told, written
from sizing.pages.page import Table, table
from sizing.stock import SERVICE, StockPlan
from sizing.stock.result import money, strategy_words
from sizing.stock.services import ONE, OWN
from sizing.stock.tables import SHARES
from sizing.words.numbers import interval, points, points_interval
from sizing.words.numbers import share as percent

#: How many kinds of people whom no size fits are listed.
_KINDS_SHOWN = 12
_DIRECTIONS = {
    "too_small_for": "too small",
    "too_large_for": "too large",
    "over_load": "load limit exceeded",
    "not_measured": "not measured",
}
#: What is said of the stores of services, and its headings.
OF_STORES = {
    "slings": "Buy",
    "cost": "Cost",
    "nobody_waits": "Days nobody waits",
    "needs_met": "Needs met",
    "not_fitted": "Who fits no size",
}


def shown_tables(plan: StockPlan, *, units: str = "metric") -> dict[str, Table]:
    """Return a plan's tables as people read them, in the order of the page."""
    say = partial(written, units=units)
    made = {
        "order": _order(plan, say),
        "service": _service(plan),
        "comparison": _compared(plan),
        "one_more_or_less": _one(plan),
        "robustness": _robust(plan, say),
        "yearly": _yearly(plan),
        "variants": _variants(plan),
    }
    if len(plan.services):
        made |= {"services": _services(plan), "own_orders": _own_orders(plan)}
    if len(plan.not_fitted):
        made["not_fitted"] = _unfitted(plan, say)
    return made


def _order(plan: StockPlan, say: Say) -> Table:
    order = plan.order
    places = 0 if (order["price"] % 1 == 0).all() else 2
    shown = pd.DataFrame(
        {
            "Size": order["key"],
            "Buy": order["order"],
            "Owned": order["owned"],
            "Then held": order["stock"],
            "Price of one": [money(p, plan.currency, places) for p in order["price"]],
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


def _variants(plan: StockPlan) -> Table:
    told = plan.variants
    shown = pd.DataFrame({"If": told["scenario"], "Sizes": told["sizes"]})
    for name, say in _says(plan).items():
        shown[OF_STORES[name]] = _said(told[name], say)
    people = plan.groups["count"].sum()
    shown.insert(
        2, "People served", [f"{people - left:,.0f}" for left in told["not_fitted"]]
    )
    caption = (
        "Other prices, and fewer sizes: those left out are what fewest people need; "
        "the order keeps the target for people the others fit"
    )
    return table(shown, caption=caption, words=["If"])


def _says(plan: StockPlan) -> dict[str, Callable[[Any], str]]:
    """Return how each figure of ``OF_STORES`` is written."""
    return {
        "slings": "{:,.0f}".format,
        "cost": partial(money, currency=plan.currency),
        "nobody_waits": percent,
        "needs_met": percent,
        "not_fitted": "{:.1f}".format,
    }


def _said(figures: pd.Series, say: Callable[[Any], str]) -> pd.Series:
    return figures.map(say, na_action="ignore").fillna("out of reach")


def pooling_words(plan: StockPlan) -> str:
    """Say what one store for all saves against one for each service."""
    cost = plan.services.set_index("service")["cost"]
    own, one = cost[OWN], cost[ONE]
    if pd.isna(own):
        return "Not every service can reach its target with a store of its own."
    if pd.isna(one):
        return "One store for all cannot do as much as a store for each service."
    dear, cheap = money(own, plan.currency), money(one, plan.currency)
    words = f"Stores for each service cost {dear}; one store that does as much, {cheap}"
    less = own - one
    saved = f"{money(less, plan.currency)} less ({percent(less / (own or 1.0))})"
    if round(less) <= 0:
        saved = "nothing is saved by one store"
    return (
        f"{words}: {saved}. That is of the days simulated here: others would move it, "
        "and it has no interval."
    )


def _services(plan: StockPlan) -> Table:
    says = _says(plan)
    told = plan.services.reindex(columns=["service", "target", *says])
    shown = told[["service"]].astype(object)
    shown["Target"] = told["target"].map(percent, na_action="ignore").fillna("")
    for name, say in says.items():
        shown[OF_STORES[name]] = _said(told[name], say)
    caption = (
        "Each service with a store of its own; of all together nobody waits where "
        "nobody does in any"
    )
    shown = shown.rename(columns={"service": "Service"})
    return table(shown, caption=caption, words=["Service"])


def own_order_list(plan: StockPlan) -> pd.DataFrame:
    """Return what each service would buy of each size for a store of its own."""
    own = plan.own_orders.set_index("key").groupby("service", sort=False)["order"]
    return pd.DataFrame(
        {"Size": plan.order["key"]}
        | {str(name): plan.order["key"].map(order) for name, order in own}
    )


def _own_orders(plan: StockPlan) -> Table:
    caption = "What each service would buy for a store of its own"
    return table(own_order_list(plan), caption=caption, words=["Size"])


def _yearly(plan: StockPlan) -> Table:
    told, sign = plan.yearly, plan.currency
    shown = pd.DataFrame(
        {
            "Slings": told["way"],
            "For": told["item"],
            "A year": [money(cost, sign) for cost in told["estimate"]],
            "From": [money(cost, sign) for cost in told["low"]],
            "To": [money(cost, sign) for cost in told["high"]],
            "Rates from": told["source"],
        }
    )
    caption = f"Cost per year, over {plan.years.years:g} years"
    return table(shown, caption=caption, words=["Slings", "For", "Rates from"])


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
