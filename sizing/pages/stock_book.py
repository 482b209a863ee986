"""What stands on the sheets of a purchaser's workbook."""

import pandas as pd

from sizing.pages.stock_tables import inputs_of, shown_tables, strategy_words
from sizing.stock import StockPlan
from sizing.words.numbers import share

_ORDER = {
    "size": "Size",
    "chart": "Chart",
    "code": "Supplier's code",
    "order": "Buy",
    "pack": "Sold in packs of",
    "owned": "Owned before",
    "stock": "Then held",
    "price": "Price of one",
    "cost": "Cost",
    "load_limit_kg": "Load limit (kg)",
}


def book_sheets(plan: StockPlan) -> dict[str, pd.DataFrame]:
    """Return the sheets by name: numbers as numbers, shares from 0 to 1.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> from sizing.stock import Served, plan_stock
    >>> prices = pd.DataFrame({"size": demo_chart().sizes, "price": 100.0})
    >>> home = Served(load_people("care_home", draws=1), 5)
    >>> plan = plan_stock(home, demo_chart(), prices=prices, scenarios=50)
    >>> list(book_sheets(plan))
    ['Order', 'By service', 'Scenarios', 'Assumptions', 'Notes']
    """
    assumed = [("What it does", words) for words in (plan.answer(), plan.proof())]
    does, *_ = shown_tables(plan)["service"]
    assumed += [
        (row["What"], f"{row['Estimate']} (likely {row['Likely between']})")
        for _, row in does.iterrows()
    ]
    assumed += inputs_of(plan)
    assumed += [("Source", line) for line in plan.sources]
    return {
        "Order": _order(plan),
        "By service": _by_service(plan),
        "Scenarios": _scenarios(plan),
        "Assumptions": pd.DataFrame(assumed, columns=["What", "As planned"]),
        "Notes": pd.DataFrame({"Notes": plan.summary().splitlines()}),
    }


def _order(plan: StockPlan) -> pd.DataFrame:
    order = plan.order[list(_ORDER)].rename(columns=_ORDER).astype(object)
    sums = ("Buy", "Owned before", "Then held", "Cost")
    total = {"Size": "Total", **{name: order[name].sum() for name in sums}}
    made = pd.concat([order, pd.DataFrame([total], dtype=object)], ignore_index=True)
    made = made.astype(object).where(made.notna(), None)
    if len(set(plan.order["chart"])) == 1:
        made = made.drop(columns="Chart")
    return made if plan.order["code"].any() else made.drop(columns="Supplier's code")


def _by_service(plan: StockPlan) -> pd.DataFrame:
    left = plan.not_fitted.groupby("group")["estimate"].sum()
    groups = plan.groups
    return pd.DataFrame(
        {
            "Service": groups["group"],
            "People like": groups["people"],
            "How many on one day": groups["count"],
            "Admitted over the period": groups["admissions"],
            "Fitted by no size, on an average day": groups["group"]
            .map(left)
            .fillna(0.0),
        }
    )


def _scenarios(plan: StockPlan) -> pd.DataFrame:
    rows = [
        (
            "this order" if row["plan"] else f"target {share(row['target'])} of days",
            1 - row["estimate"],
            None,
            row["slings"],
            row["cost"],
        )
        for _, row in plan.curve.iterrows()
    ]
    rows += [
        (
            f"the same money {strategy_words(row['strategy'])}",
            row["nobody_waits"],
            row["needs_met"],
            row["slings"],
            row["cost"],
        )
        for _, row in plan.comparison.iterrows()
        if row["strategy"] != "plan"
    ]
    rows += [
        (
            f"this order, people {row['people']}: {row['shift']} (cost: of an order "
            "that keeps the target for them)",
            row["estimate"],
            row["needs_met"],
            None,
            None if pd.isna(row["cost"]) else row["cost"],
        )
        for _, row in plan.robustness.iterrows()
        if row["people"] != "as planned"
    ]
    names = ["Scenario", "Days nobody waits", "Needs met", "Slings", "Cost"]
    return pd.DataFrame(rows, columns=names)
