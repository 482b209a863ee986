"""What came of the room's own answers, as a page."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import pandas as pd

from sizing.lesson.agreement import TOGETHER, signed
from sizing.lesson.answers import left_out_words, measure_labels
from sizing.lesson.choosing import CHOICE_WORDS
from sizing.lesson.room import RoomResult
from sizing.pages.page import Page, Picture, Section, Table, table
from sizing.words.lesson import (
    courses_words,
    gain_labels,
    guesses_words,
    room_answer,
    unit_of,
)
from sizing.words.numbers import interval, points_interval
from sizing.words.numbers import share as percent

_SOURCES = {"chosen": "as the room chose", "tape": "by their own tapes"}
_KINDS = {"within": "the same person", "between": "another person"}


def room_page(
    room: RoomResult,
    repeats: pd.DataFrame | None,
    pictures: Mapping[str, Picture],
    *,
    units: str = "metric",
    rows: bool = True,
    each: bool = False,
) -> Page:
    """Return what came of the room's answers, part by part.

    ``rows``: whether the answers stand in a file, whose rows have numbers; ``each``:
    whether each participant's own figures are shown as well.
    """

    def of(start: str) -> list[Picture]:
        return [p for name, p in pictures.items() if name.startswith(start)]

    sections = []
    if len(room.sizes):
        tables = sizes_tables(room, each)
        sections.append(Section("Sizes", (), of("room_sizes"), tables))
    if room.guesses:
        words = [
            f"{measure_labels()[m]}: {guesses_words(found, m, units)}"
            for m, found in room.guesses.items()
        ]
        tables = [
            guess_table(measure, found.table, units, each)
            for measure, found in room.guesses.items()
            if len(found.points)
        ]
        sections.append(Section("Guesses", words, of("room_guesses"), tables))
    if len(room.gain):
        words = [
            "The same bodies were guessed again, so part of the gain may be that they "
            "were known by then."
        ]
        sections.append(Section("Guess, measure, guess again", words, of("room_gain")))
    if len(room.error.table):
        fine = "No measure is beyond its published target between measurers."
        tables = [tape_table(room.error.table, units)]
        tables += [habit_table(room, units)] if each else []
        words = [room.error.worst() or fine]
        sections.append(Section("Tape", words, of("room_tape"), tables))
        if repeats is not None:
            sections.append(repeats_section(repeats, pictures, own=True))
    if room.with_slips is not None:
        sections.append(_slips_section(room, room.with_slips, units))
    sections.append(_left_out_section(room, rows, each))
    targets = room.error.table.get("target_source", ())
    return Page(
        title="What this room guessed and measured",
        question="How far off were the guesses and the tapes, and how many people "
        "would have been in a wrong size?",
        inputs=f"{len(room.answers.participants)} participants, who are numbers here; "
        f"chart: {room.chart}.",
        answer=room_answer(room),
        sections=sections,
        limits=[
            "One room and a few volunteers: the intervals say how little that settles.",
            "The reference is used as if exact; the trainer's tape errs too.",
        ],
        sources=[
            "Limits of agreement: Bland and Altman, Lancet 1986;327:307-310.",
            "Technical error and reliability: Ulijaszek and Kerr, Br J Nutr "
            "1999;82:165-177.",
            *dict.fromkeys(str(t) for t in targets if t),
        ],
    )


def courses_page(kept: pd.DataFrame, picture: Picture, units: str = "metric") -> Page:
    """Return the courses kept by date, as a page."""
    return Page(
        title="Every room so far",
        question="How did the rooms do, course by course?",
        inputs="Rooms kept by the trainer; nothing of any participant is kept.",
        answer=courses_words(kept),
        sections=[
            Section("Course by course", (), [picture], [courses_table(kept, units)])
        ],
        limits=[
            "Rooms differ in who came, who was measured and which chart was used: no "
            "trend is claimed."
        ],
        sources=["The trainer's own rooms. Intervals: as on each room's page."],
    )


def courses_table(kept: pd.DataFrame, units: str = "metric") -> Table:
    """Return one row for each course kept."""
    rows = []
    for course, own in kept.groupby("course", sort=False):
        cells = {
            "Course": course,
            "Chart": own["chart"].iloc[0],
            "People": round(own["participants"].max()),
        }
        for row in own.to_dict("records"):
            name = gain_labels().get(row["measure"], row["measure"])
            if row["figure"] == "tape_error":
                unit, size = unit_of(row["measure"], units)
                tem, low, high = (
                    f"{row[end] / size:.1f}" for end in ("estimate", "low", "high")
                )
                cells[f"{name}, {unit}"] = f"{tem} ({low} to {high})"
            elif row["figure"] == "gain":
                cells[f"{name}: gain, points"] = points_interval(row)
            else:
                source = _SOURCES[row["figure"].removeprefix("wrong_")]
                cells[f"Wrong size, {source}"] = interval(row)
        rows.append(cells)
    caption = (
        "One room a row; in brackets 95 % intervals. Lengths: technical error of "
        "measurement between people"
    )
    return table(pd.DataFrame(rows), caption=caption, words=["Course", "Chart"])


def sizes_tables(room: RoomResult, each: bool = True) -> list[Table]:
    """Return what came of the choices, together and by participant.

    Outcomes that never came stand in no column: the table must fit on a page.
    """
    tables = []
    for source, rows in _shown(room.sizes, each).groupby("source", sort=False):
        came = rows.groupby("outcome")["count"].sum()
        frames = []
        for who, own in rows.groupby("participant", sort=False):
            found = {r["outcome"]: r for r in own.to_dict("records")}
            cells = {"Participant": who, "Choices": own["n"].iloc[0]}
            for outcome, words in CHOICE_WORDS.items():
                if came[outcome]:
                    row = found[outcome]
                    # Only all together are enough for an interval to say something.
                    told = (
                        f": {interval(row)}" if who == TOGETHER and row["count"] else ""
                    )
                    cells[words.capitalize()] = f"{row['count']}{told}"
            frames.append(cells)
        caption = (
            f"What came of each choice, {_SOURCES[str(source)]}: counts, and together "
            "the share (95 % interval)"
        )
        frame = pd.DataFrame(frames)
        tables.append(table(frame, caption=caption, words=["Participant"]))
    return tables


def guess_table(
    measure: str, rows: pd.DataFrame, units: str = "metric", each: bool = True
) -> Table:
    """Return bias and limits of agreement, together and by participant."""
    unit, size = unit_of(measure, units)
    names = {
        "bias": f"On average, {unit}",
        "lower_limit": f"Lower limit, {unit}",
        "upper_limit": f"Upper limit, {unit}",
    }
    frames = []
    for who, own in _shown(rows, each).groupby("participant", sort=False):
        found = {r["statistic"]: r for r in own.to_dict("records")}
        cells = {"Participant": who, "Guesses": own["n"].iloc[0]}
        for statistic, words in names.items():
            row = found[statistic]
            known = pd.notna(row["estimate"])
            cell = signed(row["estimate"] / size) if known else ""
            if who == TOGETHER and pd.notna(row["low"]):
                low, high = signed(row["low"] / size), signed(row["high"] / size)
                cell += f" ({low} to {high})"
            cells[words] = cell
        frames.append(cells)
    label = measure_labels()[measure]
    method = rows["method"].iloc[0]
    return table(
        pd.DataFrame(frames),
        caption=f"{label}: guess minus truth; together with its interval ({method})",
        words=["Participant"],
    )


def tape_table(rows: pd.DataFrame, units: str = "metric") -> Table:
    """Return the technical error of each measure beside its target."""

    def cells(row: Mapping[Any, Any]) -> dict[str, object]:
        unit, size = unit_of(row["measure"], units)
        target, reliability = (
            "none" if pd.isna(row[f"target_{name}"]) else say(row[f"target_{name}"])
            for name, say in (
                ("relative_tem", partial(percent, places=1)),
                ("reliability", "{:.2f}".format),
            )
        )
        return {
            "Measure": measure_labels()[row["measure"]],
            "Read again by": _KINDS[row["kind"]],
            "Technical error": f"{row['tem'] / size:.1f} {unit}",
            "95 % interval": f"{row['low'] / size:.1f} to {row['high'] / size:.1f}",
            "Of the mean": percent(row["relative_tem"], places=1),
            "Target": target,
            "Reliability": _reliability(row["reliability"]),
            "Its target": reliability,
            "Readings": row["n"],
        }

    return table(
        pd.DataFrame(list(map(cells, rows.to_dict("records")))),
        caption="Technical error of measurement (TEM), its share of the mean (%TEM), "
        "and reliability (R: 1 is perfect)",
        words=["Measure", "Read again by"],
    )


def _reliability(value: float) -> str:
    """Write R; nobody's is perfect."""
    if pd.isna(value):
        return "too few people"
    return "over 0.99" if 0.995 <= value < 1 else f"{value:.2f}"


def habit_table(room: RoomResult, units: str = "metric") -> Table:
    """Return how far each participant reads from everybody, on average."""
    rows = room.error.measurers
    wide = rows.pivot_table(
        index="participant", columns="measure", values="bias", sort=False
    )
    labels = measure_labels()
    frame = pd.DataFrame({"Participant": wide.index})
    for measure in wide:
        unit, size = unit_of(str(measure), units)
        frame[f"{labels[str(measure)]}, {unit}"] = [
            f"{v / size:+.1f}" if pd.notna(v) else "" for v in wide[measure]
        ]
    return table(
        frame,
        caption="Each participant's habit: first readings minus everybody's mean",
        words=["Participant"],
    )


def _shown(rows: pd.DataFrame, each: bool) -> pd.DataFrame:
    """Return what may stand on a wall: all together, or each participant as well."""
    return rows if each else rows[rows["participant"] == TOGETHER]


def _slips_section(room: RoomResult, slips: RoomResult, units: str) -> Section:
    """Return the figures with the doubtful numbers left out, and left in."""
    found = {}
    for name, one in (("Left out", room), ("Left in", slips)):
        own = one.wrong[one.wrong["participant"] == TOGETHER].set_index("source")
        cells = {
            f"In a wrong size, {_SOURCES[str(s)]}": f"{r['count']} of {r['n']}"
            for s, r in own.to_dict("index").items()
        }
        for row in one.error.table.to_dict("records"):
            unit, size = unit_of(row["measure"], units)
            label = measure_labels()[row["measure"]]
            told = f"{row['tem'] / size:.1f} {unit}"
            cells[f"{label}, read again by {_KINDS[row['kind']]}"] = told
        found[name] = cells
    frame = pd.DataFrame(found).rename_axis("Figure").reset_index()
    return Section(
        "With and without the slips",
        words=[
            f"{len(room.answers.doubted)} numbers look like slips and are left out of "
            "every figure above. This is what they would do."
        ],
        tables=[
            table(frame, caption="The slips left out, and left in", words=["Figure"])
        ],
    )


def _left_out_section(room: RoomResult, rows: bool, each: bool) -> Section:
    answers = room.answers
    left = answers.left_out.to_dict("records")
    # Whose slips they were is named where each participant's figures are.
    lines = [left_out_words(row, rows=rows) for row in left] if each else []
    lines = [*answers.mapped, *lines]
    for frame, columns in (
        (room.not_counted, ["what", "reason"]),
        (room.error.left_out, ["kind", "reason"]),
    ):
        if len(frame):
            count = frame[columns].value_counts(sort=False).reset_index()
            about = {kind: f"error of {whose}" for kind, whose in _KINDS.items()}
            lines += [
                f"Not counted: {number} ({about.get(what, what)}): {reason}."
                for what, reason, number in count.to_numpy().tolist()
            ]
    words = f"{len(answers.left_out)} answers left out; {answers.empty} cells empty."
    return Section("Left out of these sums", words=[words], bullets=lines)


def repeats_section(
    repeats: pd.DataFrame, pictures: Mapping[str, Picture], *, own: bool = False
) -> Section:
    """Return the section on how often one must measure."""
    outcomes = {
        "wrong_size": "Put in a size that does not fit",
        "missed": "No size found though one fits",
        "either": "Either",
    }
    chance = {
        (r["by"], r["times"], r["outcome"]): interval(r)
        for r in repeats.to_dict("records")
    }
    frame = pd.DataFrame(
        [
            {"Read by": by, "Readings averaged": times}
            | {words: chance[by, times, name] for name, words in outcomes.items()}
            for by, times in dict.fromkeys((by, times) for by, times, _ in chance)
        ]
    )
    whose = "of this room" if own else "of the kit's table of measures"
    figure = pictures.get("how_often_to_measure")
    return Section(
        "How often must one measure?",
        words=[
            f"With the measuring errors {whose}, tried on the survey's people who fit "
            "at least one size."
        ],
        figures=[figure] if figure else [],
        tables=[
            table(frame, caption="Chances, with 95 % intervals", words=["Read by"])
        ],
    )
