"""Answers that look like another unit, another column or another volunteer."""

from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.lesson.choosing import reading_errors
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
    found = swapped(own, hope) | columns_swapped(own, hope)
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


def columns_swapped(
    numbers: pd.DataFrame, expected: npt.NDArray[np.float64]
) -> dict[int, str]:
    """Find measures that one participant wrote into each other's columns throughout.

    The root mean square distance over all the rows that have both measures decides.
    """
    labels = vocabulary().set_index("name")["label"].str.lower()
    sd = numbers["measure"].map(reading_errors()).to_numpy(float)
    far, close = _FAR_AND_CLOSE[False]
    frame = numbers.assign(place=range(len(numbers)), hope=expected, sd=sd)
    found: dict[int, str] = {}
    for _, own in frame[~frame["guess"].astype(bool)].groupby("participant"):
        wide = own.pivot_table(
            index=["subject", "reading"],
            columns="measure",
            values=["value", "hope", "sd", "place"],
            aggfunc="first",
        )
        for one, two in combinations(own["measure"].unique(), 2):
            both = wide.xs(one, axis=1, level=1).join(
                wide.xs(two, axis=1, level=1).add_suffix("_2")
            )
            both = both.dropna()
            if both.empty:
                continue
            as_written = [
                (both["value"] - both["hope"]) / both["sd"],
                (both["value_2"] - both["hope_2"]) / both["sd_2"],
            ]
            exchanged = [
                (both["value"] - both["hope_2"]) / both["sd_2"],
                (both["value_2"] - both["hope"]) / both["sd"],
            ]
            before, after = (
                float(np.sqrt(np.square(pd.concat(d)).mean()))
                for d in (as_written, exchanged)
            )
            if before > far and after < close:
                reason = (
                    f"{labels[one]} and {labels[two]} look exchanged throughout by "
                    "this participant"
                )
                places = pd.concat([both["place"], both["place_2"]])
                found |= dict.fromkeys(places.astype(int), reason)
    return found


def _expected(numbers: pd.DataFrame, reference: str) -> npt.NDArray[np.float64]:
    """Return the reference, else the median of at least two others' readings.

    For a guess the truth is the reference, or the median of the readings.
    """
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
    sorted_all = {
        key: np.sort(np.concatenate(list(each.values())))
        for key, each in others.items()
    }
    found = np.full(len(numbers), np.nan)
    for i, row in enumerate(numbers.to_dict("records")):
        key = (str(row["subject"]), str(row["measure"]))
        each = others.get(key, {})
        mine = each.get(row["participant"], [])
        if key in truth:
            found[i] = truth[key]
        elif len(each) - bool(mine) >= 2:
            found[i] = _median_without(sorted_all[key], mine)
    return found


def _median_without(values: npt.NDArray[np.float64], some: list[float]) -> float:
    """Return the median of sorted values less some of them."""
    left = len(values) - len(some)
    # The middle ones, moved up by each left out below or at them.
    places = []
    for place in ((left - 1) // 2, left // 2):
        for gone in sorted(np.searchsorted(values, sorted(some)).tolist()):
            place += gone <= place
        places.append(place)
    return float(values[places].mean())


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


def swapped(numbers: pd.DataFrame, expected: npt.NDArray[np.float64]) -> dict[int, str]:
    """Find answers about two volunteers that fit only if they are exchanged.

    Returns the position of each such answer and the reason. One participant's readings
    of one round, or guesses, are judged together over the measures that both volunteers
    have (``_FAR_AND_CLOSE``).
    """
    groups: dict[tuple[Any, ...], dict[str, dict[str, tuple[int, float, float]]]] = {}
    for i, row in enumerate(numbers.to_dict("records")):
        guess = bool(row["guess"])
        key = (row["participant"], guess, row["reading"])
        of_subject = groups.setdefault(key, {}).setdefault(str(row["subject"]), {})
        cell = (i, float(row["value"]), float(expected[i]))
        of_subject.setdefault(str(row["measure"]), cell)
    found: dict[int, str] = {}
    for (_, guess, _), subjects in groups.items():
        for a, b in combinations(subjects, 2):
            one, two = subjects[a], subjects[b]
            if not _exchanged(one, two, guess=guess):
                continue
            for subject, other in ((a, b), (b, a)):
                for place, _, _ in subjects[subject].values():
                    found[place] = (
                        f"{subject} and {other} look exchanged: these are nearer to "
                        f"{other}'s measures"
                    )
    return found


def _exchanged(
    one: dict[str, tuple[int, float, float]],
    two: dict[str, tuple[int, float, float]],
    *,
    guess: bool,
) -> bool:
    """Say whether two volunteers' values fit only once exchanged."""
    errors = reading_errors()
    shared = [measure for measure in one if measure in two]
    if not shared:
        return False
    x, hope_x = (np.array([one[m][k] for m in shared]) for k in (1, 2))
    y, hope_y = (np.array([two[m][k] for m in shared]) for k in (1, 2))
    if guess:
        sd = np.array([_GUESS_SD[m] for m in shared]) * (hope_x + hope_y) / 2
    else:
        sd = np.array([errors[m] for m in shared])

    def distance(p: npt.NDArray[np.float64], q: npt.NDArray[np.float64]) -> float:
        return float(np.sqrt(np.mean(((p - q) / sd) ** 2)))

    as_written = min(distance(x, hope_x), distance(y, hope_y))
    exchanged = max(distance(x, hope_y), distance(y, hope_x))
    far, close = _FAR_AND_CLOSE[guess]
    return as_written > far and exchanged < close
