"""People of a survey's official files, with its own weights and design."""

import numpy as np
import pandas as pd

from sizing.people import limits
from sizing.people.body import Drawn, draw_measures
from sizing.people.classes import age_band, bmi_class, body_mass_index
from sizing.people.own import check_draws
from sizing.people.people import People
from sizing.surveys import Survey


def people_of_survey(survey: Survey, *, draws: int = 5, seed: int = 1) -> People:
    """Return a survey's people, what nobody measured of them being drawn.

    Parameters
    ----------
    survey : Survey
        As the readers hand it over, such as ``read_nhanes_folder``. Its strata and
        sampling units, where it has them, are those of every interval.
    draws : int
        How often the measures nobody took are drawn for each person.
    seed : int
        Same survey, draws and seed: same people.

    Returns
    -------
    People
        ``frame`` as of ``load_people``; a measure the survey took (such as hips in
        the releases that have them) is ``measured``. Each draw's weights are the
        survey's.

    Raises
    ------
    SizingError
        If ``draws`` or ``seed`` is not a whole number.

    Examples
    --------
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
            limits.NO_POSTURE,
        ),
        settings={"name": survey.name, "draws": draws, "seed": seed},
        drawn=Drawn(seed, frame["draw"].to_numpy(dtype=np.int64)),
    )
