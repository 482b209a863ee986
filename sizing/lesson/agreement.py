"""How far guesses are from the scale: bias and limits of agreement."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from sizing.errors import SizingError, check_replicates, check_seed
from sizing.stats.shares import replicate_counts

LEVEL = 0.95
#: Normal quantile that Bland and Altman round from 1.95996.
REACH = 1.96
TOGETHER = "together"


@dataclass(frozen=True)
class Agreement:
    """Bias and limits of agreement, together and by person: ``limits_of_agreement``."""

    table: pd.DataFrame
    points: pd.DataFrame
    left_out: int

    def summary(self, unit: str = "kg", size: float = 1.0) -> str:
        """Return bias and limits of all together in plain words.

        ``size``: how many of the guesses' own unit ``unit`` is.
        """
        if not len(self.points):
            return "There is no guess with a true value to set beside it."
        rows = self.table[self.table["participant"] == TOGETHER]
        told = rows.set_index("statistic")["estimate"] / size
        words = f"{len(self.points)} guesses: on average {signed(told['bias'])} {unit}"
        if np.isfinite(told["lower_limit"]):
            words += (
                f"; 19 in 20 lie between {signed(told['lower_limit'])} and "
                f"{signed(told['upper_limit'])} {unit} of the truth"
            )
        return words + "."


def signed(value: float) -> str:
    """Write a difference to the nearest half, with its sign: '-3.5', '0', '+2'."""
    half = round(2 * value) / 2 if np.isfinite(value) else 0.0
    return f"{half:+g}" if half else "0"


def limits_of_agreement(
    guess: npt.ArrayLike,
    truth: npt.ArrayLike,
    participant: npt.ArrayLike | None = None,
    *,
    subject: npt.ArrayLike | None = None,
    replicates: int = 1000,
    seed: int = 1,
) -> Agreement:
    """Compare guesses with the truth as Bland and Altman do.

    A pair with either missing is left out and counted.

    ``.table``: participant (``together``, then each), statistic (``bias``, ``sd``,
    ``lower_limit``, ``upper_limit``), estimate, low, high, method, n (guesses).
    ``.points``, ``.left_out``.

    Difference d = guess - truth; bias = mean d; limits = bias -+ 1.96 SD(d), SD
    with n - 1. Intervals: by person, bias -+ t s sqrt(1/n), limits -+ t s
    sqrt(1/n + 1.96^2 / (2 (n - 1))). Together, guesses of one person hang
    together, so whole participants are resampled (percentile bootstrap); with
    fewer than 5 of them the interval by person's formula is given, too narrow,
    and the method says so.

    Bland and Altman, Lancet 1986;327:307-310; Stat Methods Med Res
    1999;8:135-160 (formula of the limits' error, from memory).

    >>> found = limits_of_agreement([70, 82, 60], [72, 80, 66], ["1", "1", "1"])
    >>> found.table.query("participant == 'together'")["estimate"].round(2).tolist()
    [-2.0, 4.0, -9.84, 5.84]
    """
    check_replicates(replicates)
    check_seed(seed)
    try:
        g, t = (np.asarray(one, dtype=float) for one in (guess, truth))
    except (TypeError, ValueError, OverflowError):
        raise SizingError("Guesses and true values must be numbers.") from None
    if g.shape != t.shape or g.ndim != 1:
        raise SizingError("Give as many guesses as true values, one pair each.")
    who = np.full(len(g), "1") if participant is None else np.asarray(participant)
    points = pd.DataFrame(
        {
            "participant": pd.Series(who, dtype=object).astype(str).to_numpy(),
            "guess": g,
            "truth": t,
            "mean": (g + t) / 2,
            "difference": g - t,
        }
    )
    if subject is not None:
        points.insert(1, "subject", np.asarray(subject))
    known = points["difference"].notna().to_numpy()
    points = points[known].reset_index(drop=True)
    parts = []
    if len(points):
        parts.append(_together(points, replicates, seed))
        each = points.groupby("participant", sort=False)["difference"]
        rows = [row for name, own in each for row in _rows(str(name), own.to_numpy())]
        parts.append(pd.DataFrame(rows, columns=_COLUMNS))
    table = (
        pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=_COLUMNS)
    )
    return Agreement(table, points, int((~known).sum()))


_COLUMNS = ["participant", "statistic", "estimate", "low", "high", "method", "n"]
_STATISTICS = ("bias", "sd", "lower_limit", "upper_limit")


def _values(d: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    bias = d.mean()
    sd = d.std(ddof=1) if len(d) > 1 else np.nan
    return np.array([bias, sd, bias - REACH * sd, bias + REACH * sd])


@lru_cache(maxsize=1024)
def _quantiles(df: int) -> tuple[float, float, float]:
    """Return Student's t and both ends of chi-squared for 95 %."""
    ends = ((1 + LEVEL) / 2, (1 - LEVEL) / 2)
    high, low = (float(stats.chi2.ppf(end, df)) for end in ends)
    return float(stats.t.ppf(ends[0], df)), high, low


def _rows(name: str, d: npt.NDArray[np.float64]) -> list[tuple[object, ...]]:
    """Return one participant's figures with intervals by formula."""
    n, value = len(d), _values(d)
    low, high = np.full(4, np.nan), np.full(4, np.nan)
    method = "one guess: no interval"
    if n > 1:
        df, s = n - 1, value[1]
        t, most, least = _quantiles(df)
        of_limit = t * s * np.sqrt(1 / n + REACH**2 / (2 * df))
        half = np.array([t * s / np.sqrt(n), np.nan, of_limit, of_limit])
        low, high = value - half, value + half
        low[1] = s * np.sqrt(df / most)
        high[1] = s * np.sqrt(df / least)
        method = "95 %, normal differences (Bland and Altman 1999)"
    return [
        (name, *row, method, n)
        for row in zip(_STATISTICS, value, low, high, strict=True)
    ]


def _together(points: pd.DataFrame, replicates: int, seed: int) -> pd.DataFrame:
    d = points["difference"].to_numpy()
    rows = pd.DataFrame(_rows(TOGETHER, d), columns=_COLUMNS)
    code, names = pd.factorize(points["participant"])
    if len(names) == 1:
        return rows
    if len(names) < 5:
        method = f"as if independent; too narrow: only {len(names)} participants"
        return rows.assign(method=method)
    rng = np.random.default_rng(seed)
    w = replicate_counts(len(names), replicates, rng)[:, code]
    n = w.sum(axis=1)
    bias = w @ d / n
    variance = (w @ d**2 - n * bias**2) / np.maximum(n - 1, 1)
    sd = np.sqrt(np.maximum(variance, 0))
    drawn = np.column_stack([bias, sd, bias - REACH * sd, bias + REACH * sd])
    low, high = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    return rows.assign(
        low=low, high=high, method="95 %, bootstrap of participants, percentile"
    )
