"""What can be bought: every size of every chart, its price and what is owned."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, fits_matrix
from sizing.errors import InputProblems, Problem, SizingError
from sizing.measures.edges import NO_HIGH
from sizing.measures.tables import PRICES, take
from sizing.people import People

#: Columns of an offer and what an empty cell means; None: it must be filled.
COLUMNS: dict[str, float | None] = {
    "price": None,
    "owned": 0,
    "pack": 1,
    "most": np.inf,
    "last_year": np.nan,
}
#: As many sizes as fit into one mask of whole numbers.
MOST_SIZES = 62
#: Beyond these a number is a slip, and sums would lose their last digits.
_MOST_SLINGS, _MOST_MONEY = 1_000_000, 1_000_000_000


@dataclass(frozen=True)
class Offer:
    """Every size that can be bought, in one order.

    Attributes
    ----------
    table : DataFrame
        One row per size: ``key`` (its name, led by the chart's where there are
        several charts), ``chart``, ``size``, ``load_limit_kg``, ``price`` (of
        one sling), ``owned``, ``pack`` (slings sold together), ``most`` (most
        that may be owned in the end), ``last_year`` (slings used last year, NaN
        if not given).
    chart : SizeChart
        All charts joined, its sizes named by ``key``.
    """

    table: pd.DataFrame
    chart: SizeChart

    @property
    def keys(self) -> tuple[str, ...]:
        """The sizes' names."""
        return tuple(self.table["key"])

    def column(self, name: str) -> npt.NDArray[np.float64]:
        """One column as numbers."""
        return self.table[name].to_numpy(dtype=float)

    def masks(self, people: People) -> npt.NDArray[np.int64]:
        """Return which sizes fit each row of the people: bit i is row i."""
        fits = fits_matrix(people.frame, self.chart)
        bits = np.int64(1) << np.arange(fits.shape[1], dtype=np.int64)
        return np.asarray(fits @ bits, dtype=np.int64)


def offer_from(
    charts: SizeChart | Sequence[SizeChart], prices: pd.DataFrame | None = None
) -> Offer:
    """Join charts with prices, packs and the slings already owned.

    Parameters
    ----------
    charts : SizeChart or sequence of SizeChart
        Their own columns ``price``, ``owned``, ``pack``, ``most`` and
        ``last_year`` are used where ``prices`` does not give them.
    prices : DataFrame, optional
        One row per size: ``size``, ``chart`` (needed where two charts share a
        size's name), and any of the columns above. Empty cells: nothing owned,
        sold singly, no upper limit; a price must be there.

    Returns
    -------
    Offer

    Raises
    ------
    InputProblems
        Naming each size without a price, each unknown size, each negative or
        broken number.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> chart = demo_chart()
    >>> prices = pd.DataFrame({"size": chart.sizes, "price": 100.0})
    >>> offer_from(chart, prices).table["pack"].unique().tolist()
    [1]
    """
    listed = (charts,) if isinstance(charts, SizeChart) else tuple(charts)
    if not listed or not all(isinstance(chart, SizeChart) for chart in listed):
        raise SizingError("Give at least one size chart: read_chart('mine.csv').")
    names = [chart.name for chart in listed]
    if len(set(names)) < len(names):
        raise SizingError(
            f"Two charts are called the same ({', '.join(names)}): rename one, so "
            "that the order says whose size is meant."
        )
    frames = []
    for chart in listed:
        frame = pd.DataFrame({"chart": chart.name, "size": list(chart.sizes)})
        limit = chart.load_limits() / 10.0
        frame["load_limit_kg"] = np.where(limit * 10 < NO_HIGH, limit, np.nan)
        for column in COLUMNS:
            own = chart.frame.get(column)
            frame[column] = None if own is None else own.astype(object).to_numpy()
        frames.append(frame)
    table = pd.concat(frames, ignore_index=True)
    table = table.astype(dict.fromkeys(COLUMNS, object))
    if len(table) > MOST_SIZES:
        raise SizingError(
            f"{len(table)} sizes are too many to plan together; up to {MOST_SIZES}. "
            "Leave out a chart, or the sizes nobody needs."
        )
    if len(listed) > 1:
        table.insert(0, "key", table["chart"] + ": " + table["size"])
    else:
        table.insert(0, "key", table["size"])
    # Without any prices the charts' own columns are read, and named alike.
    given = pd.DataFrame({"size": []}) if prices is None else prices
    taken = take(given, PRICES)
    with taken.told("" if taken.file else "prices and stock"):
        problems = _enter(table, taken.frame) + _numbers(table)
        if problems:
            raise InputProblems(problems)
    whole = {"owned": int, "pack": int}
    kinds = {c: whole.get(c, float) for c in COLUMNS}
    joined = pd.concat([chart.frame for chart in listed], ignore_index=True)
    joined["size"] = table["key"]
    sources = dict.fromkeys(chart.source for chart in listed if chart.source)
    chart = SizeChart(joined, " and ".join(names), "; ".join(sources))
    return Offer(table.astype(kinds), chart)


def _enter(table: pd.DataFrame, prices: pd.DataFrame) -> list[Problem]:
    """Write the prices into the table and name the rows that have no place."""
    problems = []
    seen: set[int] = set()
    for row, record in enumerate(prices.to_dict("records"), start=2):
        size, chart = str(record["size"]).strip(), record.get("chart")
        same = table["size"].eq(size) | table["key"].eq(size)
        if chart is not None and not pd.isna(chart):
            same &= table["chart"].eq(str(chart).strip())
        found = np.flatnonzero(same)
        what = ""
        if not len(found):
            what = "unknown size"
        elif len(found) > 1:
            what = "several charts have this size: add a column 'chart'"
        elif found[0] in seen:
            what = "this size stands in the prices twice"
        if what:
            allowed = ", ".join(table["key"])
            problems.append(
                Problem(what, allowed, "correct it", None, row, "size", size)
            )
            continue
        seen.add(int(found[0]))
        for column in COLUMNS:
            value = record.get(column)
            if value is not None and not pd.isna(value):
                table.loc[found[0], column] = value
    return problems


def _numbers(table: pd.DataFrame) -> list[Problem]:
    """Check every number, and fill in what an empty cell means."""
    problems = []
    for column, empty in COLUMNS.items():
        values = pd.to_numeric(table[column], errors="coerce")
        for i in range(len(table)):
            cell, value, key = table[column].iloc[i], values.iloc[i], table["key"][i]
            if cell is None or (not isinstance(cell, str) and pd.isna(cell)):
                if empty is None:
                    problems.append(
                        Problem(
                            f"the size '{key}' has no price",
                            "a price for one sling, 0 or more",
                            "fill it in, or take the size off the chart",
                            column=column,
                        )
                    )
                values.iloc[i] = np.nan if empty is None else empty
                continue
            least = 1 if column == "pack" else 0
            whole = column in ("owned", "pack")
            most = _MOST_SLINGS if whole else _MOST_MONEY
            if not least <= value <= most or (whole and value % 1):
                kind = "a whole number" if whole else "a number"
                problems.append(
                    Problem(
                        f"the size '{key}' has no such {column}",
                        f"{kind} of {least} or more, up to {most:,}",
                        "correct it",
                        column=column,
                        value=cell,
                    )
                )
        table[column] = values
    return problems
