"""How well each figure of each person is founded."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from sizing.measures import EVIDENCE, SEXES, vocabulary
from sizing.people.body.moments import adult_share, model_age
from sizing.people.body.terms import Floats, group_models

_TABLE = vocabulary().set_index("name")
#: Measures without any data beyond the heaviest people of the army survey.
NO_HEAVY_DATA = tuple(_TABLE.index[_TABLE["unsupported_when_heavy"] == "yes"])
#: Measures put together from others; of whom nobody had the measure itself taken.
CONVERTED = {
    "adult": tuple(_TABLE.index[_TABLE["converted_for"] == "everyone"]),
    "child": tuple(_TABLE.index[_TABLE["converted_for"] != "nobody"]),
}


def evidence_levels(
    sex: npt.NDArray[np.object_],
    mass: Floats,
    stature: Floats,
    age: Floats,
    measures: Sequence[str],
) -> npt.NDArray[np.int8]:
    """Return the evidence for predicted measures as positions in EVIDENCE.

    The first that holds counts. Unsupported: seat breadth, thigh or chest of an adult
    whose BMI is above what ANSUR II holds (its 99.5th percentile): nobody of that
    build was measured, reasonable forms disagree widely. (So is a draw that stayed
    implausible after every redraw.) Extrapolated: BMI for age, height or age outside
    what the coefficients were fitted on (lengths and thigh beyond 58 years; hip and
    waist beyond the 99.75th percentile of BMI of NHANES; children beyond the 98th of
    1977); a child's buttock-popliteal length, which is converted from buttock-knee
    length by the adults' share; the back along the body, which is put together from
    other lengths, a child's by the adults' share. (So are body mass and stature
    where nobody alike is among the embedded people.) Predicted: all else.

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
                if name in CONVERTED[group]:
                    level[:] = extrapolated
                out[rows, j] = level
    return out
