"""The order to hand over: a list, a workbook, and one A4 page that is signed."""

from pathlib import Path

import pandas as pd

from sizing.cautions import cautions, invented_words
from sizing.errors import Problem, SizingError
from sizing.files.writing import csv_bytes, rounded, workbook_bytes, write_bytes
from sizing.measures.patterns import led_by, pattern_words
from sizing.pages.page import Table, template
from sizing.pages.stock import inputs_of
from sizing.pages.stock_kept import kept_sheets
from sizing.pages.stock_tables import OF_STORES, own_order_list, shown_tables
from sizing.stock import StockPlan
from sizing.stock.result import DAY, NO_SLING, strategy_words
from sizing.words.numbers import given

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
#: Sizes beyond which the letters are smaller, as they are where a pattern of sling is
#: named, and beyond which the workbook has the rest; kinds of people whom nothing fits
#: that are listed (our choice: one page).
_FEW, _MOST, _KINDS = 12, 18, 3


def order_list(plan: StockPlan) -> pd.DataFrame:
    """Return the order list as it is written to a file: one row per size.

    What is invented stands first in every row, so that no row is ordered by.
    """
    order: pd.DataFrame = rounded(plan.order.drop(columns="key"))
    if not order["code"].any():
        order = order.drop(columns="code")
    words = invented_words(*plan.invented)
    if words:
        order.insert(0, "invented", words)
    return order


def write_order(
    plan: StockPlan, path: str | Path, *, pattern: str | None = None
) -> None:
    """Write the order list to a CSV file, or the workbook to an XLSX file."""
    path = Path(path)
    if path.suffix.lower() not in (".csv", ".xlsx") or not path.parent.is_dir():
        problem = Problem(
            "the order list cannot be written there",
            "a name ending in .csv or .xlsx, in a folder that exists",
            "name another file",
            file=str(path),
        )
        raise SizingError(str(problem))
    listed = path.suffix.lower() == ".csv"
    book = b"" if listed else order_book(plan, pattern=pattern)
    write_bytes(path, csv_bytes(order_list(plan)) if listed else book)


def order_book(plan: StockPlan, *, pattern: str | None = None) -> bytes:
    """Return the plan as a workbook: order, services, scenarios, assumptions, notes.

    Its first sheet is read back as prices next year: "Then held" is then owned. What
    was entered is in the last three, for ``reopened``.
    Numbers are numbers there, shares from 0 to 1.
    """
    sign = plan.currency
    amount = f'"{sign}{" " * sign.isalpha()}"#,##0.00' if sign else "#,##0.00"
    formats = dict.fromkeys(("Price of one", "Cost"), amount)
    formats |= dict.fromkeys(("Buy", "Owned before", "Then held", "Slings"), "#,##0")
    formats |= dict.fromkeys(("Days nobody waits", "Needs met"), "0.0%")
    formats |= {"Fitted by no size, on an average day": "#,##0.0"}
    assumed = [("What it does", words) for words in (plan.answer(), plan.proof())]
    assumed += [
        (what, f"{estimate} (likely {between})")
        for what, estimate, between in shown_tables(plan)["service"].rows
    ]
    assumed += inputs_of(plan)
    assumed += [
        (f"{way}, a year: {item}", f"{cost} ({low} to {high}); {source}")
        for way, item, cost, low, high, source in shown_tables(plan)["yearly"].rows
    ]
    assumed += [("Over the years", plan.yearly_words())]
    assumed += [("Source", line) for line in plan.sources]
    sheets = {
        "Order": _bought(plan),
        "By service": _by_service(plan),
        "Scenarios": _scenarios(plan),
        "Assumptions": pd.DataFrame(assumed, columns=["What", "As planned"]),
        "Notes": pd.DataFrame(
            {"Notes": _led(plan, pattern, plan.summary()).splitlines()}
        ),
        **kept_sheets(plan, pattern=pattern),
    }
    return workbook_bytes(rounded(sheets), formats=formats)


def _led(plan: StockPlan, pattern: str | None, text: str) -> str:
    """Lead a text by what to know of the pattern of sling, if one is named."""
    return led_by(pattern_words(pattern, plan.limited), text) if pattern else text


def _bought(plan: StockPlan) -> pd.DataFrame:
    order = plan.order[list(_ORDER)].rename(columns=_ORDER).astype(object)
    sums = ("Buy", "Owned before", "Then held", "Cost")
    total = {"Size": "Total", **{name: order[name].sum() for name in sums}}
    made = pd.concat([order, pd.DataFrame([total], dtype=object)], ignore_index=True)
    made = made.astype(object).where(made.notna(), None)
    if len(set(plan.order["chart"])) == 1:
        made = made.drop(columns="Chart")
    if not plan.order["code"].any():
        made = made.drop(columns="Supplier's code")
    words = invented_words(*plan.invented)
    if words:
        made.insert(0, "Invented", words)
    return made


def _by_service(plan: StockPlan) -> pd.DataFrame:
    left = plan.not_fitted.groupby("group")["estimate"].sum()
    unfitted = plan.groups["group"].map(left).fillna(0.0)
    names = {
        "group": "Service",
        "people": "People like",
        "count": "How many on one day",
        "admissions": "Admitted over the period",
    }
    made = plan.groups[list(names)].rename(columns=names)
    made = made.assign(**{"Fitted by no size, on an average day": unfitted})
    made["Rules of its own"] = plan.groups["use"]
    if plan.services.empty:
        return made
    own = plan.services.set_index("service").reindex(columns=list(OF_STORES)[:-1])
    own = own.rename(columns=OF_STORES)
    sizes = own_order_list(plan).set_index("Size").T.add_prefix("Buy of ")
    own = own.join(sizes).rename_axis("Service").reset_index()
    made = made.merge(own, on="Service", how="left")
    return pd.concat([made, own.tail(2)], ignore_index=True)


def _scenarios(plan: StockPlan) -> pd.DataFrame:
    curve, others, people = plan.curve, plan.comparison, plan.robustness
    goals = [
        "this order" if own else f"target {given(target)} of {plan.aim}"
        for own, target in zip(curve["plan"], curve["target"], strict=True)
    ]
    curve = curve.assign(scenario=goals)
    others = others[others["strategy"] != "plan"]
    ways = "the same money " + others["strategy"].map(strategy_words)
    people = people[people["people"] != "as planned"]
    words = [
        f"this order, people {row.people}: {row.shift} (cost: of an order that keeps "
        "the target for them)"
        for row in people.itertuples()
    ]
    changed = plan.variants["scenario"]
    number = plan.variants["sizes"].astype(str) + " sizes, "
    parts = [
        curve,
        plan.variants.assign(scenario=number + changed),
        others.assign(scenario=ways),
        people.assign(scenario=words, nobody_waits=people["estimate"]),
    ]
    names = {
        "scenario": "Scenario",
        "nobody_waits": "Days nobody waits",
        "needs_met": "Needs met",
        "slings": "Slings",
        "cost": "Cost",
    }
    rows = [part.reindex(columns=list(names)).astype(object) for part in parts]
    made = pd.concat(rows, ignore_index=True).rename(columns=names)
    return made.where(made.notna(), None)


def order_sheet(
    plan: StockPlan, *, units: str = "metric", pattern: str | None = None
) -> str:
    """Return order, cost, who is not served and what is assumed, on one page."""
    shown = shown_tables(plan, units=units)
    order = shown["order"]
    # The last row holds the sums.
    bought = [*(plan.order["order"] > 0), True]
    rows = [row for row, some in zip(order.rows, bought, strict=True) if some]
    caption = order.caption
    if len(rows) > _MOST:
        caption += (
            f": the first {_MOST - 1} of {len(rows) - 1} sizes; all in the workbook"
        )
        rows = [*rows[: _MOST - 1], rows[-1]]
    price = [column.name for column in order.columns].index("Price of one")
    columns = (*order.columns[:price], *order.columns[price + 1 :])
    kept = tuple((*row[:price], *row[price + 1 :]) for row in rows)
    parts = (
        ("Who is not served", _not_served(plan, shown.get("not_fitted"))),
        (
            "What it assumes",
            [f"{what}: {said}" for what, said in inputs_of(plan)]
            + [plan.yearly_words()],
        ),
        ("How far it may be trusted", [plan.proof(), DAY, NO_SLING]),
    )
    return template("stock_sheet.html.j2").render(
        title="Order of slings",
        answer=_led(plan, pattern, plan.answer()),
        table=Table(caption, columns, kept),
        parts=parts,
        cautions=cautions(),
        points=8.5 if len(rows) <= _FEW and not pattern else 7.5,
    )


def _not_served(plan: StockPlan, unfitted: Table | None) -> list[str]:
    """Return a line for each of the commonest kinds of people whom nothing fits."""
    if unfitted is None:
        return ["nobody"]
    lines = []
    for group, why, nearest, direction, measure, _, people, _ in unfitted.rows[:_KINDS]:
        line = f"{group}: {people} people on an average day; {why.lower()}"
        if nearest:
            line += f"; nearest is {nearest} ({direction}: {measure.lower()})"
        lines.append(line)
    rest = plan.not_fitted["estimate"][_KINDS:].sum()
    if rest >= 0.05:
        lines.append(f"of other kinds: {rest:.1f} people on an average day")
    return lines
