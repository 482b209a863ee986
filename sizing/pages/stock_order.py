"""The order to hand over: a list, a workbook, and one A4 page that is signed."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import SizingError
from sizing.files.writing import csv_bytes, rounded, workbook_bytes, write_bytes
from sizing.measures import led_by, pattern_words
from sizing.pages.page import template
from sizing.pages.stock import inputs_of, own_order_list, shown_tables
from sizing.pages.stock_kept import CLIENTS, kept_sheets
from sizing.resources import cautions, invented_words, texts
from sizing.stock import StockPlan
from sizing.stock.result import DAY, NO_SLING, strategy_words
from sizing.words.numbers import given

_T = texts("stock_page")
_ORDER: dict[str, str] = _T.book
#: Sizes beyond which the letters are smaller, as they are where a pattern of sling is
#: named, and beyond which the workbook has the rest; kinds of people whom nothing fits
#: that are listed (our choice: one page).
_FEW, _MOST, _KINDS = 11, 17, 3


def order_list(plan: StockPlan) -> pd.DataFrame:
    order: pd.DataFrame = rounded(plan.order.drop(columns=["key", *_no_code(plan)]))
    return _warned(plan, order, "invented")


def _no_code(plan: StockPlan) -> list[str]:
    return [] if plan.order["code"].any() else ["code"]


def _warned(plan: StockPlan, order: pd.DataFrame, heading: str) -> pd.DataFrame:
    """What is invented stands first in every row, so that no row is ordered by."""
    if words := invented_words(*plan.invented):
        order.insert(0, heading, words)
    return order


def write_order(
    plan: StockPlan, path: str | Path, *, pattern: str | None = None
) -> None:
    path = Path(path)
    if path.suffix.lower() not in (".csv", ".xlsx") or not path.parent.is_dir():
        say = _T.sheet
        raise SizingError(
            say["place"], allowed=say["ending"], action=say["other"], file=str(path)
        )
    listed = path.suffix.lower() == ".csv"
    made = csv_bytes(order_list(plan)) if listed else order_book(plan, pattern=pattern)
    write_bytes(path, made)


def order_book(plan: StockPlan, *, pattern: str | None = None) -> bytes:
    """Return the plan as a workbook, whose first sheet is read back as prices."""
    sign, shown, say = plan.currency, shown_tables(plan), _T.sheet
    amount = f'"{sign}{" " * sign.isalpha()}"#,##0.00' if sign else "#,##0.00"
    assumed = [
        *((say["what"], words) for words in (plan.answer(), plan.proof())),
        *(
            (what, f"{mean} (probably {'between ' * (' and ' in ends)}{ends})")
            for what, mean, ends in shown["service"].rows
        ),
        *inputs_of(plan),
        *(
            (f"{way}, a year: {item}", f"{cost}{f' ({a} to {b})' * (a != b)}; {source}")
            for way, item, cost, a, b, source in shown["yearly"].rows
        ),
        (say["years"], plan.yearly_words()),
        *(("Source", line) for line in plan.sources),
    ]
    kept = kept_sheets(plan, pattern=pattern)
    # A cell that begins with a dash would be shown with a mark before it.
    told = _led(plan, pattern, plan.summary()).splitlines()
    notes = [say["clients"]] * any(name.startswith(CLIENTS) for name in kept)
    notes += [line.removeprefix("- ") for line in told]
    sheets = {
        "Order": _bought(plan),
        "By service": _by_service(plan),
        "Scenarios": _scenarios(plan),
        "Assumptions": pd.DataFrame(assumed, columns=["What", "As planned"]),
        "Notes": pd.DataFrame({"Notes": notes}),
        **kept,
    }
    formats = {heading: of or amount for heading, of in _T.formats.items()}
    return workbook_bytes(rounded(sheets), formats=formats)


def _led(plan: StockPlan, pattern: str | None, text: str) -> str:
    return led_by(pattern_words(pattern, plan.limited), text) if pattern else text


def _bought(plan: StockPlan) -> pd.DataFrame:
    one = ["chart"] * (len(plan.charts) == 1)
    order = plan.order[list(_ORDER)].drop(columns=[*one, *_no_code(plan)])
    order = order.rename(columns=_ORDER).astype(object)
    sums = ("Buy", "Owned before", "Then held", "Cost")
    total = {"Size": "Total", **{name: order[name].sum() for name in sums}}
    made = pd.concat([order, pd.DataFrame([total], dtype=object)], ignore_index=True)
    return _warned(plan, made.where(made.notna(), None), "Invented")


def _by_service(plan: StockPlan) -> pd.DataFrame:
    left = plan.not_fitted.groupby("group")["estimate"].sum()
    unfitted = plan.groups["group"].map(left).fillna(0.0)
    made = plan.groups.assign(unfitted=unfitted)[list(_T.groups)]
    made = made.rename(columns=_T.groups)
    if plan.services.empty:
        return made
    stores = _T.columns["services"]
    own = plan.services.set_index("service")
    own = own.reindex(columns=["slings", "cost", "nobody_waits", "needs_met"])
    sizes = own_order_list(plan).set_index("Size").T.add_prefix("Buy of ")
    own = own.rename(columns=stores).join(sizes).rename_axis("Service").reset_index()
    made = made.merge(own, on="Service", how="left")
    return pd.concat([made, own.tail(2)], ignore_index=True)


def _scenarios(plan: StockPlan) -> pd.DataFrame:
    curve, variants, say = plan.curve, plan.variants, _T.sheet
    # The first of these is the plan itself.
    others, people = plan.comparison[1:], plan.robustness[1:]
    goals = [f"target {given(target)} of {plan.aim}" for target in curve["target"]]
    ways = map(strategy_words, others["strategy"])
    shifts = people[["people", "shift"]].to_dict("records")
    named: list[tuple[pd.DataFrame, Any]] = [
        (curve, pd.Series(goals).mask(curve["plan"], say["this"])),
        (variants, variants["sizes"].astype(str) + " sizes, " + variants["scenario"]),
        (others, [say["same"].format(way=way) for way in ways]),
        (
            people.assign(nobody_waits=people["estimate"]),
            [say["shifted"].format_map(row) for row in shifts],
        ),
    ]
    rows = [
        part.assign(scenario=words).reindex(columns=list(_T.scenarios)).astype(object)
        for part, words in named
    ]
    made = pd.concat(rows, ignore_index=True).rename(columns=_T.scenarios)
    return made.where(made.notna(), None)


def order_sheet(
    plan: StockPlan, *, units: str = "metric", pattern: str | None = None
) -> str:
    """Return order, cost, who is not served and what is assumed, on one page."""
    shown = shown_tables(plan, units=units)
    *rows, total = shown["order"].rows
    bought = [rows[at] for at in np.flatnonzero(plan.order["order"])]
    unfitted = shown["not_fitted"].rows if "not_fitted" in shown else ()
    return template("stock_sheet.html.j2").render(
        answer=_led(plan, pattern, plan.answer()),
        order=shown["order"],
        rows=[*bought[:_MOST], total],
        sizes=len(bought),
        left_out=_ORDER["price"],
        unfitted=unfitted[:_KINDS],
        rest=plan.not_fitted["estimate"][_KINDS:].sum(),
        inputs=inputs_of(plan),
        plan=plan,
        trusted=[plan.proof(), DAY, NO_SLING],
        cautions=cautions(),
        points=8.5 if len(bought) <= _FEW and not pattern else 7.5,
    )
