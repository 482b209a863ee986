"""The page of the room's own answers."""

from collections.abc import Mapping

import pandas as pd

from sizing.plots.style import percent
from sizing.report.lesson_pictures import measure_labels
from sizing.report.page import Page, Picture, Section, Table, render, table
from sizing.teaching import RoomResult
from sizing.teaching.agreement import TOGETHER
from sizing.teaching.answers import left_out_in_words
from sizing.teaching.choosing import CHOICE_WORDS
from sizing.teaching.ways_shares import PUT_WRONG_OUTCOMES


def share(row: Mapping, *, interval: bool = True) -> str:
    """Write a share with its interval."""
    words = f"{100 * row['estimate']:.0f} %"
    if interval:
        words += f" ({100 * row['low']:.0f} to {100 * row['high']:.0f})"
    return words


def room_html(
    room: RoomResult, repeats: pd.DataFrame, pictures: Mapping[str, Picture]
) -> str:
    """Return the room's own results as a page."""
    chosen = [p for name, p in pictures.items() if name.startswith("room_sizes")]
    guesses = [p for name, p in pictures.items() if name.startswith("room_guesses")]
    taped = [p for name, p in pictures.items() if name == "room_tape"]
    answers = room.answers
    sections = []
    if chosen:
        sections.append(
            Section("Sizes", figures=chosen, tables=[_room_sizes_table(room)])
        )
    if guesses:
        sections.append(
            Section(
                "Guesses",
                figures=guesses,
                tables=[
                    _guess_table(measure, room.guesses[measure].table)
                    for measure in room.guesses
                ],
            )
        )
    if len(room.error.table):
        sections.append(
            Section(
                "Tape",
                words=room.error.summary().split("\n"),
                figures=taped,
                tables=[_tape_table(room.error.table), _habit_table(room)],
            )
        )
        sections.append(repeats_section(repeats, pictures, own=True))
    sections.append(_left_out_section(room))
    page = Page(
        title="What this room guessed and measured",
        question="How far off were the guesses and the tapes, and how many people "
        "would have been in a wrong size?",
        inputs=f"{len(answers.participants)} participants, who are numbers here; "
        f"chart: {room.chart}.",
        answer=_room_answer(room),
        sections=sections,
        limits=[
            "One room and a few volunteers: the intervals say how little that settles.",
            "What the reference says is taken as true; the trainer's tape errs too.",
        ],
        sources=[
            "Limits of agreement: Bland and Altman, Lancet 1986;327:307-310.",
            "Technical error and reliability: Ulijaszek and Kerr, Br J Nutr "
            "1999;82:165-177.",
            *dict.fromkeys(
                str(t) for t in room.error.table.get("target_source", ()) if t
            ),
        ],
    )
    return render(page)


def _room_answer(room: RoomResult) -> str:
    parts = []
    for source, words in (("chosen", "as chosen"), ("tape", "by their own tapes")):
        rows = room.sizes[
            (room.sizes["source"] == source) & (room.sizes["participant"] == TOGETHER)
        ]
        if len(rows):
            wrong = rows["outcome"].isin(PUT_WRONG_OUTCOMES)
            count, n = int(rows.loc[wrong, "count"].sum()), int(rows["n"].iloc[0])
            parts.append(f"{count} of {n} {words}")
    if not parts:
        return "No size was chosen for anybody whose right size is known."
    return f"Put in a size that does not fit: {'; '.join(parts)}."


def _room_sizes_table(room: RoomResult) -> Table:
    frames = []
    for (source, who), own in room.sizes.groupby(["source", "participant"], sort=False):
        told = {r["outcome"]: r for r in own.to_dict("records")}
        cells = {"From": source, "Participant": who, "Choices": own["n"].iloc[0]}
        together = who == TOGETHER
        for outcome, words in CHOICE_WORDS.items():
            row = told[outcome]
            count = str(row["count"])
            # Only all together are enough for an interval to say something.
            cells[words.capitalize()] = (
                f"{count}: {share(row)}" if together and row["count"] else count
            )
        frames.append(cells)
    text_columns = ["From", "Participant"]
    caption = "What came of each choice: counts, and shares (95 %) together"
    return table(pd.DataFrame(frames), caption=caption, words=text_columns)


def _guess_table(measure: str, rows: pd.DataFrame) -> Table:
    unit = measure.rsplit("_", 1)[1]
    names = {
        "bias": f"On average, {unit}",
        "lower_limit": f"Lower limit, {unit}",
        "upper_limit": f"Upper limit, {unit}",
    }
    frames = []
    for who, own in rows.groupby("participant", sort=False):
        told = {r["statistic"]: r for r in own.to_dict("records")}
        cells = {"Participant": who, "Guesses": own["n"].iloc[0]}
        for statistic, words in names.items():
            row = told[statistic]
            cell = f"{row['estimate']:+.1f}" if pd.notna(row["estimate"]) else ""
            if who == TOGETHER and pd.notna(row["low"]):
                cell += f" ({row['low']:+.1f} to {row['high']:+.1f})"
            cells[words] = cell
        frames.append(cells)
    label = measure_labels()[measure]
    method = rows["method"].iloc[0]
    return table(
        pd.DataFrame(frames),
        caption=f"{label}: guess minus truth; together with its interval ({method})",
        words=["Participant"],
    )


def _tape_table(rows: pd.DataFrame) -> Table:
    labels = measure_labels()
    frame = pd.DataFrame(
        {
            "Measure": rows["measure"].map(labels),
            "Measurers": rows["kind"],
            "TEM": [f"{v:.2f}" for v in rows["tem"]],
            "95 %": [
                f"{a:.2f} to {b:.2f}"
                for a, b in zip(rows["low"], rows["high"], strict=True)
            ],
            "Of the mean": [percent(v, places=1) for v in rows["relative_tem"]],
            "Target": [
                percent(v, places=1) if pd.notna(v) else "none"
                for v in rows["target_relative_tem"]
            ],
            "Reliability": [
                f"{v:.3f}" if pd.notna(v) else "too few people"
                for v in rows["reliability"]
            ],
            "Readings": rows["n"],
        }
    )
    return table(
        frame,
        caption="Technical error of measurement, in cm or kg",
        words=["Measure", "Measurers"],
    )


def _habit_table(room: RoomResult) -> Table:
    rows = room.error.measurers
    wide = rows.pivot_table(
        index="participant", columns="measure", values="bias", sort=False
    ).rename(columns=measure_labels())
    cells = wide.map(lambda v: f"{v:+.1f}" if pd.notna(v) else "")
    frame = cells.reset_index().rename(columns={"participant": "Participant"})
    return table(
        frame,
        caption="Each participant's habit: first readings minus everybody's mean",
        words=["Participant"],
    )


def _left_out_section(room: RoomResult) -> Section:
    answers = room.answers
    lines = [left_out_in_words(row) for row in answers.left_out.to_dict("records")]
    for frame, columns in (
        (room.not_counted, ["what", "reason"]),
        (room.error.left_out, ["kind", "reason"]),
    ):
        if len(frame):
            count = frame[columns].value_counts(sort=False).reset_index()
            lines += [
                f"Not counted: {row['count']} ({row[columns[0]]}): {row['reason']}."
                for row in count.to_dict("records")
            ]
    words = f"{len(answers.left_out)} answers left out; {answers.empty} cells empty."
    return Section("Left out of these sums", words=[words], bullets=lines)


def repeats_section(
    repeats: pd.DataFrame, pictures: Mapping[str, Picture], *, own: bool = False
) -> Section:
    """Return the section on how often one must measure."""
    frame = pd.DataFrame(
        {
            "Readings": repeats["times"],
            "By": repeats["by"],
            "Outcome": repeats["outcome"].map(
                {
                    "wrong_size": "put in a size that does not fit",
                    "missed": "no size found though one fits",
                    "either": "either",
                }
            ),
            "Chance": [share(r) for r in repeats.to_dict("records")],
        }
    )
    whose = "of this room" if own else "of the kit's table of measures"
    return Section(
        "How often must one measure?",
        words=[f"With the measuring errors {whose}, tried on the survey's people."],
        figures=[pictures["how_often_to_measure"]],
        tables=[
            table(frame, caption="Chance by readings averaged", words=["By", "Outcome"])
        ],
    )
