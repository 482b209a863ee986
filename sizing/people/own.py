"""A user's own people, and those of a survey's official files, in the kit's form."""

from typing import Any

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
from sizing.resources import texts
from sizing.surveys import Survey

MEASURED, MISSING = EVIDENCE[0], EVIDENCE[-1]
_T = texts("people")
_W: dict[str, str] = _T.own
_P: dict[str, list[str]] = _T.own_problems


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
        raise SizingError(_W["no_rows"])
    standard = to_standard_units(frame).reset_index(drop=True)
    if isinstance(weight, str):
        if weight not in standard:
            columns = ", ".join(map(str, standard.columns))
            raise SizingError(_W["no_weights"].format(weight=weight, columns=columns))
        weight = standard.pop(weight).to_numpy()
    w = checked_weight(weight, len(standard), zeros=True)
    measures = [measure for measure in MEASURES if measure in standard]
    if not measures and draws is None:
        raise SizingError(_W["no_measure"].format(measures=", ".join(MEASURES)))
    standard = _with_keys(standard, drawing=draws is not None)
    settings = {"draws": draws, "seed": seed}
    if draws is not None:
        if "sex" not in standard:
            raise SizingError(_W["no_sex"])
        out, evidence = draw_measures(
            standard.drop(columns="draw"), draws=draws, seed=seed
        )
        drawn = Drawn(seed, out["draw"].to_numpy(dtype=np.int64))
        about: dict[str, Any] = {"name": name, "settings": settings}
        about |= {"sources": (_W["source"],)}
        stops = limits.said("own")
        return drawn_people(out, evidence, np.tile(w, draws), drawn, stops, **about)
    known = {m: _measured_or_missing(standard[m]) for m in measures}
    return People(
        name=name,
        frame=standard,
        weight=pd.Series(w, index=standard.index, name="weight"),
        evidence=pd.DataFrame(known),
        sources=(_W["source"],),
        limits=limits.said("own", "no_posture"),
        settings=settings,
    )


def drawn_people(
    frame: pd.DataFrame,
    evidence: pd.DataFrame,
    weight: npt.NDArray[np.float64],
    drawn: Drawn,
    stops: tuple[str, ...],
    last: tuple[str, ...] = ("no_posture",),
    *,
    sources: tuple[str, ...],
    **about: Any,
) -> People:
    """Return people whose missing measures were drawn, with the model's own limits."""
    ages = frame["age_years"]
    own = limits.model_limits(float(ages.min()), float(ages.max()))
    return People(
        frame=frame,
        weight=pd.Series(weight, index=frame.index, name="weight"),
        evidence=evidence,
        sources=(*sources, *limits.MODEL_SOURCES),
        limits=tuple(dict.fromkeys((*stops, *own, *limits.said(*last)))),
        drawn=drawn,
        **about,
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
    classify(frame)
    weight = np.tile(survey.weight.to_numpy(dtype=float), draws)
    drawn = Drawn(seed, frame["draw"].to_numpy(dtype=np.int64))
    settings = {"name": survey.name, "draws": draws, "seed": seed}
    about: dict[str, Any] = {"name": survey.name, "settings": settings}
    about |= {"sources": survey.sources}
    return drawn_people(frame, evidence, weight, drawn, survey.limits, **about)


def classify(frame: pd.DataFrame) -> None:
    frame["bmi"] = body_mass_index(frame)
    frame["age_band"] = age_band(frame["age_years"])
    frame["bmi_class"] = bmi_class(frame)


def check_draws(draws: object, seed: object) -> None:
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
            raise SizingError(_W["draw_alone"])
        out.insert(0, "person", np.arange(len(out)))
    if "draw" not in out:
        out.insert(1, "draw", 0)
    elif drawing and (out["draw"] != out["draw"].iloc[0]).any():
        raise SizingError(_W["drawn_before"])
    faults = {
        "no_person": (out["person"].isna(), None),
        "twice": (out.duplicated(["person", "draw"]), "person"),
    }
    problems = [
        Problem.of(
            _P[words], None, row + 2, column, out[column].iloc[row] if column else None
        )
        for words, (where, column) in faults.items()
        for row in np.flatnonzero(where)[:10].tolist()
    ]
    if problems:
        raise InputProblems(problems, about="the people")
    rest = [c for c in out.columns if c not in ("person", "draw")]
    return out[["person", "draw", *rest]]
