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
from sizing.stock.budget import fewest_waiting
from sizing.stock.cheapest import Tick, adapted
from sizing.stock.days import Days, Group, draw_days, group_from
from sizing.stock.need import Served, Use
from sizing.stock.offers import Offer
from sizing.stock.programme import SMALL, Programme, part_allowed, programme_from
from sizing.stock.service import Ints, sizes_in
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
        how: Any = {"sizes": len(self.offer.keys), "days": number}
        return draw_days(groups, self.use, seed=(self.seed, stream), **how)

    def programme(self, groups: Sequence[Group]) -> Programme:
        days = self.days(groups, PLANNING, self.scenarios)
        return programme_from(self.offer, days, self.use.spares, self.aim)

    def choosing_for(self, programme: Programme) -> "Work":
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

    def does(
        self, packs: Ints, check: tables.Check | None = None, aim: str = ""
    ) -> dict[str, Any]:
        """Return slings, cost and what an order does, here or on other days."""
        stock, aim = self.programme.stock(packs), aim or self.programme.aim
        return self.programme.bought(packs) | (check or self.check).does(stock, aim)

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
        done = trial.does(packs) | {"cost": _needed(work, trial, packs)}
        rows.append({"time": time + 1, **done})
    return pd.DataFrame(rows)[["time", "cost", *_REACHED]]


def _needed(work: Work, trial: Trial, packs: Ints) -> float:
    """Return the cost of the cheapest order on other days; NaN: none, or no target."""
    if work.target is None:
        return math.nan
    found = trial.cheapest(packs, work.level(work.target))
    return math.nan if found is None else trial.programme.cost(found)


def cost_curve(
    work: Work, trial: Trial, check: tables.Check, packs: Ints
) -> pd.DataFrame:
    targets = [level for level in CURVE[work.aim] if level != work.target]
    orders = {level: trial.cheapest(packs, work.level(level)) for level in targets}
    rows = [
        {"target": level, "plan": found is packs, **trial.does(found, check)}
        for level, found in [*orders.items(), (work.target, packs)]
        if found is not None
    ]
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
    """Return the plan at other prices, and without the sizes that fewest need."""
    days, target = work.days(groups, PLANNING, work.scenarios), work.target
    rows: list[dict[str, Any]] = []

    def bought(left: int, money: float) -> Ints:
        programme = Trial(work, days.only(left)).programme
        return fewest_waiting(programme, money, tick=work.tick).packs

    def add(
        words: str, number: int, trial: Trial, check: tables.Check, order: Any
    ) -> None:
        does: dict[str, Any] = {"cost": math.nan, "not_fitted": check.not_fitted}
        if order is not None:
            does = trial.does(order, check, "needs")
        rows.append({"scenario": words, "sizes": number, **does})

    for change in _PRICES:
        work.tick()
        found = packs if target else bought(-1, work.budget / (1 + change))
        words = f"prices {given(abs(change))} {'up' if change > 0 else 'down'}"
        add(words, len(packs), trial, check, found)
        rows[-1]["cost"] *= 1 + change
    people = check.days.by_group.sum(axis=0).mean(axis=0)
    left = set(range(len(packs)))
    while len(left) > 1:
        mask = sum(1 << size for size in left)
        alone = check.days.masks & mask
        size = min(sorted(left), key=lambda one: people[alone == 1 << one].sum())
        left.remove(size)
        first = len(left) == len(packs) - 1
        if not first and len(left) % _EVERY:
            continue
        work.tick()
        mask -= 1 << size
        fewer = Trial(work, trial.check.days.only(mask))
        judged = tables.Check(check.days.only(mask), work.offer, check.spares)
        if target:
            kept = np.where(np.isin(np.arange(len(packs)), list(left)), packs, 0)
            order = fewer.cheapest(kept, work.level(target))
        else:
            order = bought(mask, work.budget)
        words = f"without {work.offer.keys[size]}" if first else "so many sizes alone"
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


#: What the two last rows are called.
OWN, ONE = "all, each with its own store", "one store for all that does as much"
#: Parts of the days drawn for choosing an order that each service has.
_DAYS = 4


def own_stores(
    work: Work, ready: Sequence[Group], trial: Trial, check: tables.Check, packs: Ints
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Plan each service alone, and one store for all that does as much.

    A row per service, then ``OWN`` (the shares multiply) and ``ONE``; no cost: out of
    reach. A service without a target has the plan's or what the plan reaches.
    """
    places: dict[str, list[int]] = {}
    for at, group in enumerate(ready):
        places.setdefault(group.served.title, []).append(at)
    if len(places) < 2:
        return pd.DataFrame(), pd.DataFrame()
    reached = trial.does(packs, check)["estimate"]
    shares = _owned(trial, list(places.values()))
    rows, orders = [], []
    for turn, (name, some) in enumerate(places.items()):
        work.tick()
        groups = [ready[i] for i in some]
        level = groups[0].served.target or work.target or reached
        row, order = _alone(work, groups, shares[turn], level, turn + 1)
        rows.append({"service": name, "target": level, **row})
        orders.append(order.assign(service=name))
    made = pd.DataFrame(rows)
    together = _together(made, work.aim)
    one: dict[str, Any] = {"service": ONE, "target": together["estimate"]}
    if math.isfinite(together["cost"]):
        found = trial.cheapest(packs, work.level(together["estimate"]))
        one |= {} if found is None else trial.does(found, check)
    made = pd.concat([made, pd.DataFrame([together, one])], ignore_index=True)
    made = made.drop(columns="waiting", errors="ignore")
    return made, pd.concat(orders, ignore_index=True)


def _owned(trial: Trial, places: list[list[int]]) -> Ints:
    """Share out the slings owned by need, the largest remainders first."""
    days, owned = trial.check.days, trial.programme.owned
    clients = days.by_group.mean(axis=1) @ sizes_in(days.masks, len(owned))
    need = np.array([clients[at].sum(axis=0) for at in places])
    exact = need / np.maximum(need.sum(axis=0), 1e-9) * owned
    given: Ints = np.floor(exact).astype(np.int64)
    for size, left in enumerate(owned - given.sum(axis=0)):
        first = np.argsort(given[:, size] - exact[:, size], kind="stable")
        given[first[: int(left)], size] += 1
    return given


def _alone(
    work: Work, groups: Sequence[Group], owned: Ints, level: float, turn: int
) -> tuple[dict[str, Any], pd.DataFrame]:
    offer = replace(work.offer, table=work.offer.table.assign(owned=owned))
    alone = replace(
        work,
        offer=offer,
        use=groups[0].served.use or work.use,
        seed=work.seed + 1000 * turn,
        choosing=_DAYS * work.scenarios,
        spread=0.0,
    )
    trial = alone.trial(groups)
    start = trial.cheapest(np.zeros_like(owned), level)
    if start is None:
        row = {"cost": math.nan, "not_fitted": trial.check.not_fitted}
        return row, pd.DataFrame(columns=["key", "order", "stock", "cost"])
    alone = replace(alone, spread=trial.spread(start))
    packs = trial.cheapest(start, alone.level(level))
    packs = start if packs is None else packs
    days, programme = alone.days(groups, CHECKING, alone.choosing), trial.programme
    table = offer.table[["key"]].assign(
        order=packs * programme.pack,
        stock=programme.stock(packs),
        cost=packs * programme.pack_price,
    )
    return trial.does(packs, tables.Check(days, offer, alone.use.spares)), table


def _together(rows: pd.DataFrame, aim: str) -> dict[str, Any]:
    sums = rows.reindex(columns=["slings", "cost", "not_fitted", "needed"])
    total: dict[str, Any] = {"service": OWN}
    total |= {str(name): value for name, value in sums.sum(skipna=False).items()}
    shares = rows.reindex(columns=["needs_met", "nobody_waits"])
    met = (shares["needs_met"] * sums["needed"]).sum(skipna=False)
    total["needs_met"] = float(met) / (total["needed"] or 1.0)
    total["nobody_waits"] = float(np.prod(shares["nobody_waits"].to_numpy(float)))
    reached = total["needs_met" if aim == "needs" else "nobody_waits"]
    return total | {"estimate": reached}
