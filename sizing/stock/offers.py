"""What can be bought: every size of every chart, its price and what is owned."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, fits_matrix
from sizing.charts.build import alike
from sizing.errors import InputProblems, Problem, SizingError, check_number
from sizing.measures import NO_HIGH
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
_WHOLE = ("owned", "pack")
#: A row of sums under a list, such as the kit's own order list has.
_SUMS = ("total", "totals")
#: As many sizes as fit into one mask of whole numbers.
MOST_SIZES = 62
#: Beyond these a number is a slip, and sums would lose their last digits.
_MOST_SLINGS, _MOST_MONEY = 1_000_000, 1_000_000_000


@dataclass(frozen=True)
class Offer:
    """Every size that can be bought, in one order, of all charts joined.

    ``table``: key (size, led by its chart where there are several), chart, size,
    load_limit_kg, price (of one), owned, pack, most, last_year (NaN: not given), code.
    """

    table: pd.DataFrame
    chart: SizeChart
    currency: str = ""

    @property
    def prices(self) -> pd.Series:
        sign = self.currency + " " * self.currency.isalpha()
        price = self.table["price"]
        return price.map(f"{sign}{{:.12g}}".format) if sign else price

    @property
    def keys(self) -> tuple[str, ...]:
        return tuple(self.table["key"])

    def column(self, name: str) -> npt.NDArray[np.float64]:
        return self.table[name].to_numpy(dtype=float)

    def only(self, charts: Sequence[str]) -> "npt.NDArray[np.bool_]":
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

    ``prices``: price, owned, pack, most, last_year, code by size (and chart, where two
    share a size's name); the charts' own columns count where it has none.
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
        limit = chart.load_limits()
        own = chart.frame.reindex(columns=list(COLUMNS)).astype(object)
        limit = np.where(limit < NO_HIGH, limit / 10.0, np.nan)
        own = own.assign(chart=chart.name, size=list(chart.sizes), code="")
        frames.append(own.assign(load_limit_kg=limit))
    table = pd.concat(frames, ignore_index=True)
    if len(table) > MOST_SIZES:
        raise SizingError(say["many"].format(n=len(table), most=MOST_SIZES))
    led = table["chart"] + ": " if len(listed) > 1 else ""
    table["key"] = led + table["size"]
    # Without any prices the charts' own columns are read, and named alike.
    given = pd.DataFrame({"size": []}) if prices is None else prices
    taken = take(given, PRICES)
    with taken.told("" if taken.file else "prices and stock"):
        rows, problems = _enter(table, taken.frame)
        wrong, currency = _check_numbers(table, rows)
        if problems + wrong:
            raise InputProblems(problems + wrong)
    kinds = dict.fromkeys(COLUMNS, float) | dict.fromkeys(_WHOLE, int)
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
        if not pd.isna(chart):
            same &= names["chart"].eq(alike(str(chart)))
        found = np.flatnonzero(same)
        if not len(found) and alike(size) in _SUMS:
            continue
        if len(found) != 1 or int(found[0]) in seen:
            wrong = "unknown" if not len(found) else "several"
            what = _T.offer_wrong[wrong if len(found) != 1 else "twice"]
            told = what, ", ".join(table["key"]), "correct it"
            problems.append(Problem(*told, None, row, "size", size))
            continue
        seen[int(found[0])] = row
        for column in (*COLUMNS, "code"):
            value = record.get(column)
            if not pd.isna(value):
                is_code = column == "code"
                table.loc[found[0], column] = str(value).strip() if is_code else value
    return seen, problems


def _check_numbers(
    table: pd.DataFrame, rows: dict[int, int]
) -> tuple[list[Problem], str]:
    problems, say = [], _T.offer_wrong
    signs: list[str] = []
    for column, empty in COLUMNS.items():
        read, wrong, found = amounts(table[column], money=column == "price")
        values = np.array(read, dtype=float)
        signs += found
        whole, lacks = column in _WHOLE, np.isnan(values)
        least, most = int(column == "pack"), _MOST_SLINGS if whole else _MOST_MONEY
        kind = f"{'a whole number' if whole else 'a number'} of {least} or more"
        bad = (values < least) | (values > most) | (whole & (values % 1 > 0))
        bad[list(wrong)] = True
        for at in np.flatnonzero(bad | (lacks & (empty is None))).tolist():
            where: dict[str, Any] = {"row": rows.get(at), "column": column}
            told = say["no_price"].format(size=table["key"][at]), say["price"]
            action = say["fill"]
            if bad[at]:
                named = say["called"].get(column, column)
                what = say["no_such"].format(size=table["key"][at], column=named)
                told = what, f"{kind}, up to {most:,}"
                action = (at in wrong and wrong[at].action) or "correct it"
                where["value"] = table[column][at]
            problems.append(Problem(*told, action, **where))
        values[lacks] = np.nan if empty is None else empty
        table[column] = values
    if len(set(signs)) > 1:
        what = say["currencies"].format(signs=", ".join(signs))
        problems.append(Problem(what, "one currency", "convert them", column="price"))
    return problems, signs[0] if signs else ""


def demo_scenario() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return whom an invented store serves, and invented prices, for ``plan_stock``."""
    tables = (source_table(f"stock_{name}.csv") for name in ("scenario", "prices"))
    serves, prices = (table.drop(columns="note") for table in tables)
    return serves, prices


def invented_parts(served: Sequence[Served], offer: Offer) -> tuple[str, ...]:
    """Return what of a plan's input is the demo's, for ``invented_words``."""
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


#: The ways of serving people that are compared, and the sum of each.
LAUNDERED, SINGLE, TOTAL = "laundered slings", "single-patient slings", "in all"
#: What the reckoning takes for granted.
ASSUMED = (
    "A store of slings of mixed age: as many are replaced each year as wear out, are "
    "condemned or are lost, at today's prices. The range runs from every rate at its "
    "cheap end to every rate at its dear end."
)
#: A rate of which more is cheaper.
_LONG = ("life_years", "single_weeks")
_WEEKS = 52
_ENDS = ("estimate", "low", "high")


@dataclass(frozen=True)
class Years:
    """How long a stock is kept, and what keeping it costs; no price: not counted."""

    years: float = 5
    wash: float | None = None
    examination: float | None = None
    single: float | None = None
    rates: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_number("the number of years", self.years, least=1, most=50)
        paid = {"a wash": self.wash, "an examination": self.examination}
        for what, price in {**paid, "a single-patient sling": self.single}.items():
            if price is not None:
                check_number(f"the price of {what}", price, least=0)
        known = usual_rates().set_index("rate")["label"]
        for name, ends in self.rates.items():
            if name not in known.index:
                raise SizingError(
                    f"Unknown rate {name!r}. Allowed: {', '.join(known.index)}."
                )
            for end in ends:
                least = 0.1 if name in _LONG else 0.0
                check_number(f"'{known[name]}'", end, least=least, most=1000)
            if not ends[1] <= ends[0] <= ends[2]:
                raise SizingError(
                    f"'{known[name]}': {ends[0]:g} does not lie from {ends[1]:g} to "
                    f"{ends[2]:g}. What to do: correct its low or its high end."
                )


def usual_rates() -> pd.DataFrame:
    return source_table("stock_years.csv")


def yearly_cost(
    order: pd.DataFrame, groups: pd.DataFrame, unfitted: float, years: Years
) -> pd.DataFrame:
    """Return money a year by way and item, laundered and single-patient.

    Of a value V of slings held, a reserve r on top, kept n years: the purchase and ``r
    V`` are spread over n; ``(1 + r) V (1 / life + examinations condemned + lost)`` is
    replaced each year. Single-patient slings: one after another for each who fits some
    size, and a first one for each newcomer.
    """
    table = usual_rates().set_index("rate")
    for name, own in years.rates.items():
        table.loc[name, list(_ENDS)] = own
        table.loc[name, "source"] = "as entered"
    rates = table[list(_ENDS)].astype(float)
    for name in _LONG:
        rates.loc[name, ["low", "high"]] = rates.loc[name, ["high", "low"]].to_numpy()
    rate = {str(name): rates.loc[name].to_numpy() for name in rates.index}
    held = float(order["stock"].sum())
    value = float((order["stock"] * order["price"]).sum())
    cost, n = float(order["cost"].sum()), years.years
    # Each service by its own rules; whom nothing fits is spread over them evenly.
    many = groups["count"] * groups["each"]
    clients = float(many.sum() * (1 - unfitted / max(groups["count"].sum(), 1)))
    coming = groups["admissions"] * groups["each"] / n
    anew, price = groups["bought_anew"], value / held if held else 0.0
    children = float((groups["children"] * groups["each"] * anew).sum())
    more, often = 1 + rate["reserve"], rate["examinations"]
    condemned = more * value * often * rate["condemned"]
    examined = more * held * often * (years.examination or 0.0)
    # What is paid for: money at each end, and the rate whose source it has.
    worn, spread = more * value / rate["life_years"], rate["reserve"] * value / n
    washed = held * rate["washes"] * (years.wash or 0.0)
    outgrown = children * rate["outgrown"] * price
    paid: dict[str, dict[str, tuple[Any, str]]] = {
        LAUNDERED: {
            "the purchase, spread": (cost / n, ""),
            "a reserve for infection control": (spread, "reserve"),
            "worn out": (worn, "life_years"),
            "condemned at the thorough examination": (condemned, "condemned"),
            "lost": (more * value * rate["lost"], "lost"),
            "thorough examinations": (examined, "examinations"),
            "laundry": (washed, "washes"),
            "children who outgrow their size": (outgrown, "outgrown"),
            "residents who come and go": (coming[anew].sum() * price, ""),
        }
    }
    if years.single is not None:
        number = clients * _WEEKS / rate["single_weeks"] * years.single
        first, of = coming.sum() * years.single, "single_weeks"
        paid[SINGLE] = {
            "one after another for each person": (number, of),
            "a first one for newcomers": (first, of),
        }
    rows = [
        (way, item, *np.broadcast_to(ends, 3), table["source"].get(name, "the plan"))
        for way, items in paid.items()
        for item, (ends, name) in items.items()
    ]
    made = pd.DataFrame(rows, columns=["way", "item", *_ENDS, "source"])
    made = made[made["high"] > 0]
    sums = made.groupby("way", sort=False)[list(_ENDS)].sum()
    sums = sums.reset_index().assign(item=TOTAL, source="the sum of these")
    made = pd.concat([made, sums], ignore_index=True)
    return made.sort_values("way", kind="stable", ignore_index=True)
