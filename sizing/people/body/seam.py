"""The seam between the children's and the adults' coefficients, made public."""

import numpy as np
import pandas as pd

from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body.moments import moments
from sizing.people.body.terms import group_models

#: Builds at which the seam is shown: stature in cm by sex, and BMI.
STATURES = {"female": (155.0, 163.0, 171.0), "male": (166.0, 176.0, 186.0)}
BMIS = (18.0, 22.0, 30.0)
_AGES = np.arange(15.0, 22.0)


def seam_steps() -> pd.DataFrame:
    """Return how far predictions step between 15 and 21 years at the same build.

    Between 16 and 20 years the children's and the adults' coefficients are
    blended, so nobody's prediction jumps; what the two disagree on is spread
    over those years.

    Returns
    -------
    DataFrame
        ``sex, stature_cm, bmi, measure``; ``step_cm``: the largest change of
        the prediction from one year of age to the next; ``disagreement_cm``:
        the adults' minus the children's prediction at 18 years.

    Examples
    --------
    >>> bool((seam_steps()["step_cm"].abs() <= 2.5).all())
    True
    """
    rows = []
    for sex in SEXES:
        for stature in STATURES[sex]:
            for bmi in BMIS:
                mass = np.full(len(_AGES), bmi * (stature / 100) ** 2)
                tall = np.full(len(_AGES), stature)
                one = moments(
                    # A little past the birthday: a whole number would be read
                    # as completed years.
                    np.full(len(_AGES), sex, dtype=object),
                    mass,
                    tall,
                    _AGES + 1e-6,
                )
                steps = np.diff(np.exp(one.mean), axis=0)
                ends = {}
                for group in ("child", "adult"):
                    model = group_models(group)[sex]
                    age = np.array([18.0])
                    x = model.predictors(mass[:1], tall[:1], age)
                    for name in SEATED_AND_GIRTHS:
                        m = model.measures[name]
                        terms, _, above = m.design(x, age)
                        mean = terms @ m.beta + m.shift * above
                        ends[group, name] = float(np.exp(mean[0]))
                for j, name in enumerate(SEATED_AND_GIRTHS):
                    largest = steps[np.abs(steps[:, j]).argmax(), j]
                    apart = ends["adult", name] - ends["child", name]
                    rows.append((sex, stature, bmi, name, float(largest), apart))
    columns = ["sex", "stature_cm", "bmi", "measure", "step_cm", "disagreement_cm"]
    return pd.DataFrame(rows, columns=columns)
