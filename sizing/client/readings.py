"""What may be known of a person: values and their errors, height, conditions."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import Problem, SizingError, check_number, one_of
from sizing.measures import AGE_LIMITS, MEASURES, SEXES, Amount, Said, vocabulary
from sizing.people.body.donors import donors
from sizing.people.body.model import model_age
from sizing.people.classes import ADULT_AGE
from sizing.resources import source_table, texts

_WRONG = texts("client").wrong
#: Ways of coming by a value, best first; a test holds them to the table.
HOW = ("tape once", "tape twice", "scale", "hoist scale", "reported", "guessed")
#: Ways that put a tape or a scale to the person.
TAKEN = HOW[:4]
MASS, STATURE = "body_mass_kg", "stature_cm"
#: How a stature worked out from a segment of the body is called.
ESTIMATED = "estimated"
#: Outside the ages an equation was made on its error is widened by this much
#: (common practice, no source).
BEYOND_AGES = 1.5
#: Published knee-height equations, the one used first.
KNEE_EQUATIONS = ("chumlea_1985", "donini_2000")
#: A prior of stature this many years around the person's age.
_NEAR_YEARS = 10.0


@dataclass(frozen=True)
class Reading:
    """One value as read (cm, kg), its error ``sd``, ``bias``: ln truth - ln value."""

    measure: str
    value: float
    how: str
    sd: float
    bias: float = 0.0
    source: str = ""

    @property
    def log_value(self) -> float:
        """Logarithm of the value, freed of its bias."""
        return float(np.log(self.value) + self.bias)

    @property
    def log_sd(self) -> float:
        return self.sd / self.value


def how_measured() -> pd.DataFrame:
    """Return what each way of coming by a value does to its error."""
    return source_table("how_measured.csv")


@cache
def _of_vocabulary(column: str) -> dict[str, Any]:
    return dict(vocabulary().set_index("name")[column])


def usual_error(measure: str) -> float:
    return float(_of_vocabulary("error_cm")[measure])


def reading(
    measure: str, value: float, how: str = "tape once", *, sex: str | None = None
) -> Reading:
    """Return a value with the error of the way it was measured."""
    if how == "exact":
        return Reading(measure, value, how, 0.0, source="counted as exact")
    allowed = [h for h in HOW if measure == MASS or h not in ("scale", "hoist scale")]
    one_of(f"way of measuring for {measure}", how, allowed)
    multiplier, relative, bias, source = _row(how, measure, sex)
    sd = relative * value
    if np.isfinite(multiplier):
        sd = multiplier * usual_error(measure)
        one = _of_vocabulary("error_source")[measure]
        source = source if source.endswith(one) else f"{source} ({one})"
    return Reading(measure, value, how, round(sd, 3), bias, source)


@cache
def _row(how: str, measure: str, sex: str | None) -> tuple[float, float, float, str]:
    rows = how_measured()
    rows = rows[(rows["how"] == how) & rows["measure"].isin([measure, "any"])]
    for column, mine in (("measure", measure), ("sex", sex)):
        if (rows[column] == mine).any():
            rows = rows[rows[column] == mine]
    relative, bias = rows[["relative_sd", "relative_bias"]].mean().tolist()
    first = rows.iloc[0]
    return float(first["multiplier"]), relative, bias, str(first["source"])


# Stature of a person who cannot stand, from a segment of the body


@dataclass(frozen=True)
class StatureEstimate:
    """Each row of ``table`` is an equation that could be used, the best first (cm)."""

    table: pd.DataFrame

    @property
    def best(self) -> pd.Series:
        return self.table.iloc[0]

    def said(self, *, short: bool = False) -> Said:
        """In short, without what the segment is and where the equation comes from."""
        row = self.best
        middle, low, high = (
            Amount(float(row[name]), STATURE) for name in ("estimate", "low", "high")
        )
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
            middle=middle,
            low=low,
            high=high,
            source=str(row["source"]).split("; error in use")[0],
            beyond=beyond if row["ages"] == "beyond" else "",
        )


@cache
def segment_table() -> pd.DataFrame:
    return source_table("segments.csv").set_index("segment")


@cache
def equations() -> pd.DataFrame:
    published = source_table("stature_equations.csv").drop(columns="people")
    own = source_table("segment_equations.csv").assign(key="survey")
    return pd.concat([published.assign(n=np.nan), own], ignore_index=True)


def segments() -> tuple[str, ...]:
    return tuple(segment_table().index)


def _label(segment: str) -> str:
    return str(segment_table().loc[segment, "label"]).lower()


def estimate_stature(
    sex: str,
    age_years: float,
    known: Mapping[str, float],
    *,
    equation: str = KNEE_EQUATIONS[0],
) -> StatureEstimate:
    """Estimate stature from segments: constant + slope x segment + slope x age (cm)."""
    one_of("sex", sex, SEXES)
    one_of("knee-height equation", equation, KNEE_EQUATIONS)
    check_number("the age in years", age_years, least=AGE_LIMITS[0], most=AGE_LIMITS[1])
    table = equations()
    table = table[(table["sex"] == sex) & table["segment"].isin(list(known))]
    if table.empty:
        raise SizingError.of(_WRONG["no_segment"], allowed=", ".join(segments()))
    for segment in table["segment"].unique():
        check_number(f"{_label(segment)} in cm", known[segment], above=0)
    year = float(model_age(age_years))
    # A child is built unlike an adult.
    young = (year < ADULT_AGE) & (table["age_from"] > year)
    if young.all():
        least = equations().groupby("segment")["age_from"].min()
        able = ", ".join(_label(name) for name in segments() if least[name] <= year)
        named = ", ".join(map(_label, dict.fromkeys(table["segment"])))
        words = _WRONG["no_equation"]
        raise SizingError.of(words, age=age_years, named=named, able=able)
    table = table[~young]
    used = np.clip(year, table["age_from"], table["age_to"])
    value, years = table["segment"].map(known).astype(float), (used - year).abs()
    estimate = table["constant"] + table["slope"] * value + table["age_slope"] * used
    sd = table["sd_cm"] * np.where(years > 0, BEYOND_AGES, 1.0)
    table = table.assign(
        value_cm=value,
        estimate=estimate,
        sd_cm=sd,
        low=estimate - 1.6449 * sd,
        high=estimate + 1.6449 * sd,
        ages=np.where(years > 0, "beyond", "inside"),
        method="regression on one segment, 90 % interval of one person",
        # Published equations for older people go before soldiers' ones.
        knee=table["key"] != equation,
        years=years,
    )
    # "inside" after "beyond" in the alphabet, and first here.
    order = {"ages": False, "knee": True, "years": True, "sd_cm": True}
    table = table.sort_values(
        list(order), ascending=list(order.values()), ignore_index=True
    )
    columns = ["segment", "value_cm", "estimate", "low", "high", "sd_cm", "ages"]
    return StatureEstimate(table[[*columns, "method", "n", "key", "source"]])


def as_reading(found: StatureEstimate, sex: str, age_years: float) -> Reading:
    """Return an estimate as a reading of stature that leads back to it.

    A regression already draws towards its people's mean m (SD s), and must not twice:
    r its SD, ``R = 1 - r^2 / s^2``: value ``m + (e - m) / R``, SD ``r / sqrt(R)``.
    """
    mean, sd = _stature_of(sex, round(float(model_age(age_years))))
    row = found.best
    ratio = max(1.0 - (row["sd_cm"] / sd) ** 2, 0.2)
    value = mean + (row["estimate"] - mean) / ratio
    source = f"from {_label(row['segment'])}: {row['source']}"
    sd = float(row["sd_cm"] / np.sqrt(ratio))
    return Reading(STATURE, float(value), ESTIMATED, sd, source=source)


@cache
def _stature_of(sex: str, year: int) -> tuple[float, float]:
    build = donors()[sex].build
    near = _NEAR_YEARS if year >= 20 else 1.0
    gap = (np.minimum(model_age(build[:, 2]), 80.0) - min(year, 80)) / near
    weight = np.exp(-0.5 * gap**2)
    stature = np.exp(build[:, 1])
    mean = float(np.average(stature, weights=weight))
    return mean, float(np.sqrt(np.average((stature - mean) ** 2, weights=weight)))


# What is known of a body that no survey holds, and which measures it changes


def conditions_table() -> pd.DataFrame:
    """Return the conditions that can be stated of a client, and what each changes."""
    every = {"all": ";".join(MEASURES)}
    return source_table("conditions.csv").replace({"measures": every})


@cache
def _conditions(column: str) -> dict[str, str]:
    table = conditions_table().astype(str)
    return dict(zip(table["key"], table[column], strict=True))


def touched(conditions: Iterable[str]) -> tuple[str, ...]:
    """In the kit's order; what is so changed is not predicted and predicts no other."""
    each = _conditions("measures")
    found = {name for key in conditions for name in each[key].split(";")}
    return tuple(m for m in MEASURES if m in found)


def condition_labels(conditions: Iterable[str]) -> list[str]:
    return [_conditions("label")[key] for key in conditions]


def condition_keys(
    stated: str | Iterable[str] | None,
) -> tuple[tuple[str, ...], list[Problem]]:
    """Return stated keys or labels by key, as the table has them; and what is none."""
    keys = list(_conditions("label"))
    by_name = {_plain(label): key for key, label in _conditions("label").items()}
    by_name |= dict(zip(keys, keys, strict=True))
    found, problems = set(), []
    for word in [stated] if isinstance(stated, str) else stated or ():
        name = _plain(str(word))
        if name in by_name:
            found.add(by_name[name])
        elif name:
            near = [key for key in keys if name in key]
            alike = get_close_matches(name, list(by_name), 4, 0.6)
            near += [by_name[one] for one in alike]
            hint = "'other' stands for whatever is not in the list"
            if near:
                hint = f"did you mean {' or '.join(dict.fromkeys(near))}? Else {hint}"
            at = None, None, "condition", str(word)[:60]
            told = {"keys": ", ".join(keys), "hint": hint}
            problems.append(Problem.of(_WRONG["condition"], *at, **told))
    return tuple(key for key in keys if key in found), problems


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")
