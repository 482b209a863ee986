"""Intervals of shares, means and differences: each formula once."""

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import betaincinv, ndtri, stdtrit

from sizing.errors import check_number
from sizing.stats.weighted import Array as Floats

#: Confidence of every interval.
LEVEL = 0.95


def student(df: npt.ArrayLike, level: float = LEVEL) -> Any:
    """Return how many standard errors an interval reaches; at least 1 df.

    >>> student([4, np.inf]).round(3).tolist()
    [2.776, 1.96]
    """
    freedom = np.maximum(np.asarray(df, dtype=float), 1.0)
    tail = (1 + level) / 2
    return np.where(np.isinf(freedom), ndtri(tail), stdtrit(freedom, tail))[()]


def score_interval(
    share: npt.ArrayLike, number: npt.ArrayLike, reach: npt.ArrayLike
) -> tuple[Floats, Floats]:
    """Return Wilson's score interval of shares of a number of persons, whole or not.

    >>> [round(float(end), 3) for end in score_interval(0.95, 100, student(np.inf))]
    [0.888, 0.978]
    """
    p, n, t = (np.asarray(one, dtype=float) for one in (share, number, reach))
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = p + t**2 / (2 * n)
        half = t * np.sqrt(p * (1 - p) / n + t**2 / (4 * n**2))
        low, high = ((centre + side * half) / (1 + t**2 / n) for side in (-1, 1))
    # Rounding must not carry an end past the share itself.
    return np.clip(low, 0, p), np.clip(high, p, 1)


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


def wilson(
    share: Floats, variance: Floats, df: Floats, n_effective: Floats
) -> tuple[Floats, Floats]:
    """Return the score interval of shares on their effective number of persons.

    ``(p + t^2/2n -+ t sqrt(p(1-p)/n + t^2/4n^2)) / (1 + t^2/n)`` with ``n = p(1 - p) /
    variance`` and t of the degrees of freedom; where the share is 0 or 1 (or its
    variance nothing) n is Kish's ``n_effective``. It stays within 0 and 1, and at a
    share of 0 ends at ``t^2 / (n + t^2)``. Wilson, J Am Stat Assoc 1927;22:209-212; on
    effective numbers: Franco, Little, Louis, Slud, J Surv Stat Methodol 2019;7:334-364
    (both from memory).
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        number = np.where(variance > 0, share * (1 - share) / variance, n_effective)
        number = np.where((share <= 0) | (share >= 1), n_effective, number)
        return score_interval(share, number, student(df))


def binomial_interval(
    share: float, n: float, *, level: float = 0.95
) -> tuple[float, float]:
    """Return Clopper and Pearson's interval of a share; n need not be whole.

    Biometrika 1934;26:404-413 (from memory).

    >>> [round(end, 4) for end in binomial_interval(0.0, 10)]
    [0.0, 0.3085]
    """
    check_number("the share", share, least=0, most=1)
    check_number("the number of persons", n, above=0)
    check_number("the level of the interval", level, above=0, below=1)
    tail = (1 - level) / 2
    x = share * n
    low = float(betaincinv(x, n - x + 1, tail)) if x > 0 else 0.0
    high = float(betaincinv(x + 1, n - x, 1 - tail)) if share < 1 else 1.0
    return low, high
