"""What the body model accepts: one gate for draws and predictions."""

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem
from sizing.measures import MEASURES, SEXES

#: Nobody younger was measured seated.
YOUNGEST = 2.0


def checked(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with every measure as a float column, or refuse it.

    Missing columns are added empty; nothing is changed or repaired.
    """
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
