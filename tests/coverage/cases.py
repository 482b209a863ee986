"""A chart of two sizes and a few people, for the tests of coverage."""

import numpy as np
import pandas as pd

from sizing.charts import chart_from
from sizing.people.people import People
from sizing.stats.layout import Layout

CHART = chart_from(
    pd.DataFrame(
        {
            "size": ["one", "two"],
            "stature_cm_low": [150, 172],
            "stature_cm_high": [168, 190],
        }
    ),
    warn=False,
)


def people_of(stature, weight=None, level="measured", **columns):
    """Return people of these statures, one draw each."""
    frame = pd.DataFrame({"stature_cm": np.asarray(stature, float)})
    frame = frame.assign(person=range(len(frame)), draw=0).assign(**columns)
    weight = pd.Series(np.ones(len(frame)) if weight is None else np.asarray(weight))
    evidence = pd.DataFrame({"stature_cm": level}, index=frame.index)
    return People("some", frame, weight, evidence)


def place_of(weight, draws=1, **more):
    """Return where each person's draws stand, one after another."""
    n = len(weight)
    rows = np.arange(n * draws).reshape(draws, n)
    return Layout(rows, np.asarray(weight, float), **more)
