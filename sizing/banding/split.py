"""How many sizes belong in each group."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from sizing.banding.counts import Floats
from sizing.banding.fitter import Fitter
from sizing.banding.groups import by_group, check_groups, group_of, widths_of
from sizing.banding.resample import draw_samples, interval
from sizing.banding.settings import check_request
from sizing.chart.files import MOST_SIZES
from sizing.chart.size_chart import GROUPS
from sizing.errors import (
    Problem,
    SizingError,
    check_number,
    check_replicates,
    check_seed,
)
from sizing.population.people import People

METHOD = "bootstrap of {}, {} samples, charts and split held"


def split_sizes(
    people: People | Mapping[str, People],
    *,
    widths: Mapping[str, Any],
    sizes: Iterable[int] = range(3, 13),
    load_limits_kg: Mapping[str, float] | None = None,
    adult_age: float = 18.0,
    bmi_threshold: float = 40.0,
    replicates: int = 200,
    seed: int = 1,
    **settings: Any,
) -> pd.DataFrame:
    """Share N sizes out over the groups so that most people are covered.

    Every group's best chart is fitted for each number of sizes; the split that
    covers the largest weight of all groups' people, each judged on the own
    group's sizes, is found by trying every split.

    Parameters
    ----------
    people, widths, load_limits_kg, adult_age, bmi_threshold
        See ``fit_groups``. Groups given apart must not overlap: their weights
        are added up.
    sizes : iterable of int
        The numbers N to share out.
    replicates, seed : int
        Bootstrap samples for the intervals, and their seed.
    **settings
        Constraints and goal as in ``fit_bands``.

    Returns
    -------
    DataFrame
        One row per N: sizes; one column per group with its number of sizes;
        estimate (share of all people covered under the best split), low, high;
        equal (share under N/3 in each group, where N can be so divided), and
        loss_of_equal (what that loses), loss_low, loss_high; method, n
        (persons). Of equally good splits, the one with most sizes for the
        earlier group.

    Raises
    ------
    SizingError
        As ``fit_bands``; or with fewer than two replicates.

    Notes
    -----
    Intervals are 95 % percentile intervals over bootstrap samples of persons,
    or, where the people have ``stratum`` and ``unit``, of sampling units (see
    ``sizing.survey.bootstrap_weights``), made wider where these are few
    (``sizing.banding.resample.interval``). The fitted charts and the split are
    held: the intervals tell how sure the share is for these charts, not what
    refitting to other people would change, and the shares are of the people
    fitted to. Both splits are judged on the same samples, so that the loss has an
    interval of its own. Groups given as one are drawn together; given apart, each
    is drawn by itself and keeps its weight.
    """
    sizes = list(sizes)
    for number in sizes:
        check_number("a number of sizes", number, least=1, most=MOST_SIZES, whole=True)
    numbers = sorted(set(sizes))
    check_replicates(replicates)
    check_seed(seed)
    together = people if isinstance(people, People) else None
    if isinstance(people, People):
        groups = group_of(people, adult_age=adult_age, bmi_threshold=bmi_threshold)
        people = by_group(people, groups)
    check_groups(people, "people")
    names = [g for g in GROUPS if g in people]
    if not numbers:
        raise SizingError(
            str(Problem("no number of sizes to share out", "numbers from 1 up"))
        )
    gains = {}
    for group in names:
        gains[group] = _gains(
            people[group],
            numbers[-1],
            widths=widths_of(widths, group),
            load_limit_kg=(load_limits_kg or {}).get(group),
            **settings,
        )
    # First the people as they are, then each bootstrap sample of them.
    joint = together is not None
    given = _shares(gains, {g: np.ones((1, len(gains[g]))) for g in names}, joint)
    parts = {g: people[g] for g in names}
    rng = np.random.default_rng(seed)
    times, what, df = _samples(parts, together, replicates, rng)
    drawn = _shares(gains, times, joint)
    rows = []
    for number in numbers:
        best = max(
            _splits(number, len(names)),
            key=lambda split: (round(float(_total(given, split)[0]), 12), split),
        )
        row: dict[str, Any] = {"sizes": number, **dict(zip(names, best, strict=True))}
        row["estimate"] = float(_total(given, best)[0])
        ends = interval(row["estimate"], _total(drawn, best), df)
        # A share lies from 0 to 1, however few the units.
        row["low"], row["high"] = max(float(ends[0]), 0.0), min(float(ends[1]), 1.0)
        equal = loss = low = high = float("nan")
        if number % len(names) == 0:
            even = (number // len(names),) * len(names)
            equal = float(_total(given, even)[0])
            loss = row["estimate"] - equal
            lost = _total(drawn, best) - _total(drawn, even)
            low, high = map(float, interval(loss, lost, df))
        row |= {"equal": equal, "loss_of_equal": loss, "loss_low": low}
        row |= {"loss_high": high, "method": METHOD.format(what, replicates)}
        rows.append(row | {"n": sum(len(gains[g]) for g in names)})
    return pd.DataFrame(rows)


def _gains(people: People, most: int, **settings: Any) -> Floats:
    """Return each person's weight, and what of it 0, 1, ... sizes cover.

    Returns
    -------
    ndarray of float, shape (persons, 2 + most)
        The weight, then the worth of the best charts of 0, 1, ..., ``most`` sizes.
    """
    person = pd.factorize(people.frame["person"])[0]
    weight = people.weight.to_numpy(dtype=float) / people.draws
    columns = [np.bincount(person, weights=weight), np.zeros(person.max() + 1)]
    reached = 0.0
    for count in range(1, most + 1):
        fitter = Fitter(check_request(people, sizes=count, **settings))
        boxes, bodies = fitter.fit(), fitter.bodies
        value = fitter.value(boxes)
        if value <= reached:
            # No better than fewer sizes: then those are what is stocked.
            columns.append(columns[-1])
            continue
        reached = value
        worth = fitter.request.goal.worth(bodies, *boxes) * weight[bodies.row]
        columns.append(
            np.bincount(person[bodies.row], worth, minlength=len(columns[0]))
        )
    return np.column_stack(columns)


def _samples(
    parts: Mapping[str, People],
    together: People | None,
    replicates: int,
    rng: np.random.Generator,
) -> tuple[dict[str, Floats], str, int]:
    """Return by what each group's persons are multiplied, what was drawn, and df."""
    if together is None:
        drawn = {
            group: draw_samples(part, replicates=replicates, rng=rng)
            for group, part in parts.items()
        }
        what = " or ".join(dict.fromkeys(one.drawn for one in drawn.values()))
        times = {group: one.times for group, one in drawn.items()}
        return times, what, min(one.df for one in drawn.values())
    whole = draw_samples(together, replicates=replicates, rng=rng)
    named = pd.Index(together.frame["person"].unique())
    times = {}
    for group, part in parts.items():
        at = named.get_indexer(pd.Index(part.frame["person"].unique()))
        times[group] = np.take(whole.times, at, axis=1)
    return times, whole.drawn, whole.df


def _shares(
    gains: Mapping[str, Floats], times: Mapping[str, Floats], together: bool
) -> list[Floats]:
    """Return each group's share of everyone covered, by sample and sizes."""
    sums = [times[group] @ gains[group] for group in gains]
    if together:
        whole = np.sum([s[:, :1] for s in sums], axis=0)
        return [s[:, 1:] / whole for s in sums]
    weights = [float(g[:, 0].sum()) for g in gains.values()]
    return [
        s[:, 1:] / s[:, :1] * w / sum(weights)
        for s, w in zip(sums, weights, strict=True)
    ]


def _splits(number: int, groups: int) -> Iterable[tuple[int, ...]]:
    if groups == 1:
        yield (number,)
        return
    for first in range(number + 1):
        for rest in _splits(number - first, groups - 1):
            yield (first, *rest)


def _total(shares: Sequence[Floats], split: Sequence[int]) -> Floats:
    """Return the share of everyone covered under a split, by sample."""
    found = [share[:, count] for share, count in zip(shares, split, strict=True)]
    return np.asarray(np.sum(found, axis=0))
