"""What a lesson says to people: sentences, names and distances in their units."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from sizing.cautions import invented_first
from sizing.lesson.agreement import TOGETHER, Agreement
from sizing.lesson.answers import CHOSEN, GUESSES, measure_labels
from sizing.lesson.prepare import CASES
from sizing.lesson.room import RoomResult
from sizing.lesson.ways import FITTED, OF_SOME, WAY_WORDS, WRONG, WaysResult
from sizing.measures.columns import LENGTH_UNITS, MASS_UNITS
from sizing.measures.written import written
from sizing.people import population_titles
from sizing.words.labels import BY_WORDS, LEVEL_WORDS
from sizing.words.numbers import interval, points, points_interval, share


def title_of(population: str, *, first: bool = False) -> str:
    """Return what a population is called in plain words; ``first`` in a sentence."""
    title = population_titles().get(population, population)
    return title[0].upper() + title[1:] if first else title


def of_hundred(row: Mapping[Any, Any]) -> str:
    """Write a share as people of a hundred, with its interval: '49 (45 to 54)'."""
    return interval(row).replace(" %", "")


def told(ways: WaysResult) -> dict[tuple[str, str], dict[Any, Any]]:
    """Return the rows about everyone by way and outcome."""
    return {(r["way"], r["outcome"]): r for r in ways.overall.to_dict("records")}


def ways_answer(ways: WaysResult) -> str:
    """Return the finding: of people who fit a size, how many get it, and who do not."""
    rows = told(ways)
    eye, tape = (
        [of_hundred(rows[way, one]) for one in OF_SOME]
        for way in ("by_eye", "tape_once")
    )
    # Who fits no size is the same by every way; 'usual' always takes a size.
    none = of_hundred(rows["usual", "chosen_though_none_fits"])
    return invented_first(
        ways.invented,
        f"Of a hundred {title_of(ways.people)} who fit at least one size, choosing by "
        f"eye puts {eye[0]} in a size that fits. It puts {eye[1]} in a wrong one and "
        f"finds none for {eye[2]}. Measuring once by tape: {tape[0]}, {tape[1]} and "
        f"{tape[2]}. A wrong sling can hurt; no sling costs time. No size of this "
        f"chart fits {none} of a hundred.",
    )


def other_ways(ways: WaysResult) -> str:
    """Return what the other ways of choosing come to, in one sentence."""
    rows = told(ways)
    parts = [
        f"{WAY_WORDS[w]} {', '.join(of_hundred(rows[w, one]) for one in OF_SOME)}"
        for w in WAY_WORDS
        if (w, WRONG) in rows and w not in ("by_eye", "tape_once")
    ]
    return (
        f"The other ways (fitting, wrong, none): {'; '.join(parts)}. In brackets: 95 % "
        "intervals."
    )


def table_against_tape(ways: WaysResult, others: pd.DataFrame | None = None) -> str:
    """Say whether weight and height with a table do as well as the tape, and why."""
    rows = told(ways)
    gap = {
        r["outcome"]: r
        for r in ways.differences.to_dict("records")
        if r["way"] == "both"
    }
    fitted, wrong, missed = (gap[one] for one in OF_SOME)
    if fitted["low"] > 0:
        verdict = "That is more than by one reading of the tape."
    elif fitted["high"] >= 0:
        verdict = "Whether the tape, read once, puts more or fewer is not settled."
    else:
        verdict = "That is fewer than by one reading of the tape."
    words = (
        "Weight and height, measured and looked up in a table of people alike, put "
        f"{of_hundred(rows['both', FITTED])} in a size that fits. {verdict} Table less "
        f"tape, in points: {points_interval(fitted)} in a size that fits, "
        f"{points_interval(wrong)} in a wrong one, {points_interval(missed)} in none."
    )
    if wrong["low"] > 0 and set(ways.settings["reading_sd"]) - set(GUESSES):
        words += " A table does not see the shape."
    if missed["high"] < 0:
        words += " By tape, one slip at any edge is enough to find none."
    if others is None:
        return words
    found = others[others["outcome"] == FITTED].set_index(["case", "way"])["estimate"]
    cases = " ".join(
        f"With {label}: {share(found[case, 'both'])} by table, "
        f"{share(found[case, 'tape_once'])} by tape."
        for case, label in CASES.items()
    )
    return (
        f"{words} How many get a size that fits changes with the chart and the tape. "
        f"{cases} How far a reading errs is partly from memory: look at the last pair "
        "before claiming that the tape is better."
    )


def worst_group(ways: WaysResult) -> str:
    """Return whom guessing fails most."""
    worst = ways.worst_groups()
    if worst.empty:
        return "The groups are too small to say."
    row = worst.iloc[0]
    level = LEVEL_WORDS.get(str(row["level"]), str(row["level"]))
    by = BY_WORDS.get(str(row["by"]), str(row["by"])).lower()
    return (
        f"The group '{level}' ({by}, n = {row['n']:,}). Of those there who fit at "
        f"least one size, {interval(row)} are put in a wrong one by eye."
    )


def room_answer(room: RoomResult) -> str:
    """Return how many the room put in a wrong size, with the interval."""
    told = {"chosen": "By the sizes chosen", "tape": "By their own tapes"}
    parts = [
        f"{told[row['source']]}: {row['count']} of {row['n']}, {interval(row)}."
        for row in room.wrong.to_dict("records")
        if row["participant"] == TOGETHER
    ]
    if not parts:
        return (
            "No size was chosen for anybody whose right size is known: give every "
            "measure of the chart in the reference's rows, or choose for the cards."
        )
    words = f"Put in a size that does not fit. {' '.join(parts)}"
    return invented_first(room.invented, words)


def unit_of(measure: str, units: str) -> tuple[str, float]:
    """Return the unit in which differences of a measure are told, and its size."""
    mass = measure.endswith("_kg")
    if units == "metric":
        return ("kg" if mass else "cm"), 1.0
    return ("lb", MASS_UNITS["lb"]) if mass else ("in", LENGTH_UNITS["in"])


def distance(value: float, measure: str, units: str = "metric") -> str:
    """Write a distance from an edge, never rounded away to nothing."""
    unit, size = unit_of(measure, units)
    least = 1.0 if measure.endswith("_kg") else 0.5
    if 0 < abs(value) / size < least - 1e-6:
        return f"less than {least:g} {unit}"
    mass = measure.endswith("_kg") and units == "stone"
    return written(abs(value), measure, "pounds" if mass else units)


def guesses_words(found: Agreement, measure: str, units: str = "metric") -> str:
    """Return how far guesses are from the truth, in the units chosen."""
    return found.summary(*unit_of(measure, units))


def gain_labels() -> dict[str, str]:
    """Return what each row of a gain is called."""
    return measure_labels() | {CHOSEN: "Size"}


def gain_words(gain: pd.DataFrame) -> str:
    """Say how far off guesses were before and after measuring, and what it gained."""
    said = []
    for row in gain.to_dict("records"):
        ends = [points(row[end], sign=False) for end in ("low", "high")]
        gained = points(row["estimate"], sign=False)
        off = "not right for" if row["measure"] == CHOSEN else "off by"
        words = (
            f"{gain_labels()[row['measure']]}, guessed by {row['n']} both times: {off} "
            f"{share(row['before'])} at first, {share(row['after'])} after measuring; "
            f"a gain of {gained} point{'' if gained == '1' else 's'}"
        )
        known = row["n"] > 1 and ends[0] != ends[1]
        words += f" ({ends[0]} to {ends[1]})" if known else ""
        if row["n"] > 1 and row["low"] <= 0 <= row["high"]:
            words += ": too few to say whether anything was gained"
        said.append(f"{words}.")
    return " ".join(said)


def courses_words(table: pd.DataFrame) -> str:
    """Return what all courses kept come to, counted."""
    said = []
    for figure, words in (("wrong_chosen", "chosen"), ("wrong_tape", "by tape")):
        own = table[table["figure"] == figure]
        n = int(own["n"].sum())
        wrong = round(float((own["estimate"] * own["n"]).sum()))
        said += [f"of {n:,} sizes {words}, {wrong:,} did not fit"] if n else []
    days = sorted(set(table["date"]))
    count = table["course"].nunique()
    when = " to ".join(dict.fromkeys((days[0], days[-1])))
    head = f"{count} course{'' if count == 1 else 's'}, {when}"
    return f"{': '.join([head, *filter(None, ['; '.join(said)])])}."
