"""The order on one A4 page, for whoever signs it; the report stands behind it."""

from functools import cache
from importlib.resources import files

import jinja2

from sizing.cautions import cautions
from sizing.pages.page import table
from sizing.pages.stock_tables import inputs_of, records, shown_tables
from sizing.stock import StockPlan
from sizing.stock.result import DAY, NO_SLING

#: Sizes beyond which the letters are smaller, and beyond which the workbook has the
#: rest; kinds of people whom nothing fits that are listed (our choice: one page).
_FEW, _MOST, _KINDS = 12, 18, 3


def order_sheet(plan: StockPlan, *, units: str = "metric") -> str:
    """Return the order, its cost, who is not served and what it assumes, on one page.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> from sizing.stock import Served, plan_stock
    >>> import pandas as pd
    >>> prices = pd.DataFrame({"size": demo_chart().sizes, "price": 100.0})
    >>> home = Served(load_people("care_home", draws=1), 5)
    >>> sheet = order_sheet(plan_stock(home, demo_chart(), prices=prices, scenarios=50))
    >>> "Approved by" in sheet and "Before any lift" in sheet
    True
    """
    shown = shown_tables(plan, units=units)
    frame, caption, words = shown["order"]
    bought = (plan.order["order"] > 0).tolist()
    # The last row holds the sums.
    rows = frame[[*bought, True]].drop(columns="Price of one")
    if len(rows) > _MOST:
        rows = rows.iloc[[*range(_MOST - 1), -1]]
        caption += (
            f": the first {_MOST - 1} of {sum(bought)} sizes; all in the workbook"
        )
    left = (
        [
            f"{row['Group']}: {row['People']} people on an average day; "
            f"{row['Why'].lower()}"
            + (
                f"; nearest is {row['Nearest size']} ({row['It is']}: "
                f"{row['In'].lower()})"
                if row["Nearest size"]
                else ""
            )
            for row in records(shown["not_fitted"][0].head(_KINDS))
        ]
        if "not_fitted" in shown
        else ["nobody"]
    )
    parts = (
        ("Who is not served", left),
        ("What it assumes", [f"{what}: {said}" for what, said in inputs_of(plan)]),
        ("How far it may be trusted", [plan.proof(), DAY, NO_SLING]),
    )
    return _template().render(
        title="Order of slings",
        answer=plan.answer(),
        table=table(rows, caption=caption, words=words),
        parts=parts,
        cautions=cautions(),
        points=8.5 if len(rows) <= _FEW else 7.5,
    )


@cache
def _template() -> jinja2.Template:
    text = files("sizing.pages").joinpath("stock_sheet.html.j2")
    environment = jinja2.Environment(
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    return environment.from_string(text.read_text(encoding="utf-8"))
