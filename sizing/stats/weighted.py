"""Percentiles and design effect of weighted people, and the bootstrap of a survey."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def weighted_quantile(
    values: npt.ArrayLike, q: npt.ArrayLike, *, weights: npt.ArrayLike | None = None
) -> Array:
    """Return the values at which shares q of the weight are reached.

    The least value at which the weighted share of people at or below it is at
    least ``q``; where the share is exactly ``q``, the middle between it and the
    next: the averaged inverse of the distribution function (definition 2 of Hyndman
    and Fan, Am Stat 1996;50:361-365, from memory). A weight of 3 is the same as
    three people; a missing value leaves with its weight.

    >>> weighted_quantile([150, 160, 170], 0.5, weights=[1, 1, 3]).item()
    170.0
    >>> weighted_quantile([1, 2, 3, 4], [0.25, 0.5]).tolist()
    [1.5, 2.5]
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
    middle: Array = (x[first] + x[after]) / 2
    return middle


def kish_design_effect(weights: npt.ArrayLike) -> float:
    """Return n sum(w^2) / sum(w)^2 over weights above 0: 1 + their CV^2.

    n divided by it is the number of people that would say as much under equal
    weights (Kish, Survey Sampling, Wiley 1965, from memory).

    >>> kish_design_effect([1, 1, 1, 1])
    1.0
    """
    w = np.asarray(weights, dtype=float)
    w = w[w > 0]
    return float(len(w) * (w @ w) / w.sum() ** 2)


def bootstrap_weights(
    unit: npt.NDArray[np.int64],
    stratum: npt.NDArray[np.int64],
    *,
    replicates: int,
    rng: np.random.Generator,
) -> Array:
    """Return how much each person counts in each bootstrap sample of a survey.

    ``unit`` holds each person's unit, ``stratum`` each unit's, numbered from 0.

    In each stratum of m units, m - 1 are drawn with replacement, and their people
    count times drawn * m / (m - 1) (Rao and Wu's rescaling: J Am Stat Assoc
    1988;83:231-241, in the form of Rao, Wu and Yue, Survey Methodol 1992;18:209-217;
    from memory). A stratum of one unit counts once in all.

    >>> rng = np.random.default_rng(1)
    >>> units, strata = np.array([0, 0, 1]), np.array([0, 0])
    >>> bootstrap_weights(units, strata, replicates=3, rng=rng).shape
    (3, 3)
    """
    times = np.ones((len(stratum), replicates))
    for code, m in enumerate(np.bincount(stratum)):
        if m > 1:
            drawn = rng.multinomial(m - 1, np.full(m, 1 / m), size=replicates)
            times[stratum == code] = drawn.T * (m / (m - 1))
    return times[unit]
