"""The cheapest order that reaches a target: by integer programming, then by hand."""

import itertools
import math
from collections import Counter
from collections.abc import Callable

import numpy as np

from sizing.stock.programme import SMALL, Model, Order, Programme, gap_to
from sizing.stock.service import Ints, sizes_in

Tick = Callable[[], object]
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
#: Parts of the most packs of a size below which no fewer are tried, where an order is
#: only adapted and where it is bettered; beyond so many packs single ones are not
#: tried, and up to so many sizes each two are (our choice, no source: within a
#: thousandth of the cost, and quick).
_COARSE, _FINE, _MANY, _FEW = 1 / 1000, 1 / 2000, 500, 6
#: Exchanges after which an order is left as it is.
_EXCHANGES = 20


def least_cost(
    programme: Programme,
    target: float,
    *,
    rounds: int = ROUNDS,
    tick: Tick = lambda: None,
) -> Order | None:
    """Return the cheapest order with which nobody waits on enough days.

    Minimise price . y subject to, for sets S of sizes, ``x(S) >= q_S + sum_l step_l
    w_Sl``, ``w_S1 >= w_S2 >= ...`` binary; for days k with more than q_S needs within
    S, at level l, ``u_k >= 1 - w_Sl``; ``sum u_k <= m``. x = owned + pack y - spares; m
    days may be short; q_S is the (m + 1)-th largest need within S (the mixing form of a
    chance constraint: Luedtke, Ahmed, Nemhauser, Math Program 2010;122:247-272, from
    memory). Sets enter when short, with switches w when late too often: with fewer of
    them the bound still holds.
    """
    allowed = programme.allowed(target)
    most = programme.most_packs
    none = np.zeros_like(most)
    if programme.missed_by(none) <= allowed:
        return Order(none, 0.0, 0.0, 0.0)
    if programme.missed_by(most) > allowed:
        return None
    levels = {int(m): programme.within(int(m)) for m in programme.needs.masks}
    packs, bound = set_by_set(programme, levels, most, allowed, tick)
    best, cost = most, programme.cost(most)
    if programme.needs.counts.sum(axis=1).mean() > MANY_NEEDS:
        rounds = 0
    switched: dict[int, Ints] = {}
    for turn in itertools.count(1):
        tick()
        late = _late_sets(programme, packs)
        model = None
        if turn <= rounds:
            model = _with_switches(programme, levels, switched, late, allowed)
        near = sum(late.values()) <= _NEAR * allowed
        # With many sizes mending is slow, and pays only near the end.
        if model is None or not programme.large or near:
            better = adapted(programme, packs, allowed)
            packs = packs if better is None else better
            if programme.cost(packs) < cost:
                best, cost = packs, programme.cost(packs)
        if model is None or gap_to(cost, bound) == 0:
            break
        model.cost_below(cost - programme.price_step)
        gap = _ROUGH if programme.large else 0.0
        found, below = model.solve(model.prices(), nodes=_NODES, gap=gap)
        bound = max(bound, min(below, cost))
        if found is None:
            break
        packs = found
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
    """Return it with switches for the sets late most often; None: too many."""
    new = [s for s, _ in late.most_common() if s not in switched]
    new = new[: _NEW_SWITCHED[programme.large]]
    wanting = sum(late.values()) > allowed
    while True:
        trial = {s: levels.get(s, programme.within(s)) for s in new}
        both = {**switched, **trial}
        model = Model(programme, programme.most_packs)
        hold_rows(model, {s: levels[s] for s in levels if s not in both}, allowed)
        chance_rows(model, both, allowed)
        if model.number_of_rows <= _ROWS and (new or not wanting):
            break
        if not new:
            return None
        new = new[: len(new) // 2]
    switched |= trial
    levels |= trial
    return model


def set_by_set(
    programme: Programme, levels: dict[int, Ints], most: Ints, allowed: int, tick: Tick
) -> tuple[Ints, float]:
    """Return the cheapest order short in no one set on too many days, and its bound."""
    bound, packs = 0.0, most
    for _ in range(_SET_ROUNDS):
        tick()
        model = Model(programme, most)
        hold_rows(model, levels, allowed)
        gap = _ROUGH if programme.large else 0.0
        found, below = model.solve(model.prices(), nodes=_NODES, gap=gap)
        bound = max(bound, below)
        packs = most if found is None else found
        late = _late_sets(programme, packs)
        # The sets that are short most often say most.
        new = [s for s, _ in late.most_common() if s not in levels][:_NEW_SETS]
        added = False
        for chosen in new:
            levels[chosen] = programme.within(chosen)
            held = programme.working(packs) @ sizes_in(np.array([chosen]), len(most))[0]
            added |= bool(held < held_on(levels[chosen], allowed))
        if not added:
            break
    return packs, bound


def held_on(needs: Ints, allowed: int) -> int:
    """Return the needs that are exceeded on no more than so many days."""
    return int(np.sort(needs)[::-1][allowed])


def hold_rows(model: Model, levels: dict[int, Ints], allowed: int) -> None:
    for chosen, needs in levels.items():
        least = held_on(needs, allowed)
        if least > 0:
            model.row(model.working(chosen), least)


def chance_rows(model: Model, levels: dict[int, Ints], allowed: int) -> None:
    """Add what lets nobody wait but on so many days; see ``least_cost``."""
    switches: dict[int, list[int]] = {}
    for chosen, needs in levels.items():
        enough = held_on(needs, allowed)
        above, place = np.unique(needs[needs > enough], return_inverse=True)
        steps = np.diff(above, prepend=enough)
        columns = [model.variable(1, whole=True) for _ in above]
        more = dict(zip(columns, (-steps).tolist(), strict=True))
        model.row({**model.working(chosen), **more}, enough)
        for first, second in itertools.pairwise(columns):
            model.row({first: 1.0, second: -1.0}, 0.0)
        for day, level in zip(np.flatnonzero(needs > enough), place, strict=True):
            switches.setdefault(int(day), []).append(columns[int(level)])
    # Days that need the same switches are late together.
    alike = Counter(tuple(columns) for columns in switches.values())
    late = {}
    for switched, number in alike.items():
        column = model.variable(1, whole=False)
        late[column] = -float(number)
        for switch in switched:
            model.row({column: 1.0, switch: 1.0}, 1.0)
    model.row(late, -float(allowed))


def adapted(
    programme: Programme, packs: Ints, allowed: int, tick: Tick = lambda: None
) -> Ints | None:
    """Return an order for other days or another target, made from one that is good.

    Packs are added where they help most, taken off, and exchanged for cheaper ones.
    """
    most = programme.most_packs
    packs = mended(programme, np.minimum(packs, most), most, allowed)
    if programme.missed_by(packs) > allowed:
        return None
    for step in _steps(packs, _COARSE):
        for size in np.argsort(-programme.pack_price, kind="stable"):
            tick()
            while packs[size] >= step > 1:
                fewer = packs - step * (np.arange(len(packs)) == size)
                if programme.missed_by(fewer) > allowed:
                    break
                packs = fewer
    if packs.max(initial=0) > _MANY:
        return packs
    if programme.large:
        return pared(programme, packs, allowed)
    return exchanged(programme, packs, most, allowed)


def bettered(
    programme: Programme, packs: Ints, allowed: int, tick: Tick = lambda: None
) -> Ints | None:
    """Return the cheapest order near one that may not do enough yet.

    Packs of each size, and of few sizes of each two, are given up in turn and mended.
    """
    found = adapted(programme, packs, allowed, tick)
    if found is None or programme.large:
        return found
    sizes = len(found)
    given = [[i] for i in np.argsort(-programme.pack_price, kind="stable").tolist()]
    # What goes in first; where packs are opened by none, each size in its turn.
    first: list[Ints] = [np.zeros(sizes, dtype=np.int64)]
    if sizes <= _FEW and (programme.pack > 1).any():
        first += [*np.eye(sizes, dtype=np.int64)]
    if sizes <= _FEW:
        given += [[*two] for two in itertools.combinations(range(sizes), 2)]
    for step in _steps(found, _FINE):
        better = True
        while better:
            better = False
            for some, more in itertools.product(given, first):
                tick()
                room = programme.most_packs.copy()
                room[some] = np.maximum(found[some] - step, 0)
                fewer = np.minimum(np.minimum(found, room) + more, room)
                cost = programme.cost(found)
                if programme.cost(fewer) >= cost - SMALL:
                    continue
                made = mended(programme, fewer, room, allowed, below=cost)
                if step == 1:
                    made = pared(programme, made, allowed)
                if (
                    programme.cost(made) < cost - SMALL
                    and programme.missed_by(made) <= allowed
                ):
                    found, better = made, True
    return found


def _steps(packs: Ints, part: float) -> list[int]:
    """Return how many packs at once, from many to few; the last is 1 but for many."""
    most = int(packs.max(initial=0))
    powers = range(max(most // 16, 1).bit_length() - 1, -1, -1)
    return [1 << power for power in powers if 1 << power >= max(part * most, 1)]


def mended(
    programme: Programme,
    packs: Ints,
    most: Ints,
    allowed: int,
    *,
    below: float = math.inf,
) -> Ints:
    """Add packs until the target is kept, or the order costs more than ``below``."""
    below += float(programme.pack_price.max(initial=0.0))
    packs = packs.copy()
    while True:
        found = programme.short(packs, tight=False)
        missed = programme.missed(found.waiting)
        if missed <= allowed or programme.cost(packs) > below:
            return packs
        helped = sizes_in(found.sets, len(packs)).sum(axis=0) * (packs < most)
        if not helped.any():
            return most
        chosen = int((helped / np.maximum(programme.pack_price, SMALL)).argmax())
        # At least so many slings are wanting in all, so half is hardly an excess.
        if programme.aim == "needs":
            wanting = (missed - allowed) // programme.days
        else:
            wanting = int(np.sort(found.waiting)[::-1][allowed])
        bulk = wanting // (2 * int(programme.pack[chosen]))
        packs[chosen] += int(np.clip(bulk, 1, most[chosen] - packs[chosen]))


def pared(programme: Programme, packs: Ints, allowed: int) -> Ints:
    """Most money per day lost first; changes nothing of an order proved best."""
    needed = packs <= 0
    found = programme.short(packs)
    while not needed.all():
        # A day that is late already is lost, and a need more that waits always.
        counts = (found.waiting == 0) | (programme.aim == "needs")
        lost = sizes_in(found.tight[counts], len(packs)).sum(axis=0)
        # What is only a spare serves nobody, whatever is tight.
        lost = np.where(programme.working(packs) > 0, lost, 0)
        missed = programme.missed(found.waiting)
        over = missed + lost * (programme.pack == 1) > allowed
        worth = np.where(needed | over, -1.0, programme.pack_price / (lost + 0.5))
        if worth.max() < 0:
            break
        chosen = int(worth.argmax())
        fewer = packs - (np.arange(len(packs)) == chosen)
        after = programme.short(fewer)
        if programme.missed(after.waiting) > allowed:
            needed[chosen] = True
            continue
        packs, found = fewer, after
        needed[chosen] = packs[chosen] <= 0
    return packs


def exchanged(programme: Programme, packs: Ints, most: Ints, allowed: int) -> Ints:
    """Exchange packs for cheaper ones as long as enough days are served."""
    price, size = programme.pack_price, np.arange(len(packs))
    packs = pared(programme, packs, allowed)
    for _ in range(_EXCHANGES):
        saved, better, held = 0.0, packs, programme.stock(packs)
        for given in np.flatnonzero(packs):
            cheaper = (price < price[given] - SMALL) & (packs < most)
            cheaper &= (programme.pack == 1) & (held >= programme.spares)
            if not cheaper.any():
                continue
            fewer = packs - (size == given)
            found = programme.short(fewer, tight=False)
            one = (found.waiting == 1) | (programme.aim == "needs")
            helped = sizes_in(found.sets[one], len(packs)).sum(axis=0)
            enough = programme.missed(found.waiting) - helped <= allowed
            gain = np.where(cheaper & enough, price[given] - price, 0.0)
            if gain.max() > saved + SMALL:
                saved = float(gain.max())
                better = fewer + (size == int(gain.argmax()))
        if better is packs:
            return packs
        packs = pared(programme, better, allowed)
    return packs
