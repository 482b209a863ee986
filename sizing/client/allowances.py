"""Allowances between body and fabric: settings in plain sight."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pandas as pd

from sizing.charts import SizeChart
from sizing.errors import Problem, SizingError
from sizing.resources import source_table

#: More than this either way is a slip (our choice, no source).
_MOST_CM = 40.0


@cache
def _table() -> pd.DataFrame:
    return source_table("allowances.csv")


def allowance_table(chosen: Mapping[str, float] | None = None) -> pd.DataFrame:
    """Return every allowance, what practice suggests and what is in use.

    A chart that states body measures needs none, and that is the default. One
    that states the fabric's own lengths is compared with body + allowance.

    Parameters
    ----------
    chosen : mapping, optional
        Key of an allowance to centimetres; those not named are 0.

    Returns
    -------
    DataFrame
        ``key, measure, label, suggested_cm, used_cm, meaning, source``.

    Raises
    ------
    SizingError
        If a key is unknown or a value is no sensible length.

    Examples
    --------
    >>> table = allowance_table({"leg_stop": -5}).set_index("key")
    >>> table["used_cm"].tolist()
    [0.0, 0.0, -5.0]
    """
    table = _table().copy()
    chosen = dict(chosen or {})
    for key, value in chosen.items():
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if key not in set(table["key"]) or not number or not abs(value) <= _MOST_CM:
            raise SizingError(
                str(
                    Problem(
                        "this allowance cannot be used",
                        f"{', '.join(table['key'])}, each from -{_MOST_CM:g} to "
                        f"{_MOST_CM:g} cm",
                        "correct it, or leave it out",
                        column=key,
                        value=value,
                    )
                )
            )
    table.insert(4, "used_cm", [float(chosen.get(key, 0.0)) for key in table["key"]])
    return table


def suggested_allowances() -> dict[str, float]:
    """Return what practice suggests for a chart of the fabric's own measures.

    Common practice, no source.

    Examples
    --------
    >>> suggested_allowances()["leg_stop"]
    -5.0
    """
    table = _table()
    return dict(zip(table["key"], table["suggested_cm"].astype(float), strict=True))


def in_body_terms(chart: SizeChart, allowances: pd.DataFrame) -> SizeChart:
    """Return the chart with its edges moved from fabric to body measures.

    ``low <= body + allowance <= high`` is ``low - allowance <= body <= high -
    allowance``.
    """
    frame = chart.frame.copy()
    for _, row in allowances.iterrows():
        for end in ("low", "high"):
            column = f"{row['measure']}_{end}"
            if row["used_cm"] and column in frame:
                frame[column] = frame[column] - row["used_cm"]
    return replace(chart, frame=frame)
