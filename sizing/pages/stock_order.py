"""The order to hand over: a list, a workbook, and one A4 page that is signed."""

from pathlib import Path
from typing import Any

import pandas as pd

from sizing.errors import SizingError
from sizing.files.writing import csv_bytes, rounded, workbook_bytes, write_bytes
from sizing.measures import led_by, pattern_words
from sizing.pages.page import Table, template
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
_FEW, _MOST, _KINDS = 12, 18, 3


def order_list(plan: StockPlan) -> pd.DataFrame:
    """What is invented stands first in every row, so that no row is ordered by."""
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
        say = _T.sheet
        raise SizingError(
            say["place"], allowed=say["ending"], action=say["other"], file=str(path)
        )
    listed = path.suffix.lower() == ".csv"
    made = csv_bytes(order_list(plan)) if listed else order_book(plan, pattern=pattern)
    write_bytes(path, made)


def order_book(plan: StockPlan, *, pattern: str | None = None) -> bytes:
    """Return the plan as a workbook: order, services, scenarios, assumptions, notes.

    Its first sheet is read back as prices, what was entered is in the last ones.
    """
    sign, shown, say = plan.currency, shown_tables(plan), _T.sheet
    amount = f'"{sign}{" " * sign.isalpha()}"#,##0.00' if sign else "#,##0.00"
    formats = dict.fromkeys(("Price of one", "Cost"), amount)
    formats |= dict.fromkeys(("Buy", "Owned before", "Then held", "Slings"), "#,##0")
    formats |= dict.fromkeys(("Days nobody waits", "Needs met"), "0.0%")
    formats |= {_T.groups["unfitted"]: "#,##0.0"}
    assumed = [
        *((say["what"], words) for words in (plan.answer(), plan.proof())),
        *((w, f"{e} (probably {_between(b)})") for w, e, b in shown["service"].rows),
        *inputs_of(plan),
        *(
            (f"{way}, a year: {item}", f"{cost}{_ends(low, high)}; {source}")
            for way, item, cost, low, high, source in shown["yearly"].rows
        ),
        (say["years"], plan.yearly_words()),
        *(("Source", line) for line in plan.sources),
    ]
    kept = kept_sheets(plan, pattern=pattern)
    # A cell that begins with a dash would be shown with a mark before it.
    told = _led(plan, pattern, plan.summary()).splitlines()
    notes = [line.removeprefix("- ") for line in told]
    if any(name.startswith(CLIENTS) for name in kept):
        notes.insert(0, say["clients"])
    sheets = {
        "Order": _bought(plan),
        "By service": _by_service(plan),
        "Scenarios": _scenarios(plan),
        "Assumptions": pd.DataFrame(assumed, columns=["What", "As planned"]),
        "Notes": pd.DataFrame({"Notes": notes}),
        **kept,
    }
    return workbook_bytes(rounded(sheets), formats=formats)


def _between(ends: str) -> str:
    return f"between {ends}" if " and " in ends else ends


def _ends(low: str, high: str) -> str:
    return "" if low == high else f" ({low} to {high})"


def _led(plan: StockPlan, pattern: str | None, text: str) -> str:
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
    curve, others, people = plan.curve, plan.comparison, plan.robustness
    others = others[others["strategy"] != "plan"]
    people = people[people["people"] != "as planned"]
    own, say = curve["plan"], _T.sheet
    goals = [f"target {given(target)} of {plan.aim}" for target in curve["target"]]
    number = plan.variants["sizes"].astype(str) + " sizes, "
    named: list[tuple[pd.DataFrame, Any]] = [
        (curve, pd.Series(goals).mask(own, say["this"])),
        (plan.variants, number + plan.variants["scenario"]),
        (
            others,
            [say["same"].format(way=strategy_words(s)) for s in others["strategy"]],
        ),
        (
            people.assign(nobody_waits=people["estimate"]),
            [say["shifted"].format_map(row) for row in people.to_dict("records")],
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
    shown, say = shown_tables(plan, units=units), _T.sheet
    order = shown["order"]
    # The last row holds the sums.
    bought = [*(plan.order["order"] > 0), True]
    rows = [row for row, some in zip(order.rows, bought, strict=True) if some]
    caption = order.caption
    if len(rows) > _MOST:
        caption += say["first"].format(some=_MOST - 1, all=len(rows) - 1)
        rows = [*rows[: _MOST - 1], rows[-1]]
    price = [column.name for column in order.columns].index(_ORDER["price"])
    columns = (*order.columns[:price], *order.columns[price + 1 :])
    kept = tuple((*row[:price], *row[price + 1 :]) for row in rows)
    assumed = [f"{what}: {words}" for what, words in inputs_of(plan)]
    parts = (
        (say["served"], _not_served(plan, shown.get("not_fitted"))),
        (say["assumes"], [*assumed, plan.yearly_words()]),
        (say["trusted"], [plan.proof(), DAY, NO_SLING]),
    )
    return template("stock_sheet.html.j2").render(
        title=say["title"],
        answer=_led(plan, pattern, plan.answer()),
        table=Table(caption, columns, kept),
        parts=parts,
        cautions=cautions(),
        points=8.5 if len(rows) <= _FEW and not pattern else 7.5,
    )


def _not_served(plan: StockPlan, unfitted: Table | None) -> list[str]:
    say, lines = _T.sheet, []
    if unfitted is None:
        return [say["nobody"]]
    for group, why, nearest, direction, measure, _, people, _ in unfitted.rows[:_KINDS]:
        line = say["people"].format(group=group, people=people, why=why.lower())
        if nearest:
            line += say["nearest"].format(
                nearest=nearest, direction=direction, measure=measure.lower()
            )
        lines.append(line)
    rest = plan.not_fitted["estimate"][_KINDS:].sum()
    if rest >= 0.05:
        lines.append(say["others"].format(rest=rest))
    return lines
