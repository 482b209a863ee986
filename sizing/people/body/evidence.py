"""How well each figure of each person is founded: the rules, in one table."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.measures import EVIDENCE, SEXES
from sizing.people.body.moments import adult_share, model_age
from sizing.people.body.terms import Floats, group_models

#: Measures without any data beyond the heaviest people of the army survey.
NO_HEAVY_DATA = (
    "hip_breadth_sitting_cm",
    "thigh_circumference_cm",
    "chest_circumference_cm",
)

_RULES = (
    ("measured", "all", "the value was given"),
    (
        "unsupported",
        ", ".join(NO_HEAVY_DATA),
        "an adult's BMI is above what ANSUR II holds (its 99.5th percentile): "
        "nobody of that build was measured, reasonable forms disagree widely",
    ),
    (
        "unsupported",
        "all",
        "a draw stayed implausible after every redraw (see draw_measures)",
    ),
    (
        "extrapolated",
        "all",
        "BMI for age, height or age is outside what the coefficients were fitted "
        "on: lengths and thigh beyond 58 years (ANSUR II), hip and waist beyond "
        "the 99.75th percentile of BMI of NHANES, children beyond the 98th "
        "percentile of BMI in 1977",
    ),
    (
        "extrapolated",
        "buttock_popliteal_length_cm",
        "a child's: converted from buttock-knee length by the adults' share",
    ),
    (
        "extrapolated",
        "body_mass_kg, stature_cm",
        "missing, and nobody alike is among the embedded people",
    ),
    (
        "predicted",
        "all",
        "otherwise, when the value was missing: drawn from the model, or from "
        "embedded people built alike (weight, height)",
    ),
)


def evidence_rules() -> pd.DataFrame:
    """Return the rules by which evidence is graded; the first that holds counts.

    Returns
    -------
    DataFrame
        Columns ``evidence``, ``measures``, ``when``.

    Examples
    --------
    >>> list(evidence_rules()["evidence"].unique())
    ['measured', 'unsupported', 'extrapolated', 'predicted']
    """
    return pd.DataFrame(_RULES, columns=["evidence", "measures", "when"])


def evidence_levels(
    sex: npt.NDArray[np.object_],
    mass: Floats,
    stature: Floats,
    age: Floats,
    measures: Sequence[str],
) -> npt.NDArray[np.int8]:
    """Return the evidence for predicted measures as positions in EVIDENCE.

    Between 16 and 20 years the group with the larger share decides.
    """
    predicted, extrapolated, unsupported = (
        EVIDENCE.index(name) for name in ("predicted", "extrapolated", "unsupported")
    )
    years = model_age(age)
    adult = adult_share(years) >= 0.5
    out = np.full((len(sex), len(measures)), predicted, dtype=np.int8)
    for group in ("child", "adult"):
        for one_sex in SEXES:
            rows = np.flatnonzero((sex == one_sex) & (adult == (group == "adult")))
            if len(rows) == 0:
                continue
            model = group_models(group)[one_sex]
            x = model.predictors(mass[rows], stature[rows], years[rows])
            for j, name in enumerate(measures):
                low, high = model.measures[name].bounds(years[rows])
                # A range of one's own age group ends where the seam begins.
                outside = ((x < low) | (x > high))[:, : 3 if group == "adult" else 2]
                level = np.where(outside.any(axis=1), extrapolated, predicted)
                if group == "adult" and name in NO_HEAVY_DATA:
                    level[x[:, 0] > high[:, 0]] = unsupported
                if group == "child" and name == "buttock_popliteal_length_cm":
                    level[:] = extrapolated
                out[rows, j] = level
    return out
