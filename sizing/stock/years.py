"""What a stock costs over the years, after it is bought."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import SizingError, check_number
from sizing.resources import source_table

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
    """How long a stock is kept, and what keeping it costs.

    - ``years``: The period over which the purchase is spread and people are admitted.
    - ``wash, examination, single``: Price of washing one sling, of one thorough
      examination of it, and of a single-patient sling; None: not counted.
    - ``rates``: In place of those of ``data_sources/stock_years.csv``.
    """

    years: float = 5
    wash: float | None = None
    examination: float | None = None
    single: float | None = None
    rates: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse what cannot be."""
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
    """Return rates to start from: rate, label, estimate, low, high, source."""
    return source_table("stock_years.csv")


def yearly_cost(
    order: pd.DataFrame, groups: pd.DataFrame, unfitted: float, years: Years
) -> pd.DataFrame:
    """Return what a stock costs a year, laundered and single-patient.

    Of a value V of slings held, a reserve r on top, kept n years: the purchase and
    ``r V`` are spread over n; ``(1 + r) V (1 / life + examinations condemned + lost)``
    is replaced each year. Every sling held is washed and examined. Slings that are
    passed on serve newcomers and go back to the store when a child outgrows them;
    others are bought anew for either. Single-patient slings: one after another for
    each person who fits some size, and a first one for each newcomer.

    way, item, estimate, low, high (money a year), source.
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
    # What is paid for, money at each end, and the rate whose source it has.
    items: list[tuple[str, str, Any, str]] = [
        (LAUNDERED, "the purchase, spread", cost / n, ""),
        (
            LAUNDERED,
            "a reserve for infection control",
            rate["reserve"] * value / n,
            "reserve",
        ),
        (LAUNDERED, "worn out", more * value / rate["life_years"], "life_years"),
        (LAUNDERED, "condemned at the thorough examination", condemned, "condemned"),
        (LAUNDERED, "lost", more * value * rate["lost"], "lost"),
        (LAUNDERED, "thorough examinations", examined, "examinations"),
        (LAUNDERED, "laundry", held * rate["washes"] * (years.wash or 0.0), "washes"),
        (
            LAUNDERED,
            "children who outgrow their size",
            children * rate["outgrown"] * price,
            "outgrown",
        ),
        (LAUNDERED, "residents who come and go", coming[anew].sum() * price, ""),
    ]
    if years.single is not None:
        number = clients * _WEEKS / rate["single_weeks"] * years.single
        first, of = coming.sum() * years.single, "single_weeks"
        items.append((SINGLE, "one after another for each person", number, of))
        items.append((SINGLE, "a first one for newcomers", first, of))
    rows = []
    for way, item, ends, name in items:
        money = dict(zip(_ENDS, np.broadcast_to(ends, 3).tolist(), strict=True))
        if money["high"] > 0:
            source = table.loc[name, "source"] if name else "the plan"
            rows.append({"way": way, "item": item, **money, "source": source})
    made = pd.DataFrame(rows, columns=["way", "item", *_ENDS, "source"])
    sums = made.groupby("way", sort=False)[list(_ENDS)].sum()
    sums = sums.reset_index().assign(item=TOTAL, source="the sum of these")
    made = pd.concat([made, sums], ignore_index=True)
    return made.sort_values("way", kind="stable", ignore_index=True)
