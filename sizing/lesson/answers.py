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
from sizing.charts.build import as_number, as_text, is_empty
from sizing.charts.fits import limits
from sizing.errors import Problem, SizingError
from sizing.lesson.doubtful import doubtful
from sizing.measures import MEASURES, plausible_range, unit_of, vocabulary
from sizing.measures.headings import Found
from sizing.measures.tables import ANSWERS, take
from sizing.people.files import read_table
from sizing.resources import texts

_T = texts("lesson")
#: The participant whose rows hold what the scale and the trainer's tape say.
REFERENCE = "reference"
NO_SIZE = "none"
GUESSED = "guessed_"
#: Rows of what could not be used have these.
_LEFT_OUT = ["row", "column", "participant", "subject", "value", "reason"]
Left = list[tuple[Any, ...]]
#: What can be guessed.
GUESSES: tuple[str, ...] = ("body_mass_kg", "stature_cm")
#: What every row is about, and what may be answered in it without a number.
_KEYS = ["participant", "subject", "reading"]
CHOSEN = "chosen_size"
_KEY = ["subject", "measure"]
_NUMBER = [
    *("row", "column", "participant", "subject", "reading", "measure", "guess"),
    *("given", "value", "refused"),
]


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
        guess = self.doubted["guess"].astype(bool)
        guesses, readings = (
            pd.concat([old, self.doubted.loc[own, list(old)]], ignore_index=True)
            for old, own in ((self.guesses, guess), (self.readings, ~guess))
        )
        none = self.doubted.iloc[:0]
        return replace(self, guesses=guesses, readings=readings, doubted=none)

    @property
    def participants(self) -> tuple[str, ...]:
        frames = (self.sizes, self.guesses, self.readings)
        return tuple(dict.fromkeys(pd.concat(f["participant"] for f in frames)))

    def summary(self) -> str:
        first: str = _T.left_out["summary"].format(
            people=len(self.participants),
            sizes=len(self.sizes),
            guesses=len(self.guesses),
            readings=len(self.readings),
            left=len(self.left_out),
            empty=self.empty,
        )
        rows = self.left_out.to_dict("records")
        left = [f"Left out: {left_out_words(row)}" for row in rows]
        return "\n".join([first, *self.mapped, *left])


def measure_labels() -> dict[str, str]:
    table = vocabulary()
    return dict(zip(table["name"], table["label"], strict=True))


def heading(column: str) -> str:
    """Return what a column of the room's form is called: 'Guess: weight, lb'."""
    plain = column.removeprefix(GUESSED)
    stem, _, unit = plain.rpartition("_")
    labels = {name.rsplit("_", 1)[0]: label for name, label in measure_labels().items()}
    if column in _T.form or stem not in labels:
        return str(_T.form.get(column, column))
    words = f"{labels[stem]}, {unit}"
    return f"Guess: {words[0].lower()}{words[1:]}" if plain != column else words


def plain_heading(column: str) -> str:
    return heading(column).rsplit(", ", 1)[0] if "_" in column else heading(column)


def left_out_words(row: Mapping[Any, Any], *, rows: bool = True) -> str:
    where = [
        f"row {row['row']}" if rows and not pd.isna(row["row"]) else "",
        f"participant {row['participant']}" if row["participant"] else "",
        f"{row['subject']}" if row["subject"] else "",
        f"'{heading(str(row['column']))}'" if row["column"] else "",
    ]
    found = f" is '{row['value']}'" if row["value"] else ""
    return f"{', '.join(filter(None, where))}{found}: {row['reason']}."


def read_answers(answers: str | Path | pd.DataFrame, chart: SizeChart) -> Answers:
    """Read and check the room's answers.

    One row per ``participant``, ``subject`` (``card 3``, or a volunteer such as ``A``)
    and ``reading`` (empty: 1): ``chosen_size`` (as on the chart, or ``none``),
    ``guessed_body_mass_kg``, ``guessed_stature_cm`` (of reading 2: guessed again after
    measuring), and measures by tape. Rows of the participant ``reference`` hold what
    the scale and the trainer's own tape say of a volunteer.

    Nothing is repaired or guessed: an answer that is doubtful is left out, named in
    ``left_out`` and counted: text, or another unit than the heading's, in a cell; a
    value no body has (``plausible_range``); what ``doubtful`` finds; the same reading
    given twice, both of them; a size that is not on the chart. Signs and spaces in a
    size's name do not count.

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
    table, file, own = taken.frame, taken.file or "the table", _T.left_out
    if table.empty:
        raise SizingError(
            own["no_rows"].format(file=file),
            allowed=own["no_rows_allowed"],
            action=own["no_rows_action"],
        )
    left: Left = []
    columns: dict[str, Found] = {}
    for name, one in zip(table.columns, taken.found, strict=True):
        if one.measure in (GUESSES if one.guess else MEASURES):
            columns[name] = one
        elif name not in _T.form:
            left.append((None, one.given, "", "", "", own["unknown_column"]))
    keyed = _keyed(table, left, taken.rows[1:])
    empty = 0
    mapped: dict[str, None] = {}
    sizes: list[tuple[Any, ...]] = []
    values: list[tuple[Any, ...]] = []
    answered = [name for name in table if name in columns or name == CHOSEN]
    cells = table[answered].astype(object).to_dict("records")
    # The chart's own spelling of each size, and of ``none``.
    spelled = {_letters(s): s for s in (*chart.sizes, NO_SIZE)}
    for place, who, whom, reading in keyed.itertuples(name=None):
        line = taken.rows[place + 1]
        told = {n: cell for n, cell in cells[place].items() if not is_empty(cell)}
        empty += (len(answered) - len(told)) * (who != REFERENCE)
        if not told:
            left.append((line, "", who, whom, "", own["nothing"]))
        for name, cell in told.items():
            text = as_text(cell)
            if name == CHOSEN:
                found = spelled.get(_letters(text))
                if found is not None:
                    sizes.append((line, who, whom, reading, found))
                    if text != found:
                        mapped[own["mapped"].format(given=text, size=found)] = None
                    continue
                reason = own["not_on_chart"].format(chart=chart.name)
                for near in get_close_matches(_letters(text), spelled, 1):
                    reason += own["did_you_mean"].format(near=spelled[near])
                left.append((line, CHOSEN, who, whom, text, reason))
                continue
            one = columns[str(name)]
            number = as_number(
                cell, file=None, row=line, column=one.given, unit=one.unit
            )
            reason = _refused(number, one)
            if isinstance(number, Problem):
                left.append((line, one.given, who, whom, text, reason))
                continue
            about = (line, one.given, who, whom, reading, one.measure, one.guess, text)
            values.append((*about, round(number * one.factor, 6), reason))
    if not sizes and not values and not left:
        raise SizingError(own["no_answer"].format(file=file))
    return replace(_sorted(sizes, values, left), empty=empty, mapped=tuple(mapped))


def _letters(size: str) -> str:
    """Return a size's name without signs and spaces: ``Adult-2`` is ``adult 2``."""
    return re.sub(r"[\W_]+", "", size.lower()) or size


def _keyed(table: pd.DataFrame, left: Left, places: list[int]) -> pd.DataFrame:
    """Return participant, subject and reading of every row that has them."""
    keyed = table.reindex(columns=_KEYS).map(as_text).reset_index(drop=True)
    keyed["reading"] = keyed["reading"].replace("", "1")
    ours = keyed["participant"].str.lower() == REFERENCE
    keyed["participant"] = keyed["participant"].mask(ours, REFERENCE)
    faults = {
        "no_participant": keyed["participant"] == "",
        "no_subject": keyed["subject"] == "",
        "no_reading": ~keyed["reading"].str.fullmatch("[1-9][0-9]?").astype(bool),
    }
    blank = np.array([all(map(is_empty, row)) for row in table.to_numpy(object)])
    wrong = np.select(list(faults.values()), list(faults), "")
    wrong = np.where(blank & (wrong != ""), "empty_row", wrong)
    for place in np.flatnonzero(wrong != ""):
        who, whom = keyed.loc[place, ["participant", "subject"]]
        why = _T.left_out[str(wrong[place])]
        left.append((places[place], "", who, whom, "", why))
    kept: pd.DataFrame = keyed[wrong == ""].astype({"reading": int})
    return kept


def _refused(number: float | Problem, column: Found) -> str:
    if isinstance(number, Problem):
        return f"{number.what}; {number.action}"
    low, high = plausible_range(column.measure)
    if low <= number * column.factor <= high:
        return ""
    guessed, unit = "guessed " if column.guess else "", unit_of(column.measure)
    words: str = _T.left_out["no_body"]
    return words.format(guessed=guessed, low=low, high=high, unit=unit)


def _sorted(
    sizes: list[tuple[Any, ...]], values: list[tuple[Any, ...]], left: Left
) -> Answers:
    chosen = pd.DataFrame(sizes, columns=["row", *_KEYS, CHOSEN])
    again = chosen.duplicated(_KEYS, keep=False)
    number = pd.DataFrame(values, columns=_NUMBER)
    number["guess"] = number["guess"].astype(bool)
    twice = number.duplicated([*_KEYS, "measure", "guess"], keep=False)
    doubts = doubtful(number[~twice], REFERENCE)
    # What stands in a wrong column is named so, not as a value nobody has.
    doubts = doubts.where(doubts != "", number["refused"]).reindex(number.index)
    number["reason"] = doubts.where(~twice, _T.left_out["given_twice"])
    lost = chosen[again].rename(columns={CHOSEN: "given"})
    lost = lost.assign(column=CHOSEN, reason=_T.left_out["chosen_twice"])
    columns = ["row", "column", "participant", "subject", "given", "reason"]
    for rows in (lost, number[number["reason"] != ""]):
        left = [*left, *rows[columns].itertuples(index=False, name=None)]
    out = pd.DataFrame(left, columns=_LEFT_OUT).astype({"row": "Int64"})
    theirs = number["participant"] != REFERENCE
    good, body = number["reason"] == "", ~twice & (number["refused"] == "")
    reference = number[good & ~theirs & ~number["guess"]].drop_duplicates(_KEY)
    numbers = ["participant", "subject", "measure", "reading", "value"]
    ours = chosen["participant"] == REFERENCE
    frames = {
        "sizes": chosen.loc[~again & ~ours, [*_KEYS, CHOSEN]],
        "guesses": number.loc[good & theirs & number["guess"], numbers],
        "readings": number.loc[good & theirs & ~number["guess"], numbers],
        "reference": reference[[*_KEY, "value"]],
        "left_out": out.sort_values("row", kind="stable", na_position="first"),
        "doubted": number[~good & body & theirs],
    }
    kept: Any = {name: one.reset_index(drop=True) for name, one in frames.items()}
    return Answers(**kept, empty=0)


def column_of(measure: str, units: str) -> str:
    return f"{measure.rpartition('_')[0]}_{unit_of(measure, units)}"


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
    own = [*_KEYS, CHOSEN]
    table = pd.concat(sheets, ignore_index=True).reindex(columns=[*own, *asked(chart)])
    heads = [*own, *(column_of(m, units) for m in asked(chart))]
    return table.set_axis(pd.Index(heads, dtype=object), axis=1)


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
    answers = [name for name in table.columns if name not in _KEYS]
    return table[table[answers].notna().any(axis=1)].reset_index(drop=True)
