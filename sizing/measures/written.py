"""Lengths and masses written for people, in the units that they read."""

import math
import re
from functools import partial
from typing import Protocol

from sizing.errors import Problem, SizingError, one_of
from sizing.measures.columns import LENGTH_UNITS, MASS_UNITS

#: Units people may choose: a key, and how they are called.
UNITS: dict[str, str] = {
    "metric": "cm and kg",
    "pounds": "inches and pounds",
    "stone": "inches and stone",
}
_PER_STONE = 14
#: Steps of rounding, of lengths (cm, inches) and of masses (kg, pounds).
_STEPS = {"half": (0.5, 1.0), "down": (0.5, 1.0), "tenth": (0.1, 0.1)}
#: A number of cm or kg, or the two ends of a span of them.
_WITH_UNIT = re.compile(
    r"(?:(-?\d+(?:\.\d+)?)( to (?:under |over )?))?(-?\d+(?:\.\d+)?) (cm|kg)\b"
)


class Say(Protocol):
    """Whatever writes a value of a measure out, such as ``written``."""

    def __call__(self, value: float, measure: str, *, to: str = "half") -> str:
        """Return the value with its unit."""


def written(
    value: float, measure: str, units: str = "metric", *, to: str = "half"
) -> str:
    """Write a measure as people read it, in the units they chose.

    Parameters
    ----------
    value : float
        In the standard unit, cm or kg.
    measure : str
        Its name, which ends in ``_cm`` or ``_kg``.
    units : str
        A key of ``UNITS``.
    to : str
        ``half``: the nearest half cm or half inch, kg or pound, for what was
        predicted. ``down``: the same, but the next lower, for room that must not
        look larger than it is. ``tenth``: a tenth of cm, inch, kg or pound, for
        what was read or stated.

    Returns
    -------
    str

    Examples
    --------
    >>> written(83.3, "stature_cm"), written(61.2, "body_mass_kg")
    ('83.5 cm', '61 kg')
    >>> written(83.3, "stature_cm", "pounds"), written(61.2, "body_mass_kg", "stone")
    ('33 in', '9 st 9 lb')
    >>> written(160, "load_limit_kg", "pounds", to="tenth")
    '352.7 lb'
    >>> written(-0.3, "hip_circumference_cm", to="down")
    '-0.5 cm'
    """
    one_of("units", units, list(UNITS))
    one_of("rounding", to, list(_STEPS))
    length = kind_of(measure) == "length"
    step = _STEPS[to][0 if length else 1]
    unit, factor = _unit(length, units)
    count = value / factor / step
    # What a factor adds in the last place of a double is no next lower step.
    steps = math.floor(round(count, 6)) if to == "down" else round(count)
    number = round(steps * step, 1)
    if length or units != "stone":
        return f"{number:g} {unit}"
    sign = "-" if number < 0 else ""
    stones, pounds = divmod(abs(number), _PER_STONE)
    rest = f"{round(pounds, 1):g} lb"
    return f"{sign}{stones:g} st {rest}" if stones else f"{sign}{rest}"


def retold(text: str, units: str = "metric") -> str:
    """Return words in which every number of cm or kg is written in other units.

    Parameters
    ----------
    text : str
        Such as ``from over 90 to under 95 cm``.
    units : str
        A key of ``UNITS``.

    Examples
    --------
    >>> retold("belongs to neither: over 90 to under 95 cm", "pounds")
    'belongs to neither: over 35.4 to under 37.4 in'
    >>> retold("over 120 kg", "stone"), retold("over 120 kg")
    ('over 18 st 12.6 lb', 'over 120 kg')
    """
    one_of("units", units, list(UNITS))
    if units == "metric":
        return text
    return retold_by(text, partial(written, units=units))


def retold_by(text: str, say: Say) -> str:
    """Return words in which every number of cm or kg is written by ``say``.

    Examples
    --------
    >>> retold_by("90 to 95.04 cm", written)
    '90 to 95 cm'
    """

    def other(found: re.Match[str]) -> str:
        first, link, last, unit = found.groups()
        end = say(float(last), f"_{unit}", to="tenth")
        if first is None:
            return end
        start = say(float(first), f"_{unit}", to="tenth")
        if len(start.split()) == len(end.split()) == 2:
            # One number and one unit each: the unit is named once.
            start = start.split()[0]
        return f"{start}{link}{end}"

    return _WITH_UNIT.sub(other, text)


def unit_of(measure: str, units: str = "metric") -> str:
    """Return the unit of a number that stands alone.

    Examples
    --------
    >>> unit_of("stature_cm", "stone"), unit_of("body_mass_kg", "stone")
    ('in', 'st')
    """
    one_of("units", units, list(UNITS))
    if kind_of(measure) == "length":
        return "cm" if units == "metric" else "in"
    return {"metric": "kg", "pounds": "lb", "stone": "st"}[units]


def kind_of(measure: str) -> str:
    """Return ``length`` or ``mass``, by the ending of the name.

    Raises
    ------
    SizingError
        If the name ends in neither ``_cm`` nor ``_kg``.
    """
    ending = measure.rsplit("_", 1)[-1]
    kinds = {"cm": "length", "kg": "mass"}
    if ending not in kinds:
        raise SizingError(
            str(Problem("this measure has no unit", "a name in _cm or _kg", measure))
        )
    return kinds[ending]


def _unit(length: bool, units: str) -> tuple[str, float]:
    """Return the unit that is counted in, and its size in cm or kg."""
    if units == "metric":
        return ("cm" if length else "kg"), 1.0
    return ("in", LENGTH_UNITS["in"]) if length else ("lb", MASS_UNITS["lb"])
