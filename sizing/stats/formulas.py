"""Percentiles, weights and intervals of samples: each formula once."""

from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, ndtri, stdtrit

Floats: TypeAlias = npt.NDArray[np.float64]

#: Confidence of every interval.
LEVEL = 0.95


def weighted_quantile(
    values: npt.ArrayLike, q: npt.ArrayLike, *, weights: npt.ArrayLike | None = None
) -> Floats:
    """Return the least values with a weighted share of at least q at or below them.

    Where the share is exactly ``q``, the middle between it and the next: definition 2
    of Hyndman and Fan, Am Stat 1996;50:361-365 (from memory).
    """
    x = np.asarray(values, dtype=float)
    w = np.ones(len(x)) if weights is None else np.asarray(weights, dtype=float)
    known = ~np.isnan(x) & (w > 0)
    order = np.argsort(x[known], kind="stable")
    x = x[known][order]
    reached = np.cumsum(w[known][order])
    goal = np.asarray(q, dtype=float) * reached[-1]
    # Sums of weights carry rounding; a goal this near a step counts as on it.
    slack = 1e-12 * reached[-1] * max(1.0, np.log2(len(x) + 1))
    last = len(x) - 1
    first = np.minimum(np.searchsorted(reached, goal - slack, side="left"), last)
    after = np.minimum(np.searchsorted(reached, goal + slack, side="right"), last)
    middle: Floats = (x[first] + x[after]) / 2
    return middle


def kish_design_effect(weights: npt.ArrayLike) -> float:
    """Return n sum(w^2) / sum(w)^2 over weights above 0 (Kish 1965, from memory)."""
    w = np.asarray(weights, dtype=float)
    w = w[w > 0]
    return float(len(w) * (w @ w) / w.sum() ** 2)


def replicate_counts(n: int, replicates: int, rng: np.random.Generator) -> Floats:
    """Return how often each of n persons is drawn in each bootstrap replicate."""
    # Double precision: single sums differ, with the threads, in digits written.
    counts = np.empty((replicates, n))
    for replicate in counts:
        replicate[:] = np.bincount(rng.integers(0, n, n), minlength=n)
    return counts


def bootstrap_weights(
    unit: npt.NDArray[np.int64],
    stratum: npt.NDArray[np.int64],
    *,
    replicates: int,
    rng: np.random.Generator,
) -> Floats:
    """Return how much each person counts in each bootstrap sample, from each unit's.

    Of a stratum's m units m - 1 are drawn with replacement, and count times
    m / (m - 1); a single one counts once (Rao and Wu, J Am Stat Assoc 1988;83:231-241,
    as in Rao, Wu and Yue, Survey Methodol 1992;18:209-217; from memory).
    """
    times = np.ones((len(stratum), replicates))
    for code, m in enumerate(np.bincount(stratum)):
        if m > 1:
            drawn = rng.multinomial(m - 1, np.full(m, 1 / m), size=replicates)
            times[stratum == code] = drawn.T * (m / (m - 1))
    return times[unit]


def student(df: npt.ArrayLike, level: float = LEVEL) -> Any:
    """Return how many standard errors an interval reaches; at least 1 df."""
    freedom = np.maximum(np.asarray(df, dtype=float), 1.0)
    tail = (1 + level) / 2
    return np.where(np.isinf(freedom), ndtri(tail), stdtrit(freedom, tail))[()]


def score_interval(
    share: npt.ArrayLike, number: npt.ArrayLike, reach: npt.ArrayLike
) -> tuple[Floats, Floats]:
    """Return Wilson's score interval of shares of a number of persons, whole or not.

    ``(p + t^2/2n -+ t sqrt(p(1-p)/n + t^2/4n^2)) / (1 + t^2/n)``; J Am Stat Assoc
    1927;22:209-212 (from memory).
    """
    p, n, t = (np.asarray(one, dtype=float) for one in (share, number, reach))
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = p + t**2 / (2 * n)
        half = t * np.sqrt(p * (1 - p) / n + t**2 / (4 * n**2))
        low, high = ((centre + side * half) / (1 + t**2 / n) for side in (-1, 1))
    # Rounding must not carry an end past the share itself.
    return np.clip(low, 0, p), np.clip(high, p, 1)


def wilson(
    share: Floats, variance: Floats, df: Floats, n_effective: Floats
) -> tuple[Floats, Floats]:
    """Return the score interval of shares on ``n = p(1 - p) / variance`` persons.

    Where the share is 0 or 1, or its variance nothing, n is Kish's ``n_effective``
    (Franco, Little, Louis, Slud, J Surv Stat Methodol 2019;7:334-364, from memory).
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        number = np.where(variance > 0, share * (1 - share) / variance, n_effective)
        number = np.where((share <= 0) | (share >= 1), n_effective, number)
        return score_interval(share, number, student(df))


def difference_interval(
    estimate: npt.ArrayLike,
    variance: npt.ArrayLike,
    df: npt.ArrayLike,
    number: npt.ArrayLike,
) -> tuple[Floats, Floats]:
    """Return the t interval of a difference of shares, within -1 and 1.

    Where nobody differs (variance 0) the ends are ``t^2 / (number + t^2)`` either
    way, the score interval's end for a share of 0.
    """
    e, v, n = (np.asarray(one, dtype=float) for one in (estimate, variance, number))
    t = student(df)
    half = np.where(v > 0, t * np.sqrt(v), t**2 / (n + t**2))
    return np.clip(e - half, -1, 1), np.clip(e + half, -1, 1)


def binomial_interval(
    share: float, n: float, *, level: float = LEVEL
) -> tuple[float, float]:
    """Clopper and Pearson's interval (Biometrika 1934;26:404-413, from memory)."""
    tail = (1 - level) / 2
    x = share * n
    low = float(betaincinv(x, n - x + 1, tail)) if x > 0 else 0.0
    high = float(betaincinv(x + 1, n - x, 1 - tail)) if share < 1 else 1.0
    return low, high
