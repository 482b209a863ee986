"""The invented scenario that the notebook, the examples and the tests use."""

from collections.abc import Sequence

import pandas as pd

from sizing.resources import source_table
from sizing.stock.need import Served
from sizing.stock.offers import Offer


def demo_scenario() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return whom an invented store of slings serves, and invented prices.

    A care home of 40, a bariatric service of 6 and a special school of 60, and
    the demo chart's sizes with prices, slings owned and last year's use: all made
    up (``data_sources/stock_scenario.md``).

    Returns
    -------
    serves, prices : DataFrame
        As ``plan_stock`` takes them.

    Examples
    --------
    >>> serves, prices = demo_scenario()
    >>> serves["count"].sum(), len(prices)
    (np.int64(106), 9)
    """
    tables = (source_table(f"stock_{name}.csv") for name in ("scenario", "prices"))
    serves, prices = (table.drop(columns="note") for table in tables)
    return serves, prices


def invented_parts(served: Sequence[Served], offer: Offer) -> tuple[str, ...]:
    """Return what of a plan's input is the demo's, for ``invented_words``.

    By what it holds, wherever it came from: a chart that says so, some price or
    number owned of that chart as the scenario has it, and its groups.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> from sizing.stock.offers import offer_from
    >>> home = [Served(load_people("care_home", draws=1), 5)]
    >>> prices = demo_scenario()[1].drop(columns="owned")
    >>> invented_parts(home, offer_from(demo_chart(), prices))
    ('chart', 'prices')
    """
    groups, prices = demo_scenario()
    parts = list(offer.chart.invented)
    if parts:
        both = offer.table.merge(prices, on="size", suffixes=("", "_demo"))
        if (both["price"] == both["price_demo"]).any():
            parts.append("prices")
        if ((both["owned"] == both["owned_demo"]) & (both["owned"] > 0)).any():
            parts.append("owned")
    demo = set(zip(groups["name"], groups["count"], strict=True))
    if demo & {(one.name, one.count) for one in served}:
        parts.append("people")
    return tuple(parts)
