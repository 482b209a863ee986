"""Answers that look like another unit, another column or another volunteer."""

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from sizing.lesson.choosing import Floats, reading_errors
from sizing.measures import vocabulary
from sizing.measures.columns import LENGTH_UNITS, MASS_UNITS, UNIT_WORDS

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
    """Say which answers cannot be trusted, and why."""
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
            told[i] = (
                f"more than {_TOO_FAR:g} typical errors from the others, who found "
                f"about {expected[i]:.1f}"
            )
    reasons = [told.get(i, "") for i in range(len(rows))]
    return pd.Series(reasons, index=numbers.index, dtype=object)


def _expected(numbers: pd.DataFrame, reference: str) -> Floats:
    """Return the reference, else the median of at least two others' readings."""
    taped = numbers[~numbers["guess"].astype(bool)]
    if "refused" in taped:
        taped = taped[taped["refused"] == ""]
    truth: dict[tuple[str, str], float] = {}
    others: dict[tuple[str, str], dict[str, list[float]]] = {}
    for row in taped.to_dict("records"):
        key = (str(row["subject"]), str(row["measure"]))
        if row["participant"] == reference:
            truth.setdefault(key, float(row["value"]))
        else:
            of_subject = others.setdefault(key, {})
            own = of_subject.setdefault(row["participant"], [])
            own.append(float(row["value"]))
    found = np.full(len(numbers), np.nan)
    for i, row in enumerate(numbers.to_dict("records")):
        key = (str(row["subject"]), str(row["measure"]))
        each = others.get(key, {})
        theirs = [own for who, own in each.items() if who != row["participant"]]
        if key in truth:
            found[i] = truth[key]
        elif len(theirs) >= 2:
            found[i] = np.median(np.concatenate(theirs))
    return found


def other_unit(value: float, expected: float, measure: str, *, guess: bool) -> str:
    """Say in which other unit a value would be what is expected, or nothing."""
    near = _NEAR[guess]
    if abs(np.log(value / expected)) < np.log(1.5):
        return ""
    units = MASS_UNITS if measure.endswith("_kg") else LENGTH_UNITS
    gaps = {u: abs(np.log(value * f / expected)) for u, f in units.items() if f != 1}
    unit = min(gaps, key=lambda u: gaps[u])
    if gaps[unit] >= near:
        return ""
    words = UNIT_WORDS[unit]
    return f"makes sense in {words} only: the others found about {expected:.1f}"


#: An answer's place, its value, and what is expected with the SD of that.
Cell = tuple[int, float, float, float]


def _exchanged(numbers: pd.DataFrame, expected: Floats) -> dict[int, str]:
    """Find answers that fit only if two volunteers, or two measures, are exchanged.

    Judged over what both have (``_FAR_AND_CLOSE``). Returns places and reasons.
    """
    errors = reading_errors()
    people: dict[Any, dict[str, dict[Any, Cell]]] = {}
    columns: dict[Any, dict[str, dict[Any, Cell]]] = {}
    for i, row in enumerate(numbers.to_dict("records")):
        who, whom, measure = row["participant"], str(row["subject"]), row["measure"]
        guess, reading = bool(row["guess"]), row["reading"]
        sd = _GUESS_SD[measure] if guess else errors[measure]
        cell = (i, float(row["value"]), float(expected[i]), sd)
        of_volunteer = people.setdefault((guess, who, reading), {}).setdefault(whom, {})
        of_volunteer.setdefault(measure, cell)
        if not guess:
            of_measure = columns.setdefault(who, {}).setdefault(measure, {})
            of_measure.setdefault((whom, reading), cell)
    found: dict[int, str] = {}
    for (guess, *_), volunteers in people.items():
        far, close = _FAR_AND_CLOSE[guess]
        for a, b in combinations(volunteers, 2):
            written, swapped, _ = _distances(volunteers[a], volunteers[b], guess)
            if written.min() > far and swapped.max() < close:
                for one, other in ((a, b), (b, a)):
                    reason = f"{one} and {other} look exchanged: these are nearer to "
                    places = [cell[0] for cell in volunteers[one].values()]
                    found |= dict.fromkeys(places, f"{reason}{other}'s measures")
    labels = vocabulary().set_index("name")["label"].str.lower()
    far, close = _FAR_AND_CLOSE[False]
    for measures in columns.values():
        for a, b in combinations(measures, 2):
            written, swapped, places = _distances(measures[a], measures[b], False)
            before, after = (np.sqrt(np.mean(d**2)) for d in (written, swapped))
            if before > far and after < close:
                reason = f"{labels[a]} and {labels[b]} look exchanged throughout by "
                found |= dict.fromkeys(places, f"{reason}this participant")
    return found


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
