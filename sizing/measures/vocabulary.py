"""What each measure is and what needs it; how its values compare and are written."""

import csv
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from io import StringIO
from typing import Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import Problem, SizingError, one_of
from sizing.resources import parted, source_file, source_table, texts

_T = texts("tables")

#: Body measures in the order in which every table lists them: the rows of measures.csv.
#: A new one goes last: what is drawn of the others then stays as it was.
MEASURES: tuple[str, ...] = tuple(
    row["name"]
    for row in csv.DictReader(StringIO(source_file("measures.csv").read_text("utf-8")))
)
#: Measures that no survey of the embedded people holds: they are drawn.
SEATED_AND_GIRTHS: tuple[str, ...] = MEASURES[2:]
#: Lengths and masses beside the body measures that the gate also converts.
FURTHER_LENGTHS: tuple[str, ...] = tuple(_T.further["lengths"].split())
FURTHER_MASSES: tuple[str, ...] = tuple(_T.further["masses"].split())

SEXES: tuple[str, ...] = ("female", "male")
#: How well a figure is founded, from best to worst.
EVIDENCE = ("measured", "predicted", "extrapolated", "unsupported", "missing")

#: Centimetres per unit; inch and foot exact by the 1959 yard agreement.
LENGTH_UNITS = {"cm": 1.0, "mm": 0.1, "m": 100.0, "in": 2.54, "ft": 30.48}
#: Kilograms per unit; the pound exact by the same, a stone is 14 pounds. A
#: stone is decimal: 12.5 st is 12 st 7 lb.
MASS_UNITS = {"kg": 1.0, "g": 0.001, "lb": 0.45359237, "st": 6.35029318}
#: Years per unit.
AGE_UNITS = {"years": 1.0, "months": 1 / 12}
OF_KIND = {"length": LENGTH_UNITS, "mass": MASS_UNITS, "age": AGE_UNITS}
STANDARD = {"length": "cm", "mass": "kg", "age": "years"}
#: Units as a message writes them, and what people write for one.
UNIT_WORDS: dict[str, str] = _T.units
WRITTEN_UNITS: dict[str, str] = {
    word: unit for unit, words in _T.spelt.items() for word in (unit, *words.split())
}


EDGE_RULE = (
    "Both ends belong: a size fits from its low edge to its high edge, each "
    "included, after rounding to whole millimetres and to 0.1 kg. A person "
    "exactly on an edge that two sizes share has a choice of both."
)

#: Stands for "not measured" among tenths; no body measure is negative.
MISSING_TENTHS = -1
#: Stand for "no limit" among tenths.
NO_LOW = 0
NO_HIGH = 2**31 - 1


def to_tenths(values: npt.ArrayLike) -> npt.NDArray[np.int64]:
    """Round cm to mm, kg to 0.1 kg, halves up: 40.3 and 403/10 may differ as floats."""
    number = np.asarray(values, dtype=float)
    known = np.isfinite(number)
    # The nudge lets 40.25, stored as 40.249999..., round as it is written.
    tenths = np.floor(np.where(known, number, 0.0) * 10 + 0.5 + 1e-7)
    return np.where(known, tenths, MISSING_TENTHS).astype(np.int64)


#: Ages the kit holds figures for, first and last.
AGE_LIMITS = (2.0, 120.0)


def vocabulary() -> pd.DataFrame:
    """Return the vocabulary of body measures, one row per measure.

    Returns
    -------
    DataFrame
        ``name``, ``label``, ``unit``, ``iso_term`` (name in ISO 7250-1, from memory),
        ``definition`` and ``landmarks`` in the kit's own words, ``how_seated``,
        ``how_lying`` (on one who cannot sit unaided), ``slips`` and ``place_words``
        (common practice, no source), ``governs`` (part of a sling it decides),
        ``patterns`` (of sling in which it does; tidy in ``measure_patterns``),
        ``error_cm`` (SD of one reading around the person's true value, in ``unit``),
        ``error_source``, ``converted_for`` (nobody, children, everyone: of whom the
        model puts it together from other measures), ``unsupported_when_heavy`` (yes: a
        drawn figure of the heaviest adults says so).

    References
    ----------
    ISO 7250-1:2017 for the names; the wording here follows no clause of the standard.

    Examples
    --------
    >>> vocabulary().set_index("name").loc["hip_circumference_cm", "label"]
    'Hip girth'
    """
    table = source_table("measures.csv")
    patterns = measure_patterns().groupby("name")["pattern"].agg("; ".join)
    table["patterns"] = table["name"].map(patterns).fillna("")
    return table


@cache
def labels() -> dict[str, str]:
    table = source_table("measures.csv")
    return {str(n): str(t) for n, t in zip(table["name"], table["label"], strict=True)}


def plain(measure: str) -> str:
    """Return what a measure is called within a sentence: hip girth."""
    if measure not in labels():
        return measure.rsplit("_", 1)[0].replace("_", " ")
    return labels()[measure].lower().replace(",", "")


def measure_patterns() -> pd.DataFrame:
    """Return what decides a pattern of sling, by part; ``must``: one is needed."""
    return source_table("measure_patterns.csv")


@cache
def _bands(measure: str) -> tuple[tuple[float, float, float, float], ...]:
    table = source_table("plausible_ranges.csv")
    ends = ["age_years_from", "age_years_below", "low", "high"]
    rows = table.loc[table["name"] == measure, ends].astype(float)
    return tuple(rows.itertuples(index=False, name=None))


def plausible_range(
    measure: str, age_years: float | None = None
) -> tuple[float, float]:
    """Return both ends of what a body may be, included; common practice, no source."""
    one_of("measure", measure, MEASURES)
    bands = _bands(measure)
    if age_years is not None and not pd.isna(age_years):
        if not AGE_LIMITS[0] <= age_years <= AGE_LIMITS[1]:
            where = (None, None, "age_years", age_years)
            least, most = AGE_LIMITS
            raise SizingError(str(Problem.of(_T.age, *where, least=least, most=most)))
        bands = tuple(b for b in bands if b[0] <= age_years < b[1])
    return min(b[2] for b in bands), max(b[3] for b in bands)


#: Patterns of sling, by general trade terms; each row's source is in the table.
PATTERNS: tuple[str, ...] = (
    "full-body",
    "full-body with head support",
    "toileting or access",
    "bathing",
    "limb missing",
)


def pattern_parts(pattern: str, *, must: bool = True) -> dict[str, list[str]]:
    """Return the parts of a sling (that a chart ``must`` limit) and their measures."""
    one_of("pattern of sling", pattern, PATTERNS)
    rows = measure_patterns().query("pattern == @pattern")
    rows = rows[rows["must"] == "yes"] if must else rows
    parts = rows.groupby("part", sort=False)["name"].agg(list)
    return {str(part): list(names) for part, names in parts.items()}


def pattern_lacks(pattern: str, limits: Collection[str]) -> str:
    unseen = _without(pattern_parts(pattern), limits)
    looked = ", ".join(f"{part} ({names})" for part, names in unseen.items())
    return _T.pattern_lacks.format(pattern=pattern, looked=looked) if unseen else ""


def pattern_words(
    pattern: str, limits: Collection[str], known: Collection[str] | None = None
) -> list[str]:
    words = [pattern_lacks(pattern, limits)]
    if known is not None:
        lacking = _without(pattern_parts(pattern, must=False), known)
        told = ", ".join(dict.fromkeys(lacking.values()))
        words += [_T.pattern_measures.format(names=told)] if told else []
    warned = source_table("pattern_warnings.csv").query("pattern == @pattern")["text"]
    return [word for word in (*words, *map(str, warned)) if word]


def _without(parts: dict[str, list[str]], seen: Collection[str]) -> dict[str, str]:
    unseen = {part: names for part, names in parts.items() if not {*names} & {*seen}}
    return {part: " or ".join(map(plain, names)) for part, names in unseen.items()}


def led_by(words: Collection[str], text: str) -> str:
    """Put words before an answer, but after what is said of invented figures."""
    return "\n".join(filter(None, (parted(text)[0], *words, parted(text)[1])))


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
    """Words said of a file that know those of ``entry``, ``form``, ``form_other``."""

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
    """A sentence that knows its amounts: ``told`` says them in other units."""

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
