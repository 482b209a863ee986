"""A stock plan's tables as people read them: rounded, in words, in their units."""

import math
from functools import partial
from typing import Any

import pandas as pd

from sizing.charts import OUTCOME_WORDS
from sizing.measures import vocabulary
from sizing.measures.written import Say, told, written
from sizing.plots.style import percent
from sizing.stock import SERVICE, StockPlan
from sizing.stock.result import money
from sizing.stock.tables import SHARES

#: How many kinds of people whom no size fits are listed on the page.
_KINDS_SHOWN = 12
_DIRECTIONS = {
    "too_small_for": "too small",
    "too_large_for": "too large",
    "over_load": "load limit exceeded",
    "not_measured": "not measured",
}
#: A finished table: its cells, its caption and which columns hold words.
Shown = tuple[pd.DataFrame, str, tuple[str, ...]]


def shown_tables(plan: StockPlan, *, units: str = "metric") -> dict[str, Shown]:
    """Return every table of a plan, ready to be shown.

    Returns
    -------
    dict
        Name to (frame of finished cells, caption, columns that hold words):
        order, service, comparison, one_more_or_less, robustness, and not_fitted
        if anyone is.
    """
    say = partial(written, units=units)
    made = {
        "order": _order(plan, say),
        "service": _service(plan),
        "comparison": _compared(plan),
        "one_more_or_less": _one(plan),
        "robustness": _robust(plan, units),
    }
    if len(plan.not_fitted):
        made["not_fitted"] = _unfitted(plan, say)
    return made


def strategy_words(name: str) -> str:
    """Return what a way of spending is called."""
    return {"plan": "this plan", "last year's use": "in last year's proportions"}.get(
        name, f"in {name}"
    )


def inputs_of(plan: StockPlan) -> list[tuple[str, str]]:
    """Return what went into a plan: what it is called, and what it was."""
    goals = []
    if plan.target is not None:
        goals.append(f"nobody waits on {percent(plan.target)} of days, at least cost")
    if plan.budget is not None:
        spent = money(plan.budget, plan.currency)
        goals.append(f"no more than {spent} is spent")
    days = plan.settings
    return [
        (
            "Who it serves",
            "; ".join(_group_words(row) for row in records(plan.groups)),
        ),
        ("How slings are used", plan.use.summary()),
        ("Goal", " and ".join(goals)),
        (
            "Days drawn",
            f"{days['scenarios']:,} for planning, {days['choosing']:,} for choosing, "
            f"{days['checks']:,} for judging, seed {days['seed']}",
        ),
    ]


def _group_words(row: dict[str, Any]) -> str:
    words = f"{row['count']} {row['group']}"
    if row["people"] != row["group"]:
        words += f" (drawn from {row['people']})"
    if row["admissions"]:
        words += f", {row['admissions']:g} admitted over the period"
    return words


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a table."""
    return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]


def _order(plan: StockPlan, say: Say) -> Shown:
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
    total = {
        "Size": "All",
        "Buy": order["order"].sum(),
        "Owned": order["owned"].sum(),
        "Then held": order["stock"].sum(),
        "Price of one": "",
        "Cost": money(plan.cost, plan.currency),
        "Load limit": "",
    }
    shown = pd.concat([shown, pd.DataFrame([total])], ignore_index=True)
    return shown, "What to buy", ("Size",)


def _service(plan: StockPlan) -> Shown:
    rows = records(plan.service)
    shown = pd.DataFrame(
        {
            "What": [SERVICE[row["measure"]] for row in rows],
            "Estimate": [_number(row, "estimate") for row in rows],
            "Likely between": [
                f"{_number(row, 'low')} and {_number(row, 'high')}" for row in rows
            ],
        }
    )
    return (
        shown,
        "What the order does, on days simulated afresh: shares with 95 % intervals, "
        "numbers as 9 such services of 10 would see them",
        ("What",),
    )


def _number(row: dict[str, Any], column: str) -> str:
    if row["measure"] in SHARES:
        return percent(row[column])
    # Of one service, so in whole people and slings, its ends outwards.
    if column == "estimate":
        return f"{row[column]:,.1f}"
    low = column == "low"
    return (
        f"{math.floor(row[column] + 0.05) if low else math.ceil(row[column] - 0.05):,}"
    )


def _compared(plan: StockPlan) -> Shown:
    rows = records(plan.comparison)
    first = "The same money spent"
    shown = pd.DataFrame(
        {
            first: [strategy_words(row["strategy"]) for row in rows],
            "Slings": [row["slings"] for row in rows],
            "Cost": [money(row["cost"], plan.currency) for row in rows],
            "Needs met": [percent(row["needs_met"]) for row in rows],
            "Days nobody waits": [percent(row["nobody_waits"]) for row in rows],
            "The plan meets more, points": [
                ""
                if row["strategy"] == "plan"
                else f"{100 * row['estimate']:.0f} ({100 * row['low']:.0f} to "
                f"{100 * row['high']:.0f})"
                for row in rows
            ],
        }
    )
    return shown, "Side by side; the same people on the same days", (first,)


def _one(plan: StockPlan) -> Shown:
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
    return shown, caption, ("Size",)


def _points(value: float) -> str:
    if pd.isna(value):
        return "none held"
    return "none" if abs(value) < 5e-4 else f"{100 * value:+.1f}"


def _robust(plan: StockPlan, units: str) -> Shown:
    rows = records(plan.robustness)
    first, say = "If the people are", partial(written, units=units)
    shown = pd.DataFrame(
        {
            first: [f"{r['people']}: {told(r['shift'], say)}" for r in rows],
            "Days nobody waits": [
                f"{percent(r['estimate'])} ({100 * r['low']:.0f} to "
                f"{100 * r['high']:.0f})"
                for r in rows
            ],
            "Needs met": [percent(r["needs_met"]) for r in rows],
            "Who fits no size": [f"{r['not_fitted']:.1f}" for r in rows],
        }
    )
    if plan.target is not None:
        shown["Cost to keep the target"] = [
            "out of reach" if pd.isna(r["cost"]) else money(r["cost"], plan.currency)
            for r in rows
        ]
    return shown, "The same order if the people differ", (first,)


def _who(row: dict[str, Any]) -> str:
    if pd.isna(row["client"]):
        return str(row["group"])
    return f"{row['group']}, row {row['client']:.0f}"


def _unfitted(plan: StockPlan, say: Say) -> Shown:
    labels = vocabulary().set_index("name")["label"]
    rows = records(plan.not_fitted.head(_KINDS_SHOWN))
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
    return shown, caption, ("Group", "Why", "Nearest size", "It is", "In")


def _miss(row: dict[str, Any], say: Say) -> str:
    measure = str(row["failing_measure"])
    if pd.isna(row["miss_median"]) or not measure.endswith(("_cm", "_kg")):
        return ""
    return say(row["miss_median"], measure, to="tenth")
