"""Days drawn from the people, and what their being a sample adds."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.stats import binom

from sizing.people.people import layout
from sizing.stats.estimates import complete_df, join_influences
from sizing.stock.need import Served, Use
from sizing.stock.offers import Offer
from sizing.stock.service import Ints, sizes_in

Floats = npt.NDArray[np.float64]

#: Clients times days that are drawn one by one in one step, for the memory's sake.
_CELLS = 1 << 22
#: Equal parts, from light to heavy, in which people are drawn (our choice: fine
#: enough for like bodies, few enough to be quick).
_PARTS = 16


@dataclass(frozen=True)
class Group:
    """One group ready to be drawn: which sizes fit each (``masks``), and its ``sets``.

    ``shares`` (parts x sets) are of equal parts of the people, light to heavy: the same
    random number means a like body under other weights.
    """

    served: Served
    masks: Ints
    sets: Ints
    shares: Floats
    measures: tuple[str, ...] = ()


@dataclass(frozen=True)
class Days:
    """Needs on each of many days, by the set of sizes (``masks``) that would meet them.

    ``needs`` and, with those out of use, ``slings`` (days x sets; set 0: no size fits),
    ``by_group`` (groups x days x sets), ``luck`` (days x sizes): how many are out.
    """

    masks: Ints
    needs: Ints
    slings: Ints
    luck: Floats
    by_group: npt.NDArray[np.int32]
    share_out: Floats

    @property
    def number(self) -> int:
        return len(self.needs)

    def only(self, sizes: int) -> "Days":
        masks, place = np.unique(self.masks & np.int64(sizes), return_inverse=True)
        into = np.eye(len(masks), dtype=np.int64)[place]
        return replace(
            self,
            masks=masks,
            needs=self.needs @ into,
            slings=self.slings @ into,
            by_group=(self.by_group @ into).astype(np.int32),
        )

    def free(self, stock: Ints) -> Ints:
        """Return the slings not out of use: the binomial quantile at the day's luck."""
        if not self.share_out.any():
            return np.broadcast_to(stock, self.luck.shape)
        free = np.empty(self.luck.shape, dtype=np.int64)
        for size, number in enumerate(stock.tolist()):
            inside = 1 - self.share_out[size]
            below = binom.cdf(np.arange(number + 1), number, inside)
            place = np.searchsorted(below, self.luck[:, size])
            free[:, size] = np.minimum(place, number)
        return free


def group_from(served: Served, offer: Offer, weight: Floats | None = None) -> Group:
    people = served.people
    w = people.weight.to_numpy(dtype=float) if weight is None else weight
    masks = offer.masks(people, served.charts)
    sets = np.unique(masks[w > 0])
    order = np.arange(len(masks))
    if "body_mass_kg" in people.frame:
        mass = people.frame["body_mass_kg"].fillna(0).to_numpy(dtype=float)
        order = np.argsort(mass, kind="stable")
    # How much of each part lies below each person, light to heavy, and with her.
    upto = np.cumsum(np.append(0.0, w[order]))
    parts = np.clip(upto / upto[-1] * _PARTS - np.arange(_PARTS)[:, None], 0, 1)
    shares = np.diff(parts, axis=1) @ (masks[order, None] == sets).astype(float)
    return Group(served, masks, sets, shares, offer.chart.measures)


def draw_days(
    groups: Sequence[Group], use: Use, *, sizes: int, days: int, seed: Sequence[int]
) -> Days:
    """Draw days: who is present, who needs slings, which slings are out.

    Clients are counted by set of sizes. Of x slings, each out with probability p, D are
    free with probability ``P(G_1 + ... + G_D <= x)``, G independent and geometric:
    ``slings`` counts these G, so that a stock is a fixed number on every day, which a
    programme can plan exactly. How shortages of two sets coincide can differ: ``needs``
    and ``free`` tell.
    """
    sets = [group.sets for group in groups]
    known = np.unique(np.concatenate([np.zeros(1, np.int64), *sets]))
    streams = np.random.SeedSequence(list(seed)).spawn(len(groups) + 2)
    clients = np.zeros((len(groups), days, len(known)), dtype=np.int64)
    uses = [group.served.use or use for group in groups]
    for own, group, one, stream in zip(clients, groups, uses, streams, strict=False):
        _present(own, known, group, one, np.random.default_rng(stream))
    rng = np.random.default_rng(streams[-2])
    needs = np.zeros((days, len(known)), dtype=np.int64)
    slings, out = needs.copy(), np.zeros(len(known))
    # Services of the same rules meet at the same hoists; each other has its own.
    kinds = list({str(each): each for each in uses}.values())
    for one in kinds:
        places = [i for i, each in enumerate(uses) if each == one]
        clients[places] = _at_once(clients[places], one, rng)
        part, p = clients[places].sum(axis=0) * one.each, one.share_out
        needs += part
        slings += part
        out += p * part.mean(axis=0)
        if p > 0:
            more = rng.negative_binomial(np.maximum(part, 1), 1 - p)
            slings += np.where(part > 0, more, 0)
    luck = np.random.default_rng(streams[-1]).random((days, sizes))
    share = np.full(sizes, kinds[0].share_out)
    if len(kinds) > 1:
        # A size is out as often as the slings of those are whom it fits.
        fits = sizes_in(known, sizes)
        share = out @ fits / np.maximum(needs.mean(axis=0) @ fits, 1e-9)
    return Days(known, needs, slings, luck, clients.astype(np.int32), share)


def _present(
    own: Ints, known: Ints, group: Group, use: Use, rng: np.random.Generator
) -> None:
    served, days = group.served, len(own)
    extra = 0.0 if use.passed_on or use.sharing == "shared" else served.admissions
    if served.count is None:
        _caseload(own, known, group, rng)
        if served.admissions and extra == 0:
            # A client has left whatever set she is of; newcomers are like them all.
            rate = served.admissions / own[0].sum()
            left = rng.binomial(own, 1 - np.exp(-rate * rng.random((days, 1))))
            own -= left
            _drawn(own, known, group, left.sum(axis=1), rng)
        number = np.zeros(days, dtype=np.int64)
    elif served.number == "poisson":
        number = rng.poisson(served.count, days)
    else:
        number = np.full(days, served.count)
    if extra:
        number = number + rng.poisson(extra, days)
    _drawn(own, known, group, number, rng)


def _drawn(
    own: Ints, known: Ints, group: Group, number: Ints, rng: np.random.Generator
) -> None:
    place = np.searchsorted(known, group.sets)
    parts = rng.multinomial(number, np.full(_PARTS, 1 / _PARTS))
    for part, share in zip(parts.T, group.shares, strict=True):
        some = share > 0
        own[:, place[some]] += rng.multinomial(part, share[some] / share.sum())


def _caseload(own: Ints, known: Ints, group: Group, rng: np.random.Generator) -> None:
    frame, draws = group.served.people.frame, group.served.people.draws
    rows = np.lexsort((frame["draw"], frame["person"])).reshape(-1, draws)
    place = np.searchsorted(known, group.masks)[rows]
    steady = (place == place[:, :1]).all(axis=1)
    own += np.bincount(place[steady, 0], minlength=len(known))
    place = place[~steady]
    if not len(place):
        return
    step = max(_CELLS // len(place), 1)
    for first in range(0, len(own), step):
        part = own[first : first + step]
        chosen = rng.integers(draws, size=(len(part), len(place)))
        cell = place[np.arange(len(place)), chosen]
        cell += np.arange(len(part))[:, None] * len(known)
        part += np.bincount(cell.ravel(), minlength=part.size).reshape(part.shape)


def _at_once(clients: Ints, use: Use, rng: np.random.Generator) -> Ints:
    if use.sharing == "personal":
        return clients
    clients = rng.binomial(clients, use.at_once)
    if use.at_most is None:
        return clients
    # Of those who need one, the first in a random order are lifted.
    rest = clients.sum(axis=(0, 2))
    turns = np.minimum(rest, use.at_most)
    for own in clients:
        for cell in own.T:
            rest -= cell
            lifted = rng.hypergeometric(cell, rest, turns)
            turns -= lifted
            cell[:] = lifted
    return clients


def people_variance(
    groups: Sequence[Group], days: Days, values: Sequence[Floats]
) -> list[tuple[float, float]]:
    """Return the variance and df that sampled people add to means over days.

    One more client of a group with set m moves a mean by ``Cov(value, clients of m) /
    mean clients of m``; a person's influence is that times her group's clients a day,
    and its variance that of a weighted mean by the people's design. Groups are
    independent.
    """
    variance = np.zeros(len(values))
    df = np.full(len(values), np.inf)
    # Without groups the people are taken as given.
    for group, clients in zip(groups, days.by_group, strict=False):
        mean = clients.mean(axis=0)
        present = float(mean.sum())
        if group.served.count is None or not present:
            continue
        place = layout(group.served.people, group.measures)
        share = place.weight / place.weight.sum()
        found = np.minimum(np.searchsorted(days.masks, group.masks), len(mean) - 1)
        known = (days.masks[found] == group.masks) & (mean[found] > 0)
        masks = found[place.rows]
        each = np.divide(present, mean[found], out=np.zeros(len(found)), where=known)
        each = each[place.rows]
        # Days are few, so each covariance is uncertain itself; what that adds to
        # the squares on average is taken off. Draws of one set err together.
        alike = (masks[:, None] == masks[None]).sum(axis=1) / place.draws
        noise = each * (1.0 if place.model is None else alike)
        noise = noise.mean(axis=0) @ np.square(share) * present
        for i, value in enumerate(values):
            covariance = (value - value.mean()) @ clients / days.number
            effect = covariance[masks] * each
            centre = effect @ share
            _, total, degrees = join_influences(
                place, centre, share * (effect - centre[:, None]), complete_df(place)
            )
            variance[i] += max(float(total) - value.var() / days.number * noise, 0.0)
            df[i] = min(df[i], float(degrees))
    return list(zip(variance.tolist(), df.tolist(), strict=True))
