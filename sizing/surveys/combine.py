"""Rubin's rules: one estimate from several draws of what was not measured."""

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special, stats

from sizing.errors import Problem, SizingError, check_number, one_of
from sizing.stats.design import COLUMNS, binomial_interval


def rubin(
    estimates: npt.ArrayLike,
    variances: npt.ArrayLike,
    n: int,
    *,
    df: float | None = None,
    statistic: str = "mean",
    level: float = 0.95,
) -> pd.DataFrame:
    """Combine one estimate per draw into one, with both kinds of doubt.

    Parameters
    ----------
    estimates, variances : array-like, shape (draws,)
        The estimate in each draw and its squared standard error.
    n : int
        Number of people (not of rows).
    df : float, optional
        Degrees of freedom had nothing been drawn; n - 1 unless given.
    statistic : {"mean", "share"}
        A share's interval is formed on the logit scale, so that it stays
        between 0 and 1; at 0 or 1 it is the exact binomial one.
    level : float, default 0.95

    Returns
    -------
    DataFrame
        One row: ``estimate, se, low, high, method, n, df, within, between``:
        the mean variance within draws and the variance between their estimates.

    Raises
    ------
    SizingError
        If the arrays differ in length or are empty, or a variance is negative.

    Notes
    -----
    Total variance T = W + (1 + 1/m) B for m draws (Rubin 1987). Degrees of
    freedom after Barnard and Rubin: with g = (1 + 1/m) B / T,
    1 / (1 / ((m - 1) / g^2) + 1 / (df (df + 1) / (df + 3) (1 - g))).

    References
    ----------
    Rubin, Multiple Imputation for Nonresponse in Surveys, Wiley 1987. Barnard
    and Rubin, Biometrika 1999;86:948-955 (from memory).

    Examples
    --------
    >>> rubin([10.0, 12.0], [1.0, 1.0], n=101)[["estimate", "se", "df"]].round(3)
       estimate   se     df
    0      11.0  2.0  1.658
    """
    one_of("statistic", statistic, ("mean", "share"))
    check_number("the number of persons", n, above=0)
    check_number("the level of the interval", level, above=0, below=1)
    if df is not None:
        check_number("the degrees of freedom", df, above=0)
    e = np.asarray(estimates, dtype=float).ravel()
    v = np.asarray(variances, dtype=float).ravel()
    if len(e) != len(v) or not len(e) or not np.isfinite([*e, *v]).all() or v.min() < 0:
        raise SizingError(
            str(
                Problem(
                    "the draws' estimates and variances do not match",
                    "as many variances, 0 or more, as estimates, at least one",
                )
            )
        )
    m = len(e)
    complete = float(n - 1 if df is None else df)
    estimate, within = float(e.mean()), float(v.mean())
    between = float(e.var(ddof=1)) if m > 1 else 0.0
    total = within + (1 + 1 / m) * between
    g = (1 + 1 / m) * between / total if total > 0 else 0.0
    observed = complete * (complete + 1) / (complete + 3) * (1 - g)
    if g == 0:
        combined = complete
    elif observed == 0:
        combined = (m - 1) / g**2
    else:
        combined = 1 / (g**2 / (m - 1) + 1 / observed)
    se = float(np.sqrt(total))
    t = float(stats.t.ppf(0.5 + level / 2, combined))
    method = f"Rubin's rules over {m} draws, Barnard-Rubin t"
    low, high = estimate - t * se, estimate + t * se
    if statistic == "share":
        if 0 < estimate < 1:
            width = t * se / (estimate * (1 - estimate))
            centre = np.log(estimate / (1 - estimate))
            ends = special.expit(centre + np.array([-width, width]))
            low, high = float(ends[0]), float(ends[1])
            method += " on the logit scale"
        else:
            low, high = binomial_interval(estimate, n, level=level)
            method = "Clopper-Pearson: the same in every draw"
    row = (estimate, se, low, high, method, n, combined, within, between)
    return pd.DataFrame([row], columns=[*COLUMNS, "within", "between"])
