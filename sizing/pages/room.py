"""What came of the room's own answers, and of every room kept, as pages."""

from collections.abc import Mapping, Sequence
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
_ENDS = ("estimate", "low", "high")


def room_page(
    room: RoomResult,
    repeats: pd.DataFrame | None,
    pictures: Mapping[str, Picture],
    *,
    units: str = "metric",
    rows: bool = True,
    each: bool = False,
) -> Page:
    """Return what came of the room's answers; ``each``: every participant's own too."""

    def of(start: str) -> list[Picture]:
        return [p for name, p in pictures.items() if name.startswith(start)]

    own, sections, error = _T.room, [], room.error.table
    if len(room.sizes):
        tables = _sizes_tables(room, each)
        sections.append(Section("Sizes", (), of("room_sizes"), tables))
    if found := room.guesses.items():
        words = [f"{labels()[m]}: {a.summary(*unit_of(m, units))}" for m, a in found]
        some = [(m, a.table) for m, a in found if len(a.points)]
        tables = [_guess_table(*one, units, each) for one in some]
        sections.append(Section("Guesses", words, of("room_guesses"), tables))
    if len(room.gain):
        words = [own["again_words"]]
        sections.append(Section(own["again"], words, of("room_gain")))
    if len(error):
        tables = [_tape_table(error, units)]
        tables += [_habit_table(room, units)] if each else []
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
    words |= {"limits": own["limits"], "sources": own["sources"]}
    sections = [Section(own["heading"], (), [picture], tables)]
    return Page(**words, answer=courses_words(kept), sections=sections)


def courses_table(kept: pd.DataFrame, units: str = "metric") -> Table:
    rows = []
    for course, own in kept.groupby("course", sort=False):
        people = round(own["participants"].max())
        cells = {"Course": course, "Chart": own["chart"].iloc[0], "People": people}
        for row in own.to_dict("records"):
            name = gain_labels().get(row["measure"], row["measure"])
            if row["figure"] == "tape_error":
                tem, low, high, unit = _lengths(row, _ENDS, units)
                cells[f"{name}, {unit}"] = f"{tem} ({low} to {high})"
            elif row["figure"] == "gain":
                cells[f"{name}: gain, points"] = points_interval(row)
            else:
                source = _T.sources_of_sizes[row["figure"].removeprefix("wrong_")]
                cells[f"Wrong size, {source}"] = interval(row)
        rows.append(cells)
    caption = _T.courses["caption"]
    return table(pd.DataFrame(rows), caption=caption, words=["Course", "Chart"])


def _lengths(row: Mapping[Any, Any], names: Sequence[str], units: str) -> list[str]:
    """Write figures in cm or kg in the units asked for, and then the unit."""
    unit, size = unit_of(row["measure"], units)
    return [*(f"{row[name] / size:.1f}" for name in names), unit]


def _by_participant(
    rows: pd.DataFrame, columns: Mapping[str, str], caption: str, count: str
) -> Table:
    """Return ``cell`` as a table, a row a participant; ``columns``: what is shown."""
    rows = rows[rows.iloc[:, 0].isin(list(columns))]
    wide = rows.pivot_table(
        "cell", ["participant", "n"], rows.columns[0], aggfunc="first", sort=False
    )
    wide = wide[list(columns)].rename(columns=columns).reset_index()
    wide = wide.rename(columns={"participant": "Participant", "n": count})
    return table(wide, caption=caption, words=["Participant"])


def _sizes_tables(room: RoomResult, each: bool) -> list[Table]:
    """Outcomes that never came stand in no column: the table must fit on a page."""
    tables = []
    for source, rows in _shown(room.sizes, each).groupby("source", sort=False):
        # Only all together are enough for an interval to say something.
        cells = [
            f"{row['count']}: {interval(row)}"
            if row["participant"] == TOGETHER and row["count"]
            else f"{row['count']}"
            for row in rows.to_dict("records")
        ]
        came = rows.groupby("outcome", sort=False)["count"].sum()
        columns = {one: CHOICE_WORDS[one].capitalize() for one in came[came > 0].index}
        rows = rows[["outcome", "participant", "n"]].assign(cell=cells)
        where = _T.sources_of_sizes[str(source)]
        caption = _T.room["sizes_caption"].format(source=where)
        tables.append(_by_participant(rows, columns, caption, "Choices"))
    return tables


def _guess_table(measure: str, rows: pd.DataFrame, units: str, each: bool) -> Table:
    (unit, size), cells = unit_of(measure, units), []
    method, rows = rows["method"].iloc[0], _shown(rows, each)
    for row in rows.to_dict("records"):
        told, low, high = (
            "" if pd.isna(row[end]) else signed(row[end] / size) for end in _ENDS
        )
        known = row["participant"] == TOGETHER and low
        cells.append(f"{told} ({low} to {high})" if known else told)
    rows = rows[["statistic", "participant", "n"]].assign(cell=cells)
    columns = {name: words.format(unit=unit) for name, words in _T.agreement.items()}
    label = labels()[measure]
    caption = _T.room["guesses_caption"].format(label=label, method=method)
    return _by_participant(rows, columns, caption, "Guesses")


def _tape_table(rows: pd.DataFrame, units: str) -> Table:
    tenth, frames = partial(percent, places=1), []
    for row in rows.to_dict("records"):
        tem, low, high, unit = _lengths(row, ("tem", "low", "high"), units)
        target, its = row["target_relative_tem"], row["target_reliability"]
        reached = row["reliability"]
        # Nobody's is perfect.
        sure = "over 0.99" if 0.995 <= reached < 1 else f"{reached:.2f}"
        frames.append(
            {
                "Measure": labels()[row["measure"]],
                "Read again by": _T.kinds[row["kind"]],
                "Technical error": f"{tem} {unit}",
                "95 % interval": f"{low} to {high}",
                "Of the mean": tenth(row["relative_tem"]),
                "Target": "none" if pd.isna(target) else tenth(target),
                "Reliability": "too few people" if pd.isna(reached) else sure,
                "Its target": "none" if pd.isna(its) else f"{its:.2f}",
                "Readings": row["n"],
            }
        )
    words, caption = ["Measure", "Read again by"], _T.room["tape_caption"]
    return table(pd.DataFrame(frames), caption=caption, words=words)


def _habit_table(room: RoomResult, units: str) -> Table:
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
    found, own = {}, _T.room
    for name, one in (("Left out", room), ("Left in", slips)):
        cells = {
            f"In a wrong size, {_T.sources_of_sizes[r['source']]}": (
                f"{r['count']} of {r['n']}"
            )
            for r in _shown(one.wrong, False).to_dict("records")
        }
        for row in one.error.table.to_dict("records"):
            label, kind = labels()[row["measure"]], _T.kinds[row["kind"]]
            told = " ".join(_lengths(row, ["tem"], units))
            cells[f"{label}, read again by {kind}"] = told
        found[name] = cells
    frame = pd.DataFrame(found).rename_axis("Figure").reset_index()
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
    told, found = _T.room, repeats.assign(cell=repeats.apply(interval, axis=1))
    rows = [
        {"Read by": by, "Readings averaged": times}
        | dict(zip(part["outcome"].map(_T.repeats), part["cell"], strict=True))
        for (by, times), part in found.groupby(["by", "times"], sort=False)
    ]
    caption, frame = told["repeats_caption"], pd.DataFrame(rows)
    words = [
        told["repeats_words"].format(whose=told["own_errors" if own else "kit_errors"])
    ]
    figures = [p for p in (pictures.get("how_often_to_measure"),) if p]
    shown = table(frame, caption=caption, words=["Read by"])
    return Section(told["repeats"], words, figures, [shown])
