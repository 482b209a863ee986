"""The page a purchaser puts before a budget holder, and the order list."""

from pathlib import Path

import pandas as pd
from matplotlib.axes import Axes

from sizing.cautions import invented_words
from sizing.errors import Problem, SizingError
from sizing.files.writing import csv_bytes, rounded, workbook_bytes, write_bytes
from sizing.pages.page import Page, Picture, Section, Table, picture, render, table
from sizing.pages.stock_book import book_sheets
from sizing.pages.stock_tables import (
    Shown,
    inputs_of,
    records,
    shown_tables,
    strategy_words,
)
from sizing.plots.stock import (
    plot_comparison,
    plot_cost_curve,
    plot_demand,
    plot_shortages,
)
from sizing.plots.style import figure_of, percent
from sizing.stock import StockPlan
from sizing.stock.result import DAY, NO_SLING

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


def write_order(plan: StockPlan, path: str | Path) -> None:
    """Write the order list to a CSV or XLSX file."""
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
    write_bytes(path, order_book(plan))


def order_book(plan: StockPlan) -> bytes:
    """Return the plan as a workbook: order, services, scenarios, assumptions, notes.

    Its first sheet is read back as prices next year: "Then held" is then owned.
    """
    sign = plan.currency
    amount = f'"{sign}{" " * sign.isalpha()}"#,##0.00' if sign else "#,##0.00"
    formats = dict.fromkeys(("Price of one", "Cost"), amount)
    formats |= dict.fromkeys(("Buy", "Owned before", "Then held", "Slings"), "#,##0")
    formats |= dict.fromkeys(("Days nobody waits", "Needs met"), "0.0%")
    formats |= dict.fromkeys(("Fitted by no size, on an average day",), "#,##0.0")
    sheets = book_sheets(plan)
    words = invented_words(*plan.invented)
    if words:
        sheets["Order"].insert(0, "Invented", words)
    return workbook_bytes(rounded(sheets), formats=formats)


def stock_page(plan: StockPlan, *, units: str = "metric") -> str:
    """Return the plan as one HTML page that prints.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> from sizing.stock import Served, plan_stock
    >>> prices = pd.DataFrame({"size": demo_chart().sizes, "price": 100.0})
    >>> home = Served(load_people("care_home", draws=1), 5)
    >>> plan = plan_stock(home, demo_chart(), prices=prices, scenarios=50)
    >>> "Before any lift" in stock_page(plan)
    True
    """
    shown = shown_tables(plan, units=units)
    drawn = {name: _picture(plan, name, ax) for name, ax in axes_of(plan).items()}
    unfitted = (_table(shown["not_fitted"]),) if "not_fitted" in shown else ()
    sections = (
        Section(
            "The order",
            words=(plan.proof(),),
            tables=(_table(shown["order"]), _table(shown["service"])),
        ),
        Section(
            "The same money spent otherwise",
            figures=(drawn["comparison"],),
            tables=(_table(shown["comparison"]),),
        ),
        Section(
            "What is needed, and what runs short",
            figures=(drawn["demand"], drawn["shortages"]),
        ),
        Section(
            "What more or less money does",
            figures=(drawn["cost_curve"],),
            tables=(_table(shown["one_more_or_less"]), _table(shown["robustness"])),
        ),
        Section(
            "Who fits no size",
            words=(
                "More stock does not help people who fit no size offered. Look for "
                "another pattern or one made to measure; the table says by what they "
                "miss.",
            ),
            tables=unfitted,
        ),
    )
    page = Page(
        title="Which slings to stock",
        question=QUESTION,
        answer=plan.answer(),
        inputs=inputs_words(plan),
        sections=sections,
        limits=(NO_SLING, DAY, *plan.limits),
        sources=plan.sources,
    )
    return render(page)


def inputs_words(plan: StockPlan) -> str:
    """Return what went into a plan, in words."""
    return " ".join(f"{what}: {words.rstrip('.')}." for what, words in inputs_of(plan))


def axes_of(plan: StockPlan) -> dict[str, Axes]:
    """Return the pictures of a plan by name, in the order of the page."""
    return {
        "comparison": plot_comparison(
            plan.comparison.assign(
                strategy=plan.comparison["strategy"].map(strategy_words)
            )
        ),
        "demand": plot_demand(plan.demand, plan.order),
        "shortages": plot_shortages(plan.shortages),
        "cost_curve": plot_cost_curve(plan.curve),
    }


def pictures_of(plan: StockPlan) -> list[Picture]:
    """Return the pictures of a plan, with their words, in the order of the page."""
    return [_picture(plan, name, ax) for name, ax in axes_of(plan).items()]


def _picture(plan: StockPlan, name: str, ax: Axes) -> Picture:
    return picture(figure_of(ax), alt=_alt(plan, name), caption=_CAPTIONS[name])


def _alt(plan: StockPlan, name: str) -> str:
    """Return the words that stand for a picture."""
    if name == "comparison":
        rows = records(plan.comparison)
        told = ", ".join(
            f"{strategy_words(r['strategy'])} {percent(r['needs_met'])}" for r in rows
        )
        return f"Bars of the needs met by the same money: {told}."
    if name == "demand":
        fits = records(plan.demand[plan.demand["share"] == "fits"])
        held = dict(zip(plan.order["key"], plan.order["stock"], strict=True))
        told = ", ".join(
            f"{r['key']} fits {r['estimate']:.0f} people, {held[r['key']]} held"
            for r in fits
        )
        return f"Each size on an average day, and the slings held: {told}."
    if name == "shortages":
        worst = max(records(plan.shortages), key=lambda row: row["estimate"])
        return (
            "Chance of being short by size; the largest is "
            f"{worst['key']}, {percent(worst['estimate'])} of days."
        )
    told = ", ".join(
        f"{r['cost']:,.0f}: {percent(r['estimate'])}" for r in records(plan.curve)
    )
    return f"Days on which somebody waits, by cost: {told}."


def _table(shown: Shown) -> Table:
    frame, caption, words = shown
    return table(frame, caption=caption, words=words)
