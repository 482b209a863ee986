"""How the same money is spent today: equal numbers, or last year's use again."""

import numpy as np

from sizing.stock.programme import Programme
from sizing.stock.service import Ints

_SMALL = 1e-6


def equal_numbers(programme: Programme, budget: float) -> Ints:
    """Return packs for as many slings of each size as the budget gives.

    What is left after equal numbers buys one pack more of each size, the
    cheapest first, as long as it lasts: the rival spends what it can.
    """
    return _spend(programme, budget, np.ones(len(programme.pack)))


def like_last_year(programme: Programme, budget: float, used: np.ndarray) -> Ints:
    """Return packs in proportion to the slings used last year."""
    return _spend(programme, budget, np.nan_to_num(np.asarray(used, dtype=float)))


def _spend(programme: Programme, budget: float, share: np.ndarray) -> Ints:
    """Buy in proportion to ``share`` up to the budget, then what still fits."""
    price, pack = programme.pack_price, programme.pack
    most = programme.offer.column("most")
    room = np.floor(np.maximum(most - programme.owned, 0) / pack)
    low, high = 0.0, max(budget, 1.0) + 1.0
    wanted = share > 0

    def packs(scale: float) -> np.ndarray:
        return np.minimum(np.floor(scale * share / pack), room)

    # The largest scale that the budget pays for: costs grow with it.
    while (packs(high) @ price) <= budget and (packs(high) < room)[wanted].any():
        if high > 1e7:
            break
        high *= 2
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if packs(middle) @ price <= budget else (low, middle)
    bought = packs(low)
    for size in np.lexsort((np.arange(len(price)), price)):
        affordable = (bought @ price) + price[size] <= budget + _SMALL
        if wanted[size] and bought[size] < room[size] and affordable:
            bought[size] += 1
    return bought.astype(np.int64)
