"""What tables and pictures say to people: names, bands, groups; what terms mean."""

import re
from collections.abc import Iterable
from functools import partial
from typing import Any

import pandas as pd

from sizing.charts import SizeChart
from sizing.coverage import Coverage
from sizing.measures import Say, span, vocabulary, written
from sizing.resources import source_table

LEVEL_WORDS = {
    "everyone": "Everyone",
    "female": "women and girls",
    "male": "men and boys",
    "obesity": "obesity (under 18)",
}
BY_WORDS = {
    "everyone": "Everyone",
    "sex": "Sex",
    "age_band": "Age in years",
    "bmi_class": "Body mass index class",
}
DIRECTION_WORDS = {
    "too_small_for": "nearest size too small",
    "too_large_for": "nearest size too large",
    "over_load": "over its load limit",
    "not_measured": "not measured",
}


def sex_words(sex: str, age_bands: Iterable[str]) -> str:
    """Return what people of a sex are called who are in these bands of age."""
    grown = {int(one.split()[0]) >= 18 for one in age_bands if one != "everyone"}
    words = LEVEL_WORDS[sex].lower()
    adults, _, children = words.partition(" and ")
    return words if len(grown) != 1 or not children else (children, adults)[grown.pop()]


def level_words(frame: pd.DataFrame) -> dict[str, str]:
    """Return what levels of people, or of a table by ``by``, ``level`` are called."""
    if "level" in frame:
        frame = frame.query("by == 'age_band'").rename(columns={"level": "age_band"})
    known = frame.get("age_band", pd.Series(dtype=object))
    bands = known.dropna().unique()
    return LEVEL_WORDS | {sex: sex_words(sex, bands) for sex in ("female", "male")}


def labels() -> dict[str, str]:
    words = vocabulary().set_index("name")
    return dict(words["label"] + ", " + words["unit"])


def chart_words(
    chart: SizeChart, units: str = "metric", *, to: str = "tenth"
) -> pd.DataFrame:
    """Write a chart out for people, a row per size, its bands as 80 to 104 cm."""
    frame, say = chart.frame, partial(written, units=units)
    names, groups = (frame[column].astype(str) for column in ("size", "group"))
    rows: dict[str, Any] = {"Size": names, "Group": groups}
    if all(map(str.startswith, names, groups)):
        del rows["Group"]
    nothing = [float("nan")] * len(frame)
    for measure in chart.measures:
        ends = (frame.get(f"{measure}_{end}", nothing) for end in ("low", "high"))
        rows[labels()[measure].rsplit(", ", 1)[0]] = [
            _band(low, high, measure, say, to) for low, high in zip(*ends, strict=True)
        ]
    if (limits := frame["load_limit_kg"]).notna().any():
        rows["Load limit"] = [
            "not stated" if pd.isna(v) else say(v, "load_limit_kg", to=to)
            for v in limits
        ]
    return pd.DataFrame(rows)


def _band(low: float, high: float, measure: str, say: Say, to: str) -> str:
    if pd.notna(low) and pd.notna(high):
        return span(low, high, measure, say, to=to)
    ends = {"from": low, "to": high}.items()
    open_end = (f"{w} {say(v, measure, to=to)}" for w, v in ends if pd.notna(v))
    return next(open_end, "no limit")


def covered_rows(found: Coverage) -> pd.DataFrame:
    rows = found.table.query("outcome == 'covered'")
    return rows.replace({"level": level_words(found.table), "by": BY_WORDS})


def miss_rows(misses: pd.DataFrame) -> pd.DataFrame:
    return misses.assign(direction=misses["direction"].map(DIRECTION_WORDS))


def glossary(text: str | None = None) -> pd.DataFrame:
    """Return the kit's terms (term, meaning), all or those that a text holds."""
    table = source_table("glossary.csv")
    if text is not None:
        found = (rf"(?i)(?<!\w)(?:{one})(?!\w)" for one in table["found_by"])
        table = table[[re.search(one, text) is not None for one in found]]
    return table[["term", "meaning"]].reset_index(drop=True)
