"""The room's answers: the blank table, what was read, and what looks like a slip."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from itertools import combinations, product
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.build import as_number, as_text, is_empty
from sizing.charts.fits import limits
from sizing.errors import Problem, SizingError
from sizing.lesson.choosing import reading_errors
from sizing.measures import (
    LENGTH_UNITS,
    MASS_UNITS,
    MEASURES,
    UNIT_WORDS,
    labels,
    plausible_range,
    unit_of,
)
from sizing.measures.headings import Found
from sizing.measures.tables import ANSWERS, take
from sizing.people.files import read_table
from sizing.resources import texts

_T = texts("lesson")
#: The participant whose rows hold what the scale and the trainer's tape say.
REFERENCE = "reference"
NO_SIZE = "none"
GUESSED = "guessed_"
#: What can be guessed.
GUESSES: tuple[str, ...] = ("body_mass_kg", "stature_cm")
#: What every row is about, and what may be answered in it without a number.
_KEYS = ["participant", "subject", "reading"]
CHOSEN = "chosen_size"
_KEY = ["subject", "measure"]
#: One row a cell: a size or a number, what was written, and why it cannot be used.
_CELL = ["row", *_KEYS, "column", "measure", "guess", "given", "value", "reason"]
#: A reading this near (relative) to what the others found, once converted, and
#: farther than that before, is taken as another unit. Inches and pounds change
#: a number more than twofold, a slip of the tape does not.
_NEAR = {False: 0.08, True: 0.25}
#: Relative SD of a guess, for telling an exchange from a bad guess.
_GUESS_SD = {"body_mass_kg": 0.12, "stature_cm": 0.05}
#: Root mean square distance in SDs: worse than the first as written, better
#: than the second once exchanged; of readings and of guesses (our choice).
_FAR_AND_CLOSE = {False: (5.0, 2.5), True: (3.0, 1.5)}
#: What can be exchanged, in whose answers, and over what: of the two, both must be far
#: off and then close; two measures are taken together.
_EXCHANGES: tuple[tuple[str, list[str], list[str], Any, Any], ...] = (
    ("subject", ["guess", "participant", "reading"], ["measure"], min, max),
    ("measure", ["participant"], ["subject", "reading"], np.mean, np.mean),
)
#: Typical errors from what the others found, beyond which a reading is a slip.
_TOO_FAR = 5.0


@dataclass(frozen=True)
class Answers:
    """What the room chose, guessed and measured, in cm and kg.

    ``left_out`` has each row as a spreadsheet numbers it; ``empty``: cells without
    anything; ``doubted``: of what was left out, the numbers that a body could have;
    ``mapped``: names of sizes written otherwise than on the chart, as sentences.
    """

    sizes: pd.DataFrame
    guesses: pd.DataFrame
    readings: pd.DataFrame
    reference: pd.DataFrame
    left_out: pd.DataFrame
    doubted: pd.DataFrame
    empty: int
    mapped: tuple[str, ...]

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
        count = {n: len(getattr(self, n)) for n in ("sizes", "guesses", "readings")}
        count |= {"people": len(self.participants), "left": len(self.left_out)}
        first: str = _T.left_out["summary"].format(empty=self.empty, **count)
        rows = self.left_out.to_dict("records")
        left = [f"Left out: {left_out_words(row)}" for row in rows]
        return "\n".join([first, *self.mapped, *left])


def heading(column: str) -> str:
    """Return what a column of the room's form is called: 'Guess: weight, lb'."""
    plain = column.removeprefix(GUESSED)
    stem, _, unit = plain.rpartition("_")
    named = {name.rsplit("_", 1)[0]: label for name, label in labels().items()}
    if column in _T.form or stem not in named:
        return str(_T.form.get(column, column))
    words = f"{named[stem]}, {unit}"
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
    """Read and check the room's answers, one row per participant, subject and reading.

    Nothing is repaired or guessed: an answer that is doubtful is left out and named.
    ``guessed_...`` of reading 2: guessed again, after measuring.
    """
    if not isinstance(answers, pd.DataFrame):
        answers = read_table(answers, ANSWERS)
    taken = take(answers, ANSWERS, note=False)
    table, own, none = taken.frame, _T.left_out, ("", "", False, "", None)
    if table.empty:
        raise SizingError(
            own["no_rows"].format(file=taken.file or "the table"),
            allowed=own["no_rows_allowed"],
            action=own["no_rows_action"],
        )
    cells: list[tuple[Any, ...]] = []
    columns: dict[str, Found] = {}
    for head, one in zip(table.columns, taken.found, strict=True):
        if one.measure in (GUESSES if one.guess else MEASURES):
            columns[head] = one
        elif head not in _T.form:
            cells.append((None, "", "", 0, one.given, *none[1:], own["unknown_column"]))
    answered = [name for name in table if name in columns or name == CHOSEN]
    # The chart's own spelling of each size, and of ``none``.
    spelled = {_letters(s): s for s in (*chart.sizes, NO_SIZE)}
    empty = 0
    written = table[answered].astype(object).to_dict("records")
    keyed = _keyed(table).itertuples(index=False)
    for line, row, (*key, wrong) in zip(taken.rows[1:], written, keyed, strict=True):
        said = {name: cell for name, cell in row.items() if not is_empty(cell)}
        ours = key[0] == REFERENCE or bool(wrong)
        empty += 0 if ours else len(answered) - len(said)
        if wrong or not said:
            cells.append((line, *key, *none, wrong or own["nothing"]))
            continue
        for name, cell in said.items():
            text = as_text(cell)
            if name == CHOSEN:
                size = spelled.get(_letters(text))
                reason = "" if size else _unknown(text, spelled, chart)
                cells.append((line, *key, name, name, False, text, size, reason))
                continue
            one = columns[str(name)]
            about: Any = {"row": line, "column": one.given, "unit": one.unit}
            number = as_number(cell, file=None, **about)
            value = None
            if not isinstance(number, Problem):
                value = round(number * one.factor, 6)
            asked = (one.given, one.measure, one.guess, text)
            cells.append((line, *key, *asked, value, _refused(number, one)))
    return _sorted(pd.DataFrame(cells, columns=_CELL), empty)


def _letters(size: str) -> str:
    """Return a size's name without signs and spaces: ``Adult-2`` is ``adult 2``."""
    return re.sub(r"[\W_]+", "", size.lower()) or size


def _unknown(text: str, spelled: Mapping[str, str], chart: SizeChart) -> str:
    reason: str = _T.left_out["not_on_chart"].format(chart=chart.name)
    for near in get_close_matches(_letters(text), spelled, 1):
        reason += _T.left_out["did_you_mean"].format(near=spelled[near])
    return reason


def _keyed(table: pd.DataFrame) -> pd.DataFrame:
    """Return participant, subject and reading of every row, and what is wrong there."""
    keyed = table.reindex(columns=_KEYS).map(as_text)
    keyed["reading"] = keyed["reading"].replace("", "1")
    ours = keyed["participant"].str.lower() == REFERENCE
    keyed["participant"] = keyed["participant"].mask(ours, REFERENCE)
    good = keyed["reading"].str.fullmatch("[1-9][0-9]?").astype(bool)
    faults = {f"no_{name}": keyed[name] == "" for name in _KEYS[:2]}
    faults["no_reading"] = ~good
    blank = np.array([all(map(is_empty, row)) for row in table.to_numpy(object)])
    wrong = np.select(list(faults.values()), list(faults), "")
    wrong = np.where(blank & (wrong != ""), "empty_row", wrong)
    keyed["reading"] = keyed["reading"].where(good, 0).astype(int)
    return keyed.assign(reason=[_T.left_out.get(w, "") for w in wrong])


def _refused(number: float | Problem, column: Found) -> str:
    if isinstance(number, Problem):
        return f"{number.what}; {number.action}"
    low, high = plausible_range(column.measure)
    if low <= number * column.factor <= high:
        return ""
    guessed, unit = "guessed " if column.guess else "", unit_of(column.measure)
    words: str = _T.left_out["no_body"]
    return words.format(guessed=guessed, low=low, high=high, unit=unit)


def _sorted(cells: pd.DataFrame, empty: int) -> Answers:
    cells["guess"] = cells["guess"].astype(bool)
    known, chosen = cells["value"].notna(), cells["measure"] == CHOSEN
    same = [*_KEYS, "measure", "guess", "known"]
    twice = cells.assign(known=known).duplicated(same, keep=False) & known
    once = known & ~twice
    body = once & (cells["reason"] == "")
    doubts = doubtful(cells[once & ~chosen].astype({"value": float}))
    # What stands in a wrong column is named so, not as a value nobody has.
    reason = doubts[doubts != ""].reindex(cells.index).fillna(cells["reason"])
    given, sized = _T.left_out["given_twice"], _T.left_out["chosen_twice"]
    cells["reason"] = reason.mask(twice, given).mask(twice & chosen, sized)
    good, theirs = cells["reason"] == "", cells["participant"] != REFERENCE
    numbers = ["participant", *_KEY, "reading", "value"]
    left = ["row", "column", "participant", "subject", "value", "reason"]
    out = cells.assign(value=cells["given"]).loc[~good].astype({"row": "Int64"})
    used = cells[good & ~chosen].astype({"value": float})
    guess = used["guess"]
    sizes = cells[good & chosen & theirs].rename(columns={"value": CHOSEN})
    frames = {
        "sizes": sizes[[*_KEYS, CHOSEN]],
        "guesses": used.loc[guess & theirs, numbers],
        "readings": used.loc[~guess & theirs, numbers],
        "reference": used.loc[~guess & ~theirs, [*_KEY, "value"]].drop_duplicates(_KEY),
        "left_out": out.sort_values("row", kind="stable", na_position="first")[left],
        "doubted": cells[body & ~good & theirs].astype({"value": float}),
    }
    kept: Any = {name: one.reset_index(drop=True) for name, one in frames.items()}
    written = cells.loc[chosen & known, ["given", "value"]].drop_duplicates()
    mapped = tuple(
        _T.left_out["mapped"].format(given=given, size=size)
        for given, size in written.to_numpy(object)
        if given != size
    )
    return Answers(**kept, empty=empty, mapped=mapped)


def doubtful(numbers: pd.DataFrame) -> pd.Series:
    """Say of each number why it looks like another unit, column, volunteer or slip."""
    told = pd.Series("", index=numbers.index, dtype=object)
    own = numbers.assign(expected=_expected(numbers))
    own = own[own["expected"].notna() & (own["participant"] != REFERENCE)]
    errors, far = reading_errors(), _T.left_out["far"]
    places: dict[Any, Any] = own[own["value"] > 0].to_dict("index")
    for place, row in places.items():
        value, expected, measure = row["value"], row["expected"], row["measure"]
        told[place] = _other_unit(value, expected, measure, guess=row["guess"])
        slip = abs(value - expected) > _TOO_FAR * errors[measure]
        if not told[place] and not row["guess"] and slip:
            told[place] = far.format(times=_TOO_FAR, expected=expected)
    # Exchanged first: the larger of two people can look like the smaller in pounds.
    found = {} if own.empty else _exchanged(own)
    told.update(pd.Series(found, dtype=object))
    return told


def _expected(numbers: pd.DataFrame) -> pd.Series:
    """Return what the reference read, or else the median of two or more others."""
    taped = numbers[~numbers["guess"].astype(bool) & (numbers["reason"] == "")]
    ours = taped["participant"] == REFERENCE
    truth = taped[ours].drop_duplicates(_KEY).set_index(_KEY)["value"].to_dict()
    others = dict(iter(taped[~ours].groupby(_KEY)))
    found = pd.Series(np.nan, index=numbers.index)
    for (*key, who), own in numbers.groupby([*_KEY, "participant"]):
        found[own.index] = truth.get(tuple(key), np.nan)
        if tuple(key) not in truth and tuple(key) in others:
            rows = others[tuple(key)]
            rows = rows[rows["participant"] != who]
            if rows["participant"].nunique() >= 2:
                found[own.index] = rows["value"].median()
    return found


def _other_unit(value: float, expected: float, measure: str, *, guess: bool) -> str:
    """Say in which other unit a value would be what is expected, or nothing."""
    if abs(np.log(value / expected)) < np.log(1.5):
        return ""
    units = MASS_UNITS if measure.endswith("_kg") else LENGTH_UNITS
    gaps = {u: abs(np.log(value * f / expected)) for u, f in units.items() if f != 1}
    unit = min(gaps, key=lambda u: gaps[u])
    words: str = _T.left_out["other_unit"]
    near = gaps[unit] < _NEAR[bool(guess)]
    return words.format(unit=UNIT_WORDS[unit], expected=expected) if near else ""


def _exchanged(numbers: pd.DataFrame) -> dict[Any, str]:
    """Find answers that fit only if two volunteers, or two measures, are exchanged."""
    guess, known = numbers["guess"].astype(bool), numbers["measure"]
    sd = known.map(_GUESS_SD).where(guess, known.map(reading_errors()))
    numbers = numbers.assign(guess=guess, sd=sd, place=numbers.index)
    about, told = ["value", "expected", "sd", "place"], dict[Any, str]()
    for part, whose, key, worst, best in _EXCHANGES:
        people, reason = part == "subject", _T.left_out[f"exchanged_{part}"]
        rows = numbers if people else numbers[~guess]
        code, names = pd.factorize(rows[part])
        index, named = [*whose, *key], rows.assign(code=code)
        wide = named.pivot_table(index=index, columns="code", values=about, sort=False)
        said = [name if people else labels()[name].lower() for name in names]
        for group, own in wide.groupby(level=whose, sort=False):
            guessed = bool(people and group[0])
            far, close = _FAR_AND_CLOSE[guessed]
            x = own[about].to_numpy(float).reshape(len(own), len(about), len(names))
            for a, b in combinations(range(len(names)), 2):
                shared = x[np.isfinite(x[:, :, [a, b]]).all(axis=(1, 2))]
                if not len(shared):
                    continue
                one, two = (shared[:, :, i].T for i in (a, b))
                if guessed:  # Relative SDs, of what both are expected to be on average.
                    one[2] = two[2] = one[2] * (one[1] + two[1]) / 2
                pairs = (one, one), (two, two), (one, two), (two, one)
                off = [np.mean(((p[0] - q[1]) / q[2]) ** 2) for p, q in pairs]
                if worst(off[:2]) <= far**2 or best(off[2:]) >= close**2:
                    continue
                both = {"first": said[a], "second": said[b]}
                for i, j in ((a, b), (b, a)):
                    marked = (x if people else shared)[:, 3, i]
                    marked = marked[np.isfinite(marked)].astype(int)
                    words = reason.format(one=said[i], other=said[j], **both)
                    told |= dict.fromkeys(marked, words)
    return told


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
    heads = [f"{m.rpartition('_')[0]}_{unit_of(m, units)}" for m in asked(chart)]
    return table.set_axis(pd.Index([*own, *heads], dtype=object), axis=1)


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
