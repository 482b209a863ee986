"""Other targets, other people, and the same money spent otherwise."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from sizing.measures import Amount, Said, joined
from sizing.people import load_people
from sizing.stock import tables
from sizing.stock.budget import equal_numbers, fewest_waiting, in_proportion
from sizing.stock.cheapest import Tick, adapted
from sizing.stock.days import Days, Group, draw_days, group_from
from sizing.stock.need import Served, Use
from sizing.stock.offers import Offer
from sizing.stock.programme import SMALL, Order, Programme, part_allowed, programme_from
from sizing.stock.service import Ints
from sizing.words.numbers import given

#: Targets at which the curve of cost is worked out, of days and of needs.
CURVE: dict[str, tuple[float, ...]] = {
    "days": (0.80, 0.90, 0.95, 0.98, 0.99),
    "needs": (0.90, 0.95, 0.98, 0.99, 0.995),
}
#: Streams of random numbers: planning, choosing among orders, checking, and the
#: first of those that show how much rests on the days drawn.
PLANNING, TUNING, CHECKING, AGAIN = range(4)
#: Sets of days drawn anew for the last.
TIMES = 10
#: Standard errors by which the days that choose an order must pass the target: days
#: drawn afresh then confirm it in most plans (one-sided normal).
_SURE = 1.645
#: Sets of sizes times days that are worth looking at for one order, and the days that
#: this may come to (our choice, no source).
_CELLS, _FEWEST, _MOST = 1 << 21, 8, 60_000
#: Times that an order is asked for again where slings are out of use, and the part
#: of what may be missed that is near enough.
_ROUNDS, _CLOSE = 4, 0.9


@dataclass(frozen=True)
class Work:
    """What alternatives share; ``spread``: how much one day moves what is aimed at."""

    offer: Offer
    use: Use
    scenarios: int
    seed: int
    choosing: int
    aim: str = "days"
    target: float | None = None
    budget: float = 0.0
    tick: Tick = lambda: None
    spread: float = 0.0

    def days(self, groups: Sequence[Group], stream: int, number: int) -> Days:
        """The same stream means the same luck."""
        return draw_days(
            groups,
            self.use,
            sizes=len(self.offer.keys),
            days=number,
            seed=(self.seed, stream),
        )

    def programme(self, groups: Sequence[Group]) -> Programme:
        days = self.days(groups, PLANNING, self.scenarios)
        return programme_from(self.offer, days, self.use.spares, self.aim)

    def choosing_for(self, programme: Programme) -> "Work":
        """Return it with as many days to choose by as are worth looking at."""
        # Many sizes take longer on each day, and shares need no finer interval.
        least = self.scenarios * _FEWEST // (2 if programme.large else 1)
        fit = 0 if programme.large else _CELLS // programme.needs.listed
        most = min(max(least, fit), 60 * self.scenarios)
        return replace(self, choosing=min(most, max(least, _MOST)))

    def level(self, target: float) -> float:
        """Return the target of the choosing days, with a margin for their luck."""
        spread = self.spread or math.sqrt(target * (1 - target))
        error = spread / math.sqrt(self.choosing)
        return target + min(_SURE * error, (1 - target) / 2)

    def trial(
        self, groups: Sequence[Group], stream: int = TUNING, number: int = 0
    ) -> "Trial":
        return Trial(self, self.days(groups, stream, number or self.choosing))


class Trial:
    """Fresh days on which orders near the best are judged, and the best one kept."""

    def __init__(self, work: Work, days: Days) -> None:
        self.tick = work.tick
        self.programme = programme_from(work.offer, days, work.use.spares, work.aim)
        self.check = tables.Check(days, work.offer, work.use.spares)

    def waiting(self, packs: Ints) -> Ints:
        return self.check.shortage(self.programme.stock(packs)).waiting

    def spread(self, packs: Ints) -> float:
        """Return how the share of needs met moves from day to day; 0 for days."""
        if self.programme.aim == "days":
            return 0.0
        late, needed = self.waiting(packs), self.check.needed
        rest = late - late.sum() / max(int(needed.sum()), 1) * needed
        return float(rest.std() / max(needed.mean(), SMALL))

    def cheapest(
        self, packs: Ints, level: float, near: Callable[..., Ints | None] = adapted
    ) -> Ints | None:
        """Return the cheapest order near one with which enough days are served."""
        needs = self.programme.aim == "needs"
        limit = part_allowed(
            level, int(self.check.needed.sum()) if needs else self.check.days.number
        )
        allowed = self.programme.allowed(level)
        found = near(self.programme, packs, allowed, self.tick)
        cost = self.programme.cost
        best: Ints | None = None
        for _ in range(_ROUNDS):
            if found is None or not self.check.days.share_out.any():
                return found
            # Slings out of use are counted otherwise where days are judged.
            late = self.programme.missed(self.waiting(found))
            if late <= limit and (best is None or cost(found) < cost(best)):
                best = found
            if _CLOSE * limit <= late <= limit or (late > limit and allowed == 0):
                break
            allowed = max(allowed + limit - late, 0)
            other = near(self.programme, found, allowed, self.tick)
            found = found if other is None else other
        return found if best is None else best


def drawn_again(work: Work, groups: Sequence[Group], packs: Ints) -> pd.DataFrame:
    rows = []
    for time in range(TIMES):
        work.tick()
        trial = work.trial(groups, AGAIN + time, work.scenarios)
        does = trial.check.does(trial.programme.stock(packs), work.aim)
        row = {"time": time + 1, "cost": _needed(work, trial, packs)}
        rows.append(row | {name: does[name] for name in _REACHED})
    return pd.DataFrame(rows)


def _needed(work: Work, trial: Trial, packs: Ints) -> float:
    """Return the cost of the cheapest order on other days; NaN: none, or no target."""
    if work.target is None:
        return math.nan
    found = trial.cheapest(packs, work.level(work.target))
    return math.nan if found is None else trial.programme.cost(found)


def cost_curve(
    work: Work, trial: Trial, check: tables.Check, packs: Ints
) -> pd.DataFrame:
    """Return the cost of other targets, chosen alike and judged on fresh days."""
    targets = [level for level in CURVE[work.aim] if level != work.target]
    orders = {level: trial.cheapest(packs, work.level(level)) for level in targets}
    rows = []
    for level, found in [*orders.items(), (work.target, packs)]:
        if found is not None:
            bought = trial.programme.bought(found)
            does = check.does(trial.programme.stock(found), work.aim)
            rows.append({"target": level, "plan": found is packs, **bought, **does})
    made = pd.DataFrame(rows).astype({"target": float})
    missed = 1 - made[["estimate", "high", "low"]]
    made[["estimate", "low", "high"]] = missed.to_numpy()
    made = made.drop(columns=["needed", "not_fitted"])
    return made.sort_values(["cost", "plan"], ignore_index=True)


#: What is said of the order on other days drawn.
_REACHED = ("estimate", "low", "high", "method", "n", "waiting")
#: How prices are changed, and every how many sizes fewer of them are planned.
_PRICES, _EVERY = (0.2, -0.2), 3


def variants_of(
    work: Work, groups: Sequence[Group], trial: Trial, check: tables.Check, packs: Ints
) -> pd.DataFrame:
    """Return the plan at other prices, and with fewer of the sizes.

    Sizes go one by one, each time that which leaves fewest people with none; the order
    then keeps the target for whom some size left fits, or spends the budget. Cost NaN:
    no order.
    """
    days, target, every = work.days(groups, PLANNING, work.scenarios), work.target, -1
    rows: list[dict[str, Any]] = []

    def bought(left: int, money: float) -> Ints:
        programme = Trial(work, days.only(left)).programme
        return fewest_waiting(programme, money, tick=work.tick).packs

    def add(
        words: str, number: int, trial: Trial, check: tables.Check, order: Any
    ) -> None:
        does: dict[str, Any] = {"cost": math.nan}
        does["not_fitted"] = check.not_fitted
        if order is not None:
            does |= trial.programme.bought(order)
            does |= check.does(trial.programme.stock(order), "needs")
        rows.append({"scenario": words, "sizes": number, **does})

    for change in _PRICES:
        work.tick()
        found = packs if target else bought(every, work.budget / (1 + change))
        words = f"prices {given(abs(change))} {'up' if change > 0 else 'down'}"
        add(words, len(packs), trial, check, found)
        rows[-1]["cost"] *= 1 + change
    people = check.days.by_group.sum(axis=0).mean(axis=0)
    left, gone = set(range(len(packs))), 0
    while len(left) > 1:
        mask = sum(1 << size for size in left)
        alone = check.days.masks & mask
        size = min(sorted(left), key=lambda one: people[alone == 1 << one].sum())
        left.remove(size)
        gone += 1
        if gone > 1 and len(left) % _EVERY:
            continue
        work.tick()
        mask -= 1 << size
        fewer = Trial(work, trial.check.days.only(mask))
        judged = tables.Check(check.days.only(mask), work.offer, check.spares)
        kept = np.where(np.isin(np.arange(len(packs)), list(left)), packs, 0)
        order = (
            fewer.cheapest(kept, work.level(target))
            if target
            else bought(mask, work.budget)
        )
        words = f"without {work.offer.keys[size]}"
        words = words if gone == 1 else "so many sizes alone"
        add(words, len(left), fewer, judged, order)
    columns = "scenario sizes slings cost nobody_waits needs_met not_fitted"
    return pd.DataFrame(rows, columns=columns.split())


#: Other people: what is shifted, by what share of its mean, what it is called.
OTHERS: tuple[tuple[str, str, float], ...] = (
    ("as planned", "", 0.0),
    ("heavier", "body_mass_kg", 0.10),
    ("lighter", "body_mass_kg", -0.10),
    ("older", "age_years", 0.05),
    ("more children", "children", 0.10),
)


def robustness(
    work: Work, groups: Sequence[Group], packs: Ints, check: tables.Check
) -> pd.DataFrame:
    """Judge the order on other people, of like luck, and price the order they need."""
    rows, offer = [], work.offer
    stock = (offer.column("owned") + packs * offer.column("pack")).astype(np.int64)
    # As planned, the order is the one asked for.
    price = float(packs @ (offer.column("price") * offer.column("pack")))
    told = "the people as given"
    cost = math.nan if work.target is None else price
    for name, what, shift in OTHERS:
        if what:
            make = _with_children if what == "children" else _shifted
            others, told = make(work, groups, what, shift)
            number = min(work.choosing, _FEWEST * work.scenarios)
            trial = work.trial(others, CHECKING, number)
            check, cost = trial.check, _needed(work, trial, packs)
        rows.append({"people": name, "shift": told, **check.does(stock), "cost": cost})
        work.tick()
    # A column of text would keep the words and lose the amounts within them.
    shifts = pd.Series([row["shift"] for row in rows], dtype=object)
    made = pd.DataFrame(rows).drop(columns=["needed", "nobody_waits"])
    return made.assign(shift=shifts)


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
    work: Work, groups: Sequence[Group], name: str, share: float
) -> tuple[list[Group], str]:
    made, moved = [], 0
    for group in groups:
        present = group.served.present
        fewer = round(present * (1 - share))
        moved += present - fewer
        served = replace(group.served, count=fewer)
        made.append(group_from(served, work.offer))
    children = Served(load_people(name, draws=1), moved)
    made.append(group_from(children, work.offer))
    return made, f"{moved} people exchanged for children of 2 to 17 at home"


def comparison_of(
    programme: Programme, check: tables.Check, order: Order, money: float
) -> pd.DataFrame:
    """Spend the same money otherwise, and judge it on the same days."""
    used = programme.offer.column("last_year")
    spent = {"plan": order.packs, "equal numbers": equal_numbers(programme, money)}
    if np.nansum(used) > 0:
        spent["last year's use"] = in_proportion(programme, money, used)
    served = {
        name: check.needed - check.shortage(programme.stock(packs)).waiting
        for name, packs in spent.items()
    }
    return pd.DataFrame(
        [
            {
                "strategy": name,
                **programme.bought(packs),
                "needs_met": tables.ratio_row(served[name], check.needed)["estimate"],
                "nobody_waits": float((served[name] == check.needed).mean()),
                **tables.ratio_row(served["plan"] - served[name], check.needed),
            }
            for name, packs in spent.items()
        ]
    )
