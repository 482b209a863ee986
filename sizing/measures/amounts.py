"""Lengths and masses written for people, in the units that they read."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from sizing.errors import Problem, SizingError, one_of
from sizing.measures.vocabulary import OF_KIND
from sizing.resources import texts

_T = texts("tables")
#: Units people may choose: a key, and how they are called.
UNITS: dict[str, str] = {
    "metric": "cm and kg",
    "pounds": "inches and pounds",
    "stone": "inches and stone",
}
_ALONE = {"length": ("cm", "in", "in"), "mass": ("kg", "lb", "st")}
_PER_STONE = 14
#: Steps of rounding, of lengths (cm, inches) and of masses (kg, pounds).
_STEPS = {
    "half": (0.5, 1.0),
    "down": (0.5, 1.0),
    "tenth": (0.1, 0.1),
    "hundredth": (0.01, 0.01),
}


@runtime_checkable
class Say(Protocol):
    """Whatever writes a value of a measure out, such as ``written``."""

    def __call__(self, value: float, measure: str, *, to: str = "half") -> str:
        """Return the value with its unit."""


def written(
    value: float, measure: str, units: str = "metric", *, to: str = "half"
) -> str:
    """Write a measure as people read it, in the units they chose."""
    one_of("rounding", to, list(_STEPS))
    alone, kind = unit_of(measure, units), kind_of(measure)
    step = _STEPS[to][kind == "mass"]
    count = value / OF_KIND[kind]["lb" if alone == "st" else alone] / step
    # What a factor adds in the last place of a double is no next lower step.
    steps = math.floor(round(count, 6)) if to == "down" else round(count)
    number = round(steps * step, 2)
    if alone != "st":
        return f"{number:g} {alone}"
    stones, pounds = divmod(abs(number), _PER_STONE)
    whole = f"{stones:g} st " if stones else ""
    return f"{'-' if number < 0 else ''}{whole}{round(pounds, 2):g} lb"


def span(
    low: float,
    high: float,
    measure: str,
    say: Say = written,
    *,
    to: str = "tenth",
    link: str = " to ",
) -> str:
    """Write two ends of a measure; one unit is named once."""
    first, last = (say(value, measure, to=to) for value in (low, high))
    if len(first.split()) == len(last.split()) == 2:
        first = first.split()[0]
    return f"{first}{link}{last}"


@dataclass(frozen=True)
class Amount:
    """A value of a measure within a sentence, or the two ends of a span of it."""

    value: float
    measure: str
    high: float | None = None
    to: str = "tenth"
    link: str = " to "

    def said(self, say: Say) -> str:
        if self.high is None:
            return say(self.value, self.measure, to=self.to)
        ends = (self.value, self.high, self.measure)
        return span(*ends, say, to=self.to, link=self.link)


class Worded(str):
    """Words said of a file, which know what is said in their place.

    ``entry``: of a client's entries; ``form``, ``form_other``: on a form in cm and kg
    or in other units.
    """

    others: Mapping[str, str]

    def __new__(cls, words: str, **others: str) -> "Worded":
        made = super().__new__(cls, words)
        made.others = others
        return made

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, str]]:
        """Copy the words with the others."""
        return (str(self),), dict(self.others)

    def at(self, *places: str) -> "Worded":
        found = (self.others[place] for place in places if place in self.others)
        return Worded(next(found, str(self)), **self.others)


class Said(str):
    """A sentence that knows its amounts: cm and kg in itself, other units by ``told``.

    Nobody looks for numbers in it: a size named "to 100 kg" stays what it is.
    """

    template: str
    given: Mapping[str, object]

    def __new__(cls, template: str, **given: object) -> "Said":
        made = super().__new__(cls, _filled(template, given, written))
        made.template, made.given = template, given
        return made

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, object]]:
        """Copy the sentence with its amounts."""
        return (self.template,), dict(self.given)


def told(words: str, say: Say, *places: str) -> str:
    """``places`` are those of ``Worded``, the first that fits before the others."""
    if isinstance(words, Said):
        return _filled(words.template, words.given, say, *places)
    return str(words.at(*places)) if isinstance(words, Worded) else words


def joined(sentences: Sequence[str], link: str = "; ") -> Said:
    names = [f"s{n}" for n in range(len(sentences))]
    template = link.join(f"{{{name}}}" for name in names)
    return Said(template, **dict(zip(names, sentences, strict=True)))


def _filled(template: str, given: Mapping[str, object], say: Say, *places: str) -> str:
    def part(one: object) -> str:
        if isinstance(one, Amount):
            return one.said(say)
        return told(one, say, *places) if isinstance(one, str) else str(one)

    return template.format(**{name: part(one) for name, one in given.items()})


def unit_of(measure: str, units: str = "metric") -> str:
    one_of("units", units, list(UNITS))
    return _ALONE[kind_of(measure)][list(UNITS).index(units)]


def kind_of(measure: str) -> str:
    ending = measure.rsplit("_", 1)[-1]
    kinds = {"cm": "length", "kg": "mass"}
    if ending not in kinds:
        raise SizingError(str(Problem.of(_T.unitless, measure)))
    return kinds[ending]
