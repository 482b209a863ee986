"""The order under a budget: fewest waiting on a mean day."""

import math
import time

import numpy as np

from sizing.stock.model import Model
from sizing.stock.programme import SMALL, Order, Programme, gap_to
from sizing.stock.service import Ints

#: Part of the money left that is spent at once on what helps most.
_BULK = 0.02
#: Rounds of cutting planes after which the best order so far is taken.
_ROUNDS = 400


def fewest_waiting(
    programme: Programme, budget: float, *, seconds: float = 20.0
) -> Order:
    """Return the order under a budget that leaves fewest waiting on average.

    Parameters
    ----------
    programme : Programme
    budget : float
    seconds : float
        Time after which the best order found so far is taken.

    Returns
    -------
    Order
        ``bound`` and ``gap`` are of the slings wanting on a mean day.

    Notes
    -----
    The mean number waiting is ``mean_k max_S (D_k(S) - x(S))``, a convex
    function of the stock x, so it is the maximum of its own tangents: each
    round the integer programme, which knows the tangents so far, proposes an
    order, and the order's worst sets give the next tangent (Kelley's method,
    with whole packs). It ends when an order does as well as the programme
    promised, which proves it best. Of orders that leave equally few waiting the
    cheapest is taken.
    """
    deadline = time.monotonic() + seconds
    price = programme.pack_price
    affordable = np.where(
        price > 0, np.floor((budget + SMALL) / np.maximum(price, SMALL)), np.inf
    )
    most = np.minimum(programme.most_packs, affordable).astype(np.int64)
    model = Model(programme, most)
    waiting = model.variable(0.0, np.inf, whole=False)
    model.row({j: -float(c) for j, c in enumerate(price) if c > 0}, -budget - SMALL)
    # Means over days differ by whole days; the price decides below half a day.
    day = 1.0 / programme.days
    tie = 0.2 * day / max(float(price @ most), 1.0)
    size = np.arange(len(most))
    best = packs = np.zeros_like(most)
    fewest, bound = math.inf, 0.0
    ahead = greedy(programme, budget, most)
    for turn in range(_ROUNDS):
        if turn < len(ahead):
            packs = ahead[-1 - turn]
        found = programme.short(packs)
        mean = float(found.waiting.mean())
        if mean < fewest - 0.5 * day:
            best, fewest = packs, mean
        if fewest <= bound + 0.5 * day or time.monotonic() > deadline:
            break
        slope = ((found.sets[:, None] >> size) & 1).mean(axis=0)
        level = mean + float(slope @ programme.working(packs))
        row = {model.held(int(j)): float(slope[j]) for j in size if slope[j]}
        model.row({**row, waiting: 1.0}, level)
        if turn + 1 < len(ahead):
            continue
        costs = {j: tie * float(c) for j, c in enumerate(price)}
        left = max(deadline - time.monotonic(), 1.0)
        answer = model.solve({**costs, waiting: 1.0}, left)
        if answer.packs is None:
            break
        packs = answer.packs
        bound = max(bound, answer.bound - 0.2 * day)
    return Order(best, programme.cost(best), bound, gap_to(fewest, bound + 0.5 * day))


def greedy(programme: Programme, budget: float, most: Ints) -> list[Ints]:
    """Return the orders on the way of buying what helps most per money."""
    packs, left = np.zeros_like(most), budget + SMALL
    size, price = np.arange(len(most)), programme.pack_price
    way = [packs]
    while True:
        sets = programme.short(packs).sets
        helped = ((sets[:, None] >> size) & 1).sum(axis=0)
        helped = helped * ((packs < most) & (price <= left))
        if not helped.any():
            return way
        chosen = int((helped / np.maximum(price, SMALL)).argmax())
        # Far from the end several at once: what helps most does so for a while.
        room = most[chosen] - packs[chosen]
        bulk = 1 if price[chosen] <= 0 else int(_BULK * left / price[chosen])
        bought = int(np.clip(bulk, 1, room))
        packs = packs.copy()
        packs[chosen] += bought
        left -= price[chosen] * bought
        way.append(packs)
