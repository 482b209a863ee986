"""The populations that come with the kit, by name."""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import SizingError, check_number, one_of, warn
from sizing.people.body import Drawn, draw_measures
from sizing.people.classes import ADULT_AGE, bmi_class, body_mass_index
from sizing.people.margins import margins_from, named_margins, to_margins
from sizing.people.own import classify, drawn_people
from sizing.people.people import People, limits_said
from sizing.people.weights import Weighting, rake
from sizing.resources import source_table, texts
from sizing.surveys import read_embedded
from sizing.words.numbers import given, share

#: What a cell of the totals may be of, and is by its kind.
KEYS = ("age_years_from", "sex", "ethnic_group", "build", "mass", "walking_difficulty")
CELLS: dict[str, tuple[str, ...]] = {
    "descent": KEYS[:3],
    "build": ("age_years_from", "sex", "build"),
    "walking": ("age_years_from", "sex", "build", "walking_difficulty"),
    "mass": ("sex", "mass", "walking_difficulty"),
}
#: Lower ends of the ages, by kind of cell: as fine as leaves three people in each.
_AGES = {
    "descent": (2, 6, 12, 20, 30, 40, 50, 60, 70, 80),
    "build": (2, 6, 18, 40, 60),
    "walking": (18, 60),
}
#: Classes of adults' body mass index as the cells of walking know them.
_COARSE = {
    "obesity class 1": "30 to 39",
    "obesity class 2": "30 to 39",
    "obesity class 3": "40 and over",
    "50 and over": "40 and over",
    "not measured": "not measured",
}
#: Where the tails of body mass index and of body mass begin.
_HEAVIEST, _HEAVY_KG = 50.0, 127.0
#: Rounds of raking, and how little a last one changes: totals are whole persons.
_ROUNDS, _NEAR = 500, 1e-5

#: Fewer people than this carry no share worth reading (common practice, no source).
_FEW = 30
_T = texts("people")
_POPULATIONS: dict[str, dict[str, Any]] = _T.populations

#: The names ``load_people`` knows.
POPULATIONS: tuple[str, ...] = tuple(_POPULATIONS)


def population_titles() -> dict[str, str]:
    """Return what each population is called in plain words, by its name."""
    return {name: population["title"] for name, population in _POPULATIONS.items()}


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
        ``wheelchair_users`` (those, reweighted to wheelchair users' sex and age),
        ``care_home_us`` and ``care_home_nordic`` (65 and over, reweighted to
        nursing-home residents there), ``bariatric`` (adults of ``bmi_threshold`` or
        more), ``england_adults`` (adults reweighted to figures for England).
    draws, seed : int
        How often what nobody took is drawn for each person; same name, settings and
        seed: same people, to the last byte.
    bmi_threshold : float
        Lowest body mass index (kg/m^2) of ``bariatric``; practice has no one threshold.
    margins : DataFrame, optional
        A user's own margins (``read_margins``) in place of those the kit has for it.

    Returns
    -------
    People
        ``frame`` has every measure, known or drawn, and ``age_band``, ``bmi``,
        ``bmi_class``, ``walking_difficulty``, ``ethnic_group`` (for weighting, never
        for sizing), ``age_top_coded``. ``settings["margins"]``: the margins asked and
        reached. Weights add up, draw by draw, to the number of people in the United
        States the population stands for; with margins, to the persons in ``frame``.

    Raises
    ------
    SizingError
        If the name is unknown, a setting is wrong, or the margins cannot be met.

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
    Who is bariatric in some draws only keeps those, repeated until there are ``draws``
    again, and a weight multiplied by their share.
    Care homes take no margin on difficulty walking: no published share is at hand.
    A guess of 80 % would lower ``care_home_nordic``'s mean stature by 1.5 cm.

    Examples
    --------
    >>> people = load_people("bariatric", draws=1)
    >>> bool(people.frame["bmi"].min() >= 40)
    True
    """
    if name == "care_home":
        what, allowed, action = _T.renamed
        raise SizingError(what, allowed=allowed, action=action)
    one_of("population", name, POPULATIONS)
    population = _POPULATIONS[name]
    # A body mass index a person cannot have is a slip; two of the people exceed 80.
    check_number("the body mass index", bmi_threshold, least=20.0, most=80.0)
    wanted = named_margins(name) if margins is None else margins_from(margins)
    everyone, weights = weighted_embedded()
    least, under = population["ages"]
    chosen = everyone["age_years"].between(least, under, "left").to_numpy()
    if population.get("walking"):
        walks = everyone["walking_difficulty"].fillna(False)
        chosen = chosen & walks.to_numpy(dtype=bool)
    if name == "bariatric":
        # Whoever is known to be lighter need not be drawn.
        lighter = body_mass_index(everyone) < bmi_threshold
        chosen = chosen & ~lighter.to_numpy(dtype=bool)
    frame = everyone[chosen].reset_index(drop=True)
    long, evidence = draw_measures(frame, draws=draws, seed=seed)
    number = long["draw"].to_numpy(dtype=np.int64)
    weight = np.tile(weights[chosen], draws)
    if name == "bariatric":
        member = (body_mass_index(long) >= bmi_threshold).to_numpy()
        rows, factor = _members(member, draws)
        draw = np.repeat(np.arange(draws), len(rows) // draws)
        long, evidence = (
            part.iloc[rows].reset_index(drop=True) for part in (long, evidence)
        )
        long["draw"], weight, number = draw, weight[rows] * factor, number[rows]
    classify(long)
    more = {"bmi_threshold": bmi_threshold} if name == "bariatric" else {}
    people = drawn_people(
        long,
        evidence,
        weight,
        Drawn(seed, number),
        limits_said(*population.get("limits", []), "survey"),
        ("no_posture", "proxy"),
        name=name,
        sources=(*read_embedded().sources, _T.totals_source),
        settings={"name": name, "draws": draws, "seed": seed, **more},
    )
    if len(wanted):
        return reweight(people, wanted)
    _warn_if_few(people)
    return people


def cells(frame: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Return the cell of each person, by kind of cell; missing keys are all."""
    sex, age = frame["sex"].to_numpy(), frame["age_years"].to_numpy(dtype=float)
    bmi = body_mass_index(frame)
    build = pd.Series(np.asarray(bmi_class(frame), dtype=object), frame.index)
    build = build.mask(bmi.ge(_HEAVIEST) & (age >= ADULT_AGE), "50 and over")
    build = build.fillna("not measured")

    def ages(kind: str) -> npt.NDArray[np.int64]:
        ends = np.array(_AGES[kind])
        return ends[np.maximum(np.searchsorted(ends, age, side="right") - 1, 0)]

    coarse = build.map(_COARSE).fillna("under 30")
    answer = frame["walking_difficulty"].astype("object").map({True: "yes"})
    adult = age >= ADULT_AGE
    walks = answer.where(adult).fillna("no")
    heavy = frame["body_mass_kg"] > _HEAVY_KG
    mass = heavy.map({True: "over 127 kg", False: "up to 127 kg"})
    mass = mass.mask(frame["body_mass_kg"].isna(), "not measured").where(adult, "all")
    walking_age = np.where(adult, ages("walking"), 0)
    cells: dict[str, list[Any]] = {
        "descent": [ages("descent"), sex, frame["ethnic_group"].to_numpy()],
        "build": [ages("build"), sex, build],
        "walking": [walking_age, sex, coarse.where(adult, "all"), walks],
        "mass": [sex, mass, walks],
    }
    return {
        kind: pd.DataFrame(dict(zip(CELLS[kind], cell, strict=True)), frame.index)
        for kind, cell in cells.items()
    }


@cache
def weighted_embedded() -> tuple[pd.DataFrame, npt.NDArray[np.float64]]:
    """Return the embedded people, raked to the survey's own totals, and their weights.

    Iterative proportional fitting: Deming and Stephan, Ann Math Stat 1940;11:427-444
    (from memory).
    """
    frame = read_embedded().frame
    table = source_table("nhanes_2017_2018_totals.csv", keep_default_na=False)
    wanted: list[tuple[npt.NDArray[np.intp], npt.NDArray[np.float64]]] = []
    for kind, cell in cells(frame).items():
        by = list(cell)
        total = table[table["kind"] == kind].set_index(by)["total"]
        codes, levels = pd.MultiIndex.from_frame(cell.astype(str)).factorize()
        wanted.append((codes, total.reindex(levels).to_numpy(dtype=float)))
    weight: npt.NDArray[np.float64] = np.ones(len(frame))
    for _ in range(_ROUNDS):
        before = weight
        for codes, goal in wanted:
            weight = weight * (goal / np.bincount(codes, weight))[codes]
        if np.abs(weight / before - 1).max() < _NEAR:
            return frame, weight
    raise SizingError("the totals that come with the kit contradict one another")


def reweight(people: People, margins: pd.DataFrame) -> People:
    """Return the people with weights tilted to margins; ``settings``: what it cost."""
    table = margins_from(margins)
    result = rake(people.frame, table, weight=people.weight, person="person")
    scale = people.n * people.draws / result.weight.sum()
    cited = [source for source in dict.fromkeys(table["source"]) if source]
    reweighted = replace(
        people,
        weight=(result.weight * scale).rename("weight"),
        sources=(*people.sources, *(f"Margin: {source}" for source in cited)),
        limits=(*people.limits, _cost(result, people.n)),
        settings={
            **people.settings,
            "margins": result.table,
            "design_effect": result.design_effect,
        },
    )
    if result.design_effect > 2 * people.design_effect:
        _warn_if_few(reweighted)
    return reweighted


def _members(
    member: npt.NDArray[np.bool_], draws: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """A person of m draws that belong has them repeated to ``draws``, by m / draws."""
    count = len(member) // draws
    table = member.reshape(draws, count)
    belongs = table.sum(axis=0)
    kept = np.flatnonzero(belongs)
    first = np.argsort(~table[:, kept], axis=0, kind="stable")
    turn = np.arange(draws)[:, None] % belongs[kept]
    rows = np.take_along_axis(first, turn, axis=0) * count + kept
    return rows.ravel(), np.tile(belongs[kept] / draws, draws)


def _warn_if_few(people: People) -> None:
    if people.effective_n < _FEW:
        warn(
            f"{people.name}: {people.n} people as informative as "
            f"{people.effective_n:.0f} equally weighted ones; shares of so few are "
            "little more than anecdotes."
        )


def _cost(result: Weighting, n: int) -> str:
    table = result.table
    effect = result.design_effect
    words = (
        f"Reweighted to {len(table)} margins: {n:,} people say as much as "
        f"{n / effect:,.0f} equally weighted ones (design effect {effect:.1f})."
    )
    # What is doubled is not more than doubled by the last bit of a sum.
    grown = (table["asked"] / table["before"]).round(9)
    grown = grown.where(table["statistic"] == "share")
    if grown.max() > 2:
        most = table.loc[[grown.idxmax()]].rename(columns={"asked": "target"})
        (margin,) = to_margins(most)
        words += (
            f" The {margin} is raised from {share(margin.target / grown.max())} to "
            f"{given(margin.target)}, and rests on {most['n_in_class'].item()} people."
        )
    return words
