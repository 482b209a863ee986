"""The blank table that the room's answers are typed into."""

from collections.abc import Mapping

import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.cells import as_text
from sizing.charts.fits import limits
from sizing.lesson.answers import GUESSED, GUESSES, REFERENCE

#: What every row is about, and what may be answered in it without a number.
_KEYS = ["participant", "subject", "reading"]
_CHOSEN = "chosen_size"
_SUFFIX = {"metric": ("cm", "kg"), "pounds": ("in", "lb"), "stone": ("in", "st")}


def column_of(measure: str, units: str) -> str:
    """Return a measure's heading in the units chosen.

    Examples
    --------
    >>> column_of("guessed_body_mass_kg", "stone")
    'guessed_body_mass_st'
    """
    stem, _, unit = measure.rpartition("_")
    return f"{stem}_{_SUFFIX[units][unit == 'kg']}"


def asked(chart: SizeChart) -> list[str]:
    """Return what a room guesses and measures, guesses first."""
    rest = [m for m in limits(chart) if m not in GUESSES]
    return [*(f"{GUESSED}{m}" for m in GUESSES), *GUESSES, *rest]


def blank_table(
    chart: SizeChart,
    class_size: Mapping[str, int],
    *,
    units: str = "metric",
    kept: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return a table to be typed into: first the reference's rows, then the room's."""
    subjects = [chr(ord("A") + i) for i in range(class_size["volunteers"])]
    keys = [(REFERENCE, s, "1") for s in subjects]
    keys += [
        (str(p), s, str(r))
        for p in range(1, class_size["participants"] + 1)
        for s in subjects
        for r in range(1, class_size["readings"] + 1)
    ]
    columns = [*_KEYS, _CHOSEN, *(column_of(m, units) for m in asked(chart))]
    blank = pd.DataFrame(keys, columns=_KEYS, dtype=object)
    if kept is None or kept.empty:
        return blank.reindex(columns=columns)
    old = filled(kept).reindex(columns=columns)
    old[_KEYS] = old[_KEYS].map(as_text)
    typed = old.drop_duplicates(_KEYS)
    whole = blank.merge(typed, on=_KEYS, how="left")
    known = old.set_index(_KEYS).index.isin(blank.set_index(_KEYS).index)
    # A row given twice stays, so that reading the table can name it.
    rest = old[~known | old.duplicated(_KEYS)]
    table: pd.DataFrame = pd.concat([whole, rest], ignore_index=True)[columns]
    return table


def filled(table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows in which something is answered."""
    answers = [name for name in table.columns if name not in _KEYS]
    return table[table[answers].notna().any(axis=1)].reset_index(drop=True)
