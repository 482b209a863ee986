"""One client: what is known of her, through the unit gate."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import Any

import numpy as np
import pandas as pd

from sizing.client import readings
from sizing.client.readings import MASS, STATURE, Reading, StatureEstimate, segments
from sizing.errors import (
    DoubtfulValues,
    InputProblems,
    Problem,
    SizingError,
    UnitSaid,
    caught_warnings,
    check_number,
    one_of,
)
from sizing.measures import (
    AGE_LIMITS,
    MEASURES,
    SEXES,
    Worded,
    joined,
    plain,
    to_standard_units,
)
from sizing.measures.tables import ANY
from sizing.people.classes import ADULT_AGE, value_at
from sizing.resources import texts

#: The growth reference of stature and body mass holds to ``GROWN``.
YOUNGEST, GROWN = AGE_LIMITS[0], 20.0
ABOUT = "what was entered about the client"
_T, _WRONG = texts("problems"), texts("client").wrong


@dataclass(frozen=True)
class Client:
    """What is known of one person; an age under 20 means completed years.

    ``segments``: lengths (cm) from which ``stature`` may be estimated; ``unusual``:
    confirmed; ``read_as``: how values in another unit than their name's were read.
    """

    sex: str | None = None
    age_years: float | None = None
    readings: tuple[Reading, ...] = ()
    segments: Mapping[str, float] = field(default_factory=dict)
    stature: StatureEstimate | None = None
    unusual: tuple[Problem, ...] = ()
    conditions: tuple[str, ...] = ()
    read_as: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what no client can be."""
        one_of("sex", self.sex, [None, *SEXES])
        if self.age_years is not None:
            check_number("the age", self.age_years, least=0, most=AGE_LIMITS[1])
        if not all(isinstance(one, Reading) for one in self.readings):
            raise SizingError.of(_WRONG["no_readings"], self.readings)
        if wrong := readings.condition_keys(self.conditions)[1]:
            raise InputProblems(wrong, about=ABOUT)

    @property
    def known(self) -> dict[str, Reading]:
        return {one.measure: one for one in self.readings}

    @property
    def table(self) -> pd.DataFrame:
        columns = ["measure", "value", "how", "sd", "source"]
        rows = [[getattr(one, name) for name in columns] for one in self.readings]
        return pd.DataFrame(rows, columns=columns)

    @property
    def touched(self) -> tuple[str, ...]:
        return readings.touched(self.conditions)

    @property
    def unchanged(self) -> "Client":
        """The client without the readings that a stated condition changes."""
        rest = (one for one in self.readings if one.measure not in self.touched)
        return replace(self, readings=tuple(rest))

    @property
    def condition_labels(self) -> list[str]:
        return readings.condition_labels(self.conditions)


def client_from(
    entries: Mapping[str, Any],
    *,
    how: Mapping[str, str] | str | None = None,
    knee_equation: str = readings.KNEE_EQUATIONS[0],
    confirmed: bool = False,
    conditions: str | Iterable[str] = (),
) -> Client:
    """Check what was entered of one client and return it in cm, kg and years."""
    given, how, bare = _named(entries, how)
    values, unusual, names, read_as = _standard(given, confirmed)
    use = (*MEASURES, *segments())
    all_names = ", ".join(["sex, age_years", *use])
    problems = [
        _wrong("no_use", name, given[name], use=all_names, meant=_meant(name))
        for name, standard in names.items()
        if standard not in (*use, "sex", "age_years")
    ]
    sex, age = values.get("sex"), values.get("age_years")
    if age is not None and age < YOUNGEST:
        least, most = AGE_LIMITS
        problems.append(_wrong("young", "age_years", age, least=least, most=most))
    ways, wrong = _ways(how, names)
    stated, unknown = readings.condition_keys(conditions)
    problems += [*wrong, *unknown]
    taken = []
    for measure in (m for m in MEASURES if m in values):
        way = ways.get(measure, "scale" if measure == MASS else "tape once")
        try:
            taken.append(readings.reading(measure, values[measure], way, sex=sex))
        except SizingError as error:
            problems.append(Problem(str(error)))
    if problems:
        raise InputProblems(problems, about=ABOUT)
    lengths = {name: values[name] for name in segments() if name in values}
    found = None
    if lengths and STATURE not in values:
        found, one = _stature(sex, age, lengths, knee_equation)
        taken.insert(1 if MASS in values else 0, one)
    told = tuple(unusual), stated, (*read_as, *bare)
    return Client(sex, age, tuple(taken), lengths, found, *told)


def _stature(
    sex: Any, age: Any, lengths: dict[str, float], equation: str
) -> tuple[StatureEstimate, Reading]:
    if sex is None or age is None:
        told = ", ".join(map(plain, lengths))
        raise InputProblems([_wrong("no_sex_or_age", lengths=told)], about=ABOUT)
    try:
        found = readings.estimate_stature(sex, age, lengths, equation=equation)
    except SizingError as error:
        raise InputProblems([Problem(str(error))], about=ABOUT) from None
    return found, readings.as_reading(found, sex, age)


def _named(
    entries: Mapping[str, Any], how: Mapping[str, str] | str | None
) -> tuple[dict[str, Any], Mapping[str, str] | str | None, list[str]]:
    """Return entries whose names hold a unit: ``hips`` is in cm, and that is said."""
    given: dict[str, Any] = {}
    names: dict[str, str] = {}
    said = []
    for key, value in entries.items():
        unit = ANY.without_unit(key)
        name = names[str(key)] = f"{key}_{unit}" if unit else str(key)
        if not _empty(value):
            given[name] = value
            if unit and not re.search("[a-z'\"′″]", str(value).lower()):
                said.append(f"'{key}' was read in {unit}: no unit was written.")
    if isinstance(how, Mapping):
        how = {names.get(str(name), str(name)): way for name, way in how.items()}
    return given, how, said


def _wrong(
    kind: str, column: str | None = None, value: Any = None, **given: object
) -> Problem:
    return Problem.of(_WRONG[kind], None, None, column, value, **given)


def _meant(name: str) -> str:
    near = ANY.similar(name)
    return f"did you mean '{near}'? Else " if near else ""


def _empty(value: object) -> bool:
    if isinstance(value, str):
        return not value.strip()
    return bool(pd.api.types.is_scalar(value) and pd.isna(value))  # type: ignore[call-overload]


def _of_one(problem: Problem, given: Mapping[str, Any]) -> Problem:
    """Word a problem for one client, who has neither rows nor cells nor a chart."""
    action = problem.action
    if isinstance(action, Worded):
        action = action.at("entry")
    try:
        age, value = float(given["age_years"]), float(problem.value)
    except (KeyError, TypeError, ValueError):
        return replace(problem, row=None, action=action)
    hint = like_a_child(str(problem.column), value, str(given.get("sex", "")), age)
    action = joined([part for part in (action, hint) if part])
    return replace(problem, row=None, action=action)


def like_a_child(measure: str, value: float, sex: str, age_years: float) -> str:
    """Say of how old a child an adult's stature or body mass would be, or nothing."""
    if age_years < ADULT_AGE or measure not in MEASURES[:2]:
        return ""
    years = np.arange(3.0, 15.0)
    sex = "male" if sex.strip().lower() in ("m", "male") else "female"
    median = value_at(measure, sex, years, 0.0)
    if not median[0] < value < median[-1]:
        return ""
    like = float(np.interp(value, median, years))
    return f"it is that of a child of about {like:.0f} years, so check the age too"


def _standard(
    given: Mapping[str, Any], confirmed: bool
) -> tuple[dict[str, Any], list[Problem], dict[str, str], list[str]]:
    frame = pd.DataFrame({name: pd.Series([value]) for name, value in given.items()})
    with caught_warnings() as caught:
        try:
            out = to_standard_units(frame, allow_unusual=confirmed)
        except InputProblems as error:
            problems = [_of_one(problem, given) for problem in error.problems]
            raise InputProblems(problems, about=ABOUT) from None
    unusual, read_as = [], []
    for item in caught:
        if isinstance(item.message, UnitSaid):
            read_as.append(f"{item.message.of}: {item.message.how}.")
        elif isinstance(item.message, DoubtfulValues):
            unusual += [replace(one, row=None) for one in item.message.problems]
    if unusual and not confirmed:
        again = [replace(one, action=Worded(**_T.unusual)) for one in unusual]
        raise InputProblems(again, about=ABOUT)
    names = dict(zip(frame.columns, out.columns, strict=True))
    row = {str(name): out[name].iloc[0] for name in out}
    values = {k: float(v) if isinstance(v, Real) else v for k, v in row.items()}
    return values, unusual, names, read_as


def _ways(
    how: Mapping[str, str] | str | None, names: Mapping[str, str]
) -> tuple[dict[str, str], list[Problem]]:
    if not isinstance(how, Mapping):
        return {} if how is None else dict.fromkeys(names.values(), how), []
    of = {"names": ", ".join(names) or "the entries", "ways": ", ".join(readings.HOW)}
    problems = [
        _wrong("no_such_way", name, word, **of)
        for name, word in how.items()
        if name not in names and name not in names.values()
    ]
    return {names.get(name, name): word for name, word in how.items()}, problems
