"""The result of planning a stock."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from sizing.cautions import cautions, invented_first
from sizing.stock.need import Use
from sizing.stock.tables import SAMPLED

DAY = (
    "A day here is drawn anew from the people: the share of days runs over the homes "
    "such people could make up as well as over the days of one home."
)
NO_SLING = "Stock planning does not choose a sling for a person."


@dataclass(frozen=True)
class StockPlan:
    """An order and what it does.

    Attributes
    ----------
    order : DataFrame
        One row per size: key, chart, size, load_limit_kg, price (of one sling),
        pack, owned, packs, order (slings to buy), stock (slings then owned),
        cost.
    service, demand, shortages, not_fitted, one_more_or_less : DataFrame
        See ``sizing.stock.tables``.
    curve : DataFrame
        One row per target: target, cost, slings (bought), estimate, low, high
        (chance that somebody waits on a day), waiting, method, n, gap.
    robustness : DataFrame
        The same order with other people; see ``plan_stock``.
    comparison : DataFrame
        The same money spent otherwise; see ``plan_stock``.
    target, budget : float or None
    cost, gap : float
        Of the order; gap 0: proved the best on the planning days.
    groups : DataFrame
        Whom the stock serves.
    use : Use
    limits, sources : tuple of str
    settings : mapping
    invented : tuple of str
        What is the demo's, for ``invented_words``.
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
    target: float | None
    budget: float | None
    cost: float
    gap: float
    groups: pd.DataFrame
    use: Use
    limits: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    invented: tuple[str, ...] = ()

    @property
    def table(self) -> pd.DataFrame:
        """The order."""
        return self.order

    def answer(self) -> str:
        """Return the result in one sentence, with its uncertainty."""
        told = self.service.set_index("measure")
        days, met = told.loc["nobody_waits"], told.loc["needs_met"]
        left = told.loc["not_fitted"]
        number = self.order["order"].sum()
        also = " and for other people sampled as these were"
        over = also if SAMPLED in days["method"] else ""
        return invented_first(
            self.invented,
            f"Buy {number:,} {'sling' if number == 1 else 'slings'} for "
            f"{self.cost:,.0f}: nobody waits for a fitting sling on {_percent(days)} "
            f"of days, and {_percent(met)} of the needs of people whom some size fits "
            f"are met; on a mean day no size offered fits {left['estimate']:.1f} "
            f"others ({left['low']:.1f} to {left['high']:.1f}). In brackets: 95 % "
            f"intervals over {days['n']:,} days drawn afresh{over}.",
        )

    def proof(self) -> str:
        """Return how near the order is to the best possible, as a sentence."""
        if self.gap == 0:
            return "No other order does as well on the planning days for less: proved."
        if self.target is None:
            return (
                "On the planning days the number waiting is at most "
                f"{100 * self.gap:.1f} % above the best that the money can do."
            )
        return (
            f"An order that does as well on the planning days costs at most "
            f"{100 * self.gap:.1f} % less than this one: proved."
        )

    def summary(self) -> str:
        """Return the result in plain words, with the usual cautions."""
        lines = [self.answer()]
        bought = self.order[self.order["order"] > 0]
        listed = [f"{r['order']} of {r['key']}" for _, r in bought.iterrows()]
        lines.append(f"The order: {', '.join(listed) or 'nothing'}.")
        lines.append(
            "Whom no size offered fits is not among those who wait, and needs another "
            "pattern or a sling made to measure; more stock does not help."
        )
        for _, row in self.comparison.iterrows():
            if row["strategy"] != "plan":
                lines.append(
                    f"The same money spent as {row['strategy']} meets "
                    f"{100 * row['needs_met']:.0f} % of needs: the plan meets "
                    f"{100 * row['estimate']:.0f} points more "
                    f"({100 * row['low']:.0f} to {100 * row['high']:.0f})."
                )
        lines += [self.proof(), DAY, NO_SLING, *self.limits, " ".join(cautions())]
        return "\n".join(lines)


def _percent(row: Any) -> str:
    told, low, high = (_whole(row[name]) for name in ("estimate", "low", "high"))
    return f"{told} %" if told == low == high else f"{told} % ({low} to {high})"


def _whole(share: float) -> str:
    """Write a share in whole percent; what is not all is not said to be all."""
    return "over 99" if 0.995 <= share < 1 else f"{100 * share:.0f}"
