"""What came of the room's own answers, as a page."""

from collections.abc import Mapping
from functools import partial
from typing import Any

import pandas as pd

from sizing.lesson.answers import left_out_words
from sizing.lesson.choosing import CHOICE_WORDS
from sizing.lesson.room import TOGETHER, RoomResult, signed
from sizing.measures import labels
from sizing.pages.page import Page, Picture, Section, Table, table
from sizing.resources import texts
from sizing.words.lesson import courses_words, gain_labels, room_answer, unit_of
from sizing.words.numbers import interval, points_interval
from sizing.words.numbers import share as percent

_T = texts("lesson")


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

    own, sections, error = _T.room, [], room.error.table
    if len(room.sizes):
        tables = sizes_tables(room, each)
        sections.append(Section("Sizes", (), of("room_sizes"), tables))
    if room.guesses:
        words = [
            f"{labels()[m]}: {found.summary(*unit_of(m, units))}"
            for m, found in room.guesses.items()
        ]
        tables = [
            guess_table(measure, found.table, units, each)
            for measure, found in room.guesses.items()
            if len(found.points)
        ]
        sections.append(Section("Guesses", words, of("room_guesses"), tables))
    if len(room.gain):
        words = [own["again_words"]]
        sections.append(Section(own["again"], words, of("room_gain")))
    if len(error):
        tables = [tape_table(error, units)]
        tables += [habit_table(room, units)] if each else []
        words = [room.error.worst() or own["fine"]]
        sections.append(Section("Tape", words, of("room_tape"), tables))
        if repeats is not None:
            sections.append(repeats_section(repeats, pictures, own=True))
    if room.with_slips is not None:
        sections.append(_slips_section(room, room.with_slips, units))
    sections.append(_left_out_section(room, rows, each))
    targets = error.get("target_source", ())
    return Page(
        title=own["title"],
        question=own["question"],
        inputs=own["inputs"].format(n=len(room.answers.participants), chart=room.chart),
        answer=room_answer(room),
        sections=sections,
        limits=own["limits"],
        sources=[*own["sources"], *dict.fromkeys(str(t) for t in targets if t)],
    )


def courses_page(kept: pd.DataFrame, picture: Picture, units: str = "metric") -> Page:
    own, tables = _T.courses, [courses_table(kept, units)]
    words = {name: own[name] for name in ("title", "question", "inputs")}
    return Page(
        **words,
        answer=courses_words(kept),
        sections=[Section(own["heading"], (), [picture], tables)],
        limits=own["limits"],
        sources=own["sources"],
    )


def courses_table(kept: pd.DataFrame, units: str = "metric") -> Table:
    rows = []
    for course, own in kept.groupby("course", sort=False):
        people = round(own["participants"].max())
        cells = {"Course": course, "Chart": own["chart"].iloc[0], "People": people}
        for row in own.to_dict("records"):
            name = gain_labels().get(row["measure"], row["measure"])
            if row["figure"] == "tape_error":
                ends = ("estimate", "low", "high")
                tem, low, high = (_length(row, end, units) for end in ends)
                unit = unit_of(row["measure"], units)[0]
                cells[f"{name}, {unit}"] = f"{tem} ({low} to {high})"
            elif row["figure"] == "gain":
                cells[f"{name}: gain, points"] = points_interval(row)
            else:
                source = _T.sources_of_sizes[row["figure"].removeprefix("wrong_")]
                cells[f"Wrong size, {source}"] = interval(row)
        rows.append(cells)
    caption = _T.courses["caption"]
    return table(pd.DataFrame(rows), caption=caption, words=["Course", "Chart"])


def _length(row: Mapping[Any, Any], name: str, units: str) -> str:
    return f"{row[name] / unit_of(row['measure'], units)[1]:.1f}"


def sizes_tables(room: RoomResult, each: bool = True) -> list[Table]:
    """Outcomes that never came stand in no column: the table must fit on a page."""
    tables = []
    for source, rows in _shown(room.sizes, each).groupby("source", sort=False):
        came = rows.groupby("outcome")["count"].sum()
        frames = []
        for who, own in rows.groupby("participant", sort=False):
            cells = {"Participant": who, "Choices": own["n"].iloc[0]}
            for row in own.to_dict("records"):
                # Only all together are enough for an interval to say something.
                known = who == TOGETHER and row["count"]
                told = f": {interval(row)}" if known else ""
                if came[row["outcome"]]:
                    words = CHOICE_WORDS[row["outcome"]].capitalize()
                    cells[words] = f"{row['count']}{told}"
            frames.append(cells)
        where = _T.sources_of_sizes[str(source)]
        caption = _T.room["sizes_caption"].format(source=where)
        frame = pd.DataFrame(frames)
        tables.append(table(frame, caption=caption, words=["Participant"]))
    return tables


def guess_table(
    measure: str, rows: pd.DataFrame, units: str = "metric", each: bool = True
) -> Table:
    unit, size = unit_of(measure, units)
    frames = []
    for who, own in _shown(rows, each).groupby("participant", sort=False):
        found = own.set_index("statistic").to_dict("index")
        cells = {"Participant": who, "Guesses": own["n"].iloc[0]}
        for statistic, words in _T.agreement.items():
            row = found[statistic]
            ends = ("estimate", "low", "high")
            cell, low, high = (
                signed(row[e] / size) if pd.notna(row[e]) else "" for e in ends
            )
            ends_known = who == TOGETHER and low
            more = f" ({low} to {high})" if ends_known else ""
            cells[words.format(unit=unit)] = cell + more
        frames.append(cells)
    caption = _T.room["guesses_caption"].format(
        label=labels()[measure], method=rows["method"].iloc[0]
    )
    return table(pd.DataFrame(frames), caption=caption, words=["Participant"])


def tape_table(rows: pd.DataFrame, units: str = "metric") -> Table:
    tenth = partial(percent, places=1)

    def cells(row: Mapping[Any, Any]) -> dict[str, object]:
        tem, low, high = (_length(row, name, units) for name in ("tem", "low", "high"))
        target, reliability = (
            "none" if pd.isna(row[f"target_{name}"]) else say(row[f"target_{name}"])
            for name, say in (("relative_tem", tenth), ("reliability", "{:.2f}".format))
        )
        return {
            "Measure": labels()[row["measure"]],
            "Read again by": _T.kinds[row["kind"]],
            "Technical error": f"{tem} {unit_of(row['measure'], units)[0]}",
            "95 % interval": f"{low} to {high}",
            "Of the mean": tenth(row["relative_tem"]),
            "Target": target,
            "Reliability": _reliability(row["reliability"]),
            "Its target": reliability,
            "Readings": row["n"],
        }

    frame = pd.DataFrame(map(cells, rows.to_dict("records")))
    words = ["Measure", "Read again by"]
    return table(frame, caption=_T.room["tape_caption"], words=words)


def _reliability(value: float) -> str:
    """Write R; nobody's is perfect."""
    if pd.isna(value):
        return "too few people"
    return "over 0.99" if 0.995 <= value < 1 else f"{value:.2f}"


def habit_table(room: RoomResult, units: str = "metric") -> Table:
    wide = room.error.measurers.pivot_table(
        index="participant", columns="measure", values="bias", sort=False
    )
    frame = pd.DataFrame({"Participant": wide.index})
    for measure in map(str, wide):
        unit, size = unit_of(measure, units)
        frame[f"{labels()[measure]}, {unit}"] = [
            f"{v / size:+.1f}" if pd.notna(v) else "" for v in wide[measure]
        ]
    return table(frame, caption=_T.room["habit_caption"], words=["Participant"])


def _shown(rows: pd.DataFrame, each: bool) -> pd.DataFrame:
    return rows if each else rows[rows["participant"] == TOGETHER]


def _slips_section(room: RoomResult, slips: RoomResult, units: str) -> Section:
    found = {}
    for name, one in (("Left out", room), ("Left in", slips)):
        cells = {
            f"In a wrong size, {_T.sources_of_sizes[r['source']]}": (
                f"{r['count']} of {r['n']}"
            )
            for r in _shown(one.wrong, False).to_dict("records")
        }
        for row in one.error.table.to_dict("records"):
            label = labels()[row["measure"]]
            told = f"{_length(row, 'tem', units)} {unit_of(row['measure'], units)[0]}"
            cells[f"{label}, read again by {_T.kinds[row['kind']]}"] = told
        found[name] = cells
    frame = pd.DataFrame(found).rename_axis("Figure").reset_index()
    own = _T.room
    words = [own["slips_words"].format(n=len(room.answers.doubted))]
    shown = table(frame, caption=own["slips_caption"], words=["Figure"])
    return Section(own["slips"], words, tables=[shown])


def _left_out_section(room: RoomResult, rows: bool, each: bool) -> Section:
    answers, own = room.answers, _T.room
    left = answers.left_out.to_dict("records")
    # Whose slips they were is named where each participant's figures are.
    lines = [left_out_words(row, rows=rows) for row in left] if each else []
    about = {kind: f"error of {whose}" for kind, whose in _T.kinds.items()}
    for frame, column in ((room.not_counted, "what"), (room.error.left_out, "kind")):
        count = frame[[column, "reason"]].value_counts(sort=False).reset_index()
        for what, reason, n in count.to_numpy().tolist():
            what = about.get(what, what)
            lines.append(own["not_counted"].format(n=n, what=what, reason=reason))
    words = own["left_out_words"].format(n=len(left), empty=answers.empty)
    return Section(own["left_out"], [words], bullets=[*answers.mapped, *lines])


def repeats_section(
    repeats: pd.DataFrame, pictures: Mapping[str, Picture], *, own: bool = False
) -> Section:
    rows = [
        {"Read by": by, "Readings averaged": times}
        | {_T.repeats[r["outcome"]]: interval(r) for r in found.to_dict("records")}
        for (by, times), found in repeats.groupby(["by", "times"], sort=False)
    ]
    shown = table(
        pd.DataFrame(rows), caption=_T.room["repeats_caption"], words=["Read by"]
    )
    whose = _T.room["own_errors" if own else "kit_errors"]
    words = [_T.room["repeats_words"].format(whose=whose)]
    figures = [p for p in (pictures.get("how_often_to_measure"),) if p]
    return Section(_T.room["repeats"], words, figures, [shown])
