"""What to know of one client's entries, and where the evidence stops."""

import pandas as pd

from sizing.client.client import Client
from sizing.client.conditions import touched
from sizing.client.how import MASS
from sizing.client.outcomes import Edges
from sizing.client.words import capital, plain
from sizing.measures.typed import like_pounds
from sizing.people import limits


def notes(client: Client, chart: Edges) -> list[str]:
    """Return what to know of these entries."""
    known = client.known
    away = touched(client.conditions)
    unused = [m for m in known if m not in (*chart.measures, *away, MASS)]
    missing = [m for m in chart.measures if m not in known and m not in away]
    told = list(client.read_as)
    if MASS not in known:
        told.append(
            "Body mass was not measured: weigh before any lift, and compare with the "
            "lowest load limit of all parts."
        )
    elif known[MASS].how in ("reported", "guessed"):
        told.append(
            f"Body mass was {known[MASS].how}, not weighed: weigh before any lift."
        )
    if known and not set(known) & set(chart.measures):
        told.append(
            "The chart limits none of the measures that were taken: every figure it "
            "is compared with is predicted. Take one the chart limits: "
            f"{', '.join(plain(m) for m in chart.measures)}."
        )
    elif unused:
        told.append(
            f"Not limited by the chart, but of use to predict what was not measured: "
            f"{', '.join(plain(m) for m in unused)}."
        )
    if missing:
        told.append(f"Predicted, not measured: {', '.join(plain(m) for m in missing)}.")
    if client.sex is None:
        told.append("Sex was not stated: both are mixed, so intervals are wider.")
    if client.age_years is None:
        told.append("Age was not stated: all ages are mixed, so intervals are wider.")
    if client.stature is not None:
        told.append(client.stature.summary())
    return told


def like_pounds_words(loads: pd.DataFrame) -> list[str]:
    """Doubt load limits that look like pounds: too high, they let a part break."""
    told = []
    for _, row in loads.dropna(subset="load_limit_kg").iterrows():
        meant = like_pounds(float(row["load_limit_kg"]))
        if meant is not None:
            told.append(
                f"The load limit of the {row['part']}, {row['load_limit_kg']:g} kg, "
                f"looks like pounds ({meant} kg): read its label again before any lift."
            )
    return told


def evidence_limits(client: Client) -> tuple[str, ...]:
    """Return where the evidence about people like this one stops."""
    age = client.age_years
    span = (2.0, 80.0) if age is None else (age, age)
    return (*limits.model_limits(*span), limits.AT_HOME, limits.NO_POSTURE)


def sources(client: Client) -> tuple[str, ...]:
    """Return where the figures behind the answer come from."""
    found = [*limits.MODEL_SOURCES]
    found += [f"{capital(plain(one.measure))}: {one.source}" for one in client.readings]
    return tuple(dict.fromkeys(found))
