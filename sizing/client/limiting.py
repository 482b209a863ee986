"""What the chart limits and nobody measured: it leads the answer and bounds chances."""

import pandas as pd

from sizing.client.client import Client
from sizing.client.how import MASS, TAKEN
from sizing.client.judged import JudgedClient
from sizing.client.stature import STATURE
from sizing.client.words import plain

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

    Parameters
    ----------
    client : Client
    bmi : float
        Body mass index by the best estimate; NaN where not known.

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


def limiting_lines(answer: JudgedClient) -> list[str]:
    """Say what to measure first, before any chance, where it was not taken.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.client import check_client
    >>> found = check_client(demo_chart(), {"sex": "female", "age_years": 74,
    ...     "body_mass_kg": 68, "stature_cm": 160, "hip_circumference_cm": 101,
    ...     "shoulder_height_sitting_cm": 56})
    >>> limiting_lines(found)[0][:41]
    'Measure the buttock-popliteal length firs'
    """
    names = [
        name
        for name in answer.limiting
        if not (name == STATURE and answer.client.stature is not None)
    ]
    if not names or answer.nothing_bears or answer.unjudged:
        return []
    ranked = list(answer.next_measure["measure"])
    names.sort(key=lambda name: ranked.index(name) if name in ranked else len(ranked))
    told = _listed(
        [f"the {'weight' if name == MASS else plain(name)}" for name in names]
    )
    play = [size for size in answer.sizes["size"] if size in answer.in_play]
    one = len(names) == 1
    if len(play) > 1:
        why = f"{'it decides' if one else 'they decide'} between {_listed(play[:3])}"
    else:
        it, is_ = ("it", "it is") if one else ("them", "they are")
        why = f"the chart limits {it}, and {is_} only predicted"
    return [f"Measure {told} first: {why}."]


def limiting_note(limiting: tuple[str, ...], cautious: str) -> list[str]:
    """Say why no chance above ``MOST`` is written, where none is."""
    if not cautious:
        return []
    return [
        f"No chance above {100 * MOST:.0f} % is written: the model predicts "
        f"{_listed([plain(name) for name in limiting])} for a person {cautious}, and "
        "hardly knows such people."
    ]


def _listed(names: list[str]) -> str:
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last
