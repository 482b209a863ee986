"""Estimates of a survey with its own sampling error, for the scripts and the tests.

Commands and pages estimate many shares of drawn people at once
(``sizing.stats.estimates``); this says one figure of measured people, and is the other
way by which tests work out theirs.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import SizingError, check_number, one_of
from sizing.stats.estimates import units_less_strata
from sizing.stats.formulas import (
    Floats,
    binomial_interval,
    kish_design_effect,
    student,
    weighted_quantile,
)


def checked(
    values: npt.ArrayLike, weights: npt.ArrayLike | None
) -> tuple[Floats, Floats]:
    """Return values and weights as floats of one length, 1 where no weights."""
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
    """Return sum(w x) / sum(w); NaN is left out together with its weight."""
    x, w = checked(values, weights)
    known = ~np.isnan(x)
    return float(w[known] @ x[known] / w[known].sum())


def weighted_sd(
    values: npt.ArrayLike, *, weights: npt.ArrayLike | None = None
) -> float:
    """Return sqrt(sum(w (x - mean)^2) / sum(w) * n / (n - 1)), NaN of one value."""
    x, w = checked(values, weights)
    known = ~np.isnan(x) & (w > 0)
    x, w = x[known], w[known]
    if len(x) < 2:
        return float("nan")
    mean = w @ x / w.sum()
    return float(np.sqrt(w @ (x - mean) ** 2 / w.sum() * len(x) / (len(x) - 1)))


STATISTICS = ("mean", "quantile", "share", "ratio")
SINGLE_UNIT_RULES = ("refuse", "centre", "certainty")
COLUMNS = ["estimate", "se", "low", "high", "method", "n", "df"]


def design_estimate(
    values: npt.ArrayLike,
    *,
    weights: npt.ArrayLike | None = None,
    stratum: npt.ArrayLike | None = None,
    unit: npt.ArrayLike | None = None,
    statistic: str = "mean",
    q: float | None = None,
    over: npt.ArrayLike | None = None,
    domain: npt.ArrayLike | None = None,
    single_unit: str = "refuse",
    level: float = 0.95,
) -> pd.DataFrame:
    """Estimate a mean, share, ratio or percentile with the survey's own error.

    Pass everybody the survey examined, and the group of interest as ``domain``: a group
    cut out beforehand loses the units in which it happens to have nobody, and its error
    comes out too small. Without ``unit`` each person is one; ``over`` is what a ratio's
    total is divided by the total of. NaN counts as outside. A stratum of one unit is
    refused, centred on the mean of all units, or taken as chosen with certainty.

    One row: ``estimate, se, low, high, method, n, df``; ``df`` are units less strata in
    which the domain has anybody.

    Mean, share and ratio: Taylor linearisation. With z = w (y - mean) / sum(w), for a
    ratio w (y - ratio x) / sum(w x), summed within units, the variance is the sum over
    strata of m/(m-1) sum (z_unit - mean z)^2, m units per stratum. Interval of a mean
    or ratio: Student's t. Of a share: Korn and Graubard's, the exact binomial interval
    at the effective sample size; where nobody or everybody has the trait, n over Kish's
    design effect. Percentile: Woodruff's interval, the share's own read back through
    the weighted distribution; ``se`` is its width over twice t.

    Woodruff, J Am Stat Assoc 1952;47:635-646. Korn and Graubard, Survey Methodol
    1998;24:193-201. Parker et al., National Center for Health Statistics data
    presentation standards for proportions, Vital Health Stat 2(175), 2017 (all from
    memory).
    """
    one_of("statistic", statistic, STATISTICS)
    one_of("rule for strata of one unit", single_unit, SINGLE_UNIT_RULES)
    check_number("the level of the interval", level, above=0, below=1)
    if q is not None:
        check_number("the share below a quantile", q, above=0, below=1)
    x, w = checked(values, weights)
    divisor, _ = checked(np.ones(len(x)) if over is None else over, None)
    if (statistic == "ratio") != (over is not None) or (
        over is not None and len(divisor) != len(x)
    ):
        raise SizingError(
            "a ratio needs 'over', and nothing else does", allowed="one per person"
        )
    x = np.where(np.isnan(divisor), np.nan, x)
    if domain is not None:
        x = np.where(np.asarray(domain, dtype=bool), x, np.nan)
        x, w = checked(x, w)
    inside = ~np.isnan(x) & (w > 0)
    design = Design(*number_units(len(x), stratum, unit, w > 0), single_unit)
    single = int((np.bincount(design.stratum_of_unit) == 1).sum())
    if single and single_unit == "refuse":
        raise SizingError(
            f"{single} strata have one sampling unit only, whose spread cannot be seen",
            allowed="single_unit='centre' (errs on the wide side) or 'certainty'",
            action="choose one, or join the stratum to a like one",
        )
    n = int(inside.sum())
    df = design.degrees_of_freedom(inside)
    t = float(student(df, level))

    if statistic in ("mean", "ratio"):
        below = weighted_mean(np.where(inside, divisor, np.nan), weights=w)
        estimate = weighted_mean(x, weights=w) / below
        se = design.ratio_se(x, w, estimate, divisor)
        low, high = estimate - t * se, estimate + t * se
        of = " of a ratio" * (statistic == "ratio")
        method = f"Taylor linearisation{of}, Student's t"
    elif statistic == "share":
        if not np.isin(x[inside], (0.0, 1.0)).all():
            raise SizingError(
                "a share needs yes or no values", allowed="0, 1 or missing"
            )
        estimate = weighted_mean(x, weights=w)
        se = design.ratio_se(x, w, estimate)
        low, high = _korn_graubard(estimate, se, n, df, w[inside], level)
        method = "Taylor linearisation, Korn-Graubard"
    else:
        if q is None:
            raise SizingError(
                "a percentile needs q", allowed="between 0 and 1", value=q
            )
        estimate = float(weighted_quantile(x, q, weights=w))
        reached = np.where(inside, x <= estimate, np.nan)
        spread = design.ratio_se(reached, w, weighted_mean(reached, weights=w))
        ends = np.clip([q - t * spread, q + t * spread], 0.0, 1.0)
        low, high = (float(end) for end in weighted_quantile(x, ends, weights=w))
        se = (high - low) / (2 * t)
        method = "Woodruff"
        if ends[0] <= 0 or ends[1] >= 1:
            method += ", cut at the end of the data"
    row = (estimate, se, low, high, method, n, float(df))
    return pd.DataFrame([row], columns=COLUMNS)


@dataclass(frozen=True)
class Design:
    """Who belongs to which unit, and which unit to which stratum."""

    unit_of: npt.NDArray[np.intp]
    stratum_of_unit: npt.NDArray[np.intp]
    single_unit: str

    def degrees_of_freedom(self, inside: npt.NDArray[np.bool_]) -> int:
        """Return units less strata, counting those with people inside."""
        df = units_less_strata(self.unit_of, self.stratum_of_unit, inside)
        if df < 1:
            raise SizingError(
                "the group lies in too few sampling units for an interval",
                allowed="people in at least two units of one stratum",
                action="take a larger group",
            )
        return df

    def ratio_se(
        self, y: Floats, w: Floats, ratio: float, x: Floats | None = None
    ) -> float:
        """Return the standard error of sum(w y) / sum(w x) by linearisation."""
        inside = ~np.isnan(y)
        base = np.ones(len(y)) if x is None else np.where(inside, x, 0.0)
        z = np.where(inside, w * (np.where(inside, y, 0.0) - ratio * base), 0.0)
        z /= w[inside] @ base[inside]
        total = np.bincount(self.unit_of, z, minlength=len(self.stratum_of_unit))
        variance = 0.0
        for stratum in range(int(self.stratum_of_unit.max()) + 1):
            own = total[self.stratum_of_unit == stratum]
            if (m := len(own)) > 1:
                variance += m / (m - 1) * float(((own - own.mean()) ** 2).sum())
            elif self.single_unit == "centre":
                variance += float((own[0] - total.mean()) ** 2)
        return float(np.sqrt(variance))


def _codes(n: int, labels: npt.ArrayLike | None, what: str) -> npt.NDArray[np.intp]:
    codes, _ = pd.factorize(np.asarray(labels), use_na_sentinel=True)
    if len(codes) != n or (codes < 0).any():
        raise SizingError(
            f"the {what} is missing for some people, or of another length",
            allowed="one per person",
            action="check the survey's design columns",
        )
    return codes


def number_units(
    n: int,
    stratum: npt.ArrayLike | None,
    unit: npt.ArrayLike | None,
    weighted: npt.NDArray[np.bool_],
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Number the units: each person's, and each unit's stratum."""
    of_person = (
        np.zeros(n, np.intp) if stratum is None else _codes(n, stratum, "stratum")
    )
    own = np.arange(n) if unit is None else _codes(n, unit, "sampling unit")
    # People without a weight were not part of the sample.
    pair = of_person.astype(np.int64) * (int(own.max()) + 1) + own
    _, unit_of = np.unique(pair, return_inverse=True)
    used = np.unique(unit_of[weighted])
    place = np.full(int(unit_of.max()) + 1, 0, np.intp)
    place[used] = np.arange(len(used))
    unit_of = place[unit_of]
    stratum_of_unit = np.zeros(len(used), np.intp)
    stratum_of_unit[unit_of[weighted]] = of_person[weighted]
    _, stratum_of_unit = np.unique(stratum_of_unit, return_inverse=True)
    return unit_of, stratum_of_unit


def _korn_graubard(
    share: float, se: float, n: int, df: int, w: Floats, level: float
) -> tuple[float, float]:
    """Return the exact binomial interval at the effective sample size."""
    if se > 0 and n > 1:
        correction = student(n - 1, level) / student(df, level)
        effective = min(float(n), share * (1 - share) / se**2 * correction**2)
    else:
        effective = n / kish_design_effect(w)
    return binomial_interval(share, effective, level=level)
