"""Plan which slings to stock."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd
from tqdm.auto import tqdm

from sizing.charts import SizeChart
from sizing.errors import SizingError, check_number, check_seed, one_of
from sizing.people.classes import ADULT_AGE
from sizing.stock import alternatives, tables
from sizing.stock.alternatives import Trial, Work
from sizing.stock.budget import (
    comparison_of,
    fewest_waiting,
    least_for_needs,
    spent_better,
)
from sizing.stock.cheapest import bettered, least_cost
from sizing.stock.days import group_from
from sizing.stock.need import AIMS, LARGE_STORE, Served, Use, people_title, serves_from
from sizing.stock.offers import Offer, Years, invented_parts, offer_from, yearly_cost
from sizing.stock.programme import Order, Programme
from sizing.stock.result import StockPlan
from sizing.stock.service import Ints
from sizing.words.numbers import given, prose

#: Days for checking, as a multiple of those for planning.
_CHECKS = 4
#: ``progress(words, share)``: what is being done, and how much is done, 0 to 1.
Progress = Callable[[str, float], object]

#: The steps of planning, and the part of the work that each is.
STEPS: dict[str, float] = {
    "Drawing days": 0.05,
    "Looking for the order": 0.35,
    "Judging the order on fresh days": 0.05,
    "Looking at other targets": 0.20,
    "Looking at other people": 0.20,
    "Planning each service alone": 0.10,
    "Spending the same money otherwise": 0.05,
}


def plan_stock(
    serves: Served | Sequence[Served] | pd.DataFrame,
    charts: SizeChart | Sequence[SizeChart],
    *,
    prices: pd.DataFrame | None = None,
    use: Use | None = None,
    target: float | None = None,
    aim: str | None = None,
    budget: float | None = None,
    years: Years | None = None,
    scenarios: int = 1000,
    seed: int = 1,
    progress: bool | Progress = False,
) -> StockPlan:
    """Plan the order of slings that serves these people best.

    Parameters
    ----------
    serves : Served, sequence of Served, or DataFrame
        Whom the stock serves; a table as ``serves_from`` describes.
    charts : SizeChart or sequence of SizeChart
        What can be bought.
    prices : DataFrame, optional
        One row per size (``offer_from``), unless the charts have its columns.
    use : Use, optional
        How slings are used; by default each client has their own sling.
    target : float, optional
        The cheapest order that reaches it is planned. If there is no budget either,
        0.95 of days, or 0.99 of needs.
    aim : str, optional
        What the target is a share of: ``days`` on which nobody may wait for a fitting
        sling, or ``needs`` to be met, of people who fit some size: usual for more than
        200 people, among whom someone waits on most days whatever is bought.
    budget : float, optional
        Without a target: the order that leaves fewest waiting on an average day for
        that money. With a target: the most the order may cost.
    years : Years, optional
        How long the stock is kept, and what keeping it costs; by default five years,
        the usual rates, and no price of a wash or an examination.
    scenarios, seed : int
        Days drawn to plan with (four times as many afresh to check), and their seed.
    progress : bool or callable
        True: a bar, once planning takes more than two seconds. A callable is told
        ``(words, share done)`` at every step; what it raises ends the planning.

    Returns
    -------
    StockPlan
        Tables with estimate, low, high, method, n. ``.robustness``: people (heavier,
        ...), shift, nobody_waits and needs_met (shares), cost (of an order that keeps
        the target for them; NaN without one). ``.comparison``: the same money spent
        otherwise; estimate: needs met by the plan less by it, on the same days.

    Raises
    ------
    SizingError
        If an input is wrong, or no order meets the target: what can be reached.

    Notes
    -----
    The order of an integer programme over the planning days is where the search begins,
    and its bound is what is proved. Orders near it are judged on a second set of days,
    at least eight times as many: kept is the cheapest that passes the target there by
    1.645 standard errors, at most by half of what the target leaves. What the plan says
    of itself comes from a third set. Intervals of the service hold for other days and
    for other people sampled as these were (a caseload is no sample), all others for
    other days alone; the chart is taken as given. The search is bounded by counts of
    work: the same input gives the same order on every machine.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> chart = demo_chart()
    >>> prices = pd.DataFrame({"size": chart.sizes, "price": 100.0})
    >>> home = Served(load_people("care_home_nordic", draws=1), 10, name="the home")
    >>> plan = plan_stock(home, chart, prices=prices, scenarios=100)
    >>> plan.order["order"].sum() > 10
    np.True_
    """
    use = Use() if use is None else use
    groups = serves_from(serves, seed=seed, use=use)
    many = sum(group.present for group in groups) > LARGE_STORE
    aim = ("needs" if many else "days") if aim is None else aim
    of = "the number of days drawn"
    # Beyond the upper end the days would fill the memory.
    check_number(of, scenarios, least=50, most=100_000, whole=True)
    check_seed(seed)
    target = _checked(target, aim, budget)
    if not any(group.present or group.admissions for group in groups):
        raise SizingError("There is nobody to be served: every group counts 0 people.")
    offer = offer_from(charts, prices)
    ready = [group_from(group, offer) for group in groups]
    spent = float(budget or 0.0)
    with Steps(progress) as steps:
        goal = aim, target, spent
        work = Work(offer, use, scenarios, seed, scenarios, *goal, steps.tick)
        steps.begin("Drawing days")
        programme = work.programme(ready)
        work = work.choosing_for(programme)
        trial = work.trial(ready)
        checks = scenarios * _CHECKS // (2 if programme.large else 1)
        steps.begin("Looking for the order")
        order, work = _planned(work, programme, trial, budget)
        packs, stock = order.packs, programme.stock(order.packs)
        steps.begin("Judging the order on fresh days")
        days = work.days(ready, alternatives.CHECKING, checks)
        check = tables.Check(days, offer, use.spares)
        judged = {
            "service": tables.service(check, stock, ready, programme.owned),
            "demand": tables.demand(check, offer),
            "shortages": tables.shortages(check, offer, stock),
            "not_fitted": tables.not_fitted(ready, offer),
            "one_more_or_less": tables.one_more_or_less(check, offer, stock),
            "again": alternatives.drawn_again(work, ready, packs),
        }
        steps.begin("Looking at other targets")
        judged["curve"] = alternatives.cost_curve(work, trial, check, packs)
        judged["variants"] = alternatives.variants_of(work, ready, trial, check, packs)
        steps.begin("Looking at other people")
        judged["robustness"] = alternatives.robustness(work, ready, packs, check)
        steps.begin("Planning each service alone")
        services, own_orders = alternatives.own_stores(work, ready, trial, check, packs)
        steps.begin("Spending the same money otherwise")
        money = order.cost if target is not None else spent
        judged["comparison"] = comparison_of(programme, check, order, money)
    sources = [line for one in groups for line in one.people.sources]
    limits = [line for one in groups for line in one.people.limits]
    chart = f"Chart: {offer.chart.name}. {offer.chart.source}".strip()
    years = Years() if years is None else years
    bought, served = _order_table(offer, order.packs), _group_table(groups, use)
    settings = {"scenarios": scenarios, "seed": seed, "choosing": work.choosing}
    return StockPlan(
        order=bought,
        yearly=yearly_cost(bought, served, check.not_fitted, years),
        years=years,
        **judged,
        target=target,
        aim=aim,
        budget=budget,
        cost=order.cost,
        bound=order.bound,
        gap=order.gap,
        people=check.people,
        services=services,
        own_orders=own_orders,
        groups=served,
        served=groups,
        charts=(charts,) if isinstance(charts, SizeChart) else tuple(charts),
        offer=offer,
        use=use,
        currency=offer.currency,
        limits=tuple(dict.fromkeys(limits)),
        sources=tuple(dict.fromkeys([*sources, chart])),
        settings=settings | {"checks": check.days.number},
        invented=invented_parts(groups, offer),
        limited=_limited(offer.chart),
    )


def _limited(chart: SizeChart) -> tuple[str, ...]:
    each = {m: chart.frame.filter(regex=f"^{m}_(low|high)$") for m in chart.measures}
    return tuple(m for m, ends in each.items() if ends.notna().any(axis=1).all())


def _checked(target: float | None, aim: str, budget: float | None) -> float | None:
    one_of("what the target is a share of", aim, tuple(AIMS))
    if budget is not None:
        check_number("the budget", budget, least=0)
    if target is None:
        return AIMS[aim] if budget is None else None
    if not isinstance(target, (int, float)) or not 0 < target < 1:
        raise SizingError(
            f"The target must be a share of {aim} above 0 and below 1, not {target!r}. "
            f"No order can promise all of them; 0.95 stands for 95 {aim} in 100."
        )
    return float(target)


def _planned(
    work: Work, programme: Programme, trial: Trial, budget: float | None
) -> tuple[Order, Work]:
    target, tick = work.target, work.tick
    if target is None:
        first = fewest_waiting(programme, work.budget, tick=tick)
        packs = spent_better(trial.programme, first.packs, work.budget, tick=tick)
        return replace(first, packs=packs, cost=programme.cost(packs)), work
    most = programme.most_packs
    search = least_for_needs if work.aim == "needs" else least_cost
    first = search(programme, target, tick=tick) or Order(most, 0.0, 0.0, math.nan)
    work = replace(work, spread=trial.spread(first.packs))
    for level in (work.level(target), target):
        found = trial.cheapest(first.packs, level, bettered)
        if found is not None:
            break
    else:
        raise _beyond(trial, trial.programme.most_packs, target)
    cost = programme.cost(found)
    if budget is not None and cost > budget + 1e-6:
        best = fewest_waiting(programme, budget, tick=tick).packs
        raise _beyond(trial, best, target, budget, cost)
    return replace(first, packs=found, cost=cost), work


def _beyond(trial: Trial, packs: Ints, target: float, *asked: float) -> SizingError:
    """Refuse a target out of reach; ``asked``: the budget, and what it would take."""
    told = trial.programme.aim, given(target), trial.does(packs), asked
    return SizingError(prose("stock_plan", "beyond", *told))


def _order_table(offer: Offer, packs: Ints) -> pd.DataFrame:
    columns = ["key", "chart", "size", "code", "load_limit_kg", "price", "pack"]
    table = offer.table[[*columns, "owned"]].assign(packs=packs)
    table["order"] = packs * table["pack"]
    table["stock"] = table["owned"] + table["order"]
    return table.assign(cost=table["order"] * table["price"])


def _group_table(groups: Sequence[Served], use: Use) -> pd.DataFrame:
    rows = []
    for group in groups:
        own, frame = group.use or use, group.people.frame
        young, weight = 0.0, group.people.weight
        if "age_years" in frame:
            young = float(weight[frame["age_years"] < ADULT_AGE].sum() / weight.sum())
        rows.append(
            {
                "group": group.title,
                "people": people_title(group.people),
                "count": group.present,
                "listed": group.count is None,
                "children": group.present * young,
                "admissions": float(group.admissions),
                "number": group.number,
                "use": group.use.summary() if group.use else "",
                "each": own.each,
                "bought_anew": own.sharing == "personal" and not own.passed_on,
                "target": group.target,
                "charts": "; ".join(group.charts),
            }
        )
    return pd.DataFrame(rows)


class Steps:
    """Says how far planning is: each tick fills a part of what is left of a step."""

    def __init__(self, progress: "bool | Progress") -> None:
        self._tell = progress if callable(progress) else None
        look = "{desc}: {percentage:3.0f} %|{bar}| {elapsed}"
        how: Any = {"disable": progress is not True, "bar_format": look}
        self._bar = tqdm(total=100, delay=2, desc="Planning", **how)
        self._words, self._left = "", 1.0

    def __enter__(self) -> "Steps":
        return self

    def __exit__(self, *_: object) -> None:
        self._bar.close()

    def begin(self, words: str) -> None:
        self._words, self._left = words, 1.0
        self._say()

    def tick(self) -> None:
        self._left *= 0.95
        self._say()

    def _say(self) -> None:
        before = list(STEPS)[: list(STEPS).index(self._words)]
        part = STEPS[self._words] * (1 - self._left)
        share = sum(STEPS[words] for words in before) + part
        if self._tell is not None:
            self._tell(self._words, share)
        self._bar.set_description_str(self._words)
        self._bar.update(100 * share - self._bar.n)
