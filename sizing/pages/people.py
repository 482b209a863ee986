"""Who a population is, as sentences for the screen and as a page."""

import re
from collections.abc import Hashable, Mapping
from functools import reduce
from typing import Any

import pandas as pd

from sizing.pages.page import Page, Section, Table, picture, table
from sizing.people import People, population_titles
from sizing.people.profile import beside, checks, profile
from sizing.plots.people import plot_percentiles
from sizing.plots.style import figure_of
from sizing.resources import texts
from sizing.words.labels import labels, sex_words
from sizing.words.numbers import interval, share, span

_T = texts("people_page")
_BETWEEN = re.compile(r"([\d.]+)<=(\w+)<([\d.]+)")
_SHOWN = {"p05": "P5", "p50": "P50", "p95": "P95"}
#: What the page's tables say of everyone besides.
_IN_TABLES = ("body_mass_kg", "stature_cm")


def named(name: str) -> str:
    more = {"age_years": "Age, years", "bmi": "Body mass index, kg/m2"}
    return (labels() | more)[name]


def sections(people: People) -> dict[str, list[str]]:
    figures = profile(people)
    build = figures[1:].to_dict("records")
    bands = people.frame["age_band"].unique()
    called = {sex: sex_words(sex, bands) for sex in ("everyone", "female", "male")}
    who = [f"{called['female'].capitalize()}: {interval(figures.iloc[0])}.", _T.read]
    for trio in zip(build[::3], build[1::3], build[2::3], strict=True):
        group, name, n = (trio[0][key] for key in ("group", "variable", "n"))
        said = "; ".join(_ranged(row) for row in trio)
        who.append(f"{named(name)}, {called[group]} ({n:,}): {said}")
    known = []
    for name in people.measures:
        part = people.table[people.table["measure"] == name]
        kinds = zip(part["evidence"], part["share"], strict=True)
        said = ", ".join(f"{kind} {share(of)}" for kind, of in kinds)
        said = said if len(part) > 1 else f"all {part['evidence'].iloc[0]}"
        known.append(f"{named(name)}: {said}")
    published = [_beside(row, called) for row in beside(people).to_dict("records")]
    checked, rows = [], checks(people)
    for row in rows.to_dict("records"):
        checked.append(
            f"{named(row['measure'])}: near enough in {row['reached']} of "
            f"{row['populations']}, off by "
            f"{span(row['lowest_cm'], row['highest_cm'], row['measure'])}"
        )
    if checked:
        cited = dict.fromkeys(" | ".join(rows["source"]).split(" | "))
        checked += [f"Source: {one}." for one in cited]
    parts = {
        _T.headings["who"]: who,
        _T.headings["beside"]: published or [_T.none],
        _T.headings["known"]: known,
        _T.headings["checked"]: checked,
    }
    return {heading: lines for heading, lines in parts.items() if lines}


def people_page(people: People, found: pd.DataFrame) -> Page:
    title = population_titles().get(people.name, people.name)
    ax = plot_percentiles(found)
    drawn = picture(figure_of(ax), alt=_T.picture["alt"], caption=_T.picture["caption"])
    whole = found[(found["sex"] == "everyone") & (found["statistic"] == "p50")]
    hips = whole[whole["variable"] == "hip_circumference_cm"].to_dict("records")[0]
    who, *others = sections(people).items()
    return Page(
        title=f"Body measures: {title}",
        question="How large are they?",
        inputs=_T.inputs.format(people=people),
        answer=_T.answer.format(hips=_ranged(hips)),
        sections=[
            Section("At a glance", figures=[drawn]),
            Section(
                who[0],
                bullets=[
                    line
                    for line in who[1]
                    if not line.startswith(tuple(map(named, _IN_TABLES)))
                ],
            ),
            Section(
                "Measures",
                _T.measures,
                tables=[_table(found, name) for name in people.measures],
            ),
            *(Section(heading, bullets=lines) for heading, lines in others),
        ],
        limits=people.limits,
        sources=people.sources,
    )


def _table(found: pd.DataFrame, name: str) -> Table:
    rows = found[(found["variable"] == name) & found["statistic"].isin(_SHOWN)].copy()
    bands = found["age_band"].unique()
    rows["People"] = [
        sex_words(sex, bands).capitalize()
        if band == "everyone"
        else f"{sex_words(sex, [band]).capitalize()}, {band}"
        for sex, band in zip(rows["sex"], rows["age_band"], strict=True)
    ]
    rows["cell"] = [_ranged(row) for row in rows.to_dict("records")]
    by = ["People", "n"]
    wide = rows.set_index([*by, "statistic"])["cell"].unstack()  # noqa: PD010
    wide = wide.reindex(pd.MultiIndex.from_frame(rows[by].drop_duplicates()))
    wide = wide.fillna("").reset_index().rename(columns={**_SHOWN, "n": "Persons"})
    kept = ["People", *_SHOWN.values(), "Persons"]
    return table(wide[kept], caption=f"{named(name)} (95 %)", words=["People"])


def _beside(row: Mapping[Hashable, Any], called: Mapping[str, str]) -> str:
    what = _BETWEEN.sub(r"\2 of \1 to under \3", row["what"])
    what = reduce(lambda text, word: text.replace(*word), _T.notation.items(), what)
    what = re.sub(r"sex=(\w+)", lambda found: called[found[1]], what)
    times, unit = (100, " %") if row["statistic"] == "share" else (1, "")
    there, here = (f"{times * row[k]:.1f}{unit}" for k in ("published", "here"))
    told = f"Source ({row['basis']}, {row['standing']}): {row['source'].rstrip('.')}."
    what = what[0].upper() + what[1:]
    return f"{what}: {there} there, {here} here ({row['use']}). {told}"


def _ranged(row: Mapping[Hashable, Any]) -> str:
    places = 0 if row["variable"] == "age_years" else 1
    said = [f"{row[key]:.{places}f}" for key in ("estimate", "low", "high")]
    if said[1] == said[2] != "nan":
        return said[0]
    low, high = (end if end != "nan" else "" for end in said[1:])
    between = f"{low} to {high}" if low and high else _open(low, high)
    return f"{said[0]} ({between})"


def _open(low: str, high: str) -> str:
    return f"{low} or more" if low else f"{high} or less" if high else "no range"
