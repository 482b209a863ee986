"""Each service with a store of its own, against one store for all of them."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from sizing.stock import tables
from sizing.stock.alternatives import CHECKING, Trial, Work
from sizing.stock.days import Group
from sizing.stock.need import Served
from sizing.stock.programme import Programme
from sizing.stock.service import Ints, sizes_in

#: What the two last rows are called.
OWN, ONE = "all, each with its own store", "one store for all that does as much"
#: Parts of the days drawn for choosing an order that each service has.
_DAYS = 4


def by_service(groups: Sequence[Served]) -> dict[str, list[int]]:
    """Return the places of each service's groups; groups of one name are one."""
    places: dict[str, list[int]] = {}
    for at, group in enumerate(groups):
        places.setdefault(group.title, []).append(at)
    return places


def own_stores(
    work: Work, ready: Sequence[Group], trial: Trial, check: tables.Check, packs: Ints
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Plan each service alone, and one store for all that does as much.

    Slings owned are shared out by need. A service without a target has the plan's or
    what the plan reaches. ``services``: a row per service, then ``OWN`` (nobody waits
    if nobody does in any: the shares multiply) and ``ONE``; no cost: out of reach.
    ``orders``: service, key, order, stock, cost.
    """
    places = by_service([group.served for group in ready])
    if len(places) < 2:
        return pd.DataFrame(), pd.DataFrame()
    programme = trial.programme
    reached = check.does(programme.stock(packs), work.aim)["estimate"]
    shares = _owned(programme, trial, ready, places)
    rows, orders = [], []
    for turn, (name, at) in enumerate(places.items(), start=1):
        work.tick()
        groups = [ready[i] for i in at]
        level = groups[0].served.target or work.target or reached
        row, order = _alone(work, groups, shares[name], level, turn)
        rows.append({"service": name, "target": level, **row})
        orders.append(order.assign(service=name))
    made = pd.DataFrame(rows)
    together = _together(made, work.aim)
    one: dict[str, Any] = {"service": ONE, "target": together["estimate"]}
    if math.isfinite(together["cost"]):
        found = trial.cheapest(packs, work.level(together["estimate"]))
        if found is not None:
            one |= programme.bought(found)
            one |= check.does(programme.stock(found), work.aim)
    made = pd.concat([made, pd.DataFrame([together, one])], ignore_index=True)
    return made.drop(columns="waiting", errors="ignore"), pd.concat(
        orders, ignore_index=True
    )


def _owned(
    programme: Programme,
    trial: Trial,
    ready: Sequence[Group],
    places: dict[str, list[int]],
) -> dict[str, Ints]:
    """Share out the slings owned by need, the largest remainders first."""
    days = trial.check.days
    clients = days.by_group.mean(axis=1) @ sizes_in(days.masks, len(programme.owned))
    need = np.array([clients[at].sum(axis=0) for at in places.values()])
    exact = need / np.maximum(need.sum(axis=0), 1e-9) * programme.owned
    given = np.floor(exact).astype(np.int64)
    for size, left in enumerate(programme.owned - given.sum(axis=0)):
        first = np.argsort(given[:, size] - exact[:, size], kind="stable")
        given[first[: int(left)], size] += 1
    return dict(zip(places, given, strict=True))


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
    programme = trial.programme
    start = trial.cheapest(np.zeros_like(owned), level)
    if start is None:
        row = {"cost": math.nan, "not_fitted": trial.check.not_fitted}
        return row, pd.DataFrame(columns=["key", "order", "stock", "cost"])
    alone = replace(alone, spread=trial.spread(start))
    packs = trial.cheapest(start, alone.level(level))
    packs = start if packs is None else packs
    days = alone.days(groups, CHECKING, alone.choosing)
    table = offer.table[["key"]].assign(
        order=packs * programme.pack,
        stock=programme.stock(packs),
        cost=packs * programme.pack_price,
    )
    does = tables.Check(days, offer, alone.use.spares).does(
        programme.stock(packs), work.aim
    )
    return programme.bought(packs) | does, table


def _together(rows: pd.DataFrame, aim: str) -> dict[str, Any]:
    sums = rows.reindex(columns=["slings", "cost", "not_fitted", "needed"])
    total: dict[str, Any] = {"service": OWN}
    total |= {str(name): value for name, value in sums.sum(skipna=False).items()}
    shares = rows.reindex(columns=["needs_met", "nobody_waits"])
    met = (shares["needs_met"] * sums["needed"]).sum(skipna=False)
    total["needs_met"] = float(met) / (total["needed"] or 1.0)
    total["nobody_waits"] = float(np.prod(shares["nobody_waits"].to_numpy(float)))
    return total | {
        "estimate": total["needs_met" if aim == "needs" else "nobody_waits"]
    }
