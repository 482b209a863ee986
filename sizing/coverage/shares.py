"""Weighted shares of groups, with sampling and imputation error joined."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import sparse, stats

from sizing.errors import Problem, SizingError
from sizing.population.people import People

Floats = npt.NDArray[np.float64]
#: Confidence of every interval.
LEVEL = 0.95
#: Below this many persons a group is flagged as small (common practice).
SMALL_GROUP = 30


@dataclass(frozen=True)
class Layout:
    """People arranged as draws x persons.

    Attributes
    ----------
    rows : ndarray of int, shape (draws, persons)
        Position of each in ``people.frame``; persons in the order of their
        numbers, so that the order of the rows does not matter.
    weight : ndarray of float, shape (persons,)
    unit, stratum : ndarray of int, shape (persons,), or None
        Sampling unit (numbered through) and each unit's stratum, where the
        survey has a design.
    """

    rows: npt.NDArray[np.int64]
    weight: Floats
    unit: npt.NDArray[np.int64] | None = None
    stratum: npt.NDArray[np.int64] | None = None

    @property
    def how(self) -> str:
        """How the sampling error is found."""
        if self.unit is None:
            return "bootstrap of persons"
        return "linearisation by stratum and unit"


def layout(people: People) -> Layout:
    """Arrange people by draw and person.

    Raises
    ------
    SizingError
        If the draws are not of the same persons, or the weights cannot be
        used: missing, negative, all nothing, or different between draws.
    """
    frame = people.frame
    draws = people.draws
    if not len(frame):
        _refuse("there are no people", "at least one person")
    order = np.lexsort((frame["person"].to_numpy(), frame["draw"].to_numpy()))
    if len(order) % draws:
        _refuse("some draw lacks some person", "each person in every draw")
    rows = order.reshape(draws, -1)
    person = frame["person"].to_numpy()[rows]
    if (person != person[0]).any() or len(np.unique(person[0])) < person.shape[1]:
        _refuse("some draw lacks some person", "each person once in every draw")
    weight = people.weight.to_numpy(dtype=float, na_value=np.nan)[rows]
    if not np.isfinite(weight).all() or (weight < 0).any() or weight[0].sum() <= 0:
        _refuse("a weight cannot be used", "weights of 0 or more, not all 0")
    if not np.allclose(weight, weight[0]):
        _refuse("a person's weight differs between draws", "one weight per person")
    if not {"stratum", "unit"} <= set(frame.columns):
        return Layout(rows, weight[0])
    first = frame.iloc[rows[0]]
    unit = first.groupby(["stratum", "unit"], dropna=False).ngroup().to_numpy()
    stratum = first.groupby("stratum", dropna=False).ngroup().to_numpy()
    if len(np.unique(unit)) - len(np.unique(stratum)) < 1:
        # One unit in each stratum says nothing about sampling error.
        return Layout(rows, weight[0])
    of_unit = np.zeros(unit.max() + 1, dtype=np.int64)
    of_unit[unit] = stratum
    return Layout(rows, weight[0], unit, of_unit)


def _refuse(what: str, allowed: str) -> None:
    raise SizingError(str(Problem(what, allowed, "correct the people given")))


def replicate_counts(n: int, replicates: int, seed: int) -> npt.NDArray[np.float32]:
    """Return how often each of n persons is drawn in each bootstrap replicate.

    Single precision is exact for such counts and halves the work.
    """
    rng = np.random.default_rng(seed)
    counts = np.empty((replicates, n), dtype=np.float32)
    for replicate in counts:
        replicate[:] = np.bincount(rng.integers(0, n, n), minlength=n)
    return counts


@dataclass(frozen=True)
class Means:
    """Weighted means of columns within groups, one entry per group and column.

    Attributes
    ----------
    estimate, variance, df : ndarray of float, shape (groups, columns)
        Mean over the draws; total variance and degrees of freedom by Rubin's
        rules.
    n, n_effective : ndarray of float, shape (groups,)
        Persons in the group (mean over draws), and Kish's effective number.
    """

    estimate: Floats
    variance: Floats
    df: Floats
    n: Floats
    n_effective: Floats


def group_means(
    place: Layout,
    columns: Sequence[Floats],
    groups: Sequence[Floats],
    *,
    replicates: int,
    seed: int,
) -> Means:
    """Estimate means of columns within groups, and their total variance.

    Parameters
    ----------
    place : Layout
    columns : sequence of ndarray, one per draw, each (persons, columns)
    groups : sequence of ndarray of 0 and 1, one per draw, (persons, groups)
    replicates, seed : int
        Of the bootstrap, where there is no design.

    Returns
    -------
    Means
        Within a draw the mean is ``sum(w g x) / sum(w g)``. Its variance is
        that of the bootstrap of persons, or by linearisation the variance
        between sampling units within strata of the totals of
        ``w g (x - mean) / sum(w g)``; a stratum of a single unit is centred
        on the mean of all. Degrees of freedom of the complete data: units
        minus strata in which the group has anybody, or the effective number
        of persons minus 1. These are the formulas of
        ``sizing.survey.design_estimate`` and ``sizing.survey.rubin`` for many
        columns, groups and draws at once.

    References
    ----------
    Rubin, Multiple Imputation for Nonresponse in Surveys, Wiley 1987, ch. 3;
    Barnard and Rubin, Biometrika 1999;86:948-955; Wolter, Introduction to
    Variance Estimation, 2nd ed., Springer 2007, ch. 6 (all from memory).
    """
    w = place.weight
    counts = None
    if place.unit is None or place.stratum is None:
        counts = replicate_counts(len(w), replicates, seed)
    estimates, within, sizes, effective = [], [], [], []
    for x, g in zip(columns, groups, strict=True):
        weighted = g * w[:, None]
        total = weighted.sum(axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = weighted.T @ x / total[:, None]
            effective.append(total**2 / np.square(weighted).sum(axis=0))
        estimates.append(mean)
        sizes.append((weighted > 0).sum(axis=0))
        if place.unit is not None and place.stratum is not None:
            within.append(_linearised(place.unit, place.stratum, x, weighted, mean))
        elif counts is not None:
            within.append(_bootstrapped(counts, x, weighted))
    n_effective = np.mean(effective, axis=0)
    complete = np.maximum(n_effective - 1, 1)[:, None]
    if place.unit is not None and place.stratum is not None:
        complete = design_df(place.unit, place.stratum, groups[0] * w[:, None])
    mean, variance, df = join_draws(np.array(estimates), np.array(within), complete)
    return Means(mean, variance, df, np.mean(sizes, axis=0), n_effective)


def _bootstrapped(
    counts: npt.NDArray[np.float32], x: Floats, weighted: Floats
) -> Floats:
    n, columns = x.shape
    groups = weighted.shape[1]
    # Weights near 1 keep single precision exact enough for a variance.
    scaled = (weighted * (n / weighted.sum(axis=0).max())).astype(np.float32)
    parts = (scaled[:, :, None] * x[:, None, :].astype(np.float32)).reshape(n, -1)
    totals = (counts @ parts).reshape(-1, groups, columns).astype(float)
    bases = (counts @ scaled).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = totals / bases[:, :, None]
    return _variance(means)


def _variance(means: Floats) -> Floats:
    """Return the variance over replicates, leaving out those without the group."""
    known = np.isfinite(means)
    count = known.sum(axis=0)
    safe = np.where(known, means, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = safe.sum(axis=0) / count
        square = np.where(known, means - centre, 0.0) ** 2
        return square.sum(axis=0) / (count - 1)


def _linearised(
    unit: npt.NDArray[np.int64],
    stratum: npt.NDArray[np.int64],
    x: Floats,
    weighted: Floats,
    mean: Floats,
) -> Floats:
    n = len(unit)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = weighted / weighted.sum(axis=0)
    parts = share[:, :, None] * (x[:, None, :] - mean)
    join = sparse.csr_array((np.ones(n), (unit, np.arange(n))))
    totals = join @ parts.reshape(n, -1)
    return variance_of_totals(totals, stratum).reshape(mean.shape)


def variance_of_totals(totals: Floats, stratum: npt.NDArray[np.int64]) -> Floats:
    """Return the variance of sums over sampling units.

    Parameters
    ----------
    totals : ndarray, shape (units, columns)
        Each unit's total of the linearised values.
    stratum : ndarray of int, shape (units,)
        Each unit's stratum, numbered from 0.

    Returns
    -------
    ndarray, shape (columns,)
        ``sum_h m_h / (m_h - 1) sum_u (z_u - mean_h)^2``; a stratum of a single
        unit is centred on the mean of all units.
    """
    count = np.bincount(stratum)
    belongs = sparse.csr_array(
        (np.ones(len(stratum)), (stratum, np.arange(len(stratum))))
    )
    centre: Floats = np.asarray(belongs @ totals) / count[:, None]
    alone = count[stratum] == 1
    centred = totals - np.where(alone[:, None], totals.mean(axis=0), centre[stratum])
    scale = np.where(alone, 1.0, count[stratum] / np.maximum(count[stratum] - 1, 1))
    variance: Floats = scale @ centred**2
    return variance


def design_df(
    unit: npt.NDArray[np.int64], stratum: npt.NDArray[np.int64], weighted: Floats
) -> Floats:
    """Return units minus strata in which each group has anybody, at least 1."""
    found = []
    for group in weighted.T:
        units = np.unique(unit[group > 0])
        found.append(len(units) - len(np.unique(stratum[units])))
    return np.maximum(np.array(found, dtype=float), 1)[:, None]


def influence_variance(place: Layout, influence: Floats) -> tuple[Floats, float]:
    """Return the variance of an estimate from its linearised values.

    Parameters
    ----------
    place : Layout
    influence : ndarray, shape (draws, persons)
        What each person adds to the estimate; each draw's sum is about 0.

    Returns
    -------
    variance : ndarray, shape (draws,)
        Between sampling units within strata, or ``n / (n - 1)`` times the sum of
        squares over the n persons.
    df : float
        Units minus strata, or the effective number of persons minus 1.
    """
    used = place.weight > 0
    if place.unit is None or place.stratum is None:
        n = max(int(used.sum()), 2)
        w = place.weight[used]
        df = max(float(w.sum() ** 2 / np.square(w).sum()) - 1, 1.0)
        return np.square(influence).sum(axis=1) * n / (n - 1), df
    units = len(place.stratum)
    totals = [np.bincount(place.unit, part, units).astype(float) for part in influence]
    df = float(design_df(place.unit, place.stratum, used[:, None].astype(float))[0, 0])
    return variance_of_totals(np.stack(totals, axis=1), place.stratum), df


def join_draws(
    estimates: Floats, variances: Floats, complete_df: npt.ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Join estimates over draws by Rubin's rules.

    Parameters
    ----------
    estimates, variances : ndarray, shape (draws, ...)
    complete_df : array-like
        Degrees of freedom had nothing been missing.

    Returns
    -------
    mean, variance, df : ndarray
        ``T = W + (1 + 1/m) B``; df of Barnard and Rubin (1999):
        ``1 / (1/v_m + 1/v_obs)`` with ``v_m = (m - 1) / g^2``,
        ``v_obs = (v + 1) / (v + 3) v (1 - g)`` and ``g = (1 + 1/m) B / T``.
    """
    m = len(estimates)
    complete = np.asarray(complete_df, dtype=float)
    mean, within = estimates.mean(axis=0), variances.mean(axis=0)
    if m == 1:
        return mean, within, np.broadcast_to(complete, mean.shape)
    between = (1 + 1 / m) * estimates.var(axis=0, ddof=1)
    total = within + between
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(total > 0, between / total, 0.0)
        drawn = (m - 1) / part**2
        observed = (complete + 1) / (complete + 3) * complete * (1 - part)
        df = 1 / (1 / drawn + 1 / observed)
    return mean, total, df


def wilson(
    share: Floats, variance: Floats, df: Floats, n_effective: Floats
) -> tuple[Floats, Floats]:
    """Return the score interval of shares on their effective number of persons.

    Parameters
    ----------
    share, variance, df : ndarray
        Of ``group_means``.
    n_effective : ndarray
        Kish's effective number; taken where the share is 0 or 1 (or its
        variance nothing), and as the bound on the number elsewhere it is not.

    Returns
    -------
    low, high : ndarray
        ``(p + t^2/2n -+ t sqrt(p(1-p)/n + t^2/4n^2)) / (1 + t^2/n)`` with
        ``n = p(1 - p) / variance`` and t of the degrees of freedom. It stays
        within 0 and 1, and at a share of 0 ends at ``t^2 / (n + t^2)``.

    References
    ----------
    Wilson, J Am Stat Assoc 1927;22:209-212; on effective numbers: Franco,
    Little, Louis, Slud, J Surv Stat Methodol 2019;7:334-364 (both from memory).
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        number = np.where(variance > 0, share * (1 - share) / variance, n_effective)
        number = np.where((share <= 0) | (share >= 1), n_effective, number)
        t = stats.t.ppf((1 + LEVEL) / 2, np.maximum(df, 1))
        centre = share + t**2 / (2 * number)
        half = t * np.sqrt(share * (1 - share) / number + t**2 / (4 * number**2))
        low, high = (
            (centre - half) / (1 + t**2 / number),
            (centre + half) / (1 + t**2 / number),
        )
    # Rounding must not carry an end past the share itself.
    return np.clip(low, 0, share), np.clip(high, share, 1)
