"""Variances of estimates from persons' influences, and their joining over draws."""

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt
from scipy import sparse

from sizing.stats.layout import Floats, Layout


def variance_of_totals(totals: Floats, stratum: npt.NDArray[np.intp]) -> Floats:
    """Return the variance of sums over sampling units, one per column of ``totals``.

    ``sum_h m_h / (m_h - 1) sum_u (z_u - mean_h)^2`` over strata h of m_h units; a
    stratum of a single unit is centred on the mean of all units.
    """
    count = np.bincount(stratum)
    belongs = sparse.csr_array(
        (np.ones(len(stratum)), (stratum, np.arange(len(stratum))))
    )
    centre: Floats = np.asarray(belongs @ totals) / count[:, None]
    alone = count[stratum] == 1
    centred = totals - np.where(alone[:, None], totals.mean(axis=0), centre[stratum])
    several = count[stratum] / np.maximum(count[stratum] - 1, 1)
    scale = np.where(alone, 1.0, several)
    variance: Floats = scale @ centred**2
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
    """Return the variance of an estimate from what each person adds to it.

    Between sampling units within strata, or ``n / (n - 1)`` times the sum of squares
    over the n persons of any weight. ``influence`` is (persons, ...), and sums to about
    0.
    """
    if place.unit is None or place.stratum is None:
        n = max(int((place.weight > 0).sum()), 2)
        squares: Floats = np.square(influence).sum(axis=0) * (n / (n - 1))
        return squares
    n = len(place.unit)
    join = sparse.csr_array((np.ones(n), (place.unit, np.arange(n))))
    totals: Floats = np.asarray(join @ influence.reshape(n, -1))
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

    ``T = W + (1 + 1/m) B``; df of Barnard and Rubin (1999): ``1 / (1/v_m + 1/v_obs)``
    with ``v_m = (m - 1) / g^2``, ``v_obs = (v + 1) / (v + 3) v (1 - g)``, ``g = (1 +
    1/m) B / T`` and v the degrees of freedom had nothing been missing.
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
    """Join estimates over draws from the persons' influences in each draw.

    ``estimates`` is (draws, ...), each of ``influences`` (persons, ...). Mean, variance
    and df are those of ``join_draws``; where an outside model drew, ``T = W + (1 +
    1/m^2) V``, W the sampling variance of persons' influences, averaged over their
    draws, and V what the model's coefficients add (their draws come in opposite pairs);
    df by Satterthwaite, ``v T^2 / W^2``.

    An outside model's coefficients do not depend on the people sampled, and the bodies
    drawn for one person are independent given the coefficients. Rubin's rules would
    count the residual twice, once in each draw's sampling variance and once between
    draws, and so be too wide: Meng, Stat Sci 1994;9:538-573; Reiter and
    Raghunathan, J Am Stat Assoc 2007;102:1462-1471 (both from memory). V is that of
    the delta method (``ModelError``): from how few draws differ it would be a lottery.
    The whole is held by simulation (``bench_calibration.py``).
    """
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
