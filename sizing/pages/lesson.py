"""The lesson's pages: evidence, handout, practice cards, and the words they share."""

from base64 import b64encode
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits as chart_limits
from sizing.lesson import choosing
from sizing.lesson.practice import DIFFICULTIES, Practice, size_margins
from sizing.lesson.ways import WAY_WORDS, WRONG, Lesson, WaysResult
from sizing.measures import EDGE_RULE, labels, pattern_words, vocabulary, written
from sizing.pages.page import Page, Picture, Section, Table, render, table, template
from sizing.pages.room import repeats_section
from sizing.pages.where import where_svg, where_words
from sizing.people import People
from sizing.resources import cautions, texts
from sizing.words import lesson as words_of
from sizing.words.labels import BY_WORDS, chart_words, level_words
from sizing.words.lesson import told
from sizing.words.numbers import given, interval, points, share

_T = texts("lesson")
#: Cards on a side of a sheet.
_A_SHEET = 6
BY_ONE = ("one_too_small", "one_too_large")


def lesson_page(
    name: str,
    chart: SizeChart,
    units: str = "metric",
    pattern: str | None = None,
    **shown: Any,
) -> str:
    """Write a page of the pack; its template finds chart, measures and pattern."""
    named = [f"Pattern of sling: {pattern}"] if pattern else []
    named += pattern_words(pattern, chart.measures) if pattern else []
    return template(f"lesson_pages/{name}.html.j2").render(
        by_eye=_T.by_eye,
        cautions=cautions(),
        chart=_chart_shown(chart, units),
        edge_rule=EDGE_RULE,
        measures=_measures_shown(tuple(chart_limits(chart)), units),
        pattern=named,
        units=units,
        **shown,
    )


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


def groups_section(ways: WaysResult) -> Section:
    shown, own = ["by_eye", "both", "tape_once"], _T.evidence
    rows = ways.table[(ways.table["outcome"] == WRONG) & ways.table["way"].isin(shown)]
    called, frames = level_words(ways.table), []
    for (by, level), part in rows.groupby(["by", "level"], sort=False):
        found = part.to_dict("records")
        small = " (too few to rely on)" if found[0]["small_group"] else ""
        names = BY_WORDS.get(str(by), str(by)), called.get(str(level), str(level))
        cells = dict(zip(("Group", "Level"), names, strict=True))
        cells |= {WAY_WORDS[r["way"]].capitalize(): interval(r) for r in found}
        frames.append(cells | {"People": f"{found[0]['n']:,}{small}"})
    frame, words = pd.DataFrame(frames), ["Group", "Level"]
    told = table(frame, caption=own["groups_caption"], words=words)
    return Section(own["groups"], [words_of.worst_group(ways)], tables=[told])


def check_table(check: pd.DataFrame) -> Table:
    rows = check.to_dict("records")
    study, fitted = (check[n].map(choosing.STUDY_WORDS) for n in ("study", "fitted_on"))
    # A quantile is an error with a sign, not a share.
    curve = [
        f"{points(row['model'], sign=False)} %"
        if row["statistic"] == "quantile"
        else share(row["model"])
        for row in rows
    ]
    frame = pd.DataFrame(
        {
            "Study": study,
            "Who guessed": check["guesser"] + ", of " + check["subjects"],
            "Figure": [
                _T.statistics[row["statistic"]].format(100 * row["bound"])
                for row in rows
            ],
            "Published": check["value"].map(given),
            "Curve": curve,
            "Miss": check["miss"].map(points),
            "Role": ("from " + fitted).where(check["role"] == "predicted", "fitted"),
        }
    )
    words = ["Study", "Who guessed", "Figure", "Role"]
    return table(frame, caption=_T.evidence["studies_caption"], words=words)


def lesson_limits(people: People) -> list[str]:
    spread = _T.evidence["spread_limit"].format(spread=choosing.SPREAD_WORDS)
    return [*_T.evidence["limits"], spread, *people.limits]


def lesson_sources(people: People) -> list[str]:
    own = _T.evidence
    figures = choosing.guessing_figures()["source"].str.split("; ").str[0]
    figures = figures.str.replace(own["derived"], own["said"], regex=False)
    return [*dict.fromkeys(figures), own["errors"], own["harm_source"], *people.sources]


def wrong_words(*names: str) -> list[str]:
    """Return what a wrong size does: common practice, no source."""
    return [
        f"{choosing.CHOICE_WORDS[name].capitalize()}: {choosing.WRONG_MEANS[name]}."
        for name in names or choosing.WRONG_MEANS
    ]


def ways_section(ways: WaysResult, words: Sequence[str]) -> Section:
    own = _T.evidence
    said = own["ways_words"].format(usual=ways.settings["usual_size"])
    return Section(own["ways"], [said, own["harms"], *words])


def wrong_section() -> Section:
    return Section(_T.evidence["wrong"], [_T.common_practice], bullets=wrong_words())


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
    study = choosing.STUDY_WORDS[lesson.kinder.settings["guess"][0].study]
    wrong = interval(told(lesson.kinder)["by_eye", WRONG])
    words = [
        words_of.table_against_tape(ways, lesson.elsewhere),
        own["kinder"].format(study=study, wrong=wrong),
    ]
    answer = [pictures["wrong_size"]]
    pairs = [p for name, p in pictures.items() if name.startswith("pair_")]
    none, chart = [] if pairs else [_T.no_pairs], lesson.chart
    page = Page(
        title=own["title"],
        question=own["question"],
        inputs=own["inputs"].format(
            who=words_of.title_of(people.name), people=people, chart=chart
        ),
        answer=words_of.ways_answer(ways),
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


def handout_html(
    ways: WaysResult,
    people: People,
    chart: SizeChart,
    figure: Picture,
    pattern: str | None = None,
) -> str:
    return lesson_page(
        "handout",
        chart,
        pattern=pattern,
        answer=words_of.ways_answer(ways),
        figure=figure,
        interval=interval,
        rows=told(ways),
        who=f"{words_of.title_of(people.name, first=True)}, n = {people.n:,}",
        worst=words_of.worst_group(ways),
        wrong=wrong_words(*BY_ONE),
    )


@cache
def _measures_shown(measures: tuple[str, ...], units: str) -> list[dict[str, str]]:
    """Return each measure of the chart with its landmarks, ways and drawing."""
    found, words = [], vocabulary().set_index("name").astype(str)
    for measure in measures:
        row = words.loc[measure]
        # A weight is read from a scale: there is nothing to draw.
        drawing = "" if measure == "body_mass_kg" else where_svg(measure)
        found.append(
            {
                "label": row["label"],
                "unit": words_of.unit_of(measure, units)[0],
                "landmarks": row["landmarks"].removeprefix("None: ").capitalize(),
                "seated": row["how_seated"],
                "lying": row["how_lying"],
                "drawing": b64encode(drawing.encode()).decode("ascii"),
                "drawn": where_words(measure),
            }
        )
    return found


def _chart_shown(chart: SizeChart, units: str) -> dict[str, Any]:
    rows = chart_words(chart, units)
    load = rows.pop("Load limit") if "Load limit" in rows else "not stated"
    rows.insert(1, "Load limit", load)
    source = chart.source or "the one given"
    caption = f"{chart.name}: {chart.source}."
    found = {"name": chart.name, "source": source, "caption": caption}
    return found | {"heads": list(rows), "rows": rows.to_numpy().tolist()}


def cards_shown(practice: Practice, units: str = "metric") -> list[dict[str, Any]]:
    """Return what stands on the front and on the back of each card."""
    own, called, found = _T.cards, labels(), []
    both = practice.cards.merge(practice.answers, on="card").to_dict("records")
    for card in both:
        rows = [(n.capitalize(), card[n]) for n in ("sex", "age") if n in card]
        measures = [m for m in practice.cards if m in called]
        rows += [(called[m], written(card[m], m, units)) for m in measures]
        margin = margin_words(card["miss"], card["measure"], units)
        word, measure = str(card["difficulty"]).capitalize(), card["measure"]
        right = own["none" if card["outcome"] == "none" else "fits"]
        found.append(
            {
                "name": card["card"].capitalize(),
                "difficulty": card["difficulty"],
                "rows": rows,
                "right": right.format_map(card),
                "edge": own["edge"].format(
                    measure=called.get(measure, measure), margin=margin
                ),
                "hard": own["hard"].format(word=word, sd=card["distance_sd"]),
            }
        )
    return found


def cards_html(
    practice: Practice,
    chart: SizeChart,
    units: str = "metric",
    pattern: str | None = None,
) -> str:
    """Return the cards as a page to print on both sides: six, then their answers."""
    cards, sheets = cards_shown(practice, units), []
    for start in range(0, len(cards), _A_SHEET):
        fronts = cards[start : start + _A_SHEET]
        own = [*fronts, *[None] * (len(fronts) % 2)]
        # Turned over the long edge, left and right change places.
        turned = [own[i ^ 1] for i in range(len(own))]
        sheets.append({"fronts": fronts, "backs": turned})
    to = _T.cards["metric" if units == "metric" else "other"]
    note = _T.cards["note"].format(chart=practice.chart, to=to)
    return lesson_page("cards", chart, units, pattern, note=note, sheets=sheets)


def margin_words(miss: float, measure: str, units: str = "metric") -> str:
    if miss == 0:
        return str(_T.cards["on_edge"])
    side = "inside" if miss > 0 else "outside"
    return f"{words_of.distance(miss, measure, units)} {side}"


def margins_table(
    card: pd.Series, chart: SizeChart, size: str, units: str = "metric"
) -> Table:
    rows = []
    for row in size_margins(card, chart, size).to_dict("records"):
        measure = row["measure"]
        value, low, high = (
            "no limit" if pd.isna(row[name]) else written(row[name], measure, units)
            for name in ("value", "low", "high")
        )
        margin = margin_words(row["margin"], measure, units)
        rows.append((labels()[measure], value, f"{low} to {high}", margin))
    frame = pd.DataFrame(rows, columns=_T.cards["heads"])
    caption = _T.cards["caption"].format(size=size)
    return table(frame, caption=caption, words=_T.cards["heads"][:1])


def answers_html(practice: Practice, chart: SizeChart, units: str = "metric") -> str:
    outcomes = practice.answers["outcome"]
    fitting = int((outcomes != "none").sum())
    counted = _T.cards["counted"].format(fitting=fitting, n=len(outcomes))
    return lesson_page(
        "card_answers",
        chart,
        answer=f"{practice.summary()} {counted}",
        cards=cards_shown(practice, units),
        difficulties=DIFFICULTIES,
    )
