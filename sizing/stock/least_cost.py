"""The cheapest order that reaches a target, by integer programming."""

import itertools
from collections import Counter
from collections.abc import Callable

import numpy as np

from sizing.stock.model import Model
from sizing.stock.programme import (
    Order,
    Programme,
    days_allowed,
    gap_to,
)
from sizing.stock.repair import adapted
from sizing.stock.service import Ints

#: How many sets enter the programme in one round.
_NEW_SETS = 60
#: How many of them get switches, where few and where many sizes are linked.
_NEW_SWITCHED = (8, 30)
#: Rounds in which sets are looked for one by one.
_SET_ROUNDS = 30
#: The gap at which a programme of many linked sizes may stop.
_ROUGH = 2e-3
#: Late on so many times the days allowed an order of many sizes is worth mending.
_NEAR = 3


#: Programmes solved one after another, conditions beyond which one is not tried, and
#: branches looked at in one: work is counted and not timed, so that the same order
#: comes out on every machine.
ROUNDS, _ROWS, _NODES = 20, 2000, 500
#: Needs on an average day beyond which only single sets are looked at.
MANY_NEEDS = 300


def least_cost(
    programme: Programme,
    target: float,
    *,
    rounds: int = ROUNDS,
    tick: Callable[[], object] = lambda: None,
) -> Order | None:
    """Return the cheapest order with which nobody waits on enough days.

    Notes
    -----
    minimise price . y subject to, for each set S of sizes that matters,
    ``x(S) >= q_S + sum_l step_l w_Sl``, ``w_S1 >= w_S2 >= ...`` binary, and for
    each day k with more than q_S needs within S, at level l:
    ``u_k >= 1 - w_Sl``; ``sum u_k <= m``. x = owned + pack y - spares; m days
    may be short; q_S is the (m + 1)-th largest number of needs within S, which
    every order that does enough must hold, so only the m days above it need a
    switch (the mixing form of a chance constraint: Luedtke, Ahmed, Nemhauser,
    Math Program 2010;122:247-272, from memory). Sets S enter when an order
    leaves them short: the rest of Hall's conditions need not be written down.
    Switches, which cost the solver most, are given only to sets on which an
    order is late too often; with fewer of them the programme is a relaxation,
    so its bound holds, and its order is mended until it does enough.
    """
    allowed = days_allowed(target, programme.days)
    most = programme.most_packs
    none = np.zeros_like(most)
    if programme.days_short(none) <= allowed:
        return Order(none, 0.0, 0.0, 0.0)
    if programme.days_short(most) > allowed:
        return None
    levels = {int(m): programme.within(int(m)) for m in programme.needs.masks}
    packs, bound = set_by_set(programme, levels, most, allowed, tick)
    best, cost = most, programme.cost(most)
    if programme.needs.counts.sum(axis=1).mean() > MANY_NEEDS:
        rounds = 0
    switched: dict[int, Ints] = {}
    model: Model | None = None
    for turn in itertools.count(1):
        tick()
        late = _late_sets(programme, packs)
        days = sum(late.values())
        if turn <= rounds:
            model = _with_switches(programme, levels, switched, late, allowed)
        else:
            model = None
        # With many sizes mending is slow, and pays only near the end.
        if model is None or not programme.large or days <= _NEAR * allowed:
            better = adapted(programme, packs, allowed)
            packs = packs if better is None else better
            if programme.cost(packs) < cost:
                best, cost = packs, programme.cost(packs)
        if model is None or gap_to(cost, bound) == 0:
            break
        model.cost_below(cost - programme.price_step)
        gap = _ROUGH if programme.large else 0.0
        answer = model.solve(model.prices(), nodes=_NODES, gap=gap)
        bound = max(bound, min(answer.bound, cost))
        if answer.packs is None:
            break
        packs = answer.packs
    return Order(best, cost, bound, gap_to(cost, bound))


def _late_sets(programme: Programme, packs: Ints) -> Counter[int]:
    """Return on how many days each set is what leaves somebody waiting."""
    found = programme.short(packs, tight=False)
    return Counter(found.sets[found.waiting > 0].tolist())


def _with_switches(
    programme: Programme,
    levels: dict[int, Ints],
    switched: dict[int, Ints],
    late: Counter[int],
    allowed: int,
) -> Model | None:
    """Return the programme, with switches for the sets that are late most often.

    None where no more of them can be had within so many rows; ``switched`` holds
    those that have them.
    """
    new = [s for s, _ in late.most_common() if s not in switched]
    new = new[: _NEW_SWITCHED[programme.large]]
    wanting = sum(late.values()) > allowed
    while True:
        trial = {s: levels.get(s, programme.within(s)) for s in new}
        model = Model(programme, programme.most_packs)
        hold_rows(model, levels, allowed, without={**switched, **trial})
        chance_rows(model, {**switched, **trial}, allowed)
        if model.number_of_rows <= _ROWS and (new or not wanting):
            break
        if not new:
            return None
        new = new[: len(new) // 2]
    switched |= trial
    levels |= trial
    return model


def set_by_set(
    programme: Programme,
    levels: dict[int, Ints],
    most: Ints,
    allowed: int,
    tick: Callable[[], object],
) -> tuple[Ints, float]:
    """Return the cheapest order that is short in no one set on too many days.

    Different sets may be short on different days, so this is a bound and not
    yet an answer. Sets that prove short are added to ``levels``.
    """
    bound, packs = 0.0, most
    for _ in range(_SET_ROUNDS):
        tick()
        model = Model(programme, most)
        hold_rows(model, levels, allowed)
        answer = model.solve(
            model.prices(),
            nodes=_NODES,
            gap=_ROUGH if programme.large else 0.0,
        )
        bound = max(bound, answer.bound)
        packs = most if answer.packs is None else answer.packs
        late = _late_sets(programme, packs)
        # The sets that are short most often say most.
        new = [s for s, _ in late.most_common() if s not in levels][:_NEW_SETS]
        added = False
        for chosen in new:
            levels[chosen] = programme.within(chosen)
            held = programme.working(packs)[
                [chosen >> j & 1 == 1 for j in range(len(most))]
            ]
            added |= bool(held.sum() < held_on(levels[chosen], allowed))
        if not added:
            break
    return packs, bound


def held_on(needs: Ints, allowed: int) -> int:
    """Return the needs that are exceeded on no more than so many days."""
    return int(np.sort(needs)[::-1][allowed])


def hold_rows(
    model: Model,
    levels: dict[int, Ints],
    allowed: int,
    *,
    without: dict[int, Ints] | None = None,
) -> None:
    """Add what every single set must hold; sets ``without`` have other rows."""
    for chosen, needs in levels.items():
        least = held_on(needs, allowed)
        if least > 0 and chosen not in (without or {}):
            model.row(dict.fromkeys(model.working(chosen), 1.0), least)


def chance_rows(model: Model, levels: dict[int, Ints], allowed: int) -> None:
    """Add what lets nobody wait but on so many days; see ``least_cost``."""
    switches: dict[int, list[int]] = {}
    for chosen, needs in levels.items():
        enough = held_on(needs, allowed)
        above, place = np.unique(needs[needs > enough], return_inverse=True)
        steps = np.diff(above, prepend=enough)
        columns = [model.variable(0, 1, whole=True) for _ in above]
        inside = dict.fromkeys(model.working(chosen), 1.0)
        model.row(
            {**inside, **dict(zip(columns, (-steps).tolist(), strict=True))}, enough
        )
        for first, second in itertools.pairwise(columns):
            model.row({first: 1.0, second: -1.0}, 0.0)
        for day, level in zip(np.flatnonzero(needs > enough), place, strict=True):
            switches.setdefault(int(day), []).append(columns[int(level)])
    # Days that need the same switches are late together.
    alike = Counter(tuple(columns) for columns in switches.values())
    late = {}
    for switched, number in alike.items():
        column = model.variable(0, 1, whole=False)
        late[column] = -float(number)
        for switch in switched:
            model.row({column: 1.0, switch: 1.0}, 1.0)
    model.row(late, -float(allowed))
