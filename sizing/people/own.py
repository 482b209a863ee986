"""A user's own people, and those of a survey's official files, in the kit's form."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError, check_number, check_seed
from sizing.measures import EVIDENCE, MEASURES, to_standard_units
from sizing.people import limits
from sizing.people.body import Drawn, draw_measures
from sizing.people.classes import age_band, bmi_class, body_mass_index
from sizing.people.people import People
from sizing.people.weights import checked_weight
from sizing.surveys import Survey

MEASURED, MISSING = EVIDENCE[0], EVIDENCE[-1]


def people_from(
    frame: pd.DataFrame,
    *,
    weight: str | npt.ArrayLike | None = None,
    draws: int | None = None,
    seed: int = 1,
    name: str = "own people",
) -> People:
    """Make ``People`` of a table of the user's own.

    Parameters
    ----------
    frame : DataFrame
        One row per person (or per person and draw, if it has both columns).
        Measures are named with their unit, such as ``hip_circumference_cm`` or
        ``body_mass_lb``, and converted once, by ``to_standard_units``. ``sex``
        and ``age_years`` are needed only where measures are to be drawn. Other
        columns are kept.
    weight : str or array-like, optional
        A column of ``frame``, which then leaves it, or one number per row; 1 each
        if not given. Negative or missing weights are refused, 0 is allowed.
    draws : int, optional
        Not given: nothing is filled in, and what is missing stays missing. k:
        what is missing is drawn k times, jointly, from what is known.
    seed : int
        Seed of the draws.
    name : str
        What the people are called.

    Returns
    -------
    People
        ``frame`` with ``person`` and ``draw`` first, index 0, 1, ....
        ``evidence``: measured, missing, or what the draws say.

    Raises
    ------
    InputProblems
        Naming everything the unit gate refuses, persons standing twice, or, with
        draws, people without a sex.
    SizingError
        If there are no rows or no measure, the weights cannot weigh people, or
        ``draws`` or ``seed`` is not a whole number.

    Examples
    --------
    >>> own = people_from(pd.DataFrame({"hip_circumference_in": [40.0, None]}))
    >>> own.frame["hip_circumference_cm"].tolist()
    [101.6, nan]
    >>> own.evidence["hip_circumference_cm"].tolist()
    ['measured', 'missing']
    """
    if draws is not None:
        check_draws(draws, seed)
    if frame.empty:
        raise SizingError("There are no people: the table has no rows.")
    standard = to_standard_units(frame).reset_index(drop=True)
    if isinstance(weight, str):
        if weight not in standard:
            columns = ", ".join(map(str, standard.columns))
            raise SizingError(
                f"There is no column '{weight}' to take the weights from; there are "
                f"{columns}."
            )
        weight = standard.pop(weight).to_numpy()
    w = checked_weight(weight, len(standard), zeros=True)
    measures = [measure for measure in MEASURES if measure in standard]
    if not measures and draws is None:
        raise SizingError(
            "The table has no body measure. Allowed: one or more of "
            f"{', '.join(MEASURES)}, also in other units such as hip_circumference_in."
        )
    standard = _with_keys(standard, drawing=draws is not None)
    if draws is None:
        evidence = pd.DataFrame(
            {m: _measured_or_missing(standard[m]) for m in measures}
        )
        out = standard
        more: tuple[str, ...] = ()
        drawn = None
    else:
        _need_sex(standard)
        out, evidence = draw_measures(
            standard.drop(columns="draw"), draws=draws, seed=seed
        )
        w = np.tile(w, draws)
        drawn = Drawn(seed, out["draw"].to_numpy(dtype=np.int64))
        ages = out["age_years"]
        more = limits.model_limits(float(ages.min()), float(ages.max()))
    return People(
        name=name,
        frame=out,
        weight=pd.Series(w, index=out.index, name="weight"),
        evidence=evidence,
        sources=("The user's own table.", *(limits.MODEL_SOURCES if draws else ())),
        limits=(*limits.said("own"), *more, *limits.said("no_posture")),
        settings={"draws": draws, "seed": seed},
        drawn=drawn,
    )


def people_of_survey(survey: Survey, *, draws: int = 5, seed: int = 1) -> People:
    """Return a survey's people, what nobody measured of them being drawn.

    ``frame`` as of ``load_people``; a measure the survey took (such as hips in the
    releases that have them) is ``measured``. Each draw's weights are the survey's.

    >>> from sizing.surveys import read_nhanes_folder
    >>> survey = read_nhanes_folder("nhanes_2017_2018")  # doctest: +SKIP
    >>> people_of_survey(survey, draws=2).measures[:2]  # doctest: +SKIP
    ('stature_cm', 'body_mass_kg')
    """
    check_draws(draws, seed)
    frame, evidence = draw_measures(survey.frame, draws=draws, seed=seed)
    frame["bmi"] = body_mass_index(frame)
    frame["age_band"] = age_band(frame["age_years"])
    frame["bmi_class"] = bmi_class(frame)
    ages = frame["age_years"]
    weight = np.tile(survey.weight.to_numpy(dtype=float), draws)
    return People(
        name=survey.name,
        frame=frame,
        weight=pd.Series(weight, index=frame.index, name="weight"),
        evidence=evidence,
        sources=(*survey.sources, *limits.MODEL_SOURCES),
        limits=(
            *survey.limits,
            *limits.model_limits(float(ages.min()), float(ages.max())),
            *limits.said("no_posture"),
        ),
        settings={"name": survey.name, "draws": draws, "seed": seed},
        drawn=Drawn(seed, frame["draw"].to_numpy(dtype=np.int64)),
    )


def check_draws(draws: object, seed: object) -> None:
    """Refuse numbers of draws and seeds that are no such whole numbers."""
    check_number("the number of draws", draws, least=1, most=10_000, whole=True)
    check_seed(seed)


def _measured_or_missing(column: pd.Series) -> pd.Series:
    # Taking from two words is ten times faster than writing a million.
    words = pd.Series([MEASURED, MISSING])
    return words.iloc[column.isna().to_numpy().astype(int)].reset_index(drop=True)


def _with_keys(frame: pd.DataFrame, *, drawing: bool) -> pd.DataFrame:
    """Return the frame with ``person`` and ``draw`` first, each pair once."""
    out = frame.copy()
    own_keys = "person" in out
    if not own_keys:
        if "draw" in out:
            raise SizingError(
                "The table has a column 'draw' but no column 'person': add it, so "
                "that the draws of one person are known to belong together."
            )
        out.insert(0, "person", np.arange(len(out)))
    if "draw" not in out:
        out.insert(1, "draw", 0)
    elif drawing and (out["draw"] != out["draw"].iloc[0]).any():
        raise SizingError(
            "The table already has several draws per person: leave out its column "
            "'draw', or do not ask for draws."
        )
    rest = [c for c in out.columns if c not in ("person", "draw")]
    if not own_keys:
        return out[["person", "draw", *rest]]
    problems = [
        Problem("this row has no person", "a number or key", "", row=row + 2)
        for row in np.flatnonzero(out["person"].isna())[:10].tolist()
    ]
    twice = out.duplicated(["person", "draw"]).to_numpy()
    problems += [
        Problem(
            "this person stands in the table twice",
            "one row per person and draw",
            "remove one of the rows or leave out the column 'person'",
            row=row + 2,
            column="person",
            value=out["person"].iloc[row],
        )
        for row in np.flatnonzero(twice)[:10].tolist()
    ]
    if problems:
        raise InputProblems(problems, about="the people")
    return out[["person", "draw", *rest]]


def _need_sex(frame: pd.DataFrame) -> None:
    if "sex" not in frame:
        raise SizingError(
            "Measures cannot be drawn without a column 'sex' (female or male). What to "
            "do: add it, or leave draws out, so that what is missing stays missing."
        )
