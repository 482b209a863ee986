"""What the body model accepts, and drawn bodies that cannot be: drawn again."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import InputProblems, Problem
from sizing.measures import MEASURES, SEATED_AND_GIRTHS, SEXES
from sizing.people.body.terms import Floats

#: Nobody younger was measured seated.
YOUNGEST = 2.0


def checked(frame: pd.DataFrame) -> pd.DataFrame:
    """Missing columns are added empty; nothing is changed or repaired."""
    problems = [
        Problem(f"the column '{name}' is missing", action="add it", column=name)
        for name in ("person", "sex")
        if name not in frame
    ]
    if problems:
        raise InputProblems(problems, about="the people")
    if len(frame) == 0:
        raise InputProblems([Problem("there are no people")], about="the people")
    out = frame.reset_index(drop=True).copy()
    twice = ("this person is in the table more than once", "one row per person", "")
    unknown = ("unknown sex", ", ".join(SEXES), "the model has no figures without it")
    for words, column, bad in (
        (twice, "person", out["person"].duplicated()),
        (unknown, "sex", ~out["sex"].isin(SEXES)),
    ):
        problems += [
            Problem(*words, None, row + 2, column, out[column].iloc[row])
            for row in np.flatnonzero(bad)[:5]
        ]
    for name in ("age_years", *MEASURES):
        if name not in out:
            out[name] = np.nan
            continue
        try:
            out[name] = (
                out[name].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
            )
        except (TypeError, ValueError):
            problems.append(Problem("not a number somewhere", "numbers", column=name))
            continue
        value = out[name].to_numpy()
        if name == "age_years":
            wrong, allowed = (value < YOUNGEST) | (value > 120), "2 to 120 years"
            what = "outside the ages the model knows"
        else:
            wrong, allowed = (value <= 0) | np.isinf(value), "above 0"
            what = "not a body measure"
        problems += [
            Problem(what, allowed, row=row + 2, column=name, value=float(value[row]))
            for row in np.flatnonzero(wrong)[:5]
        ]
    if problems:
        raise InputProblems(problems, about="the people")
    return out


#: numerator, denominator, low and high ratio. Wider than anybody in ANSUR II
#: and Snyder 1977 by a twentieth of the range seen there or more (a test holds
#: that; common practice, no source); geometry where the comment says so.
RATIOS: tuple[tuple[str, str, float, float], ...] = (
    ("sitting_height_cm", "stature_cm", 0.42, 0.66),
    ("shoulder_height_sitting_cm", "sitting_height_cm", 0.50, 0.80),
    ("buttock_popliteal_length_cm", "stature_cm", 0.18, 0.38),
    # A section twice as wide as its girth would be thinner than a line.
    ("hip_breadth_sitting_cm", "hip_circumference_cm", 0.20, 0.50),
    ("thigh_circumference_cm", "hip_circumference_cm", 0.35, 0.85),
    ("waist_circumference_cm", "hip_circumference_cm", 0.50, 1.60),
    ("chest_circumference_cm", "waist_circumference_cm", 0.55, 1.90),
)


def implausible(build: Floats, values: Floats) -> npt.NDArray[np.bool_]:
    """Return which bodies break one of RATIOS; parameters as for ``broken_ratios``."""
    return np.asarray(broken_ratios(build, values).any(axis=1), dtype=bool)


def broken_ratios(build: Floats, values: Floats) -> npt.NDArray[np.bool_]:
    """Return which bodies break which of RATIOS, shape (n, ratios)."""
    column = dict(zip(SEATED_AND_GIRTHS, values.T, strict=True))
    column["stature_cm"] = build[:, 1]
    out = np.empty((len(values), len(RATIOS)), dtype=bool)
    for j, (above, below, low, high) in enumerate(RATIOS):
        ratio = column[above] / column[below]
        out[:, j] = ~((ratio >= low) & (ratio <= high))
    return out
