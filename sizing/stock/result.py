"""The result of planning a stock."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from sizing.cautions import closing, invented_words
from sizing.charts import SizeChart
from sizing.stock.need import Served, Use
from sizing.stock.offers import Offer
from sizing.stock.tables import SAMPLED
from sizing.stock.years import ASSUMED, TOTAL, Years
from sizing.words.numbers import in_100, points_interval, share

DAY = (
    "Each simulated day draws its people anew. So the share of days runs over all the "
    "homes that such people could make up, not over the days of one home alone."
)
#: Beyond so many without any size the chart is changed before anything is bought (our
#: choice, no source).
MANY_UNFITTED = 0.10
NO_SLING = "Stock planning does not choose a sling for a person."


@dataclass(frozen=True)
class StockPlan:
    """An order and what it does.

    - ``order``: One row per size: key, chart, size, code (the supplier's),
      load_limit_kg, price (of one sling), pack, owned, packs, order (slings to buy),
      stock (slings then owned), cost.
    - ``service, demand, shortages, not_fitted, one_more_or_less``: See
      ``sizing.stock.tables``.
    - ``curve``: One row per target: target, cost, slings (bought), estimate, low, high
      (chance that somebody waits on a day, or share of needs not met), waiting,
      nobody_waits, needs_met (shares), method, n; plan: whether it is this order, whose
      target is NaN where there is a budget alone.
    - ``robustness``: The same order with other people; see ``plan_stock``.
    - ``comparison``: The same money spent otherwise; see ``plan_stock``.
    - ``again``: Ten further sets of days: time, cost (of the cheapest order found for
      them alone; NaN without a target), estimate, low, high (of the target's share of
      days or needs with this order), method, n, waiting.
    - ``services, own_orders``: Each service with a store of its own; see
      ``sizing.stock.services``. Empty where there is one service.
    - ``variants``: The plan at other prices and with fewer sizes; see
      ``sizing.stock.alternatives``.
    - ``yearly``: What the stock costs a year; see ``sizing.stock.years``.
    - ``aim``: What the target is a share of, ``days`` or ``needs``.
    - ``bound, gap``: Proved of the planning days: no order that keeps the target costs
      less, or none under the budget leaves fewer waiting; 0: that bound is reached.
    - ``groups``: Whom the stock serves; ``served`` and ``charts`` as they were given.
    - ``offer``: Every size that could be bought.
    - ``currency``: What prices were written with.
    - ``invented``: What is the demo's, for ``invented_words``.
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
    def table(self) -> pd.DataFrame:
        """The order."""
        return self.order

    def answer(self) -> str:
        """Return the result in short lines: first whom no size fits and what to buy."""
        told: Any = self.service.set_index("measure")
        days, met = told.loc["nobody_waits"], told.loc["needs_met"]
        waits = f"Nobody then waits for a sling that fits on {_in_100(days, ' days')}."
        needs = f"Of the needs of people who fit some size, {_in_100(met, ' are met')}."
        served = [needs, waits] if self.aim == "needs" else [waits, needs]
        also = " and other people sampled as these were" * self._sampled
        lines = (
            invented_words(*self.invented),
            f"{self._unfitted()} {self._bought()}",
            " ".join(served),
            self._beyond(),
            f"{self._known()} Ranges are 95 % intervals over {days['n']:,} further "
            f"simulated days{also}.".strip(),
        )
        return "\n".join(filter(None, lines))

    @property
    def _sampled(self) -> bool:
        return SAMPLED in self.service["method"].iloc[0]

    def _unfitted(self) -> str:
        """Say whom no size fits, and what to do about it first."""
        told = self.service.set_index("measure")
        left: Any = told.loc["not_fitted"]
        share: Any = told.loc["not_fitted_share"]
        if left["high"] <= 0:
            return "Some size offered fits everybody."
        number = round(left["estimate"])
        words = (
            f"{f'about {number:,}' if number else 'under 1'} of "
            f"{left['estimate'] / max(share['estimate'], 1e-9):,.0f} people "
            f"{'fit' if number > 1 else 'fits'} no size offered "
            f"({in_100(share['estimate'])})."
        )
        if share["estimate"] > MANY_UNFITTED:
            return f"Change the chart first: {words}"
        return words[0].upper() + words[1:]

    def _beyond(self) -> str:
        """Say how many no size fits in one such service, and what helps them."""
        left: Any = self.service.set_index("measure").loc["not_fitted"]
        if left["high"] <= 0:
            return ""
        return (
            f"In 9 such services of 10, {_span(left)} people fit no size. More stock "
            "does not help them: look for another pattern, or a sling made to measure."
        )

    def _bought(self) -> str:
        number = int(self.order["order"].sum())
        return (
            f"Buy {number:,} {'sling' if number == 1 else 'slings'} for "
            f"{money(self.cost, self.currency)}."
        )

    def _known(self) -> str:
        """Say how many slings are bought for want of knowledge."""
        number = int(self.order["order"].sum())
        if not number:
            return ""
        told: Any = self.service.set_index("measure").loc["known_need"]
        known = min(round(told["estimate"]), number)
        words = (
            f"Known need takes {known:,} of the slings: as many as would do on an "
            "average day if every size needed were known."
        )
        if known == number:
            return words
        why = ", and which slings will be out of use" * bool(self.use.out)
        return (
            f"{words} The other {number - known:,} are for what nobody knows yet: who "
            f"will need which size{why}."
        )

    def proof(self) -> str:
        """Return how near the order is to the best possible, and what rests on luck."""
        days, again = f"{self.settings['scenarios']:,} simulated days", self.again
        bound = money(self.bound, self.currency)
        chosen = f"{self.settings['choosing']:,} other days"
        if self.target is None:
            if self.gap == 0:
                words = f"One order is proved to leave fewest waiting on the {days}"
            else:
                least = math.floor(100 * self.bound) / 100
                words = (
                    f"No order leaves fewer than {least:.2f} waiting on an average day "
                    f"of the {days}: proved"
                )
            words += (
                ", for that money. Of the orders near the best found there, this "
                f"leaves fewest waiting on {chosen}. "
            )
        elif self.gap == 0:
            words = (
                f"An order for {bound} is proved the cheapest that keeps the target on "
                f"the {days}. Of the orders near it this is the cheapest found that "
                f"keeps it on {chosen}, with a margin for their luck. "
            )
        else:
            words = (
                f"No order that keeps the target on the {days} costs less than "
                f"{bound}: proved. This is the cheapest found that keeps it on "
                f"{chosen}, with a margin for their luck. "
            )
        low, high = (share(again["estimate"].agg(end)) for end in ("min", "max"))
        met = "nobody waits with this order on {} of days"
        if self.aim == "needs":
            met = "this order meets {} of needs"
        words += f"On {len(again)} further sets of {days} "
        words += met.format(low if low == high else f"{low} to {high}")
        if again["cost"].notna().any():
            ends = [again["cost"].min(), again["cost"].max()]
            costs = dict.fromkeys(money(end, self.currency) for end in ends)
            words += f". An order made for each alone costs {' to '.join(costs)}"
        return words + "."

    def yearly_words(self) -> str:
        """Say what a year costs, for how long, and what that assumes."""
        rows = self.yearly[self.yearly["item"] == TOTAL].set_index("way")
        told = []
        for way, row in rows.iterrows():
            # The rates are rough: two digits.
            about, low, high = (
                money(float(f"{row[end]:.2g}"), self.currency)
                for end in ("estimate", "low", "high")
            )
            told.append(f"about {about} a year ({low} to {high}) as {way}")
        words = f"Kept for {self.years.years:g} years: {'; '.join(told)}. {ASSUMED}"
        paid = {"a wash": self.years.wash, "an examination": self.years.examination}
        left = " and ".join(what for what, price in paid.items() if price is None)
        if left:
            words += f" Not counted, as no price was given: {left}."
        return words

    def summary(self) -> str:
        """Return the result in plain words, with the usual cautions."""
        lines = [self.answer(), self.yearly_words()]
        bought = self.order[self.order["order"] > 0]
        listed = [f"\n- {r['order']} of {r['key']}" for _, r in bought.iterrows()]
        lines.append(f"The order:{''.join(listed) or ' nothing.'}")
        for _, row in self.comparison.iterrows():
            if row["strategy"] != "plan":
                lines.append(
                    f"The same money spent {strategy_words(row['strategy'])} meets "
                    f"{share(row['needs_met'])} of needs; the plan's difference, "
                    f"in points: {points_interval(row)}."
                )
        lines += [self.proof(), DAY, NO_SLING, closing(self.limits)]
        return "\n".join(lines)


def money(amount: float, currency: str = "", places: int = 0) -> str:
    """Write an amount of money as its prices were written.

    >>> money(15730.0), money(15730.0, "£"), money(99.5, "EUR", 2)
    ('15,730', '£15,730', 'EUR 99.50')
    """
    return f"{currency}{' ' * currency.isalpha()}{amount:,.{places}f}"


def strategy_words(name: str) -> str:
    """Return what a way of spending is called."""
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


def _span(row: Any) -> str:
    """Write a range of whole people, its ends outwards."""
    low, high = math.floor(row["low"] + 0.05), math.ceil(row["high"] - 0.05)
    return f"{low:,} to {high:,}" if low < high else f"{low:,}"
