"""Groups of people that a coverage is told for."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from sizing.errors import SizingError
from sizing.people.classes import age_band, bmi_class

NOT_KNOWN = "not known"
#: A column of more distinct values than this is no grouping.
_MOST_LEVELS = 50


def grouping(frame: pd.DataFrame, by: str) -> pd.Categorical:
    """Return the level of each row in one grouping."""
    if by in frame:
        return _levels(frame[by], by)
    made = {
        "age_band": ["age_years"],
        "bmi_class": ["sex", "age_years", "body_mass_kg", "stature_cm"],
    }
    lacking = [c for c in made.get(by, [by]) if c not in frame]
    if lacking:
        options = [c for c in frame.columns if c not in ("person", "draw")]
        raise SizingError(
            f"the people have no column {', '.join(lacking)} to group by",
            allowed=f"age_band, bmi_class, {', '.join(map(str, options))}",
            action="choose one of these",
            value=by,
        )
    if by == "age_band":
        return _levels(pd.Series(age_band(frame["age_years"])), by)
    return _levels(pd.Series(bmi_class(frame)), by)


def _levels(column: pd.Series, by: str) -> pd.Categorical:
    known: pd.Categorical = pd.Categorical(column)
    if len(known.categories) > _MOST_LEVELS:
        raise SizingError(
            f"the column '{by}' has {len(known.categories)} different values",
            allowed=f"a column of up to {_MOST_LEVELS} values",
            action="cut it into bands first, or use age_band or bmi_class",
        )
    labels: list[object] = [*(str(c) for c in known.categories), NOT_KNOWN]
    codes = np.where(known.codes < 0, len(labels) - 1, known.codes)
    return pd.Categorical.from_codes(codes, pd.Index(labels))


def by_list(by: str | Sequence[str] | None) -> list[str]:
    """Return groupings as a list.

    >>> by_list("sex"), by_list(None)
    (['sex'], [])
    """
    if by is None:
        return []
    return [by] if isinstance(by, str) else list(by)
