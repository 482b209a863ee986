"""The result of planning a stock."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from sizing.charts import SizeChart
from sizing.resources import closing, invented_words, texts
from sizing.stock.need import Served, Use
from sizing.stock.offers import ASSUMED, TOTAL, Offer, Years
from sizing.words.numbers import in_100, prose, share

_T = texts("stock_plan")
DAY, NO_SLING = str(_T.day), str(_T.no_sling)
#: Beyond so many without any size the chart is changed before anything is bought (our
#: choice, no source).
MANY_UNFITTED = 0.10


@dataclass(frozen=True)
class StockPlan:
    """An order and what it does; tables as they are made.

    - ``order``: A row per size: key, chart, size, code, load_limit_kg, price (of one),
      pack, owned, packs, order (slings to buy), stock (then owned), cost.
    - ``bound, gap``: Proved of the planning days: no order that keeps the target costs
      less, or none under the budget leaves fewer waiting; 0: that bound is reached.
    - ``people``: How many need a sling on an average day, whether one fits or not.
    - ``limited``: The measures that every size of every chart limits.
    """

    order: pd.DataFrame
    service: pd.DataFrame
    demand: pd.DataFrame
    shortages: pd.DataFrame
    not_fitted: pd.DataFrame
    curve: pd.DataFrame
    one_more_or_less: pd.DataFrame
    robustness: pd.DataFrame
    comparison: pd.DataFrame
    again: pd.DataFrame
    services: pd.DataFrame
    own_orders: pd.DataFrame
    variants: pd.DataFrame
    yearly: pd.DataFrame
    years: Years
    target: float | None
    aim: str
    budget: float | None
    cost: float
    bound: float
    gap: float
    people: float
    groups: pd.DataFrame
    served: tuple[Served, ...]
    charts: tuple[SizeChart, ...]
    offer: Offer
    use: Use
    currency: str = ""
    limits: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    invented: tuple[str, ...] = ()
    limited: tuple[str, ...] = ()

    @property
    def told(self) -> dict[str, dict[str, Any]]:
        """What the order does, by measure: rows of ``service``."""
        told: dict[Any, Any] = self.service.set_index("measure").to_dict("index")
        return told

    def money(self, amount: float) -> str:
        return money(amount, self.currency)

    def answer(self) -> str:
        """Return the result in short lines: whom no size fits, what to buy."""
        told, number = self.told, int(self.order["order"].sum())
        waits = _in_100(told["nobody_waits"], " days")
        met = _in_100(told["needs_met"], " are met")
        change = told["not_fitted_share"]["estimate"] > MANY_UNFITTED
        within = waits, met, whole_span(told["not_fitted"]), change
        said = prose("stock_plan", "answer", self, told, number, *within)
        return "\n".join(filter(None, [invented_words(*self.invented), said]))

    def proof(self) -> str:
        """Say how near the order is to the best possible, and what rests on luck."""
        low, high = (share(self.again["estimate"].agg(end)) for end in ("min", "max"))
        ends = self.again["cost"].dropna().agg(["min", "max"]).dropna()
        costs = list(dict.fromkeys(map(self.money, ends)))
        return prose("stock_plan", "proof", self, low, high, costs)

    def yearly_words(self) -> str:
        """Say what a year costs, for how long, and what that assumes."""
        sums = self.yearly[self.yearly["item"] == TOTAL]
        # The rates are rough: two digits.
        ways = [
            (way, *(float(f"{end:.2g}") for end in ends))
            for way, *ends in sums[["way", "estimate", "low", "high"]].to_numpy()
        ]
        return prose("stock_plan", "yearly", self, ways, ASSUMED)

    def sizes_words(self) -> str:
        """Say whom all the sizes fit, what they cost, and what fewer of them would."""
        rows = self.variants.drop_duplicates("sizes")
        # The first rows hold the same sizes at other prices.
        own = rows["sizes"] == len(self.order)
        rows = rows.assign(
            own=own,
            slings=rows["slings"].mask(own, self.order["order"].sum()),
            cost=rows["cost"].mask(own, self.cost),
            fitted=self.people - rows["not_fitted"],
        )
        told = rows[["sizes", "own", "slings", "cost", "fitted"]].to_numpy()
        return prose("stock_plan", "sizes", self, told)

    def summary(self) -> str:
        """Return the result in plain words, with the usual cautions."""
        bought = self.order.loc[self.order["order"] > 0, ["key", "order"]].to_numpy()
        rivals = [
            (strategy_words(row["strategy"]), row)
            for row in self.comparison.to_dict("records")
            if row["strategy"] != "plan"
        ]
        order = prose("stock_plan", "order", list(bought), rivals)
        lines = [self.answer(), self.yearly_words(), order, self.sizes_words()]
        lines += [self.proof(), DAY, NO_SLING, closing(self.limits)]
        return "\n".join(lines)


def money(amount: float, currency: str = "", places: int = 0) -> str:
    """Write an amount of money as its prices were written."""
    return f"{currency}{' ' * currency.isalpha()}{amount:,.{places}f}"


def strategy_words(name: str) -> str:
    names = {"plan": "this plan", "last year's use": "in last year's proportions"}
    return names.get(name, f"in {name}")


def _in_100(row: Any, what: str) -> str:
    """Write a share of a hundred, with what is likely where that says more.

    >>> _in_100({"estimate": 0.68, "low": 0.54, "high": 0.78}, " days")
    '68 in 100 days, probably between 54 and 78'
    >>> _in_100({"estimate": 0.99, "low": 0.98, "high": 0.996}, " are met")
    '99 in 100 are met, probably at least 98'
    """
    words = in_100(row["estimate"]) + what
    middle, low, high = (round(100 * row[x]) for x in ("estimate", "low", "high"))
    if high >= 100:
        return f"{words}, probably at least {low}" if low < min(middle, 99) else words
    if low <= 0:
        return f"{words}, probably at most {high}" if high > max(middle, 1) else words
    return words if low == high else f"{words}, probably between {low} and {high}"


def whole_span(row: Any, link: str = " to ") -> str:
    """Write the ends of a number of people or slings of one service, outwards."""
    ends = math.floor(row["low"] + 0.05), math.ceil(row["high"] - 0.05)
    return link.join(dict.fromkeys(f"{end:,}" for end in ends))
