"""The lesson's pages: the evidence, the handout, the room's own answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import pandas as pd

from sizing.cautions import cautions
from sizing.fit.core import limits as chart_limits
from sizing.measures import EDGE_RULE, vocabulary
from sizing.plots.style import percent
from sizing.report.cards import lesson_template
from sizing.report.lesson_pictures import measure_labels
from sizing.report.page import Page, Picture, Section, Table, render, table
from sizing.report.study_page import BY_WORDS, LEVEL_WORDS
from sizing.teaching import (
    WAY_WORDS,
    RoomResult,
    WaysResult,
    guessing_figures,
    outcome_words,
)
from sizing.teaching.agreement import TOGETHER
from sizing.teaching.answers import left_out_in_words
from sizing.teaching.choosing import CHOICE_OUTCOMES, CHOICE_WORDS, WRONG_MEANS
from sizing.teaching.ways_shares import (
    PUT_WRONG,
    PUT_WRONG_OUTCOMES,
    WRONG_OF_SOME,
)

if TYPE_CHECKING:
    from sizing.report.lesson import Lesson

_OWN = "The kit's own table of measures; measures.csv says where each error is from."


def share(row: Mapping, *, interval: bool = True) -> str:
    """Write a share with its interval."""
    words = f"{100 * row['estimate']:.0f} %"
    if interval:
        words += f" ({100 * row['low']:.0f} to {100 * row['high']:.0f})"
    return words


def _told(ways: WaysResult) -> dict[tuple[str, str], dict]:
    return {(r["way"], r["outcome"]): r for r in ways.overall.to_dict("records")}


def _answer(ways: WaysResult) -> str:
    """Return the finding in one sentence."""
    told = _told(ways)
    eye, tape = told["by_eye", PUT_WRONG], told["tape_once", PUT_WRONG]
    return (
        f"Chosen by eye, {share(eye)} of these people would be put in a size that "
        f"does not fit; measured once by tape, {share(tape)}."
    )


def _worst(ways: WaysResult) -> str:
    worst = ways.worst_groups()
    if worst.empty:
        return "The groups are too small to say."
    row = worst.iloc[0]
    level = LEVEL_WORDS.get(str(row["level"]), str(row["level"]))
    by = BY_WORDS.get(str(row["by"]), str(row["by"])).lower()
    return (
        f"Those in the group '{level}' ({by}): of the people there whom some size "
        f"fits, {share(row.to_dict())} are not put in it by eye (n = {row['n']:,})."
    )


def ways_table(ways: WaysResult) -> Table:
    """Return the shares of every outcome by way of choosing."""
    told = _told(ways)
    names = list(dict.fromkeys(ways.table["way"]))
    outcomes = [*CHOICE_OUTCOMES, PUT_WRONG]
    frame = pd.DataFrame(
        [
            {"Way": WAY_WORDS[way]}
            | {outcome_words(o).capitalize(): share(told[way, o]) for o in outcomes}
            for way in names
        ]
    )
    first = next(iter(told.values()))
    caption = f"Share of people (95 % interval), n = {first['n']:,}; {first['method']}"
    return table(frame, caption=caption, words=["Way"])


def _groups_table(ways: WaysResult) -> Table:
    rows = ways.table[
        (ways.table["outcome"] == WRONG_OF_SOME)
        & ways.table["way"].isin(["by_eye", "body_mass", "tape_once"])
    ]
    frames = []
    for (by, level), own in rows.groupby(["by", "level"], sort=False):
        found = {r["way"]: r for r in own.to_dict("records")}
        cells = {
            "Group": BY_WORDS.get(str(by), str(by)),
            "Level": LEVEL_WORDS.get(str(level), str(level)),
        }
        cells |= {WAY_WORDS[w].capitalize(): share(r) for w, r in found.items()}
        one = next(iter(found.values()))
        small = " (too few to rely on)" if one["small_group"] else ""
        frames.append(cells | {"People": f"{one['n']:,}{small}"})
    return table(
        pd.DataFrame(frames),
        caption="Not in a fitting size, of those whom some size fits",
        words=["Group", "Level"],
    )


def _check_table(check: pd.DataFrame) -> Table:
    words = {
        "within": "within {:.0f} %",
        "beyond": "off by more than {:.0f} %",
        "quantile": "quantile {:.0f} %",
        "mean_absolute": "mean absolute error",
    }
    frame = pd.DataFrame(
        {
            "Study": check["study"],
            "Who guessed": check["guesser"] + ", of " + check["subjects"],
            "Figure": [
                words[s].format(100 * b)
                for s, b in zip(check["statistic"], check["bound"], strict=True)
            ],
            "Published": [f"{100 * v:.1f} %" for v in check["value"]],
            "Curve": [f"{100 * v:.1f} %" for v in check["model"]],
            "Miss": [f"{100 * v:+.1f}" for v in check["miss"]],
            "Role": check["role"] + ", fitted on " + check["fitted_on"],
        }
    )
    return table(
        frame,
        caption="Published figures on guessed body mass, and the curves (misses in "
        "percentage points)",
        words=["Study", "Who guessed", "Figure", "Role"],
    )


def evidence_html(lesson: Lesson, pictures: Mapping[str, Picture]) -> str:
    """Return the evidence as a page."""
    ways = lesson.ways
    pair_pictures = [p for name, p in pictures.items() if name.startswith("pair_")]
    usual = ways.settings["usual_size"]
    page = Page(
        title="Guessing against measuring",
        question="How often does each way of choosing a sling size put a person in "
        "one that fits?",
        inputs=f"People: {lesson.people.name}, n = {lesson.people.n:,}, "
        f"{lesson.people.draws} draws. Chart: {lesson.chart.name} "
        f"({lesson.chart.source}).",
        answer=_answer(ways),
        sections=[
            Section(
                "The same people, each way",
                words=[
                    "By eye, body mass and stature are guessed as carers guess them. "
                    "By body mass, stature or both, they are known exactly and the "
                    "size that most probably fits is taken: nobody at a bedside can "
                    "do better with these. 'The size we always use' is "
                    f"'{usual}', the one that fits most of these people. By tape, "
                    "every measure of the chart is read once, or twice and averaged.",
                    "Whoever measures and finds that no size fits knows it, and asks. "
                    "Whoever guesses takes a size all the same.",
                ],
                figures=[pictures["ways"]],
                tables=[ways_table(ways)],
            ),
            Section(
                "What a wrong size means",
                words=["Common practice, no source."],
                bullets=[
                    f"{CHOICE_WORDS[name].capitalize()}: {text}."
                    for name, text in WRONG_MEANS.items()
                ],
            ),
            Section(
                "Whom guessing fails most",
                words=[_worst(ways)],
                tables=[_groups_table(ways)],
            ),
            Section(
                "Pairs that surprise",
                words=[
                    "People of the survey alike in sex, age band, body mass and "
                    "stature who need different sizes. They are numbered anew and "
                    "cannot be known. Measures marked predicted or extrapolated are "
                    "drawn from models: such a body is likely, not measured.",
                ],
                figures=pair_pictures,
                bullets=lesson.pairs.summary().split("\n"),
            ),
            Section(
                "How well the guesses are known",
                words=[
                    *(curve.summary() for curve in ways.settings["guess"]),
                    "Stature is guessed with an SD of "
                    f"{100 * ways.settings['stature_guess_sd']:.0f} % (common "
                    "practice, no source), independently of body mass.",
                ],
                figures=[pictures["guesses_published"]],
                tables=[_check_table(lesson.check)],
            ),
            _repeats_section(lesson.repeats, pictures),
        ],
        limits=[
            "Guesses were studied in emergency departments, of adults and of children "
            "aged 0 to 8; carers who know a resident may guess better.",
            "The curves of guessing are taken as true: the studies differ by more "
            "than the intervals say.",
            "Readings are taken to err independently around the truth. A landmark "
            "found in the wrong place errs every time.",
            *lesson.people.limits,
        ],
        sources=[
            *dict.fromkeys(guessing_figures()["source"].str.split("; ").str[0]),
            _OWN,
            *lesson.people.sources,
        ],
        footer=f"{EDGE_RULE} Sizes are ranked by their order in the chart. "
        f"Seed {ways.settings['seed']}.",
    )
    return render(page)


def _repeats_section(
    repeats: pd.DataFrame, pictures: Mapping[str, Picture], *, own: bool = False
) -> Section:
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


def handout_html(lesson: Lesson, figure: Picture) -> str:
    """Return the handout: one page to print."""
    words = vocabulary().set_index("name")
    told = _told(lesson.ways)
    once, twice = told["tape_once", PUT_WRONG], told["tape_twice", PUT_WRONG]
    measures = [
        f"{words['label'][m]}: {_lower(str(words['landmarks'][m]))}"
        for m in chart_limits(lesson.chart)
    ]
    return lesson_template("handout.html.j2").render(
        title="Measure, do not guess",
        answer=_answer(lesson.ways),
        figure=figure,
        measures=measures,
        wrong=[
            f"{CHOICE_WORDS[name].capitalize()}: {text}."
            for name, text in list(WRONG_MEANS.items())[:2]
        ],
        again=f"Once: {share(once)} in a wrong size. Twice, averaged: {share(twice)}. "
        "If two readings differ by more than 2 cm, find the landmark again (common "
        "practice, no source).",
        worst=_worst(lesson.ways),
        cautions=cautions(),
        limits=f"{lesson.people.name}, n = {lesson.people.n:,}, sized by "
        f"'{lesson.chart.name}' ({lesson.chart.source}). Nobody here was measured "
        "seated; seated measures are drawn from models; nobody is known to have a "
        "contracture, an amputation or scoliosis. Intervals are 95 %.",
        sources="Guesses: Acad Emerg Med 2005;12:262-266 and Pediatr Emerg Care "
        "1999;15(1). People: NHANES 2017-18 (public domain). Reading errors: the "
        "kit's table of measures. What a wrong size does: common practice, no source.",
    )


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


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
        sections.append(_repeats_section(repeats, pictures, own=True))
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
    rows = room.sizes[(room.sizes["count"] > 0)]
    frame = pd.DataFrame(
        {
            "From": rows["source"],
            "Participant": rows["participant"],
            "Outcome": rows["outcome"].map(CHOICE_WORDS),
            "Count": [
                f"{c} of {n}" for c, n in zip(rows["count"], rows["n"], strict=True)
            ],
            "Share (95 %)": [share(r) for r in rows.to_dict("records")],
        }
    )
    words = ["From", "Participant", "Outcome"]
    return table(frame, caption="What came of each choice", words=words)


def _guess_table(measure: str, rows: pd.DataFrame) -> Table:
    unit = measure.rsplit("_", 1)[1]
    names = {
        "bias": "on average",
        "sd": "SD",
        "lower_limit": "lower limit",
        "upper_limit": "upper limit",
    }
    frame = pd.DataFrame(
        {
            "Participant": rows["participant"],
            "Figure": rows["statistic"].map(names),
            unit: [f"{v:+.1f}" if pd.notna(v) else "" for v in rows["estimate"]],
            "95 %": [
                f"{a:+.1f} to {b:+.1f}" if pd.notna(a) else ""
                for a, b in zip(rows["low"], rows["high"], strict=True)
            ],
            "Guesses": rows["n"],
        }
    )
    label = measure_labels()[measure]
    return table(
        frame,
        caption=f"{label}: guess minus truth",
        words=["Participant", "Figure"],
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
    frame = pd.DataFrame(
        {
            "Measure": rows["measure"].map(measure_labels()),
            "Participant": rows["participant"],
            "From the others": [f"{v:+.1f}" for v in rows["bias"]],
            "People": rows["n"],
        }
    )
    return table(
        frame,
        caption="Each participant's habit: first readings minus everybody's mean",
        words=["Measure", "Participant"],
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
