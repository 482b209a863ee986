"""What each measure is, how to take it, and what it may plausibly be."""

from functools import cache

import pandas as pd

from sizing.errors import Problem, SizingError, one_of
from sizing.measures.columns import MEASURES
from sizing.resources import source_table, texts

_T = texts("tables")

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
    label = labels().get(measure)
    if label is None:
        return measure.rsplit("_", 1)[0].replace("_", " ")
    return label.lower().replace(",", "")


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
            ends = {"least": AGE_LIMITS[0], "most": AGE_LIMITS[1]}
            raise SizingError(str(Problem.of(_T.age, *where, **ends)))
        bands = tuple(b for b in bands if b[0] <= age_years < b[1])
    return min(b[2] for b in bands), max(b[3] for b in bands)
