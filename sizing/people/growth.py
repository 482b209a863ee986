"""Where a child stands among children: the CDC 2000 growth reference."""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from sizing.errors import SizingError, one_of
from sizing.measures import SEXES
from sizing.resources import source_table

Floats = npt.NDArray[np.float64]

#: Our names of what the reference covers, and the reference's own.
GROWTH_MEASURES = {"stature_cm": "stature", "body_mass_kg": "body_mass", "bmi": "bmi"}


@lru_cache(maxsize=8)
def _table(measure: str, sex: str) -> Floats:
    one_of("growth measure", measure, list(GROWTH_MEASURES))
    one_of("sex", sex, SEXES)
    table = source_table("cdc_2000_lms.csv")
    rows = (table["measure"] == GROWTH_MEASURES[measure]) & (table["sex"] == sex)
    columns = ["age_years", "L", "M", "S"]
    out: Floats = table.loc[rows, columns].sort_values("age_years").to_numpy(float)
    return out


def _lms(measure: str, sex: str, age_years: npt.ArrayLike) -> tuple[Floats, ...]:
    """Return L, M and S, interpolated between the reference's months."""
    table = _table(measure, sex)
    age = np.asarray(age_years, dtype=float)
    outside = (age < table[0, 0]) | (age > table[-1, 0]) | ~np.isfinite(age)
    if np.any(outside):
        raise SizingError(
            f"the growth reference for {measure} does not cover this age",
            allowed=f"{table[0, 0]:g} to {table[-1, 0]:g} years",
            action="use the adult figures, or no reference",
            value=float(np.atleast_1d(age)[np.atleast_1d(outside)][0]),
        )
    return tuple(np.interp(age, table[:, 0], table[:, i]) for i in (1, 2, 3))


def z_score(
    measure: str, sex: str, age_years: npt.ArrayLike, value: npt.ArrayLike
) -> Floats:
    """Return how many SDs a child stands from the median for sex and age.

    ``((value / M)^L - 1) / (L S)``, or ``ln(value / M) / S`` where L is 0 (Cole and
    Green, Stat Med 1992;11:1305-1319); L, M, S of the CDC 2000 growth charts
    (``data_sources/cdc_2000_lms.csv``), linear between the reference's months, from 2
    (body mass 2.0417) to 20 years; values in cm, kg or kg/m2.

    >>> z_score("stature_cm", "male", [2.0], [86.45220101]).round(6).tolist()
    [0.0]
    """
    power, median, spread = _lms(measure, sex, age_years)
    number = np.asarray(value, dtype=float)
    if np.any(~(number > 0)):
        raise SizingError("a body measure must be above 0", column=measure, value=value)
    flat = np.abs(power) < 1e-9
    safe = np.where(flat, 1.0, power)
    ratio = number / median
    curved: Floats = (ratio**safe - 1) / (safe * spread)
    return np.where(flat, np.log(ratio) / spread, curved)


def centile(
    measure: str, sex: str, age_years: npt.ArrayLike, value: npt.ArrayLike
) -> Floats:
    """Return the share of children of that sex and age below ``value``."""
    out: Floats = ndtr(z_score(measure, sex, age_years, value))
    return out


def value_at(
    measure: str, sex: str, age_years: npt.ArrayLike, z: npt.ArrayLike
) -> Floats:
    """Return the value that stands ``z`` SDs from the median for sex and age.

    ``M (1 + L S z)^(1/L)``, or ``M exp(S z)`` where L is 0; NaN where the reference
    has no such value (``1 + L S z`` not above 0).
    """
    power, median, spread = _lms(measure, sex, age_years)
    score = np.asarray(z, dtype=float)
    flat = np.abs(power) < 1e-9
    safe = np.where(flat, 1.0, power)
    inside = 1 + safe * spread * score
    with np.errstate(invalid="ignore"):
        curved = np.where(inside > 0, np.abs(inside) ** (1 / safe), np.nan)
    return median * np.where(flat, np.exp(spread * score), curved)
