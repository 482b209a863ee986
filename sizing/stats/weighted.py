"""Means, spreads and percentiles of weighted people."""

import numpy as np
import numpy.typing as npt

from sizing.errors import SizingError

Array = npt.NDArray[np.float64]


def checked(
    values: npt.ArrayLike, weights: npt.ArrayLike | None
) -> tuple[Array, Array]:
    """Return values and weights as floats of one length, 1 where no weights.

    Raises
    ------
    SizingError
        If something is not a number, the lengths differ, a weight is negative,
        missing or infinite, or no value with a weight is left.
    """
    try:
        x = np.asarray(values, dtype=float).ravel()
        w = np.ones(len(x)) if weights is None else np.asarray(weights, float).ravel()
    except (TypeError, ValueError) as cause:
        raise _refusal("a value or weight is not a number", "numbers") from cause
    if len(x) != len(w):
        raise _refusal(f"{len(x)} values and {len(w)} weights", "one weight per value")
    if not (np.isfinite(w).all() and (w >= 0).all()):
        raise _refusal("a weight is negative, missing or infinite", "0 or more")
    if np.isinf(x).any():
        raise _refusal("a value is infinite", "a number, or NaN where missing")
    if not ((w > 0) & ~np.isnan(x)).any():
        raise _refusal("nobody is left: no value has a weight", "at least one value")
    return x, w


def _refusal(what: str, allowed: str) -> SizingError:
    return SizingError(what, allowed=allowed, action="check what was selected")


def weighted_mean(
    values: npt.ArrayLike, *, weights: npt.ArrayLike | None = None
) -> float:
    """Return the weighted mean, sum(w x) / sum(w).

    Parameters
    ----------
    values : array-like, shape (n,)
        NaN is left out together with its weight.
    weights : array-like, shape (n,), optional
        0 or more; without them everybody counts the same.

    Returns
    -------
    float

    Raises
    ------
    SizingError
        If nobody is left, or a weight is negative or missing.

    Examples
    --------
    >>> weighted_mean([170, 180], weights=[3, 1])
    172.5
    """
    x, w = checked(values, weights)
    known = ~np.isnan(x)
    return float(w[known] @ x[known] / w[known].sum())


def weighted_sd(
    values: npt.ArrayLike, *, weights: npt.ArrayLike | None = None
) -> float:
    """Return the weighted standard deviation.

    sqrt( sum(w (x - mean)^2) / sum(w) * n / (n - 1) ), with n the values with a
    weight over 0: a sample's SD where all weights are equal.

    Parameters
    ----------
    values, weights
        As in ``weighted_mean``.

    Returns
    -------
    float
        NaN for a single value.

    Examples
    --------
    >>> round(weighted_sd([170, 180, 190]), 6)
    10.0
    """
    x, w = checked(values, weights)
    known = ~np.isnan(x) & (w > 0)
    x, w = x[known], w[known]
    if len(x) < 2:
        return float("nan")
    mean = w @ x / w.sum()
    return float(np.sqrt(w @ (x - mean) ** 2 / w.sum() * len(x) / (len(x) - 1)))


def weighted_quantile(
    values: npt.ArrayLike,
    q: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
) -> npt.NDArray[np.float64]:
    """Return weighted quantiles: the value at which a share q is reached.

    The least value at which the weighted share of people at or below it is at
    least ``q``; where the share is exactly ``q``, the middle between it and the
    next value. It is the averaged inverse of the distribution function
    (definition 2 of Hyndman and Fan; definition 5 of SAS; the one of
    ``statsmodels`` ``DescrStatsW.quantile``). A weight of 3 is the same as
    three people.

    Parameters
    ----------
    values : array-like, shape (n,)
        NaN is left out together with its weight.
    q : float or array-like
        Shares, 0 to 1.
    weights : array-like, shape (n,), optional
        0 or more; without them everybody counts the same.

    Returns
    -------
    ndarray of float
        Shape of ``q``.

    Raises
    ------
    SizingError
        If nobody is left, a weight is negative or missing, or ``q`` is not
        between 0 and 1.

    References
    ----------
    Hyndman and Fan, Sample quantiles in statistical packages, Am Stat
    1996;50:361-365 (volume and pages from memory).

    Examples
    --------
    >>> weighted_quantile([150, 160, 170], 0.5, weights=[1, 1, 3]).item()
    170.0
    >>> weighted_quantile([1, 2, 3, 4], [0.25, 0.5]).tolist()
    [1.5, 2.5]
    """
    x, w = checked(values, weights)
    share = np.asarray(q, dtype=float)
    if not ((share >= 0) & (share <= 1)).all():
        raise SizingError(
            "a share is out of range", allowed="0 to 1, such as 0.95", value=q
        )
    known = ~np.isnan(x) & (w > 0)
    order = np.argsort(x[known], kind="stable")
    x = x[known][order]
    reached = np.cumsum(w[known][order])
    goal = share * reached[-1]
    # Sums of weights carry rounding; a goal this near a step counts as on it.
    slack = 1e-12 * reached[-1] * max(1.0, np.log2(len(x) + 1))
    last = len(x) - 1
    first = np.minimum(np.searchsorted(reached, goal - slack, side="left"), last)
    after = np.minimum(np.searchsorted(reached, goal + slack, side="right"), last)
    middle: npt.NDArray[np.float64] = (x[first] + x[after]) / 2
    return middle


def kish_design_effect(weights: npt.ArrayLike) -> float:
    """Return Kish's design effect of unequal weights, n sum(w^2) / sum(w)^2.

    It is 1 + CV^2 of the weights; n divided by it is the number of people that
    would tell as much under equal weights. Weights of 0 are left out.

    References
    ----------
    Kish, Survey Sampling, Wiley 1965 (from memory).

    Examples
    --------
    >>> kish_design_effect([1, 1, 1, 1])
    1.0
    """
    _, w = checked(np.zeros(np.size(np.asarray(weights))), weights)
    w = w[w > 0]
    return float(len(w) * (w @ w) / w.sum() ** 2)
