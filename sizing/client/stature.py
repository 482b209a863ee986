"""Stature of a person who cannot stand, from a segment of the body."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from sizing.client.how import ESTIMATED, Reading
from sizing.errors import SizingError, one_of
from sizing.measures import SEXES, Amount, Said, Say, told, written
from sizing.people.body.donors import donors
from sizing.people.body.model import model_age
from sizing.people.classes import ADULT_AGE
from sizing.resources import source_table

#: Outside the ages an equation was made on its error is widened by this much
#: (common practice, no source).
BEYOND_AGES = 1.5
STATURE = "stature_cm"
#: Published knee-height equations, the one used first.
KNEE_EQUATIONS: tuple[str, ...] = ("chumlea_1985", "donini_2000")
#: A prior of stature this many years around the person's age.
_NEAR_YEARS = 10.0


@dataclass(frozen=True)
class StatureEstimate:
    """Stature worked out from one segment.

    Of ``table`` each row is an equation that could be used, best first: ``segment``,
    ``value_cm``, ``estimate``, ``low``, ``high`` (90 %), ``sd_cm``, ``ages`` (inside
    or beyond those it was made on), ``method``, ``n`` (people behind it, missing
    where not known), ``source``, ``used``.
    """

    table: pd.DataFrame

    @property
    def best(self) -> pd.Series:
        return self.table.iloc[0]

    def summary(self, *, say: Say = written) -> str:
        return told(self.said(), say)

    def said(self, *, short: bool = False) -> Said:
        """Return the estimate as a sentence that says itself in any units.

        In short, without what the segment is and where the equation comes from.
        """
        row = self.best
        middle, low, high = (float(row[name]) for name in ("estimate", "low", "high"))
        beyond = (
            "; beyond the ages the equation was made on, so its error is widened by "
            f"{BEYOND_AGES:g}"
        )
        template = (
            "Height estimated from {segment} ({what}): {middle} (9 in 10 such people: "
            "{low} to {high}; {source}){beyond}."
        )
        if short:
            template = template.replace(" ({what})", "").replace("; {source}", "")
        return Said(
            template,
            segment=_label(row["segment"]),
            what=segment_table().loc[row["segment"], "definition"],
            middle=Amount(middle, STATURE),
            low=Amount(low, STATURE),
            high=Amount(high, STATURE),
            source=str(row["source"]).split("; error in use")[0],
            beyond=beyond if row["ages"] == "beyond" else "",
        )


@cache
def segment_table() -> pd.DataFrame:
    return source_table("segments.csv").set_index("segment")


@cache
def equations() -> pd.DataFrame:
    """Return every equation for stature: segment, sex, ages, terms, error, source."""
    published = source_table("stature_equations.csv").drop(columns="people")
    own = source_table("segment_equations.csv").assign(key="survey")
    return pd.concat([published.assign(n=np.nan), own], ignore_index=True)


def segments() -> tuple[str, ...]:
    return tuple(segment_table().index)


def estimate_stature(
    sex: str,
    age_years: float,
    known: Mapping[str, float],
    *,
    equation: str = KNEE_EQUATIONS[0],
) -> StatureEstimate:
    """Estimate stature from the segments that were measured.

    ``known`` gives each segment (``knee_height_cm``, ``span_cm``, ...) in cm. A child
    is built unlike an adult: without an equation for that age it is refused.

    ``stature = constant + slope x segment + age_slope x age``. Equations whose
    ages hold the person come first, then those of the smallest error; beyond
    the ages of all, the nearest age is put in and the error widened.

    Chumlea, Roche, Steinbaugh, J Am Geriatr Soc 1985;33:116-120; Donini et al.,
    J Nutr Health Aging 2000; Bassey, Ann Hum Biol 1986;13:499-502 (all as quoted
    by secondary sources); Elia (ed.), British Association for Parenteral and Enteral
    Nutrition, 2003 (from memory); the rest from surveys by
    ``derive_segment_equations.py``.

    >>> found = estimate_stature("male", 70, {"knee_height_cm": 52.0})
    >>> round(64.19 - 0.04 * 70 + 2.02 * 52, 2), float(found.best["estimate"])
    (166.43, 166.43)
    """
    one_of("sex", sex, SEXES)
    one_of("knee-height equation", equation, KNEE_EQUATIONS)
    table = equations()
    table = table[(table["sex"] == sex) & table["segment"].isin(list(known))].copy()
    if table.empty:
        raise SizingError(
            "no segment from which height can be estimated",
            allowed=", ".join(segments()),
            action="measure knee height, or the height lying",
        )
    year = float(model_age(age_years))
    young = (year < ADULT_AGE) & (table["age_from"] > year)
    if young.all():
        least = equations().groupby("segment")["age_from"].min()
        able = [name for name in segments() if least[name] <= year]
        named = ", ".join(_label(name) for name in dict.fromkeys(table["segment"]))
        raise SizingError(
            f"for a child of {age_years:g} years no equation gives height from {named}",
            allowed=", ".join(_label(name) for name in able),
            action="measure one of these, or the height lying",
        )
    table = table[~young].copy()
    used = np.clip(year, table["age_from"], table["age_to"])
    beyond = (used - year).abs() > 0
    table["value_cm"] = table["segment"].map(known).astype(float)
    estimate = table["constant"] + table["slope"] * table["value_cm"]
    estimate += table["age_slope"] * used
    sd = table["sd_cm"] * np.where(beyond, BEYOND_AGES, 1.0)
    table = table.assign(
        estimate=estimate,
        sd_cm=sd,
        low=estimate - 1.6449 * sd,
        high=estimate + 1.6449 * sd,
        ages=np.where(beyond, "beyond", "inside"),
        method="regression on one segment, 90 % interval of one person",
        # Published equations for older people go before soldiers' ones.
        knee=table["key"] != equation,
        years=(used - year).abs(),
    )
    # "inside" after "beyond" in the alphabet, and first here.
    order = ["ages", "knee", "years", "sd_cm"]
    table = table.sort_values(order, ascending=[False, True, True, True])
    table = table.reset_index(drop=True).assign(used=lambda t: t.index == 0)
    columns = ["segment", "value_cm", "estimate", "low", "high", "sd_cm", "ages"]
    return StatureEstimate(table[[*columns, "method", "n", "key", "source", "used"]])


def as_reading(found: StatureEstimate, sex: str, age_years: float) -> Reading:
    """Return an estimate in the form of a reading of stature with its error.

    A regression already draws towards the mean of its people: counted as a
    reading it would be drawn there twice. With ``m`` and ``s`` mean and SD of
    stature among embedded people of that sex and about that age, ``r`` the
    equation's SD and ``R = 1 - r^2 / s^2``, the reading ``m + (e - m) / R``
    with SD ``r / sqrt(R)`` leads back to ``e`` with SD ``r`` where nothing
    else is known.
    """
    mean, sd = _stature_of(sex, round(float(model_age(age_years))))
    row = found.best
    ratio = max(1.0 - (row["sd_cm"] / sd) ** 2, 0.2)
    value = mean + (row["estimate"] - mean) / ratio
    sd, source = row["sd_cm"] / np.sqrt(ratio), row["source"]
    source = f"from {_label(row['segment'])}: {source}"
    return Reading(STATURE, float(value), ESTIMATED, float(sd), source=source)


def _label(segment: str) -> str:
    return str(segment_table().loc[segment, "label"]).lower()


@cache
def _stature_of(sex: str, year: int) -> tuple[float, float]:
    build = donors()[sex].build
    near = _NEAR_YEARS if year >= 20 else 1.0
    gap = (np.minimum(model_age(build[:, 2]), 80.0) - min(year, 80)) / near
    weight = np.exp(-0.5 * gap**2)
    stature = np.exp(build[:, 1])
    mean = float(np.average(stature, weights=weight))
    return mean, float(np.sqrt(np.average((stature - mean) ** 2, weights=weight)))
