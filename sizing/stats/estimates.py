"""Estimates from people sampled and drawn: variances, joined draws, shares, odds."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.special import expit, logit

from sizing.errors import check_replicates, check_seed
from sizing.stats.formulas import Floats, replicate_counts, wilson

#: Below this many persons a group is flagged as small (common practice).
SMALL_GROUP = 30
#: Steps before a logistic fit counts as not found; separated levels need more.
_STEPS = 60
#: A step that changes no coefficient by more than this is the last.
_NEAR = 1e-10


class ModelError(Protocol):
    """How estimates move with the coefficients of the model that drew the people."""

    #: Whether its typical bias in other populations is counted too.
    with_bias: bool

    def gradient(self, draw: int, influence: Floats) -> Floats:
        """Derivatives of one draw's estimates from persons' influences on them."""

    def variance(self, gradient: Floats) -> Floats:
        """Variance of each estimate, from its derivatives over all draws."""


@dataclass(frozen=True)
class Layout:
    """People arranged as draws x persons.

    ``rows`` (draws, persons) are places in the table; ``unit`` is each person's,
    ``stratum`` each unit's, where the survey has a design; ``model`` is given where
    what is judged was drawn from a model fitted to other people.
    """

    rows: npt.NDArray[np.int64]
    weight: Floats
    unit: npt.NDArray[np.int64] | None = None
    stratum: npt.NDArray[np.int64] | None = None
    model: ModelError | None = None

    @property
    def draws(self) -> int:
        return len(self.rows)

    @property
    def how(self) -> str:
        if self.unit is not None:
            return "linearisation by stratum and unit"
        by_person = "linearisation by person"
        return "bootstrap of persons" if self.model is None else by_person

    @property
    def joined(self) -> str:
        """How the draws are joined, to be put after ``how``; empty for one draw."""
        number = "one draw" if self.draws == 1 else f"{self.draws} draws"
        if self.model is not None:
            bias = ", its bias counted" if self.model.with_bias else ""
            return f"; {number} of a model fitted to other people{bias}"
        return "" if self.draws == 1 else f"; {number} joined by Rubin's rules"


def _sums(codes: npt.NDArray[np.int64], values: Floats) -> Floats:
    """Return the sums of rows by their code."""
    # Takes long to load, and no client is judged by it.
    from scipy import sparse

    n = len(codes)
    belongs = sparse.csr_array((np.ones(n), (codes, np.arange(n))))
    sums: Floats = np.asarray(belongs @ values)
    return sums


def variance_of_totals(totals: Floats, stratum: npt.NDArray[np.intp]) -> Floats:
    """Return the variance of sums over sampling units, one per column of ``totals``.

    ``sum_h m_h / (m_h - 1) sum_u (z_u - mean_h)^2`` over strata h of m_h units; a
    stratum of a single unit is centred on the mean of all units.
    """
    count = np.bincount(stratum)
    centre = _sums(stratum, totals) / count[:, None]
    alone = count[stratum] == 1
    centred = totals - np.where(alone[:, None], totals.mean(axis=0), centre[stratum])
    several = count[stratum] / np.maximum(count[stratum] - 1, 1)
    variance: Floats = np.where(alone, 1.0, several) @ centred**2
    return variance


def units_less_strata(
    unit: npt.NDArray[np.intp],
    stratum: npt.NDArray[np.intp],
    inside: npt.NDArray[np.bool_],
) -> int:
    """Return degrees of freedom: units less strata that have anybody inside."""
    units = np.unique(unit[inside])
    return len(units) - len(np.unique(stratum[units]))


def design_df(
    unit: npt.NDArray[np.int64], stratum: npt.NDArray[np.int64], weighted: Floats
) -> Floats:
    """Return units less strata in which each group has anybody, at least 1."""
    found = [units_less_strata(unit, stratum, group > 0) for group in weighted.T]
    df: Floats = np.maximum(np.array(found, dtype=float), 1.0)[:, None]
    return df


def variance_of_sum(place: Layout, influence: Floats) -> Floats:
    """Return the variance of what persons add to an estimate, (persons, ...).

    Between sampling units within strata, or ``n / (n - 1)`` times the sum of squares
    over the n persons of any weight.
    """
    if place.unit is None or place.stratum is None:
        n = max(int((place.weight > 0).sum()), 2)
        squares: Floats = np.square(influence).sum(axis=0) * (n / (n - 1))
        return squares
    totals = _sums(place.unit, influence.reshape(len(influence), -1))
    return variance_of_totals(totals, place.stratum).reshape(influence.shape[1:])


def complete_df(place: Layout) -> float:
    """Had nothing been drawn: units less strata, or effective persons less 1."""
    if place.unit is None or place.stratum is None:
        w = place.weight
        return max(float(w.sum() ** 2 / np.square(w).sum()) - 1, 1.0)
    used = (place.weight > 0).astype(float)[:, None]
    return float(design_df(place.unit, place.stratum, used)[0, 0])


def join_draws(
    estimates: Floats, variances: Floats, complete_df: npt.ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Join estimates and variances, (draws, ...), by Rubin's rules: mean, variance, df.

    ``T = W + (1 + 1/m) B``; df ``1 / (1/v_m + 1/v_obs)`` with ``v_m = (m - 1) / g^2``,
    ``v_obs = (v + 1) / (v + 3) v (1 - g)``, ``g = (1 + 1/m) B / T``, v those had
    nothing been missing. Rubin, Multiple Imputation, Wiley 1987, ch. 3; Barnard and
    Rubin, Biometrika 1999;86:948-955 (both from memory).
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


def join_influences(
    place: Layout,
    estimates: Floats,
    influences: Iterable[Floats],
    complete_df: npt.ArrayLike,
) -> tuple[Floats, Floats, Floats]:
    """Join estimates (draws, ...) from each draw's persons' influences (persons, ...).

    By ``join_draws``; where an outside model drew, ``T = W + (1 + 1/m^2) V``, W the
    sampling variance of influences averaged over a person's draws, V what coefficients
    add (their draws come in opposite pairs); df by Satterthwaite, ``v T^2 / W^2``.
    """
    # A person's bodies are independent given an outside model's coefficients: Rubin's
    # rules would count the residual twice (Meng, Stat Sci 1994;9:538-573; Reiter and
    # Raghunathan, J Am Stat Assoc 2007;102:1462-1471; both from memory). Held by
    # simulation (bench_calibration.py).
    if place.model is None:
        within = np.array([variance_of_sum(place, part) for part in influences])
        return join_draws(estimates, within, complete_df)
    m, shape = len(estimates), estimates.shape[1:]
    total, gradient = np.zeros(()), np.zeros(())
    for draw, part in enumerate(influences):
        total = total + part / m
        flat = part.reshape(len(part), -1)
        gradient = gradient + place.model.gradient(draw, flat) / m
    own = variance_of_sum(place, total)
    model = (1 + 1 / m**2) * place.model.variance(gradient).reshape(shape)
    complete = np.maximum(np.asarray(complete_df, dtype=float), 1.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        df = np.where(own > 0, complete * ((own + model) / own) ** 2, complete)
    return estimates.mean(axis=0), own + model, df


@dataclass(frozen=True)
class Means:
    """Weighted means (groups, columns), draws joined; ``n_effective`` is Kish's."""

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
    of 0 and 1. A mean is ``sum(w g x) / sum(w g)``, a person's influence on it ``w g (x
    - mean) / sum(w g)`` (Wolter, Introduction to Variance Estimation, 2nd ed., Springer
    2007, ch. 6, from memory). Without a design or an outside model the variance is that
    of the bootstrap of persons, by ``replicates`` and ``seed``.
    """
    check_replicates(replicates)
    check_seed(seed)
    w = place.weight
    estimates, weights, sizes, effective = [], [], [], []
    with np.errstate(invalid="ignore", divide="ignore"):
        for x, g in zip(columns, groups, strict=True):
            weighted = g * w[:, None]
            total = weighted.sum(axis=0)
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
        pairs = zip(columns, weights, strict=True)
        within = [_bootstrapped(counts, *pair) for pair in pairs]
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
    """Return the variance over replicates, leaving out those without the group."""
    n, columns = x.shape
    groups = weighted.shape[1]
    parts = (weighted[:, :, None] * x[:, None, :]).reshape(n, -1)
    totals = (counts @ parts).reshape(-1, groups, columns)
    with np.errstate(invalid="ignore", divide="ignore"):
        return _variance(totals / (counts @ weighted)[:, :, None])


def _variance(means: Floats) -> Floats:
    known = np.isfinite(means)
    count = known.sum(axis=0)
    safe = np.where(known, means, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = safe.sum(axis=0) / count
        square = np.where(known, means - centre, 0.0) ** 2
        variance: Floats = square.sum(axis=0) / (count - 1)
        return variance


def log_odds_ratios(
    codes: npt.NDArray[np.int64],
    columns: npt.NDArray[np.int64],
    happened: npt.NDArray[np.bool_],
    weight: Floats,
    place: Layout,
    rows: npt.NDArray[np.intp],
) -> tuple[Floats, Floats]:
    """Fit one logistic model and return its log odds ratios and who moves them.

    ``codes`` (people, terms) is each person's level in each term, ``columns`` (ratios,
    2) term and level of each ratio, ``rows`` the people's places in the layout. NaN
    where columns cannot be told apart or no maximum is found. A person's influence is
    ``H^-1 x w (y - p)``, ``H`` the information (Binder, Int Stat Rev 1983;51:279-292,
    from memory). Who has one pattern of levels has one fitted chance: Newton's steps
    need only each pattern's sums of weights.
    """
    influence = np.zeros((len(place.weight), len(columns)))
    nothing = np.full(len(columns), np.nan), influence
    patterns, which = np.unique(codes, axis=0, return_inverse=True)
    which = which.ravel()
    dummies = patterns[:, columns[:, 0]] == columns[:, 1]
    x = np.column_stack([np.ones(len(patterns)), dummies]).astype(float)
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return nothing
    yes, every = (
        np.bincount(which, values, len(patterns)).astype(np.float64)
        for values in (weight * happened, weight)
    )
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
