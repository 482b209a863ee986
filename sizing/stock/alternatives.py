"""Other targets, other people, and the same money spent otherwise."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from sizing.measures.written import Amount, Said, joined
from sizing.people import load_people
from sizing.stock import tables
from sizing.stock.days import Days, Group, draw_days, group_from
from sizing.stock.least_cost import ASIDE, least_cost
from sizing.stock.need import Served, Use
from sizing.stock.offers import Offer
from sizing.stock.programme import Order, Programme, programme_from
from sizing.stock.repair import adapted
from sizing.stock.rivals import equal_numbers, like_last_year
from sizing.stock.service import Ints

#: Targets at which the curve of cost is worked out.
CURVE: tuple[float, ...] = (0.80, 0.90, 0.95, 0.98, 0.99)
#: Streams of random numbers: planning, raising the level, checking.
PLANNING, TUNING, CHECKING = range(3)


class Work:
    """What every alternative shares: the offer, the use and the random numbers."""

    def __init__(self, offer: Offer, use: Use, scenarios: int, seed: int) -> None:
        self.offer, self.use = offer, use
        self.scenarios, self.seed = scenarios, seed

    def days(self, groups: Sequence[Group], stream: int, number: int) -> Days:
        """Draw days; the same stream means the same luck."""
        return draw_days(
            groups,
            self.use,
            sizes=len(self.offer.keys),
            days=number,
            seed=(self.seed, stream),
        )

    def programme(self, groups: Sequence[Group]) -> Programme:
        """Return the programme on the planning days."""
        days = self.days(groups, PLANNING, self.scenarios)
        return programme_from(self.offer, days, self.use.spares)


def _aside(
    programme: Programme, target: float, packs: Ints, tick: Callable[[], Any]
) -> Order | None:
    """Return the order for a target beside the one asked for."""
    if programme.large:
        return adapted(programme, packs, target)
    return least_cost(programme, target, effort=ASIDE, tick=tick)


def cost_curve(
    programme: Programme,
    check: tables.Check,
    target: float | None,
    order: Order,
    done: Callable[[], Any],
) -> pd.DataFrame:
    """Return the cost of other targets, judged on fresh days."""
    rows = []
    levels = sorted({*CURVE, *(() if target is None else (target,))})
    for level in levels:
        found = _aside(programme, level, order.packs, done)
        if found is not None:
            rows.append({"target": level, **_point(programme, check, found)})
        done()
    rows.append({"target": np.nan, **_point(programme, check, order)})
    table = pd.DataFrame(rows)
    table.insert(1, "plan", [False] * (len(table) - 1) + [True])
    return table.sort_values(["cost", "plan"], ignore_index=True)


def _point(programme: Programme, check: tables.Check, order: Order) -> dict[str, Any]:
    waiting = check.shortage(programme.stock(order.packs)).waiting
    return {
        "cost": order.cost,
        "slings": int((order.packs * programme.pack).sum()),
        **tables.share_row(int((waiting > 0).sum()), len(waiting)),
        "waiting": float(waiting.mean()),
        "gap": order.gap,
    }


#: Other people: what is shifted, by what share of its mean, what it is called.
OTHERS: tuple[tuple[str, str, float], ...] = (
    ("as planned", "", 0.0),
    ("heavier", "body_mass_kg", 0.10),
    ("lighter", "body_mass_kg", -0.10),
    ("older", "age_years", 0.05),
    ("more children", "children", 0.10),
)


def robustness(
    work: Work,
    groups: Sequence[Group],
    packs: Ints,
    target: float | None,
    checks: int,
    done: Callable[[], Any],
) -> pd.DataFrame:
    """Judge the order on other people, and price the order they would need."""
    rows = []
    offer = work.offer
    stock = (offer.column("owned") + packs * offer.column("pack")).astype(np.int64)
    for name, what, shift in OTHERS:
        if what == "children":
            others, told = _with_children(work, groups, shift)
        elif what:
            others, told = _shifted(work, groups, what, shift)
        else:
            others, told = list(groups), "the people as given"
        days = work.days(others, CHECKING, checks)
        check = tables.Check(days, work.offer, work.use.spares)
        waiting = check.shortage(stock).waiting
        met = tables.ratio_row(check.needed - waiting, check.needed)
        cost = np.nan
        if target is not None:
            found = _aside(work.programme(others), target, packs, done)
            cost = np.nan if found is None else found.cost
        rows.append(
            {
                "people": name,
                "shift": told,
                **tables.share_row(int((waiting == 0).sum()), len(waiting)),
                "needs_met": met["estimate"],
                "waiting": float(waiting.mean()),
                "not_fitted": float(days.needs[:, 0].mean()),
                "cost": cost,
            }
        )
        done()
    # A column of text would keep the words and lose the amounts within them.
    shifts = pd.Series([row["shift"] for row in rows], dtype=object)
    return pd.DataFrame(rows).assign(shift=shifts)


def _shifted(
    work: Work, groups: Sequence[Group], what: str, shift: float
) -> tuple[list[Group], str]:
    """Return the groups drawn with weights that move a mean, and what moved."""
    made, told = [], []
    for group in groups:
        people = group.served.people
        if what not in people.frame:
            made.append(group)
            continue
        value = people.frame[what].to_numpy(dtype=float)
        old = people.weight.to_numpy(dtype=float)
        known = np.isfinite(value)
        mean = float(np.average(value[known], weights=old[known]))
        new = tables.tilted(old, value, shift * mean)
        after = float(np.average(value[known], weights=new[known]))
        by: object = f"{abs(after - mean):.1f} years"
        if what == "body_mass_kg":
            by = Amount(abs(after - mean), what)
        sign = "-" if after < mean else "+"
        words = "{title} {sign}{by} on average"
        told.append(Said(words, title=group.served.title, sign=sign, by=by))
        # A caseload is drawn anew from its own people under the other weights.
        served = replace(group.served, count=group.served.present)
        made.append(group_from(served, work.offer, new))
    return made, joined(told)


def _with_children(
    work: Work, groups: Sequence[Group], share: float
) -> tuple[list[Group], str]:
    """Return the groups with a tenth of their people exchanged for children."""
    made, moved = [], 0
    for group in groups:
        present = group.served.present
        fewer = round(present * (1 - share))
        moved += present - fewer
        served = replace(group.served, count=fewer)
        made.append(group_from(served, work.offer))
    children = Served(load_people("children", draws=1), moved)
    made.append(group_from(children, work.offer))
    return made, f"{moved} people exchanged for children of 2 to 17 at home"


def comparison_of(
    programme: Programme, check: tables.Check, order: Order, money: float
) -> pd.DataFrame:
    """Spend the same money otherwise, and judge it on the same days."""
    used = programme.offer.column("last_year")
    spent = {"plan": order.packs, "equal numbers": equal_numbers(programme, money)}
    if np.nansum(used) > 0:
        spent["last year's use"] = like_last_year(programme, money, used)
    rows = []
    served = {
        name: check.needed - check.shortage(programme.stock(packs)).waiting
        for name, packs in spent.items()
    }
    for name, packs in spent.items():
        rows.append(
            {
                "strategy": name,
                "slings": int((packs * programme.pack).sum()),
                "cost": programme.cost(packs),
                "needs_met": tables.ratio_row(served[name], check.needed)["estimate"],
                "nobody_waits": float((served[name] == check.needed).mean()),
                **tables.ratio_row(served["plan"] - served[name], check.needed),
            }
        )
    return pd.DataFrame(rows)
