"""The populations that come with the kit, by name."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import SizingError, check_number, one_of, warn
from sizing.people import limits, totals
from sizing.people.body import Drawn, draw_measures
from sizing.people.classes import ADULT_AGE, age_band, bmi_class, body_mass_index
from sizing.people.margins import margins_from, named_margins, to_margins
from sizing.people.own import check_draws
from sizing.people.people import People
from sizing.people.weights import Weighting, rake
from sizing.surveys import read_embedded

Mask = npt.NDArray[np.bool_]

#: Fewer people than this carry no share worth reading (common practice, no source).
_FEW = 30
#: Body mass index a person cannot have; a threshold outside it is a slip.
_BMI_LIMITS = (20.0, 80.0)


@dataclass(frozen=True)
class _Population:
    """Who is in a named population, and where its evidence stops."""

    title: str
    chosen: Callable[[pd.DataFrame], Mask]
    limits: tuple[str, ...] = ()


def _adult(frame: pd.DataFrame) -> Mask:
    return (frame["age_years"] >= ADULT_AGE).to_numpy()


def _walks_with_difficulty(frame: pd.DataFrame) -> Mask:
    answer = frame["walking_difficulty"].fillna(False).to_numpy(dtype=bool)
    return np.asarray(answer & _adult(frame))


_POPULATIONS: dict[str, _Population] = {
    "everyone": _Population(
        "everyone aged 2 and over", lambda f: np.ones(len(f), dtype=bool)
    ),
    "children": _Population("children aged 2 to 17", lambda f: ~_adult(f)),
    "adults": _Population("adults aged 18 and over", _adult),
    "walking_difficulty": _Population(
        "adults with serious difficulty walking",
        _walks_with_difficulty,
        (limits.PROXY,),
    ),
    "care_home": _Population(
        "older adults reweighted to look like nursing-home residents",
        lambda f: (f["age_years"] >= 65).to_numpy(),
        (limits.CARE_HOME, limits.CARE_HOME_AGE),
    ),
    "bariatric": _Population("adults of high body mass index", _adult),
    "england_adults": _Population(
        "adults reweighted to published figures for England",
        _adult,
        (limits.ENGLAND,),
    ),
}

#: The names ``load_people`` knows.
POPULATIONS: tuple[str, ...] = tuple(_POPULATIONS)


def population_titles() -> dict[str, str]:
    """Return what each population is called in plain words, by its name.

    Examples
    --------
    >>> population_titles()["children"]
    'children aged 2 to 17'
    """
    return {name: population.title for name, population in _POPULATIONS.items()}


def load_people(
    name: str,
    *,
    draws: int = 5,
    seed: int = 1,
    bmi_threshold: float = 40.0,
    margins: pd.DataFrame | None = None,
) -> People:
    """Return one of the populations that come with the kit.

    Parameters
    ----------
    name : str
        ``everyone`` (2 and over), ``children`` (2 to 17), ``adults`` (18 and
        over), ``walking_difficulty`` (adults with serious difficulty walking),
        ``care_home`` (65 and over, reweighted to nursing-home residents),
        ``bariatric`` (adults of ``bmi_threshold`` or more), ``england_adults``
        (adults reweighted to figures for England).
    draws : int
        How often the measures nobody took are drawn for each person.
    seed : int
        Same name, settings and seed: same people, to the last byte.
    bmi_threshold : float
        Lowest body mass index (kg/m^2) of ``bariatric``; there is no one
        threshold in practice.
    margins : DataFrame, optional
        A user's own margins (see ``read_margins``) to which the population is
        reweighted, instead of those the kit has for it.

    Returns
    -------
    People
        ``frame`` has every measure, known or drawn, and the further columns
        ``age_band``, ``bmi``, ``bmi_class``, ``walking_difficulty``,
        ``ethnic_group`` (for weighting, never for sizing), ``age_top_coded``.
        ``settings["margins"]`` is the table of margins asked and reached, where
        there are any. Weights add up, draw by draw, to the number of people in
        the United States the population stands for; where margins were used they
        add up to the number of persons in ``frame``.

    Raises
    ------
    SizingError
        If the name is unknown, a setting cannot be used, or the margins cannot
        be met.

    Warns
    -----
    SizingWarning
        If the people tell no more than 30 equally weighted ones would.

    Notes
    -----
    Everyone is first raked to the totals of the survey's own weights by age, sex,
    ethnic group, class of body mass index and difficulty walking. Missing body mass
    and stature are drawn before anything that needs them. A margin on a drawn value
    holds over all draws together: a person has one weight, whatever the draw.

    A person whose body mass index is drawn is bariatric in some of her draws
    only. Those draws are kept and repeated until there are ``draws`` again, and
    her weight is multiplied by the share of her draws that belong: everyone
    keeps one weight and the same number of draws.

    ``care_home`` takes no margin on difficulty walking: no published share is at
    hand. A guess of 80 % would raise the design effect from about 8 to 14 and
    lower mean stature by 1.5 cm; mean hip girth would move by 0.1 cm.

    Examples
    --------
    >>> people = load_people("bariatric", draws=1)
    >>> bool(people.frame["bmi"].min() >= 40)
    True
    """
    one_of("population", name, POPULATIONS)
    check_draws(draws, seed)
    _check_threshold(bmi_threshold)
    wanted = margins_from(margins) if margins is not None else None
    if wanted is None and name in ("care_home", "england_adults"):
        wanted = named_margins(name)
    population = _POPULATIONS[name]
    everyone, weights = totals.weighted_embedded()
    chosen = population.chosen(everyone)
    if name == "bariatric":
        # Whoever is known to be lighter need not be drawn.
        chosen = chosen & ~(body_mass_index(everyone) < bmi_threshold).to_numpy(
            dtype=bool
        )
    frame = everyone[chosen].reset_index(drop=True)
    long, evidence = draw_measures(frame, draws=draws, seed=seed)
    number = long["draw"].to_numpy(dtype=np.int64)
    long["bmi"] = body_mass_index(long)
    weight = np.tile(weights[chosen], draws)
    if name == "bariatric":
        member = (long["bmi"] >= bmi_threshold).to_numpy()
        rows, factor = _members(member, draws)
        draw = np.repeat(np.arange(draws), len(rows) // draws)
        long, evidence = _take(long, rows), _take(evidence, rows)
        long["draw"], weight, number = draw, weight[rows] * factor, number[rows]
        if long.empty:
            raise SizingError(
                f"Nobody among the embedded adults has a body mass index of "
                f"{bmi_threshold:g} or more: lower bmi_threshold."
            )
    long["age_band"] = age_band(long["age_years"])
    long["bmi_class"] = bmi_class(long)
    ages = long["age_years"]
    people = People(
        name=name,
        frame=long,
        weight=pd.Series(weight, index=long.index, name="weight"),
        evidence=evidence,
        sources=(*_survey_sources(), totals.SOURCE, *limits.MODEL_SOURCES),
        limits=(
            *population.limits,
            *((limits.BARIATRIC,) if name == "bariatric" else ()),
            *limits.SURVEY,
            *limits.model_limits(float(ages.min()), float(ages.max())),
            limits.NO_POSTURE,
            *(() if name == "walking_difficulty" else (limits.PROXY,)),
        ),
        settings=_settings(name, draws, seed, bmi_threshold),
        drawn=Drawn(seed, number),
    )
    if wanted is not None:
        return reweight(people, wanted)
    _warn_if_few(people)
    return people


def reweight(people: People, margins: pd.DataFrame) -> People:
    """Return the people with weights tilted until they meet the margins.

    Parameters
    ----------
    people : People
    margins : DataFrame
        As ``read_margins`` describes; a variable is any column of
        ``people.frame``, or ``bmi``.

    Returns
    -------
    People
        Same rows; weights add up, draw by draw, to the number of persons.
        ``settings["margins"]`` holds the margins asked and reached, and
        ``settings["design_effect"]`` what the weights cost.

    Raises
    ------
    SizingError
        As ``rake``.

    Examples
    --------
    >>> from sizing.people.own import people_from
    >>> own = people_from(pd.DataFrame({"sex": ["f", "m", "m"],
    ...                                 "stature_cm": [160, 175, 180]}))
    >>> asked = pd.DataFrame([{"variable": "sex", "statistic": "share",
    ...                        "level": "female", "target": 0.5}])
    >>> reweight(own, asked).weight.round(6).tolist()
    [1.5, 0.75, 0.75]
    """
    table = margins_from(margins)
    result = rake(people.frame, table, weight=people.weight, person="person")
    scale = people.n * people.draws / result.weight.sum()
    cited = [source for source in dict.fromkeys(table["source"]) if source]
    reweighted = replace(
        people,
        weight=(result.weight * scale).rename("weight"),
        sources=(*people.sources, *(f"Margin: {source}" for source in cited)),
        limits=(*people.limits, _cost(result)),
        settings={
            **people.settings,
            "margins": result.table,
            "design_effect": result.design_effect,
            "iterations": result.iterations,
        },
    )
    if result.design_effect > 2 * people.design_effect:
        _warn_if_few(reweighted)
    return reweighted


@cache
def _survey_sources() -> tuple[str, ...]:
    return read_embedded().sources


def _members(
    member: Mask, draws: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Return which rows to take for whoever belongs in some draw.

    Rows come draw by draw, as the frame's do. A person with m draws that belong
    has them repeated in turn up to ``draws``, and the factor m / draws.
    """
    count = len(member) // draws
    table = member.reshape(draws, count)
    belongs = table.sum(axis=0)
    kept = np.flatnonzero(belongs)
    first = np.argsort(~table[:, kept], axis=0, kind="stable")
    turn = np.arange(draws)[:, None] % belongs[kept]
    rows = np.take_along_axis(first, turn, axis=0) * count + kept
    return rows.ravel(), np.tile(belongs[kept] / draws, draws)


def _take(frame: pd.DataFrame, rows: npt.NDArray[np.int64]) -> pd.DataFrame:
    return frame.iloc[rows].reset_index(drop=True)


def _settings(name: str, draws: int, seed: int, threshold: float) -> dict[str, Any]:
    more = {"bmi_threshold": threshold} if name == "bariatric" else {}
    return {"name": name, "draws": draws, "seed": seed, **more}


def _check_threshold(value: object) -> None:
    low, high = _BMI_LIMITS
    check_number("the body mass index", value, least=low, most=high)


def _warn_if_few(people: People) -> None:
    if people.effective_n < _FEW:
        warn(
            f"{people.name}: {people.n} people who say as much as "
            f"{people.effective_n:.0f} equally weighted ones; shares of so few are "
            "little more than anecdotes."
        )


def _cost(result: Weighting) -> str:
    """Return a sentence on what the weights cost, and on what they lean most."""
    table = result.table
    words = (
        f"Reweighted to {len(table)} margins: {result.n} people say as much "
        f"as {result.effective_n:.0f} equally weighted ones (design effect "
        f"{result.design_effect:.1f})."
    )
    counts = zip(
        to_margins(table.rename(columns={"asked": "target"})),
        table["n_in_class"],
        table["asked"] / table["before"],
        strict=True,
    )
    raised = [(grown, m, n) for m, n, grown in counts if m.statistic == "share"]
    if raised:
        grown, margin, count = max(raised, key=lambda found: float(found[0]))
        if grown > 2:
            words += (
                f" The {margin} is raised from {margin.target / grown:.0%} to "
                f"{margin.target:.0%}, and rests on {count} people."
            )
    return words
