"""Plan which slings to stock."""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from tqdm.auto import tqdm

from sizing.chart import SizeChart
from sizing.errors import SizingError
from sizing.stock import tables
from sizing.stock.alternatives import (
    CHECKING,
    CURVE,
    OTHERS,
    TUNING,
    Work,
    comparison_of,
    cost_curve,
    robustness,
)
from sizing.stock.budget import fewest_waiting
from sizing.stock.days import Group, group_from
from sizing.stock.need import Served, Use, serves_from
from sizing.stock.offers import Offer, offer_from
from sizing.stock.programme import (
    Order,
    Programme,
    adapted,
    least_cost,
)
from sizing.stock.result import StockPlan
from sizing.stock.service import Ints

#: Days for checking, as a multiple of those for planning.
_CHECKS = 4
#: Rounds in which the planning level is raised until unseen days meet the target.
_ROUNDS = 4
#: Seconds for the order itself.
_SECONDS = 5.0


def plan_stock(
    serves: Served | Sequence[Served] | pd.DataFrame,
    charts: SizeChart | Sequence[SizeChart],
    *,
    prices: pd.DataFrame | None = None,
    use: Use | None = None,
    target: float | None = None,
    budget: float | None = None,
    scenarios: int = 1000,
    seed: int = 1,
    progress: bool = False,
) -> StockPlan:
    """Plan the order of slings that serves these people best.

    Parameters
    ----------
    serves : Served, sequence of Served, or DataFrame
        Whom the stock serves; a table as ``serves_from`` describes.
    charts : SizeChart or sequence of SizeChart
        What can be bought.
    prices : DataFrame, optional
        One row per size; see ``offer_from``. Not needed where the charts have
        the columns themselves.
    use : Use, optional
        How slings are used; by default one sling of her own for each client.
    target : float, optional
        Share of days on which nobody may wait for a fitting sling; the cheapest
        order that reaches it is planned. 0.95 if there is no budget either.
    budget : float, optional
        Without a target: the order that leaves fewest waiting on a mean day for
        that money. With a target: the most the order may cost.
    scenarios : int
        Days drawn to plan with; four times as many are drawn afresh to check.
    seed : int
    progress : bool
        Whether a bar is shown once planning takes more than two seconds.

    Returns
    -------
    StockPlan
        ``.robustness``: people (as planned, heavier, ...), shift (what was
        changed and by how much), estimate, low, high (share of days on which
        nobody waits with the planned order), method, n, needs_met, not_fitted
        (people on a mean day), cost (of the order that would keep the target
        with those people; NaN without a target).
        ``.comparison``: strategy, slings (bought), cost, needs_met,
        nobody_waits, estimate, low, high (needs met by the plan less by this
        strategy, as a share, day by day on the same days), method, n.

    Raises
    ------
    SizingError
        Naming what is wrong with the input; for a target that no order can
        meet, with the best that can be reached.

    Notes
    -----
    Who waits is decided exactly on each day (``sizing.stock.service``): whoever
    fits several sizes has whichever is free, so all sizes are planned together.
    The order is an integer programme over the planning days
    (``sizing.stock.programme``); slings out of use enter as ``draw_days``
    describes. An order fitted to some days does a little worse on others, so
    the level asked of the planning days is raised until a second set of days
    meets the target; what the plan says of itself comes from a third set.
    Intervals hold for the drawn days: they take the people, their measures and
    the chart as given. Where the solver's time runs out (a gap above 0) another
    machine may find another order; with a gap of 0 it costs the same everywhere.

    The rivals of ``.comparison`` may spend what the plan costs, or the whole
    budget where there is one.

    Examples
    --------
    >>> from sizing.chart import demo_chart
    >>> from sizing.population import load_people
    >>> chart = demo_chart()
    >>> prices = pd.DataFrame({"size": chart.sizes, "price": 100.0})
    >>> home = Served(load_people("care_home", draws=1), 10, name="the home")
    >>> plan = plan_stock(home, chart, prices=prices, scenarios=100)
    >>> plan.order["order"].sum() > 10
    np.True_
    """
    use = Use() if use is None else use
    target = _checked(target, budget, scenarios, seed)
    groups = serves_from(serves, seed=seed)
    if not any(group.present or group.admissions for group in groups):
        raise SizingError("There is nobody to be served: every group counts 0 people.")
    offer = offer_from(charts, prices)
    ready = [group_from(group, offer) for group in groups]
    work = Work(offer, use, scenarios, seed)
    steps = len(CURVE) + len(OTHERS) + 4
    with tqdm(total=steps, delay=2, disable=not progress, desc="planning") as bar:
        programme = work.programme(ready)
        # Many sizes take longer on each day, and shares need no finer interval.
        checks = scenarios * (_CHECKS // 2 if programme.large else _CHECKS)
        order = _planned(work, ready, programme, target, budget, checks)
        bar.update(2)
        check = tables.Check(work.days(ready, CHECKING, checks), offer, use.spares)
        stock = programme.stock(order.packs)
        curve = cost_curve(programme, check, target, order, bar.update)
        robust = robustness(
            work, ready, order.packs, target, check.days.number, bar.update
        )
        money = order.cost if target is not None else float(budget or 0.0)
        comparison = comparison_of(programme, check, order, money)
        bar.update(2)
    people = [group.people for group in groups] + [
        group.newcomers for group in groups if group.newcomers is not None
    ]
    return StockPlan(
        order=_order_table(offer, order.packs),
        service=tables.service(check, stock),
        demand=tables.demand(check, offer),
        shortages=tables.shortages(check, offer, stock),
        not_fitted=tables.not_fitted(ready, offer),
        curve=curve,
        one_more_or_less=tables.one_more_or_less(check, offer, stock),
        robustness=robust,
        comparison=comparison,
        target=target,
        budget=budget,
        cost=order.cost,
        gap=order.gap,
        groups=_group_table(groups),
        use=use,
        limits=tuple(dict.fromkeys(line for p in people for line in p.limits)),
        sources=tuple(
            dict.fromkeys(
                [
                    *(line for p in people for line in p.sources),
                    f"Chart: {offer.chart.name}. {offer.chart.source}".strip(),
                ]
            )
        ),
        settings={"scenarios": scenarios, "seed": seed, "checks": check.days.number},
    )


def _checked(
    target: float | None, budget: float | None, scenarios: object, seed: object
) -> float | None:
    """Refuse settings that cannot be, and fill in the usual target."""
    for name, value, least in (("scenarios", scenarios, 50), ("seed", seed, 0)):
        whole = isinstance(value, (int, np.integer)) and not isinstance(value, bool)
        if not whole or value < least:  # type: ignore[operator]
            raise SizingError(
                f"{name} must be a whole number of {least} or more, not {value!r}."
            )
    if budget is not None and not (
        isinstance(budget, (int, float)) and math.isfinite(budget) and budget >= 0
    ):
        raise SizingError(f"The budget must be 0 or more, not {budget!r}.")
    if target is None:
        return 0.95 if budget is None else None
    if not isinstance(target, (int, float)) or not 0 < target < 1:
        raise SizingError(
            f"The target must be a share of days above 0 and below 1, not {target!r}. "
            "No order can promise every day; 0.95 stands for 95 days in 100."
        )
    return float(target)


def _planned(
    work: Work,
    groups: Sequence[Group],
    programme: Programme,
    target: float | None,
    budget: float | None,
    checks: int,
) -> Order:
    """Return the order that reaches the target on days it was not fitted to."""
    if target is None:
        return fewest_waiting(programme, float(budget or 0.0), seconds=_SECONDS)
    unseen = tables.Check(
        work.days(groups, TUNING, checks),
        work.offer,
        work.use.spares,
    )
    level, order = target, None
    for _ in range(_ROUNDS):
        if order is not None and programme.large:
            found = adapted(programme, order.packs, level, bound=order.bound)
        else:
            found = least_cost(programme, level, seconds=_SECONDS)
        if found is None:
            break
        order = found
        waiting = unseen.shortage(programme.stock(order.packs)).waiting
        reached = float((waiting == 0).mean())
        if reached >= target:
            break
        level = min(level + target - reached, 1 - 0.5 / work.scenarios)
    if order is None:
        raise _beyond(programme, unseen, programme.most_packs, target, "is to be had")
    if budget is not None and order.cost > budget + 1e-6:
        best = fewest_waiting(programme, float(budget), seconds=_SECONDS)
        raise _beyond(
            programme,
            unseen,
            best.packs,
            target,
            f"costs up to {budget:,.2f} (the target needs {order.cost:,.2f})",
        )
    return order


def _beyond(
    programme: Programme,
    unseen: tables.Check,
    packs: Ints,
    target: float,
    why: str,
) -> SizingError:
    """Return the refusal of a target out of reach, with the best there is."""
    waiting = unseen.shortage(programme.stock(packs)).waiting
    reached = 100 * (waiting == 0).mean()
    return SizingError(
        f"No order that {why} lets nobody wait on {100 * target:.1f} % of days. The "
        f"order that leaves fewest waiting does so on {reached:.1f} "
        f"% of days (on a mean day {waiting.mean():.2f} people wait) and costs "
        f"{programme.cost(packs):,.2f}. What to do: lower the target, raise the "
        "budget or the most that may be had, or plan by a budget alone."
    )


def _order_table(offer: Offer, packs: Ints) -> pd.DataFrame:
    columns = ["key", "chart", "size", "load_limit_kg", "price", "pack", "owned"]
    table = offer.table[columns].copy()
    table["packs"] = packs
    table["order"] = packs * table["pack"]
    table["stock"] = table["owned"] + table["order"]
    table["cost"] = table["order"] * table["price"]
    return table


def _group_table(groups: Sequence[Served]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "group": [group.title for group in groups],
            "people": [group.people.name for group in groups],
            "count": [group.present for group in groups],
            "listed": [group.count is None for group in groups],
            "admissions": [float(group.admissions) for group in groups],
            "number": [group.number for group in groups],
        }
    )
