"""Days drawn from the people: who is there, who needs a sling, what is out."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.stats import binom

from sizing.stock.need import Served, Use
from sizing.stock.offers import Offer
from sizing.stock.service import Ints

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Group:
    """One group ready to be drawn: rows, their chances and their sizes.

    Attributes
    ----------
    served : Served
    masks : ndarray of int
        Sizes that fit each row of the people.
    chance : ndarray of float
        Cumulated weights of the rows, from light to heavy bodies: the same
        random number then means a like body under other weights.
    order : ndarray of int
        Rows in that order.
    newcomers : Group or None
    """

    served: Served
    masks: Ints
    chance: Floats
    order: Ints
    newcomers: "Group | None" = None


@dataclass(frozen=True)
class Days:
    """Needs on each of many days, by the set of sizes that would meet them.

    Attributes
    ----------
    masks : ndarray of int, shape (sets,)
        Sets of sizes; the first is 0, whom no size fits.
    needs : ndarray of int, shape (days, sets)
        Slings needed and not out of use.
    slings : ndarray of int, shape (days, sets)
        Slings needed in all so that so many are not out of use; see
        ``draw_days``.
    luck : ndarray of float, shape (days, sizes)
        Uniform numbers that decide how many of each size's slings are out.
    by_group : ndarray of int, shape (groups, days, sets)
        Clients who need slings, group by group.
    share_out : float
    """

    masks: Ints
    needs: Ints
    slings: Ints
    luck: Floats
    by_group: npt.NDArray[np.int32]
    share_out: float

    @property
    def number(self) -> int:
        """How many days."""
        return len(self.needs)

    def free(self, stock: Ints) -> Ints:
        """Return how many slings of each size are not out of use, day by day.

        Each sling is out with probability ``share_out``, on its own. The number
        free is the binomial quantile at the day's ``luck``, so one sling more
        never means fewer free, and every alternative meets the same luck.

        Parameters
        ----------
        stock : ndarray of int, shape (sizes,)
        """
        if self.share_out == 0:
            return np.broadcast_to(stock, self.luck.shape)
        free = np.empty(self.luck.shape, dtype=np.int64)
        for size, number in enumerate(stock.tolist()):
            below = binom.cdf(np.arange(number + 1), number, 1 - self.share_out)
            place = np.searchsorted(below, self.luck[:, size])
            free[:, size] = np.minimum(place, number)
        return free


def group_from(served: Served, offer: Offer, weight: Floats | None = None) -> Group:
    """Make a group ready to be drawn, with its own or other weights."""
    people = served.people
    frame = people.frame
    w = people.weight.to_numpy(dtype=float) if weight is None else weight
    if "body_mass_kg" in frame:
        mass = frame["body_mass_kg"].fillna(0).to_numpy(dtype=float)
        order = np.argsort(mass, kind="stable")
    else:
        order = np.arange(len(frame))
    newcomers = None
    if served.count is None and (served.admissions or served.newcomers):
        coming = served.newcomers or people
        newcomers = group_from(Served(coming, count=1), offer)
    chance = np.cumsum(w[order])
    return Group(served, offer.masks(people), chance / chance[-1], order, newcomers)


def draw_days(
    groups: Sequence[Group],
    use: Use,
    *,
    sizes: int,
    days: int,
    seed: Sequence[int],
) -> Days:
    """Draw days: who is present, who needs slings, which slings are out.

    Parameters
    ----------
    groups : sequence of Group
    use : Use
    sizes : int
        Number of sizes offered.
    days : int
    seed : sequence of int
        Same seed and settings: same days. Groups with other weights meet the
        same random numbers.

    Returns
    -------
    Days

    Notes
    -----
    Slings out of use. A size of x slings, each out with probability p on its
    own, has Binomial(x, 1 - p) free. D needs are met if at least D are free,
    and ``P(Binomial(x, 1 - p) >= D) = P(G_1 + ... + G_D <= x)`` with
    independent geometric numbers ``P(G = g) = p^(g - 1) (1 - p)``: slings are
    taken until D are found that are not out. ``slings`` counts these G, so that
    slings out become needs and a stock is a fixed number on every day, which is
    what an integer programme can plan exactly. For several sizes the two
    agree for each set of sizes; only how shortages of two sets fall on the same
    days can differ, and a plan is therefore checked with ``needs`` and ``free``.
    """
    parts: list[tuple[Ints, Ints, Ints]] = []
    streams = np.random.SeedSequence(list(seed)).spawn(len(groups) + 2)
    for place, (group, stream) in enumerate(zip(groups, streams, strict=False)):
        masks, present = _present(group, use, days, np.random.default_rng(stream))
        when, where = np.nonzero(present)
        parts.append((when, np.full(len(when), place), masks[when, where]))
    day, own, mask = (np.concatenate(part) for part in zip(*parts, strict=True))
    known = np.union1d([0], mask).astype(np.int64)
    rng = np.random.default_rng(streams[-2])
    kept = _at_once(day, use, days, rng)
    day, own, mask = day[kept], own[kept], mask[kept]
    cell = np.searchsorted(known, mask)

    p = use.share_out
    taken = np.full(len(day), use.each, dtype=np.int64)
    if p > 0:
        taken += rng.negative_binomial(use.each, 1 - p, len(day))
    flat = day * len(known) + cell
    shape = (days, len(known))
    needs = np.bincount(flat, minlength=days * len(known)).reshape(shape) * use.each
    slings = np.bincount(flat, taken, minlength=days * len(known)).reshape(shape)
    by_group = np.bincount(own * needs.size + flat, minlength=len(groups) * needs.size)
    luck = np.random.default_rng(streams[-1]).random((days, sizes))
    return Days(
        known,
        needs.astype(np.int64),
        np.rint(slings).astype(np.int64),
        luck,
        by_group.reshape(len(groups), *shape).astype(np.int32),
        p,
    )


def _present(
    group: Group, use: Use, days: int, rng: np.random.Generator
) -> tuple[Ints, Ints]:
    """Return each place's sizes and whether someone is there, days x places."""
    served = group.served
    if served.count is None:
        masks = _caseload(group, use, days, rng)
        extra = 0 if use.passed_on or use.sharing == "shared" else served.admissions
        if not extra:
            return masks, np.ones(masks.shape, dtype=np.int64)
        number = rng.poisson(extra, days)
        more = _drawn(group.newcomers or group, (days, int(number.max(initial=0))), rng)
        there = np.arange(more.shape[1]) < number[:, None]
        present = np.concatenate([np.ones(masks.shape, bool), there], axis=1)
        return np.concatenate([masks, more], axis=1), present.astype(np.int64)
    number = np.full(days, served.count)
    if served.number == "poisson":
        number = rng.poisson(served.count, days)
    if use.sharing == "personal" and not use.passed_on and served.admissions:
        number = number + rng.poisson(served.admissions, days)
    masks = _drawn(group, (days, int(number.max(initial=0))), rng)
    there = np.arange(masks.shape[1]) < number[:, None]
    return masks, there.astype(np.int64)


def _drawn(group: Group, shape: tuple[int, int], rng: np.random.Generator) -> Ints:
    """Draw people by weight."""
    place = np.searchsorted(group.chance, rng.random(shape), side="right")
    return group.masks[group.order[np.minimum(place, len(group.order) - 1)]]


def _caseload(group: Group, use: Use, days: int, rng: np.random.Generator) -> Ints:
    """Return the sizes of the caseload's own clients, or of who replaced them."""
    frame = group.served.people.frame
    draws = group.served.people.draws
    rows = np.lexsort((frame["draw"], frame["person"])).reshape(-1, draws)
    chosen = rng.integers(draws, size=(days, len(rows)))
    masks = group.masks[rows[np.arange(len(rows)), chosen]]
    if group.newcomers is None or (use.sharing == "personal" and not use.passed_on):
        return masks
    rate = group.served.admissions / len(rows)
    gone = rng.random(masks.shape) < 1 - np.exp(-rate * rng.random((days, 1)))
    return np.where(gone, _drawn(group.newcomers, masks.shape, rng), masks)


def _at_once(
    day: Ints, use: Use, days: int, rng: np.random.Generator
) -> npt.NDArray[np.bool_]:
    """Return which of those present need slings at the busiest moment."""
    if use.sharing == "personal":
        return np.ones(len(day), dtype=bool)
    kept = rng.random(len(day)) < use.at_once
    if use.at_most is None:
        return kept
    # Of those who need one, the first in a random order are lifted.
    turn = np.where(kept, rng.random(len(day)), 2.0)
    order = np.lexsort((turn, day))
    start = np.searchsorted(day[order], np.arange(days))
    rank = np.empty(len(day), dtype=np.int64)
    rank[order] = np.arange(len(day)) - start[day[order]]
    return kept & (rank < use.at_most)
