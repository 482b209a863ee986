"""What the chart limits and nobody measured: it leads the answer and bounds chances."""

import pandas as pd

from sizing.client.client import Client
from sizing.client.how import TAKEN

#: The oldest measured for lengths and thighs (ANSUR II 2012), the BMI from which
#: hardly anybody was, and the most that is then written (our choice, no source).
OLDEST, HEAVY, MOST = 58.0, 40.0, 0.95


def not_taken(client: Client, margins: pd.DataFrame) -> tuple[str, ...]:
    """Return the measures that a size limits and no tape or scale read."""
    limited = margins.loc[margins[["low_edge", "high_edge"]].notna().any(axis=1)]
    taken = {one.measure for one in client.readings if one.how in (*TAKEN, "exact")}
    return tuple(m for m in limited["measure"].unique() if m not in taken)


def why_cautious(client: Client, bmi: float) -> str:
    """Say why the model's word on this person is worth less; "" where it is not.

    Examples
    --------
    >>> why_cautious(Client(age_years=82.0), 25.6)
    'over 58 years'
    >>> why_cautious(Client(age_years=40.0), 25.6)
    ''
    """
    age = client.age_years
    reasons = {
        "of unknown age": age is None,
        f"over {OLDEST:g} years": age is not None and age > OLDEST,
        f"of body mass index {HEAVY:g} or more": bmi >= HEAVY,
        "with a condition stated": bool(client.conditions),
    }
    return ", ".join(words for words, holds in reasons.items() if holds)


def bounded(table: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """Return a table whose chances in these columns are ``MOST`` at most."""
    return table.assign(**{name: table[name].clip(upper=MOST) for name in columns})


def bounded_gain(table: pd.DataFrame) -> pd.DataFrame:
    """Return ``next_measures`` with its chances ``MOST`` at most, gains following."""
    out = bounded(table, ["now", "after"])
    less = (table["after"] - table["now"]) - (out["after"] - out["now"])
    names = ["estimate", "low", "high"]
    return out.assign(**{name: table[name] - less for name in names})
