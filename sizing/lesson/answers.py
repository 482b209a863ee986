"""The room's answers: the blank table, what was read, and what cannot be used."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.cells import as_number, as_text, is_empty
from sizing.charts.fits import limits
from sizing.errors import Problem, SizingError
from sizing.lesson.doubtful import doubtful
from sizing.measures import vocabulary
from sizing.measures.columns import MEASURES
from sizing.measures.headings import Found
from sizing.measures.tables import ANSWERS, take
from sizing.measures.vocabulary import plausible_range
from sizing.people.files import read_table

#: The participant whose rows hold what the scale and the trainer's tape say.
REFERENCE = "reference"
NO_SIZE = "none"
GUESSED = "guessed_"
_LEFT_OUT = ["row", "column", "participant", "subject", "value", "reason"]
#: Headings of the room's form, in words; measures have their label and unit.
FORM_WORDS: dict[str, str] = {
    "participant": "Participant's number",
    "subject": "Volunteer or card",
    "reading": "Reading",
    "chosen_size": "Size chosen",
}
#: Rows of what could not be used: ``_LEFT_OUT``.
Left = list[tuple[Any, ...]]
#: What can be guessed.
GUESSES: tuple[str, ...] = ("body_mass_kg", "stature_cm")
#: What every row is about, and what may be answered in it without a number.
_KEYS = ["participant", "subject", "reading"]
CHOSEN = "chosen_size"
_SUFFIX = {"metric": ("cm", "kg"), "pounds": ("in", "lb"), "stone": ("in", "st")}


@dataclass(frozen=True)
class Answers:
    """What the room chose, guessed and measured, in cm and kg.

    ``sizes``: participant, subject, reading, chosen_size; ``guesses`` and
    ``readings``: participant, subject, measure, reading, value; ``reference``: subject,
    measure, value; ``left_out``: everything that could not be used, its row as a
    spreadsheet numbers it; ``empty``: cells with nothing in them; ``doubted``: of what
    was left out, the numbers that a body could have; ``mapped``: names of sizes
    written otherwise than on the chart, as sentences.
    """

    sizes: pd.DataFrame
    guesses: pd.DataFrame
    readings: pd.DataFrame
    reference: pd.DataFrame
    left_out: pd.DataFrame
    empty: int
    doubted: pd.DataFrame = field(default_factory=pd.DataFrame)
    mapped: tuple[str, ...] = ()

    def with_doubted(self) -> "Answers":
        """Return the answers as if nothing had been doubted."""
        guess = self.doubted["guess"].astype(bool)
        guesses, readings = (
            pd.concat([old, self.doubted.loc[own, list(old)]], ignore_index=True)
            for old, own in ((self.guesses, guess), (self.readings, ~guess))
        )
        return replace(
            self, guesses=guesses, readings=readings, doubted=self.doubted.iloc[:0]
        )

    @property
    def participants(self) -> tuple[str, ...]:
        """Everyone who gave a usable answer."""
        frames = (self.sizes, self.guesses, self.readings)
        return tuple(dict.fromkeys(pd.concat(f["participant"] for f in frames)))

    def summary(self) -> str:
        """Return how much was read, and what was left out and why."""
        lines = [
            f"{len(self.participants)} participants: {len(self.sizes)} sizes chosen, "
            f"{len(self.guesses)} guesses, {len(self.readings)} readings. "
            f"{len(self.left_out)} left out, {self.empty} cells empty."
        ]
        rows = self.left_out.to_dict("records")
        lines += self.mapped
        lines += [f"Left out: {left_out_words(row)}" for row in rows]
        return "\n".join(lines)


def measure_labels() -> dict[str, str]:
    """Return what each measure is called."""
    table = vocabulary()
    return dict(zip(table["name"], table["label"], strict=True))


def heading(column: str) -> str:
    """Return what a column of the room's form is called: 'Guess: weight, lb'."""
    if column in FORM_WORDS:
        return FORM_WORDS[column]
    plain = column.removeprefix(GUESSED)
    stem, _, unit = plain.rpartition("_")
    labels = {name.rsplit("_", 1)[0]: label for name, label in measure_labels().items()}
    if stem not in labels:
        return column
    words = f"{labels[stem]}, {unit}"
    return f"Guess: {words[0].lower()}{words[1:]}" if plain != column else words


def plain_heading(column: str) -> str:
    """Return what a column is called, without its unit."""
    return heading(column).rsplit(", ", 1)[0] if "_" in column else heading(column)


def left_out_words(row: Mapping[Any, Any], *, rows: bool = True) -> str:
    """Return one answer that could not be used as a sentence."""
    where = [
        f"row {row['row']}" if rows and not pd.isna(row["row"]) else "",
        f"participant {row['participant']}" if row["participant"] else "",
        f"{row['subject']}" if row["subject"] else "",
        f"'{heading(str(row['column']))}'" if row["column"] else "",
    ]
    found = f" is '{row['value']}'" if row["value"] else ""
    place = ", ".join(part for part in where if part)
    return f"{place}{found}: {row['reason']}."


def read_answers(answers: str | Path | pd.DataFrame, chart: SizeChart) -> Answers:
    """Read and check the room's answers.

    One row per ``participant``, ``subject`` (``card 3``, or a volunteer such as ``A``)
    and ``reading`` (empty: 1): ``chosen_size`` (as on the chart, or ``none``),
    ``guessed_body_mass_kg``, ``guessed_stature_cm`` (of reading 2: guessed again after
    measuring), and measures by tape. Rows of the participant ``reference`` hold what
    the scale and the trainer's own tape say of a volunteer.

    Nothing is repaired or guessed: an answer that is doubtful is left out, named in
    ``left_out`` and counted.

    Left out: text, or another unit than the heading's, in a cell; a value no body has
    (``plausible_range``); a value that in another unit is what everybody else
    found (``doubtful.other_unit``); the readings of two volunteers, or one
    participant's of two measures, that fit only if they are exchanged
    (``doubtful.swapped``, ``doubtful.columns_swapped``); a reading more than 5
    typical errors from the others'; the same reading given twice, both of them; a
    size that is not on the chart. Signs and spaces in a size's name do not count.

    >>> from sizing.charts import demo_chart
    >>> room = pd.DataFrame({"participant": [1, 2], "subject": "card 1",
    ...     "chosen_size": ["adult 1", "XL"]})
    >>> found = read_answers(room, demo_chart())
    >>> len(found.sizes), found.left_out["reason"].tolist()
    (1, ["this size is not on the chart 'invented demo chart'"])
    """
    if not isinstance(answers, pd.DataFrame):
        answers = read_table(answers, ANSWERS)
    taken = take(answers, ANSWERS, note=False)
    table, file = taken.frame, taken.file
    if table.empty:
        raise SizingError(
            f"there are no answers in {file or 'the table'}: it has no rows",
            allowed="one row per participant and subject",
            action="start from the blank form that comes with the lesson",
        )
    columns = {
        name: one
        for name, one in zip(table.columns, taken.found, strict=True)
        if one.measure in (GUESSES if one.guess else MEASURES)
    }
    left: Left = []
    for name, one in zip(table.columns, taken.found, strict=True):
        if name not in columns and name not in FORM_WORDS:
            reason = "this column is not one the kit knows"
            left.append((None, one.given, "", "", "", reason))
    keyed = _keyed(table, left, taken.rows[1:])
    empty = 0
    mapped: dict[str, None] = {}
    sizes: list[tuple[Any, ...]] = []
    values: list[tuple[Any, ...]] = []
    cells = table.astype(object).to_dict("records")
    # The chart's own spelling of each size, and of ``none``.
    spelled = {_letters(s): s for s in (*chart.sizes, NO_SIZE)}
    for place, who, whom, reading in keyed.itertuples(name=None):
        line, given = taken.rows[place + 1], cells[place]
        filled = 0
        if "chosen_size" in table:
            text = as_text(given["chosen_size"])
            filled += bool(text)
            empty += not text and who != REFERENCE
            found = spelled.get(_letters(text))
            if text and found is None:
                near = get_close_matches(_letters(text), spelled, 1)
                reason = f"this size is not on the chart '{chart.name}'" + (
                    f"; did you mean '{spelled[near[0]]}'?" if near else ""
                )
                left.append((line, "chosen_size", who, whom, text, reason))
            elif found:
                sizes.append((line, who, whom, reading, found))
                if text != found:
                    mapped[f"Size '{text}' was read as '{found}'."] = None
        for name, column in columns.items():
            cell = given[name]
            if is_empty(cell):
                empty += who != REFERENCE
                continue
            filled += 1
            number = as_number(
                cell, file=None, row=line, column=column.given, unit=column.unit
            )
            reason = _refused(number, column)
            if isinstance(number, Problem):
                left.append((line, column.given, who, whom, as_text(cell), reason))
                continue
            value = round(number * column.factor, 6)
            about = (line, column.given, who, whom, reading, column.measure)
            values.append((*about, column.guess, value, as_text(cell), reason))
        if not filled:
            left.append((line, "", who, whom, "", "nothing is filled in"))
    return replace(_sorted(sizes, values, left, empty, file), mapped=tuple(mapped))


def _letters(size: str) -> str:
    """Return a size's name without signs and spaces: ``Adult-2`` is ``adult 2``."""
    return re.sub(r"[\W_]+", "", size.lower()) or size


def _keyed(table: pd.DataFrame, left: Left, places: list[int]) -> pd.DataFrame:
    """Return participant, subject and reading of every row that has them."""
    keyed = pd.DataFrame(
        {
            name: [as_text(v) for v in table[name]] if name in table else "1"
            for name in ("participant", "subject", "reading")
        }
    )
    keyed["reading"] = keyed["reading"].replace("", "1")
    counted = keyed["reading"].str.fullmatch("[1-9][0-9]?").astype(bool)
    faults = {
        "no participant is given": keyed["participant"] == "",
        "no subject is given": keyed["subject"] == "",
        "the number of the reading is not 1, 2, ...": ~counted,
    }
    reason = np.select(list(faults.values()), list(faults), "")
    keyed["participant"] = keyed["participant"].where(
        keyed["participant"].str.lower() != REFERENCE, REFERENCE
    )
    blank = [all(is_empty(cell) for cell in row) for row in table.to_numpy(object)]
    for place, who, whom, _ in keyed.itertuples(name=None):
        if reason[place]:
            why = "the row is empty" if blank[place] else str(reason[place])
            left.append((places[place], "", who, whom, "", why))
    kept: pd.DataFrame = keyed[reason == ""].astype({"reading": int})
    return kept


def _refused(number: float | Problem, column: Found) -> str:
    """Return why a cell cannot be used, or nothing."""
    if isinstance(number, Problem):
        return f"{number.what}; {number.action}"
    low, high = plausible_range(column.measure)
    value = number * column.factor
    if not low <= value <= high:
        unit = column.measure.rsplit("_", 1)[1]
        return (
            f"no body has this {'guessed ' if column.guess else ''}value "
            f"({low:g} to {high:g} {unit} are possible): a slip, or another unit"
        )
    return ""


def _sorted(
    sizes: list[tuple[Any, ...]],
    values: list[tuple[Any, ...]],
    left: Left,
    empty: int,
    file: str | None,
) -> Answers:
    """Sort the usable answers, leaving out what is doubtful or stands twice."""
    chosen = pd.DataFrame(sizes, columns=["row", *_KEYS, CHOSEN])
    names = ["row", "column", "participant", "subject", "reading", "measure", "guess"]
    number = pd.DataFrame(values, columns=[*names, "value", "given", "refused"])
    twice = chosen.duplicated(_KEYS, keep=False)
    for row in chosen[twice].to_dict("records"):
        reason = "this participant chose a size for this subject more than once"
        who, whom = row["participant"], row["subject"]
        left.append((row["row"], CHOSEN, who, whom, row[CHOSEN], reason))
    again = number.duplicated([*_KEYS, "measure", "guess"], keep=False)
    reasons = pd.Series("", index=number.index, dtype=object)
    reasons[again] = "the same answer is given more than once"
    doubts = doubtful(number[~again], REFERENCE)
    # What stands in a wrong column is named so, not as a value nobody has.
    reasons[~again] = doubts.where(doubts != "", number.loc[~again, "refused"])
    doubted = number[(reasons != "") & ~again & (number["refused"] == "")]
    for row, reason in zip(number.to_dict("records"), reasons, strict=True):
        if reason:
            who, whom = row["participant"], row["subject"]
            left.append((row["row"], row["column"], who, whom, row["given"], reason))
    number = number[reasons == ""]
    if not len(chosen) and not len(number) and not left:
        raise SizingError(f"There is no answer in {file or 'the table'}.")
    guess = number["guess"].astype(bool)
    ours = number["participant"] == REFERENCE
    numbers = ["participant", "subject", "measure", "reading", "value"]
    reference = number[ours & ~guess].drop_duplicates(["subject", "measure"])
    out = pd.DataFrame(left, columns=_LEFT_OUT)
    out["row"] = out["row"].astype("Int64")
    out = out.sort_values("row", kind="stable", na_position="first")
    return Answers(
        chosen.loc[
            ~twice & (chosen["participant"] != REFERENCE), [*_KEYS, CHOSEN]
        ].reset_index(drop=True),
        number.loc[guess & ~ours, numbers].reset_index(drop=True),
        number.loc[~guess & ~ours, numbers].reset_index(drop=True),
        reference[["subject", "measure", "value"]].reset_index(drop=True),
        out.reset_index(drop=True),
        empty,
        doubted[doubted["participant"] != REFERENCE].reset_index(drop=True),
    )


def column_of(measure: str, units: str) -> str:
    """Return a measure's heading in the units chosen."""
    stem, _, unit = measure.rpartition("_")
    return f"{stem}_{_SUFFIX[units][unit == 'kg']}"


def asked(chart: SizeChart) -> list[str]:
    """Return what a room guesses and measures, guesses first."""
    rest = [m for m in limits(chart) if m not in GUESSES]
    return [*(f"{GUESSED}{m}" for m in GUESSES), *GUESSES, *rest]


def blank_table(
    chart: SizeChart, class_size: Mapping[str, int], *, units: str = "metric"
) -> pd.DataFrame:
    """Return a table to be filled in: first the reference's rows, then the room's."""
    room = [REFERENCE, *map(str, range(1, class_size["participants"] + 1))]
    sheets = [
        blank_sheet(chart, who, class_size).assign(participant=who) for who in room
    ]
    columns = [*_KEYS, CHOSEN, *asked(chart)]
    table = pd.concat(sheets, ignore_index=True).reindex(columns=columns)
    table.columns = pd.Index(
        [*columns[:4], *(column_of(m, units) for m in columns[4:])], dtype=object
    )
    return table


def blank_sheet(
    chart: SizeChart,
    participant: str,
    class_size: Mapping[str, int],
    kept: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return one participant's table to be typed into, keeping what is typed."""
    ours = participant == REFERENCE
    subjects = [chr(ord("A") + i) for i in range(class_size["volunteers"])]
    times = range(1, (1 if ours else class_size["readings"]) + 1)
    keys = ["subject"] if ours else ["subject", "reading"]
    blank = pd.DataFrame(product(subjects, map(str, times)), columns=_KEYS[1:])
    measures = [m for m in asked(chart) if not (ours and m.startswith(GUESSED))]
    columns = [*keys, *([] if ours else [CHOSEN]), *measures]
    old = filled(pd.DataFrame(columns=columns) if kept is None else kept)
    # What was typed for another chart stays.
    typed = old.columns[old.notna().any()]
    columns += [name for name in typed if name not in columns]
    old[keys] = old[keys].map(as_text)
    there = pd.MultiIndex.from_frame(old[keys])
    new = blank[~pd.MultiIndex.from_frame(blank[keys]).isin(there)]
    table = pd.concat([old, new], ignore_index=True).astype(object)
    return table.reindex(columns=columns).sort_values(keys, ignore_index=True)


def filled(table: pd.DataFrame) -> pd.DataFrame:
    """Return the rows in which something is answered."""
    answers = [name for name in table.columns if name not in _KEYS]
    return table[table[answers].notna().any(axis=1)].reset_index(drop=True)
