"""Who a population is, as sentences for the screen and as a page."""

import re
from collections.abc import Hashable, Mapping
from functools import reduce
from typing import Any

import pandas as pd

from sizing.pages.page import Page, Section, Table, picture, table
from sizing.people import People, population_titles
from sizing.people.profile import beside, checks, profile
from sizing.plots.shares import plot_percentiles
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
    checked, cited = [], ""
    for row in checks(people).to_dict("records"):
        off = span(row["lowest_cm"], row["highest_cm"], row["measure"])
        near = f"near enough in {row['reached']} of {row['populations']}, off by {off}"
        checked.append(f"{named(row['measure'])}: {near}")
        cited += f"{row['source']} | "
    checked += [f"Source: {one}." for one in dict.fromkeys(cited.split(" | ")) if one]
    parts = zip(
        _T.headings.values(), (who, published or [_T.none], known, checked), strict=True
    )
    return {heading: lines for heading, lines in parts if lines}


def people_page(people: People, found: pd.DataFrame) -> Page:
    title = population_titles().get(people.name, people.name)
    drawn = picture(figure_of(plot_percentiles(found)), **_T.picture)
    whole = found[(found["sex"] == "everyone") & (found["statistic"] == "p50")]
    hips = whole[whole["variable"] == "hip_circumference_cm"].to_dict("records")[0]
    (who, lines), *others = sections(people).items()
    in_tables = tuple(map(named, _IN_TABLES))
    tables = [_table(found, name) for name in people.measures]
    return Page(
        title=f"Body measures: {title}",
        question="How large are they?",
        inputs=_T.inputs.format(people=people),
        answer=_T.answer.format(hips=_ranged(hips)),
        sections=[
            Section("At a glance", figures=[drawn]),
            Section(who, bullets=[x for x in lines if not x.startswith(in_tables)]),
            Section("Measures", _T.measures, tables=tables),
            *(Section(heading, bullets=found) for heading, found in others),
        ],
        limits=people.limits,
        sources=people.sources,
    )


def _table(found: pd.DataFrame, name: str) -> Table:
    rows = found[(found["variable"] == name) & found["statistic"].isin(_SHOWN)].copy()
    bands = found["age_band"].unique()
    whole = rows["age_band"] == "everyone"
    whole = rows["age_band"] == "everyone"
    seen = rows["age_band"].map(lambda band: bands if band == "everyone" else [band])
    rows["People"] = list(map(sex_words, rows["sex"], seen))
    ends = (", " + rows["age_band"]).mask(whole, "")
    rows["People"] = rows["People"].str.capitalize() + ends
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
    at, low, high = (one if one != "nan" else "" for one in said)
    if low == high != "":
        return at
    between = f"{low} to {high}" if low and high else "no range"
    if not (low and high) and (low or high):
        between = f"{low} or more" if low else f"{high} or less"
    return f"{at} ({between})"
