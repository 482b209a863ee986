"""The invented scenario that the notebook, the examples and the tests use."""

import pandas as pd

from sizing.resources import source_table


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
    return source_table("stock_scenario.csv"), source_table("stock_prices.csv")
