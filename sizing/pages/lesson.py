"""The lesson's pages: the evidence and the handout, and the words they share."""

from base64 import b64encode
from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits as chart_limits
from sizing.lesson.choosing import CHOICE_WORDS, SPREAD_WORDS, WRONG_MEANS
from sizing.lesson.guessing import STUDY_WORDS, guessing_figures
from sizing.lesson.pairs import NO_PAIRS
from sizing.lesson.prepare import Lesson
from sizing.lesson.ways import MISSED, OF_SOME, WAY_WORDS, WRONG, WaysResult
from sizing.measures import EDGE_RULE, vocabulary
from sizing.pages.cards import lesson_page
from sizing.pages.page import Page, Picture, Section, Table, render, table
from sizing.pages.room import repeats_section
from sizing.pages.where import where_svg, where_words
from sizing.people import People
from sizing.words.labels import BY_WORDS, LEVEL_WORDS
from sizing.words.lesson import (
    table_against_tape,
    title_of,
    told,
    unit_of,
    ways_answer,
    worst_group,
)
from sizing.words.numbers import given, interval, points, share

_DERIVED = "derived from NHANES 2017-18 (public domain) by derive_reported_errors.py"
_SAID = "What people say of their own weight: NHANES 2017-18 (public domain)."
_OWN = (
    "Errors of one reading: the kit's own table of measures, from memory or by common "
    "practice."
)


def ways_table(ways: WaysResult) -> Table:
    """Return what comes of each way of choosing, wrong and none apart."""
    rows = told(ways)
    names = list(dict.fromkeys(ways.table["way"]))
    outcomes = dict(zip(OF_SOME, ("Fits", "Wrong size", "No size"), strict=True)) | {
        "chosen_though_none_fits": "None fits, one chosen",
        "rightly_none": "None fits, none chosen",
    }
    frame = pd.DataFrame(
        [
            {"Way": WAY_WORDS[way]}
            | {words: interval(rows[way, o]) for o, words in outcomes.items()}
            for way in names
        ]
    )
    # By tape the interval counts more than by the other ways.
    *_, last = rows.values()
    parts = last["method"].split("; ")
    method = ". ".join(f"{part[0].upper()}{part[1:]}" for part in parts)
    caption = (
        "Of people who fit at least one size: fits, wrong, none; of everyone: none "
        f"fits (95 % intervals). n = {last['n']:,}. {method}"
    )
    return table(frame, caption=caption, words=["Way"])


def groups_table(ways: WaysResult) -> Table:
    """Return how often three ways put people in a wrong size, by group."""
    rows = ways.table[
        (ways.table["outcome"] == WRONG)
        & ways.table["way"].isin(["by_eye", "both", "tape_once"])
    ]
    frames = []
    for (by, level), own in rows.groupby(["by", "level"], sort=False):
        found = {r["way"]: r for r in own.to_dict("records")}
        cells = {
            "Group": BY_WORDS.get(str(by), str(by)),
            "Level": LEVEL_WORDS.get(str(level), str(level)),
        }
        cells |= {WAY_WORDS[w].capitalize(): interval(r) for w, r in found.items()}
        one = next(iter(found.values()))
        small = " (too few to rely on)" if one["small_group"] else ""
        frames.append(cells | {"People": f"{one['n']:,}{small}"})
    return table(
        pd.DataFrame(frames),
        caption="In a wrong size, of people who fit at least one",
        words=["Group", "Level"],
    )


def check_table(check: pd.DataFrame) -> Table:
    """Return the published figures beside what the curves say."""
    words = {
        "within": "within {:.0f} %",
        "beyond": "off by more than {:.0f} %",
        "quantile": "{:.0f} % of guesses are lower than",
        "mean_absolute": "mean absolute error",
    }
    frame = pd.DataFrame(
        {
            "Study": check["study"].map(STUDY_WORDS),
            "Who guessed": check["guesser"] + ", of " + check["subjects"],
            "Figure": [
                words[s].format(100 * b)
                for s, b in zip(check["statistic"], check["bound"], strict=True)
            ],
            "Published": check["value"].map(given),
            "Curve": check["model"].map(share),
            "Miss": check["miss"].map(points),
            "Role": check["role"]
            + ", fitted on "
            + check["fitted_on"].map(STUDY_WORDS),
        }
    )
    return table(
        frame,
        caption="Published figures on guessed weight, and the curves (misses in "
        "percentage points)",
        words=["Study", "Who guessed", "Figure", "Role"],
    )


def lesson_limits(people: People) -> list[str]:
    """Return for whom the lesson's figures do not hold."""
    return [
        "Guesses were studied in emergency departments, of adults and of children "
        "aged 0 to 8; carers who know a resident may guess better.",
        "The curves of guessing are used as if exact: the studies differ by more "
        "than the intervals say.",
        "Readings are taken to err independently around the truth. A landmark "
        "found in the wrong place errs every time.",
        "How far they err is partly from memory. Intervals of the tape count that "
        f"{SPREAD_WORDS}.",
        *people.limits,
    ]


def lesson_sources(people: People) -> list[str]:
    """Return the sources of the lesson's figures."""
    figures = guessing_figures()["source"].str.split("; ").str[0]
    return [
        *dict.fromkeys(figures.str.replace(_DERIVED, _SAID, regex=False)),
        _OWN,
        "What a wrong size does to a person: common practice, no source.",
        *people.sources,
    ]


def wrong_words(*names: str) -> list[str]:
    """Return what a wrong size does: common practice, no source."""
    chosen = names or tuple(WRONG_MEANS)
    return [
        f"{CHOICE_WORDS[name].capitalize()}: {WRONG_MEANS[name]}." for name in chosen
    ]


def ways_section(ways: WaysResult, *figures: Picture, words: Sequence[str]) -> Section:
    """Return what each way of choosing is, after words of what came of it."""
    own = [
        "By eye, weight and height are guessed, as emergency nurses guessed them. By "
        "weight, height or both, they are measured once, and the size that most "
        "probably fits people alike is taken. Where no size fits at least half of "
        "them, the answer is 'none'. Nobody at a bedside has such a table; nor does "
        "by eye here see a person's shape, as one who has fitted slings for years may. "
        f"'The size we always use' is '{ways.settings['usual_size']}', the one that "
        "fits most of these people. By tape, every measure of the chart is read "
        "once, or twice and averaged.",
        "Wrong and none are different harms: a wrong sling can cut, tip or drop a "
        "person; without a sling, time is lost and somebody is asked.",
    ]
    return Section("The same people, each way", [*own, *words], figures)


def wrong_section() -> Section:
    """Return what a wrong size means."""
    common = ["Common practice, no source."]
    return Section("What a wrong size means", common, bullets=wrong_words())


def groups_section(ways: WaysResult) -> Section:
    """Return who is guessed worst."""
    words = [worst_group(ways)]
    return Section("Who is guessed worst", words, tables=[groups_table(ways)])


def studies_section(ways: WaysResult | None, check: pd.DataFrame) -> Section:
    """Return how well the guesses are known, and how those of ``ways`` were made."""
    words = []
    if ways is not None:
        words = [curve.summary() for curve in ways.settings["guess"]] + [
            "Height is guessed with an SD of "
            f"{given(ways.settings['stature_guess_sd'])} (common practice, no "
            "source), independently of weight."
        ]
    heading = "How well the guesses are known"
    return Section(heading, words, tables=[check_table(check)])


def evidence_html(lesson: Lesson, pictures: Mapping[str, Picture]) -> str:
    """Return the evidence as a page."""
    ways, people = lesson.ways, lesson.people
    kinder = told(lesson.kinder)["by_eye", WRONG]
    study = STUDY_WORDS[lesson.kinder.settings["guess"][0].study]
    words = [
        table_against_tape(ways, lesson.elsewhere),
        f"In one study nurses guessed best ({study}). With their guesses, by eye still "
        f"puts {interval(kinder)} of people who fit at least one size in a wrong one.",
    ]
    answer = pictures["wrong_size"]
    pairs = [p for name, p in pictures.items() if name.startswith("pair_")]
    page = Page(
        title="Guessing against measuring",
        question="How often does each way of choosing a sling size put a person in "
        "one that does not fit?",
        inputs=f"People: {title_of(people.name)}, n = {people.n:,}, "
        f"{people.draws} draws. Chart: {lesson.chart.name} ({lesson.chart.source}).",
        answer=ways_answer(ways),
        sections=[
            replace(ways_section(ways, answer, words=words), tables=[ways_table(ways)]),
            wrong_section(),
            groups_section(ways),
            Section(
                "Pairs that surprise",
                words=[PAIRS_WORDS],
                figures=pairs,
                bullets=[] if pairs else [NO_PAIRS],
            ),
            studies_section(ways, lesson.check),
            repeats_section(lesson.repeats, pictures),
        ],
        limits=lesson_limits(people),
        sources=lesson_sources(people),
        footer=f"{EDGE_RULE} Sizes are ranked by their order in the chart. "
        f"Seed {ways.settings['seed']}.",
    )
    return render(page.for_pattern(lesson.pattern, lesson.chart.measures))


PAIRS_WORDS = (
    "People of the survey alike in sex, age band, weight and height who need "
    "different sizes. They are numbered anew and cannot be known. Measures marked "
    "predicted or extrapolated are drawn from models: such a body is likely, not "
    "measured."
)


def handout_html(
    ways: WaysResult, people: People, chart: SizeChart, figure: Picture
) -> str:
    """Return the handout: one page to print."""
    rows = told(ways)
    once, twice = (
        f"{interval(rows[way, WRONG])} in a wrong size, {interval(rows[way, MISSED])} "
        "without one"
        for way in ("tape_once", "tape_twice")
    )
    return lesson_page(
        "handout",
        answer=ways_answer(ways),
        figure=figure,
        measures=measures_shown(chart),
        by_eye=BY_EYE,
        wrong=wrong_words("one_too_small", "one_too_large"),
        again=f"Once: {once}. Twice, averaged: {twice}. "
        "If two readings differ by more than 2 cm, find the landmark again (common "
        "practice, no source).",
        worst=worst_group(ways),
        limits=f"{title_of(people.name, first=True)}, n = {people.n:,}, sized by "
        f"'{chart.name}' ({chart.source}). Nobody here was measured "
        "seated; seated measures are drawn from models; nobody is known to have a "
        "contracture, an amputation or scoliosis. Intervals are 95 %.",
        sources="Guesses: Acad Emerg Med 2005;12:262-266 and Pediatr Emerg Care "
        "1999;15(1). People: NHANES 2017-18 (public domain). Reading errors: the "
        "kit's table of measures. What a wrong size does: common practice, no source.",
    )


#: What choosing by eye stands for in every figure.
BY_EYE = (
    "Weight and height guessed as emergency nurses guessed them, not carers who know "
    "the person; the likeliest size for those guesses is taken, or none."
)


def measures_shown(chart: SizeChart, units: str = "metric") -> list[dict[str, str]]:
    """Return each measure of the chart with its landmarks, ways and drawing."""
    shown = []
    words = vocabulary().set_index("name")
    for measure in chart_limits(chart):
        row = words.loc[measure]
        # A weight is read from a scale: there is nothing to draw.
        drawing = "" if measure == "body_mass_kg" else where_svg(measure)
        shown.append(
            {
                "label": str(row["label"]),
                "unit": unit_of(measure, units)[0],
                "landmarks": str(row["landmarks"]).removeprefix("None: ").capitalize(),
                "seated": str(row["how_seated"]),
                "lying": str(row["how_lying"]),
                "drawing": b64encode(drawing.encode()).decode("ascii"),
                "drawn": where_words(measure),
            }
        )
    return shown
