"""The lesson's pages: the evidence, the handout, the room's own answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import pandas as pd

from sizing.cautions import cautions
from sizing.fit.core import limits as chart_limits
from sizing.measures import EDGE_RULE, vocabulary
from sizing.report.cards import lesson_template
from sizing.report.page import Page, Picture, Section, Table, render, table
from sizing.report.room_page import repeats_section, share
from sizing.report.words import BY_WORDS, LEVEL_WORDS
from sizing.teaching import (
    WAY_WORDS,
    WaysResult,
    guessing_figures,
    outcome_words,
)
from sizing.teaching.choosing import CHOICE_OUTCOMES, CHOICE_WORDS, WRONG_MEANS
from sizing.teaching.ways_shares import (
    PUT_WRONG,
    WRONG_OF_SOME,
)

if TYPE_CHECKING:
    from sizing.report.lesson import Lesson

_OWN = "The kit's own table of measures; measures.csv says where each error is from."


def _told(ways: WaysResult) -> dict[tuple[str, str], dict]:
    return {(r["way"], r["outcome"]): r for r in ways.overall.to_dict("records")}


def _answer(ways: WaysResult) -> str:
    """Return the finding in one sentence, and whom the chart leaves out."""
    told = _told(ways)
    eye, tape = told["by_eye", PUT_WRONG], told["tape_once", PUT_WRONG]
    # Whom no size fits is the same by every way; 'usual' always takes a size.
    none = told["usual", "chosen_though_none_fits"]
    return (
        f"Chosen by eye, {share(eye)} of these people would be put in a size that "
        f"does not fit; measured once by tape, {share(tape)}. No size of this chart "
        f"fits {share(none)} of them: measuring shows that, guessing does not."
    )


def _kinder(found: WaysResult) -> str:
    """Return what comes of guessing where the published guesses were best."""
    told = _told(found)["by_eye", PUT_WRONG]
    study = found.settings["guess"][0].study
    return (
        f"With the guesses of the study where nurses guessed best ({study}), by eye "
        f"still puts {share(told)} in a size that does not fit."
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
                    _kinder(lesson.kinder),
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
            repeats_section(lesson.repeats, pictures),
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


def handout_html(lesson: Lesson, figure: Picture) -> str:
    """Return the handout: one page to print."""
    words = vocabulary().set_index("name")
    told = _told(lesson.ways)
    once, twice = told["tape_once", PUT_WRONG], told["tape_twice", PUT_WRONG]
    measures = [
        f"{words['label'][m]}: "
        + _lower(str(words["landmarks"][m]).removeprefix("None: "))
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
        limits=f"{lesson.people.name.capitalize()}, n = {lesson.people.n:,}, sized by "
        f"'{lesson.chart.name}' ({lesson.chart.source}). Nobody here was measured "
        "seated; seated measures are drawn from models; nobody is known to have a "
        "contracture, an amputation or scoliosis. Intervals are 95 %.",
        sources="Guesses: Acad Emerg Med 2005;12:262-266 and Pediatr Emerg Care "
        "1999;15(1). People: NHANES 2017-18 (public domain). Reading errors: the "
        "kit's table of measures. What a wrong size does: common practice, no source.",
    )


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
