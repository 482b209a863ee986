"""The page a purchaser puts before a budget holder, and the order list."""

from pathlib import Path

import pandas as pd

from sizing.errors import Problem, SizingError
from sizing.fit import OUTCOME_WORDS
from sizing.measures import vocabulary
from sizing.plots.stock import (
    plot_comparison,
    plot_cost_curve,
    plot_demand,
    plot_shortages,
)
from sizing.report.page import Page, Section, Table, picture, render, table
from sizing.stock import SERVICE, StockPlan
from sizing.stock.result import DAY, NO_SLING
from sizing.writing import csv_bytes, workbook_bytes, write_bytes

QUESTION = (
    "Which sizes of sling should be stocked, and how many of each, so that almost "
    "nobody is without one that fits, for the least money?"
)
#: How many kinds of people whom no size fits are listed on the page.
_KINDS_SHOWN = 12
_DIRECTIONS = {
    "too_small_for": "too small",
    "too_large_for": "too large",
    "over_load": "load limit exceeded",
    "not_measured": "not measured",
}


def order_list(plan: StockPlan) -> pd.DataFrame:
    """Return the order list as it is written to a file: one row per size."""
    return plan.order.drop(columns="key")


def write_order(plan: StockPlan, path: str | Path) -> None:
    """Write the order list to a CSV or XLSX file.

    Raises
    ------
    SizingError
        If the name ends otherwise or the folder does not exist.
    """
    path = Path(path)
    if path.suffix.lower() not in (".csv", ".xlsx") or not path.parent.is_dir():
        raise SizingError(
            str(
                Problem(
                    "the order list cannot be written there",
                    "a name ending in .csv or .xlsx, in a folder that exists",
                    "name another file",
                    file=str(path),
                )
            )
        )
    if path.suffix.lower() == ".csv":
        write_bytes(path, csv_bytes(order_list(plan)))
        return
    notes = pd.DataFrame({"notes": plan.summary().splitlines()})
    write_bytes(path, workbook_bytes({"order": order_list(plan), "notes": notes}))


def stock_page(plan: StockPlan) -> str:
    """Return the plan as one HTML page that prints.

    Examples
    --------
    >>> from sizing.chart import demo_chart
    >>> from sizing.population import load_people
    >>> from sizing.stock import Served, plan_stock
    >>> prices = pd.DataFrame({"size": demo_chart().sizes, "price": 100.0})
    >>> home = Served(load_people("care_home", draws=1), 5)
    >>> plan = plan_stock(home, demo_chart(), prices=prices, scenarios=50)
    >>> "Before any lift" in stock_page(plan)
    True
    """
    goal = (
        f"a budget of {plan.budget:,.0f}"
        if plan.target is None
        else f"nobody waits on {100 * plan.target:g} % of days"
    )
    groups = "; ".join(
        f"{row['count']} {row['group']} (like {row['people']}"
        + (f", {row['admissions']:g} admissions" if row["admissions"] else "")
        + ")"
        for row in plan.groups.to_dict("records")
    )
    inputs = (
        f"Whom it serves: {groups}. {plan.use.summary()} Goal: {goal}. "
        f"{plan.settings['scenarios']:,} days drawn for planning, "
        f"{plan.settings['checks']:,} others for checking, seed "
        f"{plan.settings['seed']}."
    )
    page = Page(
        title="Which slings to stock",
        question=QUESTION,
        answer=plan.answer(),
        inputs=inputs,
        sections=(_order(plan), _compared(plan), _demand(plan), *_more(plan)),
        limits=(NO_SLING, DAY, *plan.limits),
        sources=plan.sources,
    )
    return render(page)


def _order(plan: StockPlan) -> Section:
    order = plan.order
    shown = pd.DataFrame(
        {
            "Size": order["key"],
            "Load limit (kg)": order["load_limit_kg"].map("{:g}".format),
            "Owned": order["owned"],
            "Order": order["order"],
            "Then held": order["stock"],
            "Price": order["price"].map("{:,.2f}".format),
            "Cost": order["cost"].map("{:,.2f}".format),
        }
    )
    total = {
        "Size": "All",
        "Owned": order["owned"].sum(),
        "Order": order["order"].sum(),
        "Then held": order["stock"].sum(),
        "Cost": f"{plan.cost:,.2f}",
    }
    shown = pd.concat([shown, pd.DataFrame([total])], ignore_index=True)
    service = pd.DataFrame(
        {
            "What": plan.service["measure"].map(SERVICE),
            "Estimate": [_number(row, "estimate") for row in _records(plan.service)],
            "95 % interval": [
                f"{_number(row, 'low')} to {_number(row, 'high')}"
                for row in _records(plan.service)
            ],
        }
    )
    return Section(
        "The order",
        words=(plan.proof(),),
        tables=(
            table(shown, caption="What to buy", words=("Size",)),
            table(service, caption="What it does, on fresh days", words=("What",)),
        ),
    )


def _records(frame: pd.DataFrame) -> list[dict]:
    return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]


def _number(row: dict, column: str) -> str:
    share = row["measure"] in ("nobody_waits", "needs_met")
    return f"{100 * row[column]:.1f} %" if share else f"{row[column]:.2f}"


def _compared(plan: StockPlan) -> Section:
    rows = _records(plan.comparison)
    shown = pd.DataFrame(
        {
            "The same money spent": [row["strategy"] for row in rows],
            "Slings": [row["slings"] for row in rows],
            "Cost": [f"{row['cost']:,.0f}" for row in rows],
            "Needs met": [f"{100 * row['needs_met']:.1f} %" for row in rows],
            "Days nobody waits": [f"{100 * row['nobody_waits']:.1f} %" for row in rows],
            "The plan meets more by (points)": [
                ""
                if row["strategy"] == "plan"
                else f"{100 * row['estimate']:.1f} ({100 * row['low']:.1f} to "
                f"{100 * row['high']:.1f})"
                for row in rows
            ],
        }
    )
    axes = plot_comparison(plan.comparison)
    told = ", ".join(f"{r['strategy']} {100 * r['needs_met']:.1f} %" for r in rows)
    return Section(
        "The same money spent otherwise",
        figures=(
            picture(
                axes.figure,  # type: ignore[arg-type]
                alt=f"Bars of the needs met by the same money: {told}.",
                caption="Every way of spending meets the same people on the same days.",
            ),
        ),
        tables=(table(shown, caption="Side by side", words=("The same money spent",)),),
    )


def _demand(plan: StockPlan) -> Section:
    axes = plot_demand(plan.demand, plan.order)
    short = plot_shortages(plan.shortages)
    fits = plan.demand[plan.demand["share"] == "fits"]
    told = ", ".join(f"{r['key']} {r['estimate']:.1f}" for r in _records(fits))
    worst = max(_records(plan.shortages), key=lambda row: row["estimate"])
    return Section(
        "What is needed, and what runs short",
        figures=(
            picture(
                axes.figure,  # type: ignore[arg-type]
                alt=f"People whom each size fits on a mean day: {told}.",
                caption="People who fit several sizes count in each; slings are "
                "handed out so that as few as possible wait.",
            ),
            picture(
                short.figure,  # type: ignore[arg-type]
                alt="Chance of being short by size; the largest is "
                f"{worst['key']}, {100 * worst['estimate']:.1f} % of days.",
                caption="Days on which someone waits whom one more sling of this "
                "size would serve.",
            ),
        ),
    )


def _more(plan: StockPlan) -> tuple[Section, ...]:
    curve = plot_cost_curve(plan.curve)
    change = plan.one_more_or_less
    more = change[change["change"] == 1].set_index("key")
    less = change[change["change"] == -1].set_index("key")
    one = pd.DataFrame(
        {
            "Size": list(more.index),
            "One more: days nobody waits": [
                f"{100 * v:+.2f} points" for v in more["nobody_waits_change"]
            ],
            "One less: days nobody waits": [
                f"{100 * v:+.2f} points" if pd.notna(v) else "none held"
                for v in less["nobody_waits_change"].reindex(more.index)
            ],
        }
    )
    rows = _records(plan.robustness)
    robust = pd.DataFrame(
        {
            "If the people are": [f"{r['people']} ({r['shift']})" for r in rows],
            "Days nobody waits": [
                f"{100 * r['estimate']:.1f} % ({100 * r['low']:.1f} to "
                f"{100 * r['high']:.1f})"
                for r in rows
            ],
            "Needs met": [f"{100 * r['needs_met']:.1f} %" for r in rows],
            "Not fitted": [f"{r['not_fitted']:.1f}" for r in rows],
            "Cost to keep the target": [
                f"{r['cost']:,.0f}" if pd.notna(r["cost"]) else "" for r in rows
            ],
        }
    )
    points = ", ".join(
        f"{r['cost']:,.0f}: {100 * r['estimate']:.1f} %" for r in _records(plan.curve)
    )
    left = plan.service.set_index("measure").loc["not_fitted"]
    return (
        Section(
            "What more or less money does",
            figures=(
                picture(
                    curve.figure,  # type: ignore[arg-type]
                    alt=f"Days on which somebody waits, by cost: {points}.",
                    caption="Each point is the cheapest order for a target, judged "
                    "on days it was not planned on.",
                ),
            ),
            tables=(
                table(one, caption="One sling more or less", words=("Size",)),
                table(
                    robust,
                    caption="The same order if the people differ",
                    words=("If the people are",),
                ),
            ),
        ),
        Section(
            "Whom no size fits",
            words=(
                f"On a mean day no size offered fits {left['estimate']:.1f} people: "
                "more stock does not help them. Look for another pattern or one made "
                "to measure; the table says by what they miss.",
            ),
            tables=(_unfitted(plan),) if len(plan.not_fitted) else (),
        ),
    )


def _who(row: dict) -> str:
    if pd.isna(row["client"]):
        return str(row["group"])
    return f"{row['group']}, row {row['client']:.0f}"


def _unfitted(plan: StockPlan) -> Table:
    labels = vocabulary().set_index("name")["label"]
    rows = _records(plan.not_fitted.head(_KINDS_SHOWN))
    shown = pd.DataFrame(
        {
            "Group": [_who(r) for r in rows],
            "Why": [OUTCOME_WORDS.get(str(r["outcome"]), "") for r in rows],
            "Nearest size": [r["nearest_size"] for r in rows],
            "is": [_DIRECTIONS.get(str(r["direction"]), "") for r in rows],
            "in": [
                str(labels.get(r["failing_measure"], r["failing_measure"]))
                for r in rows
            ],
            "by (median, cm or kg)": [f"{r['miss_median']:.1f}" for r in rows],
            "People": [f"{r['estimate']:.1f}" for r in rows],
            "90 % of days": [f"{r['low']:.0f} to {r['high']:.0f}" for r in rows],
        }
    )
    rest = plan.not_fitted["estimate"][_KINDS_SHOWN:].sum()
    caption = f"The commonest kinds; {rest:.1f} people more are of rarer kinds"
    return table(
        shown, caption=caption, words=("Group", "Why", "Nearest size", "is", "in")
    )
