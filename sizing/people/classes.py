"""Plain classes of people: bands of age, body mass index, children's growth."""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtr

from sizing.errors import SizingError, check_columns, one_of
from sizing.measures import SEXES
from sizing.resources import source_table
from sizing.stats.formulas import Floats

ADULT_AGE = 18.0
#: Lower ends of the bands of age, in years; common practice, no source.
AGE_BANDS: dict[float, str] = {
    2: "2 to 4",
    5: "5 to 9",
    10: "10 to 13",
    14: "14 to 17",
    18: "18 to 39",
    40: "40 to 59",
    60: "60 to 79",
    80: "80 and over",
}
#: Lower ends in kg/m^2 of the classes of adults (World Health Organization,
#: Obesity: preventing and managing the global epidemic, TRS 894, 2000, from
#: memory).
ADULT_BMI: dict[float, str] = {
    0: "underweight",
    18.5: "healthy weight",
    25: "overweight",
    30: "obesity class 1",
    35: "obesity class 2",
    40: "obesity class 3",
}
#: Lower ends, as shares of the CDC 2000 reference, of the classes of children
#: (US Centers for Disease Control, about child BMI; from memory).
CHILD_BMI: dict[float, str] = {
    0: "underweight",
    0.05: "healthy weight",
    0.85: "overweight",
    0.95: "obesity",
}
#: All classes in order: a child's obesity stands before the adults' three.
BMI_CLASSES: tuple[str, ...] = tuple(
    dict.fromkeys((*CHILD_BMI.values(), *ADULT_BMI.values()))
)
#: Our names of what the growth reference covers, and the reference's own.
GROWTH_MEASURES = {"stature_cm": "stature", "body_mass_kg": "body_mass", "bmi": "bmi"}


def body_mass_index(frame: pd.DataFrame) -> pd.Series:
    """Return mass / stature^2 in kg/m^2; missing where either is missing."""
    bmi = frame["body_mass_kg"] / (frame["stature_cm"] / 100) ** 2
    return bmi.astype(float).rename("bmi")


def age_band(age_years: npt.ArrayLike) -> pd.Categorical:
    """Return each age's band as ordered words; missing below 2 or unknown."""
    words = _words(np.asarray(age_years, dtype=float), AGE_BANDS)
    return pd.Categorical(words, list(AGE_BANDS.values()), ordered=True)


def bmi_class(frame: pd.DataFrame) -> pd.Categorical:
    """Return each person's class of body mass index, one of BMI_CLASSES or missing.

    Adults by the World Health Organization's cut points, children by their place in
    the CDC 2000 reference; ages all whole are completed years, read half a year later.
    """
    check_columns(
        frame, ("sex", "age_years", "body_mass_kg", "stature_cm"), "the people"
    )
    bmi = body_mass_index(frame).to_numpy()
    age = frame["age_years"].to_numpy(dtype=float, na_value=np.nan)
    words = _words(np.where(age >= ADULT_AGE, bmi, np.nan), ADULT_BMI)
    child = (age >= 2) & (age < ADULT_AGE) & np.isfinite(bmi)
    known = age[np.isfinite(age)]
    later = 0.5 if np.array_equal(known, np.floor(known)) else 0.0
    for sex in SEXES:
        chosen = child & (frame["sex"] == sex).to_numpy(dtype=bool, na_value=False)
        share = ndtr(z_score("bmi", sex, age[chosen] + later, bmi[chosen]))
        words[chosen] = _words(share, CHILD_BMI)
    return pd.Categorical(words, list(BMI_CLASSES), ordered=True)


def _words(value: Floats, ends: dict[float, str]) -> npt.NDArray[np.object_]:
    found = pd.cut(value, [*ends, np.inf], right=False, labels=list(ends.values()))
    return np.array(found, dtype=object)


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
    """Return L (1 where it is 0), M, S, and where L is 0, linear between months."""
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
    power, median, spread = (
        np.interp(age, table[:, 0], table[:, i]) for i in (1, 2, 3)
    )
    flat = np.abs(power) < 1e-9
    return np.where(flat, 1.0, power), median, spread, flat


def z_score(
    measure: str, sex: str, age_years: npt.ArrayLike, value: npt.ArrayLike
) -> Floats:
    """Return how many SDs a child stands from the median for sex and age (cm, kg).

    ``((value / M)^L - 1) / (L S)``, or ``ln(value / M) / S`` where L is 0 (Cole and
    Green, Stat Med 1992;11:1305-1319); L, M, S of the CDC 2000 growth charts
    (``cdc_2000_lms.csv``), from 2 (body mass 2.0417) to 20 years.
    """
    power, median, spread, flat = _lms(measure, sex, age_years)
    number = np.asarray(value, dtype=float)
    if np.any(~(number > 0)):
        raise SizingError("a body measure must be above 0", column=measure, value=value)
    ratio = number / median
    curved: Floats = (ratio**power - 1) / (power * spread)
    return np.where(flat, np.log(ratio) / spread, curved)


def value_at(
    measure: str, sex: str, age_years: npt.ArrayLike, z: npt.ArrayLike
) -> Floats:
    """Return the value of which ``z_score`` is z, NaN where there is none."""
    power, median, spread, flat = _lms(measure, sex, age_years)
    score = np.asarray(z, dtype=float)
    inside = 1 + power * spread * score
    with np.errstate(invalid="ignore"):
        curved = np.where(inside > 0, np.abs(inside) ** (1 / power), np.nan)
    return median * np.where(flat, np.exp(spread * score), curved)
