"""The lesson's pages: evidence, handout, practice cards, and the words they share."""

from base64 import b64encode
from collections.abc import Hashable, Mapping, Sequence
from functools import cache, partial
from importlib.resources import files
from typing import Any

import jinja2
import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits as chart_limits
from sizing.lesson.choosing import CHOICE_WORDS, SPREAD_WORDS, WRONG_MEANS
from sizing.lesson.guessing import STUDY_WORDS, guessing_figures
from sizing.lesson.practice import DIFFICULTIES, Practice, size_margins
from sizing.lesson.prepare import Lesson
from sizing.lesson.ways import MISSED, WAY_WORDS, WRONG, WaysResult
from sizing.measures import EDGE_RULE, labels, pattern_words, span, vocabulary, written
from sizing.pages.page import Page, Picture, Section, Table, render, shown, table
from sizing.pages.room import repeats_section
from sizing.pages.where import where_svg, where_words
from sizing.people import People
from sizing.resources import cautions, texts
from sizing.words.labels import BY_WORDS, level_words
from sizing.words.lesson import (
    distance,
    table_against_tape,
    title_of,
    told,
    unit_of,
    ways_answer,
    worst_group,
)
from sizing.words.numbers import given, interval, points, share

_T = texts("lesson")
#: What choosing by eye stands for in every figure.
BY_EYE: str = _T.by_eye
#: Cards on a side of a sheet.
_A_SHEET = 6


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(str(files("sizing.pages") / "lesson_pages")),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
        finalize=shown,
    )


def lesson_page(name: str, **shown: Any) -> str:
    page = _environment().get_template(f"{name}.html.j2")
    return page.render(cautions=cautions(), edge_rule=EDGE_RULE, **shown)


def ways_table(ways: WaysResult) -> Table:
    rows = told(ways)
    frame = pd.DataFrame(
        {"Way": WAY_WORDS[way]}
        | {words: interval(rows[way, one]) for one, words in _T.ways_heads.items()}
        for way in dict.fromkeys(ways.table["way"])
    )
    # By tape the interval counts more than by the other ways.
    *_, last = rows.values()
    parts = last["method"].split("; ")
    method = ". ".join(f"{part[0].upper()}{part[1:]}" for part in parts)
    caption = _T.evidence["ways_caption"].format(n=last["n"], method=method)
    return table(frame, caption=caption, words=["Way"])


def groups_table(ways: WaysResult) -> Table:
    shown = ["by_eye", "both", "tape_once"]
    rows = ways.table[(ways.table["outcome"] == WRONG) & ways.table["way"].isin(shown)]
    called, frames = level_words(ways.table), []
    for (by, level), own in rows.groupby(["by", "level"], sort=False):
        found = own.to_dict("records")
        small = " (too few to rely on)" if found[0]["small_group"] else ""
        frames.append(
            {
                "Group": BY_WORDS.get(str(by), str(by)),
                "Level": called.get(str(level), str(level)),
                **{WAY_WORDS[r["way"]].capitalize(): interval(r) for r in found},
                "People": f"{found[0]['n']:,}{small}",
            }
        )
    caption = _T.evidence["groups_caption"]
    return table(pd.DataFrame(frames), caption=caption, words=["Group", "Level"])


def check_table(check: pd.DataFrame) -> Table:
    figures = zip(check["statistic"], check["bound"], strict=True)
    study = check["study"].map(STUDY_WORDS)
    role = "from " + check["fitted_on"].map(STUDY_WORDS)
    role = role.where(check["role"] == "predicted", "fitted")
    # A quantile is an error with a sign, not a share.
    curve = [
        f"{points(value, sign=False)} %" if kind == "quantile" else share(value)
        for kind, value in zip(check["statistic"], check["model"], strict=True)
    ]
    frame = pd.DataFrame(
        {
            "Study": study,
            "Who guessed": check["guesser"] + ", of " + check["subjects"],
            "Figure": [_T.statistics[s].format(100 * b) for s, b in figures],
            "Published": check["value"].map(given),
            "Curve": curve,
            "Miss": check["miss"].map(points),
            "Role": role,
        }
    )
    words = ["Study", "Who guessed", "Figure", "Role"]
    return table(frame, caption=_T.evidence["studies_caption"], words=words)


def lesson_limits(people: People) -> list[str]:
    spread = _T.evidence["spread_limit"].format(spread=SPREAD_WORDS)
    return [*_T.evidence["limits"], spread, *people.limits]


def lesson_sources(people: People) -> list[str]:
    own = _T.evidence
    figures = guessing_figures()["source"].str.split("; ").str[0]
    figures = figures.str.replace(own["derived"], own["said"], regex=False)
    return [*dict.fromkeys(figures), own["errors"], own["harm_source"], *people.sources]


def wrong_words(*names: str) -> list[str]:
    """Return what a wrong size does: common practice, no source."""
    return [
        f"{CHOICE_WORDS[name].capitalize()}: {WRONG_MEANS[name]}."
        for name in names or WRONG_MEANS
    ]


def ways_section(ways: WaysResult, words: Sequence[str]) -> Section:
    own = _T.evidence
    said = own["ways_words"].format(usual=ways.settings["usual_size"])
    return Section(own["ways"], [said, own["harms"], *words])


def wrong_section() -> Section:
    words = [_T.common_practice]
    return Section(_T.evidence["wrong"], words, bullets=wrong_words())


def groups_section(ways: WaysResult) -> Section:
    words = [worst_group(ways)]
    return Section(_T.evidence["groups"], words, tables=[groups_table(ways)])


def studies_section(ways: WaysResult | None, check: pd.DataFrame) -> Section:
    """Return how well the guesses are known, and how those of ``ways`` were made."""
    words = []
    if ways is not None:
        words = [curve.summary() for curve in ways.settings["guess"]]
        sd = given(ways.settings["stature_guess_sd"])
        words.append(_T.evidence["height_guess"].format(sd=sd))
    return Section(_T.evidence["studies"], words, tables=[check_table(check)])


def evidence_html(lesson: Lesson, pictures: Mapping[str, Picture]) -> str:
    ways, people, own = lesson.ways, lesson.people, _T.evidence
    study = STUDY_WORDS[lesson.kinder.settings["guess"][0].study]
    wrong = interval(told(lesson.kinder)["by_eye", WRONG])
    words = [
        table_against_tape(ways, lesson.elsewhere),
        own["kinder"].format(study=study, wrong=wrong),
    ]
    answer = [pictures["wrong_size"]]
    pairs = [p for name, p in pictures.items() if name.startswith("pair_")]
    none, chart = [] if pairs else [_T.no_pairs], lesson.chart
    page = Page(
        title=own["title"],
        question=own["question"],
        inputs=own["inputs"].format(
            who=title_of(people.name),
            n=people.n,
            draws=people.draws,
            chart=chart.name,
            source=chart.source,
        ),
        answer=ways_answer(ways),
        sections=[
            Section(own["came"], (), answer, [ways_table(ways)]),
            ways_section(ways, words),
            wrong_section(),
            groups_section(ways),
            Section(own["pairs"], [_T.pairs], pairs, bullets=none),
            studies_section(ways, lesson.check),
            repeats_section(lesson.repeats, pictures),
        ],
        limits=lesson_limits(people),
        sources=lesson_sources(people),
        footer=own["footer"].format(rule=EDGE_RULE, seed=ways.settings["seed"]),
    )
    return render(page.for_pattern(lesson.pattern, chart.measures))


def pattern_shown(pattern: str | None, chart: SizeChart) -> list[str]:
    """Return what to know of a pattern of sling, if one is named, its name first."""
    named = f"Pattern of sling: {pattern}"
    return [named, *pattern_words(pattern, chart.measures)] if pattern else []


def handout_html(
    ways: WaysResult,
    people: People,
    chart: SizeChart,
    figure: Picture,
    pattern: str | None = None,
) -> str:
    rows = told(ways)
    tape: list[str] = []
    for way in ("tape_once", "tape_twice"):
        wrong, missed = interval(rows[way, WRONG]), interval(rows[way, MISSED])
        tape.append(_T.tape_way.format(wrong=wrong, missed=missed))
    return lesson_page(
        "handout",
        answer=ways_answer(ways),
        figure=figure,
        measures=measures_shown(chart),
        by_eye=BY_EYE,
        wrong=wrong_words("one_too_small", "one_too_large"),
        tape=tape,
        worst=worst_group(ways),
        who=f"{title_of(people.name, first=True)}, n = {people.n:,}",
        chart=chart,
        pattern=pattern_shown(pattern, chart),
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


def chart_shown(chart: SizeChart, units: str = "metric") -> dict[str, Any]:
    say = partial(written, units=units)

    def band(row: Mapping[Any, Any], measure: str) -> str:
        low, high = (row.get(f"{measure}_{end}", np.nan) for end in ("low", "high"))
        if pd.notna(low) and pd.notna(high):
            return span(low, high, measure, say)
        ends = (("from", low), ("to", high))
        one = [f"{w} {say(v, measure, to='tenth')}" for w, v in ends if pd.notna(v)]
        return one[0] if one else "no limit"

    def load(row: Mapping[Any, Any]) -> str:
        limit = row.get("load_limit_kg", np.nan)
        known = pd.notna(limit)
        return say(limit, "load_limit_kg", to="tenth") if known else "not stated"

    measures = list(chart_limits(chart))
    return {
        "caption": f"{chart.name}: {chart.source}.",
        "heads": ["Size", "Load limit", *(labels()[m] for m in measures)],
        "rows": [
            [str(row["size"]), load(row), *(band(row, m) for m in measures)]
            for row in chart.frame.to_dict("records")
        ],
        "source": chart.source or "the one given",
    }


def card_rows(cards: pd.DataFrame, units: str = "metric") -> list[dict[str, Any]]:
    columns = [str(name) for name in cards]
    about = [name for name in columns if name in ("sex", "age")]
    return [
        {
            "name": str(card["card"]).capitalize(),
            "rows": [(name.capitalize(), str(card[name])) for name in about]
            + [
                (labels()[m], written(card[m], m, units))
                for m in columns
                if m in labels()
            ],
        }
        for card in cards.to_dict("records")
    ]


def card_backs(practice: Practice, units: str = "metric") -> list[dict[str, str]]:
    own = _T.cards
    return [
        {
            "name": str(row["card"]).capitalize(),
            "right": own["none" if row["outcome"] == "none" else "fits"].format_map(
                row
            ),
            "edge": own["edge"].format(
                measure=labels().get(row["measure"], row["measure"]),
                margin=margin_words(row["miss"], row["measure"], units),
            ),
            "hard": own["hard"].format(
                word=str(row["difficulty"]).capitalize(), sd=row["distance_sd"]
            ),
        }
        for row in practice.answers.to_dict("records")
    ]


def cards_html(
    practice: Practice,
    chart: SizeChart,
    units: str = "metric",
    pattern: str | None = None,
) -> str:
    """Return the cards as a page to print on both sides: six, then their answers."""
    fronts, backs = card_rows(practice.cards, units), card_backs(practice, units)
    sheets = []
    for start in range(0, len(fronts), _A_SHEET):
        own: list[dict[str, str] | None] = [*backs[start : start + _A_SHEET]]
        own += [None] * (len(own) % 2)
        # Turned over the long edge, left and right change places.
        turned = [own[i ^ 1] for i in range(len(own))]
        sheets.append({"fronts": fronts[start : start + _A_SHEET], "backs": turned})
    to = _T.cards["metric" if units == "metric" else "other"]
    note = _T.cards["note"].format(chart=practice.chart, to=to)
    shown = {"chart": chart_shown(chart, units), "note": note, "sheets": sheets}
    return lesson_page("cards", pattern=pattern_shown(pattern, chart), **shown)


def margin_words(miss: float, measure: str, units: str = "metric") -> str:
    if miss == 0:
        return str(_T.cards["on_edge"])
    side = "inside" if miss > 0 else "outside"
    return f"{distance(miss, measure, units)} {side}"


def margins_table(
    card: pd.Series, chart: SizeChart, size: str, units: str = "metric"
) -> Table:

    def cells(row: Mapping[Hashable, Any]) -> dict[str, str]:
        value, low, high = (
            written(row[name], row["measure"], units)
            if pd.notna(row[name])
            else "no limit"
            for name in ("value", "low", "high")
        )
        return {
            "Measure": labels()[row["measure"]],
            "This client": value,
            "Band of this size": f"{low} to {high}",
            "Nearest edge": margin_words(row["margin"], row["measure"], units),
        }

    rows = size_margins(card, chart, size).to_dict("records")
    caption = _T.cards["caption"].format(size=size)
    return table(pd.DataFrame(map(cells, rows)), caption=caption, words=["Measure"])


def answers_html(practice: Practice, units: str = "metric") -> str:
    outcomes = practice.answers["outcome"]
    fitting = int((outcomes != "none").sum())
    counted = _T.cards["counted"].format(fitting=fitting, n=len(outcomes))
    return lesson_page(
        "card_answers",
        answer=f"{practice.summary()} {counted}",
        backs=card_backs(practice, units),
        difficulties=DIFFICULTIES,
    )
