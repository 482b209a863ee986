"""Weighted shares of groups, with sampling and imputation error joined."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sizing.errors import check_replicates, check_seed
from sizing.stats.intervals import wilson
from sizing.stats.joining import design_df, join_draws, join_influences
from sizing.stats.layout import Floats, Layout

#: Below this many persons a group is flagged as small (common practice).
SMALL_GROUP = 30


def replicate_counts(n: int, replicates: int, rng: np.random.Generator) -> Floats:
    """Return how often each of n persons is drawn in each bootstrap replicate.

    In double precision: in single the sums differ, with the number of threads, in
    digits that are written.
    """
    counts = np.empty((replicates, n))
    for replicate in counts:
        replicate[:] = np.bincount(rng.integers(0, n, n), minlength=n)
    return counts


@dataclass(frozen=True)
class Means:
    """Weighted means of columns within groups, one entry per group and column.

    - ``estimate, variance, df`` (groups, columns): Mean over the draws; total variance
      and degrees of freedom, draws joined.
    - ``n, n_effective`` (groups,): Persons in the group (mean over draws), and Kish's
      effective number.
    """

    estimate: Floats
    variance: Floats
    df: Floats
    n: Floats
    n_effective: Floats

    def shares(self) -> tuple[Floats, Floats]:
        return wilson(self.estimate, self.variance, self.df, self.n_effective[:, None])


def group_means(
    place: Layout,
    columns: Sequence[Floats],
    groups: Sequence[Floats],
    *,
    replicates: int,
    seed: int,
) -> Means:
    """Estimate means of columns within groups, and their total variance.

    Of each draw, ``columns`` holds (persons, columns) and ``groups`` (persons, groups)
    of 0 and 1; ``replicates`` and ``seed`` are of the bootstrap, where there is no
    design.

    Within a draw the mean is ``sum(w g x) / sum(w g)``. A person's influence
    on it is ``w g (x - mean) / sum(w g)``; variance (``variance_of_sum``), degrees of
    freedom and joined draws are those of ``sizing.stats.joining``. Where the draws are
    not an outside model's and there is no design, the variance is that of the
    bootstrap of persons.

    Rubin, Multiple Imputation for Nonresponse in Surveys, Wiley 1987, ch. 3;
    Barnard and Rubin, Biometrika 1999;86:948-955; Wolter, Introduction to
    Variance Estimation, 2nd ed., Springer 2007, ch. 6 (all from memory).
    """
    check_replicates(replicates)
    check_seed(seed)
    w = place.weight
    estimates, weights, sizes, effective = [], [], [], []
    for x, g in zip(columns, groups, strict=True):
        weighted = g * w[:, None]
        total = weighted.sum(axis=0)
        with np.errstate(invalid="ignore", divide="ignore"):
            estimates.append(weighted.T @ x / total[:, None])
            effective.append(total**2 / np.square(weighted).sum(axis=0))
        weights.append(weighted)
        sizes.append((weighted > 0).sum(axis=0))
    n_effective = np.mean(effective, axis=0)
    complete = np.maximum(n_effective - 1, 1)[:, None]
    if place.unit is not None and place.stratum is not None:
        complete = design_df(place.unit, place.stratum, weights[0])
    means = np.array(estimates)
    if place.unit is None and place.model is None:
        counts = replicate_counts(len(w), replicates, np.random.default_rng(seed))
        within = [
            _bootstrapped(counts, x, weighted)
            for x, weighted in zip(columns, weights, strict=True)
        ]
        mean, variance, df = join_draws(means, np.array(within), complete)
    else:
        parts = zip(columns, weights, means, strict=True)
        influences = (_influence(*part) for part in parts)
        mean, variance, df = join_influences(place, means, influences, complete)
    return Means(mean, variance, df, np.mean(sizes, axis=0), n_effective)


def _influence(x: Floats, weighted: Floats, mean: Floats) -> Floats:
    """Return what each person adds to each mean, (persons, groups, columns)."""
    with np.errstate(invalid="ignore", divide="ignore"):
        share = weighted / weighted.sum(axis=0)
    parts: Floats = share[:, :, None] * (x[:, None, :] - mean)
    return parts


def _bootstrapped(counts: Floats, x: Floats, weighted: Floats) -> Floats:
    n, columns = x.shape
    groups = weighted.shape[1]
    parts = (weighted[:, :, None] * x[:, None, :]).reshape(n, -1)
    totals = (counts @ parts).reshape(-1, groups, columns)
    bases = counts @ weighted
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
        variance: Floats = square.sum(axis=0) / (count - 1)
        return variance
