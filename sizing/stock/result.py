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
from sizing.stock.tables import SAMPLED
from sizing.words.numbers import in_100, points_interval, share

_T = texts("stock_plan")
DAY, NO_SLING = str(_T.day), str(_T.no_sling)
#: Beyond so many without any size the chart is changed before anything is bought (our
#: choice, no source).
MANY_UNFITTED = 0.10


@dataclass(frozen=True)
class StockPlan:
    """An order and what it does.

    - ``order``: A row per size: key, chart, size, code, load_limit_kg, price (of one),
      pack, owned, packs, order (slings to buy), stock (then owned), cost.
    - ``curve``: target, cost, slings, estimate, low, high (of days on which some wait,
      or of needs not met), waiting, nobody_waits, needs_met, method, n; plan: this
      order, whose target is NaN where there is a budget alone.
    - ``again``: Ten further sets of days: time, cost (of the cheapest order found for
      them alone; NaN without a target), estimate, low, high, method, n, waiting.
    - Others: where they are made (``tables``, ``alternatives``, ``offers``).
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
    def table(self) -> pd.DataFrame:
        return self.order

    def answer(self) -> str:
        """Return the result in short lines: whom no size fits, what to buy."""
        told = self._told
        days, met = told["nobody_waits"], told["needs_met"]
        waits = _T.nobody_waits.format(share=_in_100(days, " days"))
        needs = _T.needs_met.format(share=_in_100(met, " are met"))
        also = _T.sampled * (SAMPLED in days["method"])
        number = int(self.order["order"].sum())
        bought = _T.bought.format(slings=_slings(number), money=self._money(self.cost))
        lines = (
            invented_words(*self.invented),
            f"{self._unfitted()} {bought}",
            f"{needs} {waits}" if self.aim == "needs" else f"{waits} {needs}",
            self._beyond(),
            f"{self._known(number)} {_T.ranges.format(n=days['n'], also=also)}".strip(),
        )
        return "\n".join(filter(None, lines))

    @property
    def _told(self) -> dict[Any, Any]:
        told: dict[Any, Any] = self.service.set_index("measure").to_dict("index")
        return told

    def _money(self, amount: float) -> str:
        return money(amount, self.currency)

    def _people(self) -> str:
        """Say of how many: of fewer than are served where not all need one at once."""
        # Numbers that vary by chance are off by less.
        fewer = bool(self.people < 0.98 * self.groups["count"].sum())
        return f"{_T.people.format(people=self.people)}{_T.at_one_time * fewer}"

    def _unfitted(self) -> str:
        """Say whom no size fits, and what to do about it first."""
        left, share = self._told["not_fitted"], self._told["not_fitted_share"]
        if left["high"] <= 0:
            return str(_T.everybody)
        number = round(left["estimate"])
        words = _T.unfitted.format(
            number=f"about {number:,}" if number else "under 1",
            people=self._people(),
            fit="fit" if number > 1 else "fits",
            share=in_100(share["estimate"]),
        )
        if share["estimate"] > MANY_UNFITTED:
            return str(_T.change_chart.format(words=words))
        return str(words[0].upper() + words[1:])

    def _beyond(self) -> str:
        left = self._told["not_fitted"]
        return _T.beyond.format(span=_span(left)) if left["high"] > 0 else ""

    def _known(self, number: int) -> str:
        if not number:
            return ""
        known = round(self._told["known_need"]["estimate"])
        words = (_T.more_known if known > number else _T.known).format(known=known)
        if known < number:
            why = _T.out * bool(self.use.out)
            words += _T.unknown.format(number=number - known, why=why)
        return str(words)

    def proof(self) -> str:
        say, again, proved = _T.proof, self.again, self.gap == 0
        told = {
            "days": f"{self.settings['scenarios']:,} simulated days",
            "chosen": f"{self.settings['choosing']:,} other days",
            "bound": self._money(self.bound),
            "least": math.floor(100 * self.bound) / 100,
            "sets": len(again),
        }
        if self.target is None:
            words = say["budget" if proved else "budget_bound"] + say["budget_kept"]
        else:
            words = say["best" if proved else "bound"]
        low, high = (share(again["estimate"].agg(end)) for end in ("min", "max"))
        between = low if low == high else f"{low} to {high}"
        words += say["again"]
        told["met"] = say[self.aim].format(share=between)
        if again["cost"].notna().any():
            ends = [again["cost"].min(), again["cost"].max()]
            told["costs"] = " to ".join(dict.fromkeys(map(self._money, ends)))
            words += say["costs"]
        return f"{words.format(**told)}."

    def yearly_words(self) -> str:
        told = []
        for row in self.yearly[self.yearly["item"] == TOTAL].to_dict("records"):
            # The rates are rough: two digits.
            ends = {
                end: self._money(float(f"{row[end]:.2g}"))
                for end in ("estimate", "low", "high")
            }
            told.append(_T.a_year.format(way=row["way"], **ends))
        words = _T.kept.format(
            years=self.years.years, costs="; ".join(told), assumed=ASSUMED
        )
        paid = {"a wash": self.years.wash, "an examination": self.years.examination}
        left = " and ".join(what for what, price in paid.items() if price is None)
        return str(words) + (_T.not_counted.format(left=left) if left else "")

    def sizes_words(self) -> str:
        """Say whom all the sizes fit, what they cost, and what fewer of them would."""
        told = []
        for row in self.variants.drop_duplicates("sizes").to_dict("records"):
            # The first rows hold the same sizes at other prices.
            own = row["sizes"] == len(self.order)
            slings = self.order["order"].sum() if own else row["slings"]
            cost = self.cost if own else row["cost"]
            words = _T.out_of_reach if pd.isna(cost) else _T.some_sizes
            which = _T.all_of_them if own else _T.some_of_them
            if row["sizes"] == 1:
                which = _T.only_one if own else _T.one_of_them
            told.append(
                words.format(
                    sizes=which.format(sizes=row["sizes"]),
                    fitted=self.people - row["not_fitted"],
                    people=_T.people.format(people=self.people),
                    slings=_slings(slings),
                    money=self._money(cost),
                )
            )
        return str(_T.sizes.format(each=". ".join(told)))

    def summary(self) -> str:
        """Return the result in plain words, with the usual cautions."""
        bought = self.order[self.order["order"] > 0]
        listed = [f"\n- {r['order']} of {r['key']}" for _, r in bought.iterrows()]
        others = [
            _T.same_money.format(
                way=strategy_words(row["strategy"]),
                share=share(row["needs_met"]),
                points=points_interval(row),
            )
            for row in self.comparison.to_dict("records")
            if row["strategy"] != "plan"
        ]
        lines = [self.answer(), self.yearly_words()]
        lines.append(f"The order:{''.join(listed) or ' nothing.'}")
        lines += [
            *others,
            self.sizes_words(),
            self.proof(),
            DAY,
            NO_SLING,
            closing(self.limits),
        ]
        return "\n".join(lines)


def money(amount: float, currency: str = "", places: int = 0) -> str:
    """Write an amount of money as its prices were written.

    >>> money(15730.0), money(15730.0, "£"), money(99.5, "EUR", 2)
    ('15,730', '£15,730', 'EUR 99.50')
    """
    return f"{currency}{' ' * currency.isalpha()}{amount:,.{places}f}"


def _slings(number: float) -> str:
    return f"{number:,.0f} {'sling' if number == 1 else 'slings'}"


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


def _span(row: Any) -> str:
    low, high = math.floor(row["low"] + 0.05), math.ceil(row["high"] - 0.05)
    return f"{low:,} to {high:,}" if low < high else f"{low:,}"
