"""How a value was measured, and therefore how far it may be from the truth."""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import one_of
from sizing.measures import vocabulary
from sizing.resources import source_table

#: Ways of coming by a value, best first; a test holds them to the table.
HOW: tuple[str, ...] = (
    "tape once",
    "tape twice",
    "scale",
    "hoist scale",
    "reported",
    "guessed",
)
#: Ways that put a tape or a scale to the person.
TAKEN: tuple[str, ...] = HOW[:4]
MASS = "body_mass_kg"
#: How a stature worked out from a segment of the body is called.
ESTIMATED = "estimated"


@dataclass(frozen=True)
class Reading:
    """One value known of a person.

    - ``measure``: One of ``sizing.measures.MEASURES``.
    - ``value``: As read, in cm or kg.
    - ``how``: One of ``HOW``, ``estimated``, or ``exact``.
    - ``sd``: SD of ``value`` around the truth, in the same unit.
    - ``bias``: Mean of ln truth - ln value: what people say is off in one direction.
    - ``source``: Where the SD comes from.
    """

    measure: str
    value: float
    how: str
    sd: float
    bias: float = 0.0
    source: str = ""

    @property
    def log_value(self) -> float:
        """Logarithm of the value, freed of its bias."""
        return float(np.log(self.value) + self.bias)

    @property
    def log_sd(self) -> float:
        """SD of the error on the logarithmic scale."""
        return self.sd / self.value


def how_measured() -> pd.DataFrame:
    """Return what each way of coming by a value does to its error.

    Returned: ``how``; ``measure`` and ``sex`` it holds for (any: all others);
    ``multiplier`` (of the error of one reading in ``vocabulary()``) or ``relative_sd``
    (share of the value); ``relative_bias`` (ln truth - ln value); ``source``.

    >>> tuple(how_measured()["how"].unique()) == HOW
    True
    """
    return _table().copy()


@cache
def _table() -> pd.DataFrame:
    return source_table("how_measured.csv")


@cache
def _one_reading(column: str) -> dict[str, Any]:
    return dict(vocabulary().set_index("name")[column])


def usual_error(measure: str) -> float:
    return float(_one_reading("error_cm")[measure])


def reading(
    measure: str, value: float, how: str = "tape once", *, sex: str | None = None
) -> Reading:
    """Return a value with the error of the way it was measured.

    >>> reading("hip_circumference_cm", 100.0, "tape twice").sd
    0.99
    """
    if how == "exact":
        return Reading(measure, value, how, 0.0, source="counted as exact")
    allowed = [h for h in HOW if measure == MASS or h not in ("scale", "hoist scale")]
    one_of(f"way of measuring for {measure}", how, allowed)
    multiplier, relative, bias, source = _row(how, measure, sex)
    sd = relative * value
    if np.isfinite(multiplier):
        sd = multiplier * usual_error(measure)
        one = _one_reading("error_source")[measure]
        source = source if source.endswith(one) else f"{source} ({one})"
    return Reading(measure, value, how, round(sd, 3), bias, source)


@cache
def _row(how: str, measure: str, sex: str | None) -> tuple[float, float, float, str]:
    rows = _table()
    rows = rows[(rows["how"] == how) & rows["measure"].isin([measure, "any"])]
    own = rows[rows["measure"] == measure]
    rows = own if len(own) else rows
    if sex is not None and (rows["sex"] == sex).any():
        rows = rows[rows["sex"] == sex]
    first = rows.iloc[0]
    return (
        float(first["multiplier"]),
        float(rows["relative_sd"].mean()),
        float(rows["relative_bias"].mean()),
        str(first["source"]),
    )
