"""What a lesson says to people: sentences, names and distances in their units."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from sizing.lesson.answers import CHOSEN, GUESSES
from sizing.lesson.room import TOGETHER, RoomResult
from sizing.lesson.ways import CASES, FITTED, OF_SOME, WAY_WORDS, WRONG, WaysResult
from sizing.measures import LENGTH_UNITS, MASS_UNITS, labels, written
from sizing.measures import unit_of as plain_unit
from sizing.people import population_titles
from sizing.resources import invented_first, texts
from sizing.words.labels import BY_WORDS, level_words
from sizing.words.numbers import interval, points, points_interval, share

_T = texts("lesson")


def title_of(population: str, *, first: bool = False) -> str:
    """Return what a population is called in plain words; ``first`` in a sentence."""
    title = population_titles().get(population, population)
    return title[0].upper() + title[1:] if first else title


def of_hundred(row: Mapping[Any, Any]) -> str:
    """Write a share as people of a hundred, with its interval: '49 (45 to 54)'."""
    return interval(row).replace(" %", "")


def told(ways: WaysResult) -> dict[tuple[str, str], dict[Any, Any]]:
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
    who = title_of(ways.people)
    words = _T.said["answer"].format(who=who, eye=eye, tape=tape, none=none)
    return invented_first(ways.invented, words)


def other_ways(ways: WaysResult) -> str:
    rows = told(ways)
    parts = [
        f"{WAY_WORDS[w]} {', '.join(of_hundred(rows[w, one]) for one in OF_SOME)}"
        for w in WAY_WORDS
        if (w, WRONG) in rows and w not in ("by_eye", "tape_once")
    ]
    return str(_T.said["others"].format(parts="; ".join(parts)))


def table_against_tape(ways: WaysResult, others: pd.DataFrame | None = None) -> str:
    """Say whether weight and height with a table do as well as the tape, and why."""
    own = _T.said
    gap = ways.differences.query("way == 'both'").set_index("outcome").to_dict("index")
    fitted, wrong, missed = (gap[one] for one in OF_SOME)
    verdict = "more" if fitted["low"] > 0 else "fewer"
    verdict = "not_settled" if fitted["low"] <= 0 <= fitted["high"] else verdict
    words: str = own["table"].format(
        both=of_hundred(told(ways)["both", FITTED]),
        verdict=own[verdict],
        fitted=points_interval(fitted),
        wrong=points_interval(wrong),
        missed=points_interval(missed),
    )
    if wrong["low"] > 0 and set(ways.settings["reading_sd"]) - set(GUESSES):
        words += own["no_shape"]
    if missed["high"] < 0:
        words += own["one_slip"]
    if others is None:
        return words
    found = others[others["outcome"] == FITTED].set_index(["case", "way"])["estimate"]
    cases = " ".join(
        own["case"].format(
            label=label,
            both=share(found[case, "both"]),
            tape=share(found[case, "tape_once"]),
        )
        for case, label in CASES.items()
    )
    return words + str(own["elsewhere"].format(cases=cases))


def worst_group(ways: WaysResult) -> str:
    worst = ways.worst_groups()
    if worst.empty:
        return str(_T.groups_too_small)
    row = worst.iloc[0]
    level = level_words(ways.table).get(str(row["level"]), str(row["level"]))
    by = BY_WORDS.get(str(row["by"]), str(row["by"])).lower()
    words: str = _T.said["worst"]
    return words.format(level=level, by=by, n=row["n"], wrong=interval(row))


def room_answer(room: RoomResult) -> str:
    parts = [
        f"{_T.said['room_' + row['source']]}: {row['count']} of {row['n']}, "
        f"{interval(row)}."
        for row in room.wrong.to_dict("records")
        if row["participant"] == TOGETHER
    ]
    if not parts:
        return str(_T.said["room_nothing"])
    words = _T.said["room"].format(parts=" ".join(parts))
    return invented_first(room.invented, words)


def unit_of(measure: str, units: str) -> tuple[str, float]:
    """Return the unit in which differences of a measure are told, and its size."""
    # Stones are too large for a difference.
    unit = plain_unit(measure, "pounds" if units == "stone" else units)
    return unit, (LENGTH_UNITS | MASS_UNITS)[unit]


def distance(value: float, measure: str, units: str = "metric") -> str:
    """Write a distance from an edge, never rounded away to nothing."""
    unit, size = unit_of(measure, units)
    mass = measure.endswith("_kg")
    least = 1.0 if mass else 0.5
    if 0 < abs(value) / size < least - 1e-6:
        return f"less than {least:g} {unit}"
    pounds = mass and units == "stone"
    return written(abs(value), measure, "pounds" if pounds else units)


def gain_labels() -> dict[str, str]:
    return labels() | {CHOSEN: "Size"}


def gain_words(gain: pd.DataFrame) -> str:
    """Say how far off guesses were before and after measuring, and what it gained."""
    said = []
    for row in gain.to_dict("records"):
        gained, low, high = (
            points(row[end], sign=False) for end in ("estimate", "low", "high")
        )
        words = _T.said["gain"].format(
            label=gain_labels()[row["measure"]],
            n=row["n"],
            off="not right for" if row["measure"] == CHOSEN else "off by",
            before=share(row["before"]),
            after=share(row["after"]),
            gained=gained,
            s="" if gained == "1" else "s",
        )
        if row["n"] > 1:
            words += f" ({low} to {high})" if low != high else ""
            words += _T.said["gain_open"] if row["low"] <= 0 <= row["high"] else ""
        said.append(f"{words}.")
    return " ".join(said)


def courses_words(table: pd.DataFrame) -> str:
    said = []
    for figure, words in (("wrong_chosen", "chosen"), ("wrong_tape", "by tape")):
        own = table[table["figure"] == figure]
        n = int(own["n"].sum())
        wrong = round(float((own["estimate"] * own["n"]).sum()))
        said += [f"of {n:,} sizes {words}, {wrong:,} did not fit"] if n else []
    count, days = table["course"].nunique(), (table["date"].min(), table["date"].max())
    head = (
        f"{count} course{'' if count == 1 else 's'}, {' to '.join(dict.fromkeys(days))}"
    )
    return f"{': '.join([head, *filter(None, ['; '.join(said)])])}."
