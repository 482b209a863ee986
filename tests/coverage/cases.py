"""A chart of two sizes with a gap, and invented people, for the tests of coverage."""

import numpy as np
import pandas as pd

from sizing.charts import chart_from
from sizing.people.people import People
from sizing.stats.estimates import Layout


def chart_of(measure="stature_cm", **bands):
    """Return a chart of sizes by their names, each with a band of one measure."""
    low, high = zip(*bands.values(), strict=True)
    frame = pd.DataFrame({"size": list(bands), f"{measure}_low": low})
    return chart_from(frame.assign(**{f"{measure}_high": high}), warn=False)


CHART = chart_of(one=(150, 168), two=(172, 190))


def people_with(frame, weight=None, level="measured"):
    """Return people of these rows, one draw each where none are told."""
    frame = frame.reset_index(drop=True)
    if "person" not in frame:
        frame = frame.assign(person=range(len(frame)), draw=0)
    measures = [c for c in frame if c.endswith(("_cm", "_kg"))]
    weight = np.ones(len(frame)) if weight is None else np.asarray(weight, float)
    evidence = pd.DataFrame(dict.fromkeys(measures, level), index=frame.index)
    return People("some", frame, pd.Series(weight), evidence)


def invented(rng, n=300, draws=3):
    """Return people of all ages with the demo chart's measures, drawn so often."""
    person = np.tile(np.arange(n), draws)
    stature = rng.normal(165, 14, n)[person]
    mass = np.exp(rng.normal(3.25, 0.25, n))[person] * (stature / 100) ** 2
    frame = pd.DataFrame(
        {
            "person": person,
            "draw": np.repeat(np.arange(draws), n),
            "sex": np.where(rng.random(n) < 0.5, "female", "male")[person],
            "age_years": rng.uniform(3, 90, n)[person],
            "stature_cm": stature,
            "body_mass_kg": mass,
            "shoulder_height_sitting_cm": stature * 0.35 + rng.normal(0, 2, n * draws),
            "buttock_popliteal_length_cm": stature * 0.29 + rng.normal(0, 2, n * draws),
            "hip_circumference_cm": 35 + mass * 0.85 + rng.normal(0, 4, n * draws),
        }
    )
    return people_with(frame, rng.gamma(2, 1, n)[person], "predicted")


def people_of(stature, weight=None, level="measured", **columns):
    """Return people of these statures, one draw each."""
    frame = pd.DataFrame({"stature_cm": np.asarray(stature, float)}).assign(**columns)
    return people_with(frame, weight, level)


def place_of(weight, draws=1, **more):
    """Return where each person's draws stand, one after another."""
    n = len(weight)
    rows = np.arange(n * draws).reshape(draws, n)
    return Layout(rows, np.asarray(weight, float), **more)


def exposed_people(counts, **columns):
    """Of those exposed a fall between and b do not; of the others c and d."""
    a, b, c, d = counts
    stature = np.repeat([170.0, 160, 170, 160], counts)
    exposed = np.repeat(["yes", "no"], [a + b, c + d])
    return people_of(stature, exposed=exposed, **({"age_years": 50.0} | columns))
