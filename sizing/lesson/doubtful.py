"""Answers that look like another unit, another column or another volunteer."""

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from sizing.lesson.choosing import Floats, reading_errors
from sizing.measures import LENGTH_UNITS, MASS_UNITS, UNIT_WORDS, vocabulary
from sizing.resources import texts

_T = texts("lesson")
#: A reading this near (relative) to what the others found, once converted, and
#: farther than that before, is taken as another unit. Inches and pounds change
#: a number more than twofold, a slip of the tape does not.
_NEAR = {False: 0.08, True: 0.25}
#: Relative SD of a guess, for telling an exchange from a bad guess.
_GUESS_SD = {"body_mass_kg": 0.12, "stature_cm": 0.05}
#: Root mean square distance in SDs: worse than the first as written, better
#: than the second once exchanged; of readings and of guesses (our choice).
_FAR_AND_CLOSE = {False: (5.0, 2.5), True: (3.0, 1.5)}
#: Typical errors from what the others found, beyond which a reading is a slip.
_TOO_FAR = 5.0


def doubtful(numbers: pd.DataFrame, reference: str) -> pd.Series:
    rows = numbers.to_dict("records")
    expected = _expected(numbers, reference)
    kept = [
        i
        for i, row in enumerate(rows)
        if np.isfinite(expected[i]) and row["participant"] != reference
    ]
    own, hope = numbers.iloc[kept], expected[kept]
    # Exchanged first: the larger of two people can look like the smaller in pounds.
    found = _exchanged(own, hope)
    told = {kept[place]: reason for place, reason in found.items()}
    errors = reading_errors()
    for i in kept:
        row = rows[i]
        value, guess = float(row["value"]), bool(row["guess"])
        if i in told or value <= 0:
            continue
        told[i] = other_unit(value, float(expected[i]), row["measure"], guess=guess)
        sd = errors[row["measure"]]
        if not told[i] and not guess and abs(value - expected[i]) > _TOO_FAR * sd:
            far = _T.left_out["far"]
            told[i] = far.format(times=_TOO_FAR, expected=expected[i])
    reasons = [told.get(i, "") for i in range(len(rows))]
    return pd.Series(reasons, index=numbers.index, dtype=object)


def _expected(numbers: pd.DataFrame, reference: str) -> Floats:
    taped = numbers[~numbers["guess"].astype(bool)]
    if "refused" in taped:
        taped = taped[taped["refused"] == ""]
    truth: dict[tuple[Any, Any], float] = {}
    others: dict[tuple[Any, Any], list[tuple[Any, float]]] = {}
    columns = ["subject", "measure", "participant", "value"]
    for whom, measure, who, value in taped[columns].itertuples(index=False):
        if who == reference:
            truth.setdefault((whom, measure), float(value))
        else:
            others.setdefault((whom, measure), []).append((who, float(value)))
    found = np.full(len(numbers), np.nan)
    rows = numbers[columns[:3]].itertuples(index=False)
    for i, (whom, measure, who) in enumerate(rows):
        theirs = [one for one in others.get((whom, measure), ()) if one[0] != who]
        if (whom, measure) in truth:
            found[i] = truth[whom, measure]
        elif len({one for one, _ in theirs}) >= 2:
            found[i] = np.median([value for _, value in theirs])
    return found


def other_unit(value: float, expected: float, measure: str, *, guess: bool) -> str:
    """Say in which other unit a value would be what is expected, or nothing."""
    if abs(np.log(value / expected)) < np.log(1.5):
        return ""
    units = MASS_UNITS if measure.endswith("_kg") else LENGTH_UNITS
    gaps = {u: abs(np.log(value * f / expected)) for u, f in units.items() if f != 1}
    unit = min(gaps, key=lambda u: gaps[u])
    if gaps[unit] >= _NEAR[guess]:
        return ""
    words: str = _T.left_out["other_unit"]
    return words.format(unit=UNIT_WORDS[unit], expected=expected)


#: An answer's place, its value, and what is expected with the SD of that.
Cell = tuple[int, float, float, float]
#: By who answered, and by volunteer or measure, what stands to what is alike in both.
Cells = dict[Any, dict[str, dict[Any, Cell]]]


def _exchanged(numbers: pd.DataFrame, expected: Floats) -> dict[int, str]:
    """Find answers that fit only if two volunteers, or two measures, are exchanged.

    Judged over what both have (``_FAR_AND_CLOSE``). Returns places and reasons.
    """
    people: Cells = {}
    columns: Cells = {}
    for i, row in enumerate(numbers.to_dict("records")):
        who, whom, measure = row["participant"], str(row["subject"]), row["measure"]
        guess, reading = bool(row["guess"]), row["reading"]
        sd = _GUESS_SD[measure] if guess else reading_errors()[measure]
        cell = (i, float(row["value"]), float(expected[i]), sd)
        places = [(people, (guess, who, reading), whom, measure)]
        places += [] if guess else [(columns, who, measure, (whom, reading))]
        for found, whose, part, key in places:
            found.setdefault(whose, {}).setdefault(part, {}).setdefault(key, cell)
    told: dict[int, str] = {}
    for (guess, *_), volunteers in people.items():
        far, close = _FAR_AND_CLOSE[guess]
        for a, b in combinations(volunteers, 2):
            written, swapped, _ = _distances(volunteers[a], volunteers[b], guess)
            if written.min() > far and swapped.max() < close:
                for one, other in ((a, b), (b, a)):
                    reason = _T.left_out["exchanged_people"]
                    reason = reason.format(one=one, other=other)
                    cells = volunteers[one].values()
                    told |= dict.fromkeys((cell[0] for cell in cells), reason)
    labels = vocabulary().set_index("name")["label"].str.lower()
    far, close = _FAR_AND_CLOSE[False]
    for measures in columns.values():
        for a, b in combinations(measures, 2):
            written, swapped, shared = _distances(measures[a], measures[b], False)
            before, after = (np.sqrt(np.mean(d**2)) for d in (written, swapped))
            if before > far and after < close:
                reason = _T.left_out["exchanged_measures"]
                reason = reason.format(one=labels[a], other=labels[b])
                told |= dict.fromkeys(shared, reason)
    return told


def _distances(
    one: dict[Any, Cell], two: dict[Any, Cell], guess: bool
) -> tuple[Floats, Floats, list[int]]:
    """Return how far two lists are from what is expected, as written and exchanged.

    Root mean squares in SDs over what both have, and its places.
    """
    shared = [key for key in one if key in two]
    if not shared:
        return np.zeros(2), np.zeros(2), []
    x, y = (np.array([cells[key] for key in shared]) for cells in (one, two))
    if guess:  # Relative SDs, of what both are expected to be on average.
        x[:, 3] = y[:, 3] = x[:, 3] * (x[:, 2] + y[:, 2]) / 2

    def off(p: Floats, q: Floats) -> float:
        return float(np.sqrt(np.mean(((p[:, 1] - q[:, 2]) / q[:, 3]) ** 2)))

    places = np.concatenate([x[:, 0], y[:, 0]]).astype(int).tolist()
    written, exchanged = [off(x, x), off(y, y)], [off(x, y), off(y, x)]
    return np.array(written), np.array(exchanged), places
