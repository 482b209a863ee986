"""Logistic regression on groups, from the weights of each pattern of levels.

People of the same pattern of levels have the same fitted chance, so that a
regression on thousands of people needs only each pattern's sums of weights. The
errors follow the survey's design.
"""

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from sizing.stats.layout import Floats, Layout

#: Steps before a fit counts as not found; separated levels need more.
_STEPS = 60
#: A step that changes no coefficient by more than this is the last.
_NEAR = 1e-10


def log_odds_ratios(
    codes: npt.NDArray[np.int64],
    columns: npt.NDArray[np.int64],
    happened: npt.NDArray[np.bool_],
    weight: Floats,
    place: Layout,
    rows: npt.NDArray[np.intp],
) -> tuple[Floats, Floats]:
    """Fit one logistic model and return its log odds ratios and who moves them.

    ``codes`` (people, terms) holds each person's level in each term, ``columns``
    (ratios, 2) term and level of each column of the model, ``rows`` the people's places
    in the layout. Returned are the log odds ratios, NaN where the columns cannot be
    told apart or no maximum is found, and what each person of the layout adds to each.

    Newton's steps (iterated weighted least squares) on the weighted share of each
    pattern of levels, which is the fit on single people. A person's influence is
    ``H^-1 x w (y - p)`` with ``H`` the information; the variance of a ratio is that of
    the total of all influences (over persons the sandwich HC0 times n / (n - 1)).
    Binder, Int Stat Rev 1983;51:279-292 (from memory).
    """
    influence = np.zeros((len(place.weight), len(columns)))
    nothing = np.full(len(columns), np.nan), influence
    patterns, which = np.unique(codes, axis=0, return_inverse=True)
    which = which.ravel()
    dummies = patterns[:, columns[:, 0]] == columns[:, 1]
    x = np.column_stack([np.ones(len(patterns)), dummies]).astype(float)
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return nothing

    def total(values: Floats) -> Floats:
        return np.bincount(which, values, len(patterns)).astype(np.float64)

    yes, every = total(weight * happened), total(weight)
    beta = _fitted(x, yes / every, every)
    if beta is None:
        return nothing
    p = expit(x @ beta)
    information = (x * (every * p * (1 - p))[:, None]).T @ x
    try:
        np.linalg.cholesky(information)
    except np.linalg.LinAlgError:
        return nothing
    each = np.linalg.solve(information, x.T)[1:]
    influence[rows] = each.T[which] * (weight * (happened - p[which]))[:, None]
    return beta[1:], influence


def _fitted(x: Floats, share: Floats, weight: Floats) -> Floats | None:
    """Return the coefficients, or None where no maximum is found."""
    beta: Floats = np.zeros(x.shape[1])
    beta[0] = logit(weight @ share / weight.sum())

    def likelihood(at: Floats) -> float:
        return float(weight @ (share * (x @ at) - np.logaddexp(0, x @ at)))

    for _ in range(_STEPS):
        p = expit(x @ beta)
        score = x.T @ (weight * (share - p))
        information = (x * (weight * p * (1 - p))[:, None]).T @ x
        try:
            step = np.linalg.solve(information, score)
        except np.linalg.LinAlgError:
            return None
        # A whole step from afar may overshoot, and then run away.
        while likelihood(beta + step) < likelihood(beta) and np.abs(step).max() > 1e-6:
            step = step / 2
        beta = beta + step
        if np.abs(step).max() <= _NEAR:
            return beta
    # A level in which all have the outcome, or none: its odds have no finite value.
    return None
