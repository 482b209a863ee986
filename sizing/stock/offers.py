"""What can be bought: every size of every chart, its price and what is owned."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, fits_matrix
from sizing.charts.cells import alike
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures.edges import NO_HIGH
from sizing.measures.tables import PRICES, take
from sizing.measures.typed import amounts
from sizing.people import People
from sizing.resources import source_table, texts
from sizing.stock.need import Served

_T = texts("stock_plan")
#: Columns of an offer and what an empty cell means; None: it must be filled.
COLUMNS: dict[str, float | None] = {
    "price": None,
    "owned": 0,
    "pack": 1,
    "most": np.inf,
    "last_year": np.nan,
}
#: A row of sums under a list, such as the kit's own order list has.
_SUMS = ("total", "totals")
#: As many sizes as fit into one mask of whole numbers.
MOST_SIZES = 62
#: Beyond these a number is a slip, and sums would lose their last digits.
_MOST_SLINGS, _MOST_MONEY = 1_000_000, 1_000_000_000


@dataclass(frozen=True)
class Offer:
    """Every size that can be bought, in one order.

    - ``table``: One row per size: ``key`` (its name, led by the chart's where there are
      several charts), ``chart``, ``size``, ``load_limit_kg``, ``price`` (of one sling),
      ``owned``, ``pack`` (slings sold together), ``most`` (most that may be owned in
      the end), ``last_year`` (slings used last year, NaN if not given), ``code`` (the
      supplier's, as typed).
    - ``chart``: All charts joined, its sizes named by ``key``.
    - ``currency``: The sign or letters that the prices were written with, if any.
    """

    table: pd.DataFrame
    chart: SizeChart
    currency: str = ""

    @property
    def prices(self) -> pd.Series:
        """Prices as they were written: with their currency, if any."""
        sign = self.currency + " " * self.currency.isalpha()
        price = self.table["price"]
        return price.map(f"{sign}{{:.12g}}".format) if sign else price

    @property
    def keys(self) -> tuple[str, ...]:
        """The sizes' names."""
        return tuple(self.table["key"])

    def column(self, name: str) -> npt.NDArray[np.float64]:
        """One column as numbers."""
        return self.table[name].to_numpy(dtype=float)

    def only(self, charts: Sequence[str]) -> "npt.NDArray[np.bool_]":
        """Return which sizes are of these charts; all of them if none is named."""
        unknown = set(charts) - set(self.table["chart"])
        if unknown:
            allowed = ", ".join(self.table["chart"].unique())
            name = sorted(unknown)[0]
            raise SizingError(f"No chart is called {name!r}. Allowed: {allowed}.")
        return np.asarray(self.table["chart"].isin(charts) | (not charts))

    def masks(
        self, people: People, charts: Sequence[str] = ()
    ) -> npt.NDArray[np.int64]:
        """Return which sizes of these charts fit each of the people: bit i is row i."""
        fits = fits_matrix(people.frame, self.chart) & self.only(charts)
        bits = np.int64(1) << np.arange(fits.shape[1], dtype=np.int64)
        return np.asarray(fits @ bits, dtype=np.int64)


def offer_from(
    charts: SizeChart | Sequence[SizeChart], prices: pd.DataFrame | None = None
) -> Offer:
    """Join charts with prices, packs and the slings already owned.

    Columns are ``price``, ``owned``, ``pack``, ``most`` and ``last_year``, by ``size``
    (and ``chart``, where two share a size's name); those of the charts count where
    ``prices`` has none. Empty: nothing owned, sold singly, no upper limit; a price must
    be there.

    >>> from sizing.charts import demo_chart
    >>> chart = demo_chart()
    >>> prices = pd.DataFrame({"size": chart.sizes, "price": 100.0})
    >>> offer_from(chart, prices).table["pack"].unique().tolist()
    [1]
    """
    listed = (charts,) if isinstance(charts, SizeChart) else tuple(charts)
    say = _T.offer_wrong
    if not listed or not all(isinstance(chart, SizeChart) for chart in listed):
        raise SizingError(say["no_chart"])
    names = [chart.name for chart in listed]
    if len(set(names)) < len(names):
        raise SizingError(say["alike"].format(names=", ".join(names)))
    frames = []
    for chart in listed:
        limit = chart.load_limits() / 10.0
        limit = np.where(limit * 10 < NO_HIGH, limit, np.nan)
        own = chart.frame.reindex(columns=list(COLUMNS)).astype(object)
        own.insert(0, "chart", chart.name)
        own.insert(1, "size", list(chart.sizes))
        own.insert(2, "load_limit_kg", limit)
        frames.append(own)
    table = pd.concat(frames, ignore_index=True)
    table["code"] = ""
    if len(table) > MOST_SIZES:
        raise SizingError(say["many"].format(n=len(table), most=MOST_SIZES))
    led = table["chart"] + ": " if len(listed) > 1 else ""
    table.insert(0, "key", led + table["size"])
    # Without any prices the charts' own columns are read, and named alike.
    given = pd.DataFrame({"size": []}) if prices is None else prices
    taken = take(given, PRICES)
    with taken.told("" if taken.file else "prices and stock"):
        rows, problems = _enter(table, taken.frame)
        wrong, currency = _check_numbers(table, rows)
        if problems + wrong:
            raise InputProblems(problems + wrong)
    whole = {"owned": int, "pack": int}
    kinds = {c: whole.get(c, float) for c in COLUMNS}
    joined = pd.concat([chart.frame for chart in listed], ignore_index=True)
    joined["size"] = table["key"]
    sources = dict.fromkeys(chart.source for chart in listed if chart.source)
    chart = SizeChart(joined, " and ".join(names), "; ".join(sources))
    return Offer(table.astype(kinds), chart, currency)


def _enter(
    table: pd.DataFrame, prices: pd.DataFrame
) -> tuple[dict[int, int], list[Problem]]:
    problems = []
    seen: dict[int, int] = {}
    names = {c: table[c].map(alike) for c in ("size", "key", "chart")}
    for row, record in enumerate(prices.to_dict("records"), start=2):
        size, chart = str(record["size"]).strip(), record.get("chart")
        same = names["size"].eq(alike(size)) | names["key"].eq(alike(size))
        if chart is not None and not pd.isna(chart):
            same &= names["chart"].eq(alike(str(chart)))
        found = np.flatnonzero(same)
        if not len(found) and alike(size) in _SUMS:
            continue
        if len(found) != 1 or int(found[0]) in seen:
            wrong = "unknown" if not len(found) else "several"
            what = _T.offer_wrong[wrong if len(found) != 1 else "twice"]
            allowed = ", ".join(table["key"])
            problems.append(
                Problem(what, allowed, "correct it", None, row, "size", size)
            )
            continue
        seen[int(found[0])] = row
        for column in (*COLUMNS, "code"):
            value = record.get(column)
            if value is not None and not pd.isna(value):
                is_code = column == "code"
                table.loc[found[0], column] = str(value).strip() if is_code else value
    return seen, problems


def _check_numbers(
    table: pd.DataFrame, rows: dict[int, int]
) -> tuple[list[Problem], str]:
    """Read every number, and fill in what an empty cell means."""
    problems, say = [], _T.offer_wrong
    signs: list[str] = []
    for column, empty in COLUMNS.items():
        values, wrong, found = amounts(table[column], money=column == "price")
        signs += found
        whole = column in ("owned", "pack")
        least, most = int(column == "pack"), _MOST_SLINGS if whole else _MOST_MONEY
        kind = f"{'a whole number' if whole else 'a number'} of {least} or more"
        for at, value in enumerate(values):
            size, cell = table["key"][at], table[column][at]
            problem = None
            if at in wrong or not (
                np.isnan(value)
                or (least <= value <= most and not (whole and value % 1))
            ):
                what = say["no_such"].format(size=size, column=column)
                action = (at in wrong and wrong[at].action) or "correct it"
                problem = Problem(what, f"{kind}, up to {most:,}", action, value=cell)
            elif np.isnan(value) and empty is None:
                what = say["no_price"].format(size=size)
                problem = Problem(what, say["price"], say["fill"])
            elif np.isnan(value):
                values[at] = np.nan if empty is None else empty
            if problem is not None:
                problems.append(replace(problem, row=rows.get(at), column=column))
        table[column] = values
    if len(set(signs)) > 1:
        what = say["currencies"].format(signs=", ".join(signs))
        problems.append(Problem(what, "one currency", "convert them", column="price"))
    return problems, signs[0] if signs else ""


def demo_scenario() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return whom an invented store of slings serves, and invented prices.

    A care home of 40, a bariatric service of 6 and a special school of 60, and
    the demo chart's sizes with prices, slings owned and last year's use: all made
    up (``data_sources/stock_scenario.md``).

    ``serves, prices``: As ``plan_stock`` takes them.

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

    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> home = [Served(load_people("care_home_nordic", draws=1), 5)]
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
