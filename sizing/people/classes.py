"""Plain classes of people: bands of age, classes of body mass index."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.kinds import check_columns
from sizing.people.growth import centile

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


def body_mass_index(frame: pd.DataFrame) -> pd.Series:
    """Return mass / stature^2 in kg/m^2; missing where either is missing."""
    bmi = frame["body_mass_kg"] / (frame["stature_cm"] / 100) ** 2
    return bmi.astype(float).rename("bmi")


def age_band(age_years: npt.ArrayLike) -> pd.Categorical:
    """Return each age's band as ordered words; missing below 2 or unknown.

    >>> age_band([3.0, 17.9, 80.0]).tolist()
    ['2 to 4', '14 to 17', '80 and over']
    """
    names = tuple(AGE_BANDS.values())
    age = np.asarray(age_years, dtype=float)
    return _words(_places(age, AGE_BANDS, names), names)


def bmi_class(frame: pd.DataFrame) -> pd.Categorical:
    """Return each person's class of body mass index as ordered words.

    Adults (18 and over) are classed by the World Health Organization's cut
    points, children by their place in the CDC 2000 reference for their sex and
    age: adult cut points say nothing about a child. Where every age is a whole
    number the ages are taken as completed years, and the reference is read half
    a year later.

    One of ``BMI_CLASSES``; missing where mass, stature, age or (for children) sex is.

    >>> bmi_class(pd.DataFrame({"sex": ["female", "male"], "age_years": [40.0, 8.0],
    ...     "body_mass_kg": [90.0, 25.5], "stature_cm": [160.0, 128.0]})).tolist()
    ['obesity class 2', 'healthy weight']
    """
    check_columns(
        frame, ("sex", "age_years", "body_mass_kg", "stature_cm"), "the people"
    )
    bmi = body_mass_index(frame).to_numpy()
    age = frame["age_years"].to_numpy(dtype=float, na_value=np.nan)
    codes = _places(bmi, ADULT_BMI, BMI_CLASSES)
    codes[~(age >= ADULT_AGE)] = -1
    child = (age >= 2) & (age < ADULT_AGE) & np.isfinite(bmi)
    known = age[np.isfinite(age)]
    later = 0.5 if np.array_equal(known, np.floor(known)) else 0.0
    for sex in ("female", "male"):
        chosen = child & (frame["sex"] == sex).to_numpy(dtype=bool, na_value=False)
        share = centile("bmi", sex, age[chosen] + later, bmi[chosen])
        codes[chosen] = _places(share, CHILD_BMI, BMI_CLASSES)
    return _words(codes, BMI_CLASSES)


def _places(
    value: npt.NDArray[np.float64], ends: dict[float, str], names: tuple[str, ...]
) -> npt.NDArray[np.int64]:
    places = np.array([-1, *(names.index(name) for name in ends.values())])
    found = places[np.searchsorted(list(ends), value, side="right")]
    found[~np.isfinite(value)] = -1
    return found


def _words(codes: npt.NDArray[np.int64], names: tuple[str, ...]) -> pd.Categorical:
    kind = pd.CategoricalDtype(list(names), ordered=True)
    return pd.Categorical.from_codes(codes, dtype=kind)
