"""What each measure is: its name, units and edges, how it is taken, what needs it."""

import csv
from collections.abc import Collection
from functools import cache
from io import StringIO

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
EVIDENCE: tuple[str, ...] = (
    *("measured", "predicted", "extrapolated", "unsupported", "missing"),
)

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
    """Round cm to mm, or kg to 0.1 kg, halves up; ``MISSING_TENTHS`` where missing.

    These are compared, because 40.3 and 403/10 need not be the same float.
    """
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
    """Return which measures decide a pattern of sling, a row per pattern and measure.

    ``part``: what it decides; ``must`` (yes): a chart must limit one of that part.
    """
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
    """Return the range outside which a value is more likely a slip than a person.

    Both ends included, in the measure's unit; common practice, no source.
    """
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
    """Return the parts of a sling of a pattern, and the measures that tell each.

    ``must``: those alone that a chart must limit, by any one of their measures.
    """
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
