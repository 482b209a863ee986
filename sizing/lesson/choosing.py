"""Choosing a size from what is known, and how far the choice is from right."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.spatial import cKDTree

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import SizingError
from sizing.measures import MISSING_TENTHS, NO_HIGH, NO_LOW, to_tenths, vocabulary
from sizing.resources import texts
from sizing.stats.estimates import Layout, Means, group_means

_T = texts("lesson")
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

#: What can come of choosing a size for a person; each choice has exactly one.
CHOICE_WORDS: dict[str, str] = _T.outcomes
CHOICE_OUTCOMES: tuple[str, ...] = tuple(CHOICE_WORDS)
NOT_FOUND = "none_found_though_one_fits"
#: What each wrong outcome can do to the person: common practice, no source.
WRONG_MEANS: dict[str, str] = _T.wrong_means
#: Those in which the person is put in a size that does not fit.
PUT_WRONG_OUTCOMES = tuple(name for name in WRONG_MEANS if name != NOT_FOUND)
#: Persons alike that a likely size is read from, and what makes two alike: one
#: step is 5 % of body mass or 2.5 cm of stature. Our choice: finer steps would
#: rest on fewer people than the extremes hold.
NEIGHBOURS = 50
_STEP = {"body_mass_kg": 0.05, "stature_cm": 2.5}
ADULT_FROM = 18.0
#: One SD of the logarithm of a typical error that is from memory: taken as from half
#: to twice as much, 19 times in 20. Our choice, no source.
ERROR_SPREAD = math.log(2) / 1.96
SPREAD_WORDS: str = _T.spread
#: Whoever chooses from a table or by eye says "none" where no size fits at least
#: this share of the people most alike: our choice, more likely not than yes.
NONE_BELOW = 0.5


@cache
def reading_errors() -> Mapping[str, float]:
    """SD of one reading in cm or kg; source: ``error_source`` of ``vocabulary()``."""
    table = vocabulary()
    errors = zip(table["name"], table["error_cm"].astype(float), strict=True)
    return MappingProxyType(dict(errors))


def chosen_by_tape(
    frame: pd.DataFrame, chart: SizeChart, sd: Mapping[str, float], seed: int
) -> Ints:
    """Return the place of the size that readings with such errors give; -1: none.

    One seed gives the same slips, larger or smaller, whatever the errors.
    """
    rng = np.random.default_rng([seed, 77])
    read = {
        measure: frame[measure].to_numpy(float, na_value=np.nan)
        + sd[measure] * rng.standard_normal(len(frame))
        for measure in limits(chart)
        if measure in frame
    }
    told = pd.DataFrame(read, index=frame.index)
    return innermost(edge_margins(told, chart))


def edge_margins(frame: pd.DataFrame, chart: SizeChart) -> Floats:
    """Return how far inside each size each person is, (rows, sizes; SDs of a reading).

    0 or more: the size fits; minus infinity: a limited measure is missing.
    """
    margin = np.full((len(frame), len(chart.sizes)), np.inf)
    for measure, (low, high) in limits(chart).items():
        x = _tenths(frame, measure)
        below = np.where(low > NO_LOW, x - low, np.inf)
        above = np.where(high < NO_HIGH, high - x, np.inf)
        inside = np.minimum(below, above) / (10 * reading_errors()[measure])
        limited = (low > NO_LOW) | (high < NO_HIGH)
        inside = np.where((x == MISSING_TENTHS) & limited, -np.inf, inside)
        margin = np.minimum(margin, inside)
    return margin


def _tenths(frame: pd.DataFrame, measure: str) -> Ints:
    if measure not in frame:
        return np.full((len(frame), 1), MISSING_TENTHS)
    return to_tenths(frame[measure].to_numpy(float, na_value=np.nan))[:, None]


def innermost(margin: Floats) -> Ints:
    """Choose the first fitting size whose nearest edge is farthest; -1 if none fits."""
    best = margin.argmax(axis=1)
    fits = margin[np.arange(len(margin)), best] >= 0
    return np.where(fits, best, -1)


def outcome_of_choice(chosen: Ints, fits: Bools) -> npt.NDArray[np.str_]:
    """Return what came of each choice, one of ``CHOICE_OUTCOMES``.

    By rank in the chart; as near below as above counts as too large: one can slip out.
    """
    n, k = fits.shape
    rank = np.arange(k)
    any_fits = fits.any(axis=1)
    gap = np.where(fits, np.abs(rank - chosen[:, None]), k + 1)
    nearest = gap.min(axis=1) if k else np.full(n, 1)
    below = (fits & (rank < chosen[:, None]) & (gap == nearest[:, None])).any(axis=1)
    cases = {
        "rightly_none": ~any_fits & (chosen < 0),
        "chosen_though_none_fits": ~any_fits,
        NOT_FOUND: chosen < 0,
        "fitting": nearest == 0,
        "two_or_more_off": nearest >= 2,
        "one_too_large": below,
    }
    return np.select(list(cases.values()), list(cases), "one_too_small")


def likely_chances(
    people: pd.DataFrame,
    weight: npt.ArrayLike,
    chart: SizeChart,
    known: Sequence[str],
    seen: pd.DataFrame,
) -> Floats:
    """Return each size's chance of fitting those seen (rows, sizes), by ``known``.

    The weighted share it fits among the 50 ``people`` most alike in what is known
    (children among children, adults among adults; never the person herself); 0 where
    what is known lies outside the size's own bands.
    """
    lacking = any(name not in people for name in known)
    point = np.full((len(people), 1), np.nan) if lacking else _points(people, known)
    if not np.isfinite(point).all(axis=1).any():
        raise SizingError(
            f"Choosing by {' and '.join(known)} needs people with both taken: "
            "give people with these columns, or leave that way out."
        )
    bounds = limits(chart)
    fits = np.ones((len(people), len(chart.sizes)))
    for measure, (low, high) in bounds.items():
        if measure not in known:
            x = _tenths(people, measure)
            free = (low == NO_LOW) & (high == NO_HIGH)
            fits *= free | ((x != MISSING_TENTHS) & (x >= low) & (x <= high))
    code, person = pd.factorize(people["person"])
    count = np.bincount(code)
    ends = pd.DataFrame(point).groupby(code).agg(["min", "max"]).to_numpy()
    # What is drawn differs from draw to draw, and teaches nothing.
    taught = np.flatnonzero((ends[:, ::2] == ends[:, 1::2]).all(axis=1))
    if not len(taught):
        raise SizingError(f"Nobody among the people has a measured {known[0]}.")
    share = [(np.bincount(code, column) / count)[taught] for column in fits.T]
    of_person = (np.bincount(code, np.asarray(weight, dtype=float)) / count)[taught]
    # Those seen; a person's draws share what was measured, and so the chances.
    point = _points(seen, known)
    finite: Bools = np.asarray(np.isfinite(point).all(axis=1))[:, None]
    own = pd.Index(person[taught]).get_indexer(pd.Index(seen["person"]))
    key = pd.DataFrame(np.column_stack([np.where(finite, point, 0), own]))
    row = key.groupby(list(key.columns), sort=False).ngroup().to_numpy()
    each = key.drop_duplicates().to_numpy()
    most = min(NEIGHBOURS + 1, len(taught))
    near = cKDTree(ends[taught, ::2]).query(each[:, :-1], k=most)[1].reshape(-1, most)
    other = near != each[:, -1:].astype(int)
    # The farthest makes room where the person herself is not among them.
    other[:, -1] &= other.sum(axis=1) < most
    part = of_person[near] * other
    whole = np.maximum(part.sum(axis=1), 1e-300)
    found = [np.einsum("nk,nk->n", part, one[near]) / whole for one in share]
    chance = np.column_stack(found)[row] * finite
    for name in filter(bounds.__contains__, known):
        (low, high), x = bounds[name], _tenths(seen, name)
        chance = np.where((x >= low) & (x <= high), chance, 0.0)
    return chance


def _points(frame: pd.DataFrame, known: Sequence[str]) -> Floats:
    columns = []
    for name in known:
        value = frame[name].to_numpy(float, na_value=np.nan)
        value = np.log(value) if name == "body_mass_kg" else value
        columns.append(value / _STEP[name])
    if "age_years" in frame:
        age = frame["age_years"].to_numpy(float, na_value=np.nan)
        columns.append(np.where(age < ADULT_FROM, 0.0, 1e4))
    return np.column_stack(columns)


def doubted_means(
    place: Layout,
    now: Floats,
    more: Floats,
    groups: Sequence[Floats],
    *,
    replicates: int,
    seed: int,
) -> Means:
    """Return means of columns within groups, with what is not known of the errors.

    ``more``: ``now``, were readings to err more by one SD of what is not known of their
    errors: by the delta method, a part of the variance.
    """
    columns, moved = list(now[place.rows]), (more - now)[place.rows]
    means = group_means(place, columns, groups, replicates=replicates, seed=seed)
    weights = [group * place.weight[:, None] for group in groups]
    parts = zip(weights, moved, strict=True)
    shifts = [w.T @ change / w.sum(axis=0)[:, None] for w, change in parts]
    variance = means.variance + np.square(np.mean(shifts, axis=0))
    return replace(means, variance=variance)
