"""Groups of people that a coverage is told for."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import Problem, SizingError

#: First whole year of each band (our choice: school stages, then twenty years).
AGE_BANDS: dict[int, str] = {
    0: "under 2",
    2: "2 to 5",
    6: "6 to 11",
    12: "12 to 17",
    18: "18 to 39",
    40: "40 to 59",
    60: "60 to 79",
    80: "80 and over",
}
#: Least body-mass index of each adult class, kg/m2: WHO Technical Report
#: Series 894 (2000), table 2.1 (from memory).
BMI_CLASSES: dict[float, str] = {
    0.0: "under 18.5",
    18.5: "18.5 to 25",
    25.0: "25 to 30",
    30.0: "30 to 35",
    35.0: "35 to 40",
    40.0: "40 and over",
}
#: The adult classes do not hold for children.
CHILD_CLASS = "under 18, not classed"
ADULT_FROM = 18
NOT_KNOWN = "not known"
#: A column of more distinct values than this is no grouping.
_MOST_LEVELS = 50


def age_band(age_years: npt.ArrayLike) -> pd.Categorical:
    """Return the band of each age.

    Examples
    --------
    >>> list(age_band([5.9, 6, 85, float("nan")]))
    ['2 to 5', '6 to 11', '80 and over', 'not known']
    """
    return _cut(np.asarray(age_years, dtype=float), AGE_BANDS)


def bmi_class(frame: pd.DataFrame) -> pd.Categorical:
    """Return each adult's class of body-mass index; children have one of their own.

    Parameters
    ----------
    frame : DataFrame
        Columns ``age_years``, ``body_mass_kg``, ``stature_cm``.

    Examples
    --------
    >>> list(bmi_class(pd.DataFrame({"age_years": [40, 9],
    ...     "body_mass_kg": [81, 30], "stature_cm": [180, 130]})))
    ['25 to 30', 'under 18, not classed']
    """
    metres = frame["stature_cm"].to_numpy(float, na_value=np.nan) / 100
    index = frame["body_mass_kg"].to_numpy(float, na_value=np.nan) / metres**2
    # 25.0 stored as 24.999999 belongs to the class that begins at 25.
    found = _cut(np.round(index, 9), BMI_CLASSES, CHILD_CLASS)
    child = frame["age_years"].to_numpy(float, na_value=np.nan) < ADULT_FROM
    codes = np.where(child, 0, found.codes)
    return pd.Categorical.from_codes(codes, dtype=found.dtype)


def _cut(
    values: npt.NDArray[np.float64], starts: dict, first: str | None = None
) -> pd.Categorical:
    """Label values by the last start at or below them."""
    place = np.searchsorted(list(starts), values, side="right") - 1
    labels = [*([first] if first else []), *starts.values(), NOT_KNOWN]
    place = np.where(np.isnan(values), len(starts), place) + bool(first)
    return pd.Categorical.from_codes(place, pd.Index(labels))


def grouping(frame: pd.DataFrame, by: str) -> pd.Categorical:
    """Return the level of each row in one grouping.

    Parameters
    ----------
    frame : DataFrame
        As in ``People.frame``.
    by : str
        A column, or one of ``age_band`` and ``bmi_class``, which are made
        from age, stature and body mass if there is no such column.

    Raises
    ------
    SizingError
        If there is no such column, or it holds too many values.
    """
    if by in frame:
        return _levels(frame[by], by)
    made = {
        "age_band": ["age_years"],
        "bmi_class": ["age_years", "body_mass_kg", "stature_cm"],
    }
    lacking = [c for c in made.get(by, [by]) if c not in frame]
    if lacking:
        options = [c for c in frame.columns if c not in ("person", "draw")]
        raise SizingError(
            str(
                Problem(
                    f"the people have no column {', '.join(lacking)} to group by",
                    f"age_band, bmi_class, {', '.join(map(str, options))}",
                    "choose one of these",
                    value=by,
                )
            )
        )
    if by == "age_band":
        return age_band(frame["age_years"].to_numpy(float, na_value=np.nan))
    return bmi_class(frame)


def _levels(column: pd.Series, by: str) -> pd.Categorical:
    known: pd.Categorical = pd.Categorical(column)
    if len(known.categories) > _MOST_LEVELS:
        raise SizingError(
            str(
                Problem(
                    f"the column '{by}' has {len(known.categories)} different values",
                    f"a column of up to {_MOST_LEVELS} values",
                    "cut it into bands first, or use age_band or bmi_class",
                )
            )
        )
    labels: list[object] = [*(str(c) for c in known.categories), NOT_KNOWN]
    codes = np.where(known.codes < 0, len(labels) - 1, known.codes)
    return pd.Categorical.from_codes(codes, pd.Index(labels))


def by_list(by: str | Sequence[str] | None) -> list[str]:
    """Return groupings as a list.

    Examples
    --------
    >>> by_list("sex"), by_list(None)
    (['sex'], [])
    """
    if by is None:
        return []
    return [by] if isinstance(by, str) else list(by)
