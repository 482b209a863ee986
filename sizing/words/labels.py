"""What the tables and pictures say to people: names, bands, groups."""

from collections.abc import Iterable
from functools import partial
from typing import Any

import pandas as pd

from sizing.charts import SizeChart
from sizing.coverage import Coverage
from sizing.measures import Say, span, vocabulary, written

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
    """Return what people of a sex are called who are in these bands of age.

    >>> sex_words("female", ["60 to 79", "80 and over"]), sex_words("male", ["2 to 4"])
    ('women', 'boys')
    >>> sex_words("male", ["2 to 4", "everyone", "18 to 39"])
    'men and boys'
    """
    grown = {int(one.split()[0]) >= 18 for one in age_bands if one != "everyone"}
    words = LEVEL_WORDS[sex].lower()
    adults, _, children = words.partition(" and ")
    return words if len(grown) != 1 or not children else (children, adults)[grown.pop()]


def level_words(frame: pd.DataFrame) -> dict[str, str]:
    """Return what levels are called among people, or in a table by ``by``, ``level``.

    >>> level_words(pd.DataFrame({"age_band": ["60 to 79"]}))["female"]
    'women'
    >>> rows = {"by": ["sex", "age_band"], "level": ["male", "2 to 4"]}
    >>> level_words(pd.DataFrame(rows))["male"]
    'boys'
    >>> level_words(pd.DataFrame())["female"]
    'women and girls'
    """
    if "level" in frame:
        frame = frame.query("by == 'age_band'").rename(columns={"level": "age_band"})
    known = frame.get("age_band", pd.Series(dtype=object))
    bands = known.dropna().unique()
    return LEVEL_WORDS | {sex: sex_words(sex, bands) for sex in ("female", "male")}


def labels() -> dict[str, str]:
    words = vocabulary()
    return {
        str(name): f"{label}, {unit}"
        for name, label, unit in zip(
            words["name"], words["label"], words["unit"], strict=True
        )
    }


def chart_words(chart: SizeChart, units: str = "metric") -> pd.DataFrame:
    """Write a chart out for people, a row per size, its bands as "80 to 104 cm".

    Size, Group (where no size's name says it), each measure to a tenth, and the load
    limit where one is stated.

    >>> from sizing.charts import demo_chart
    >>> chart_words(demo_chart()).loc[3, "Hip girth"]
    '80 to 104 cm'
    >>> chart_words(demo_chart(), "pounds").loc[3, "Hip girth"]
    '31.5 to 40.9 in'
    """
    frame, say = chart.frame, partial(written, units=units)
    names, groups = (frame[column].astype(str) for column in ("size", "group"))
    rows: dict[str, Any] = {"Size": names, "Group": groups}
    if all(map(str.startswith, names, groups)):
        del rows["Group"]
    nothing = [float("nan")] * len(frame)
    for measure in chart.measures:
        ends = (frame.get(f"{measure}_{end}", nothing) for end in ("low", "high"))
        rows[labels()[measure].rsplit(", ", 1)[0]] = [
            _band(low, high, measure, say) for low, high in zip(*ends, strict=True)
        ]
    if frame["load_limit_kg"].notna().any():
        rows["Load limit"] = [
            _edge(value, "load_limit_kg", say) for value in frame["load_limit_kg"]
        ]
    return pd.DataFrame(rows)


def _band(low: float, high: float, measure: str, say: Say) -> str:
    if pd.notna(low) and pd.notna(high):
        return span(low, high, measure, say)
    return " to ".join(_edge(value, measure, say) for value in (low, high))


def _edge(value: float, measure: str, say: Say) -> str:
    return "no limit" if pd.isna(value) else say(value, measure, to="tenth")


def covered_rows(found: Coverage) -> pd.DataFrame:
    rows = found.table.query("outcome == 'covered'").copy()
    called = level_words(found.table)
    rows["level"] = rows["level"].map(lambda level: called.get(level, level))
    rows["by"] = rows["by"].map(lambda by: BY_WORDS.get(by, by))
    return rows


def miss_rows(misses: pd.DataFrame) -> pd.DataFrame:
    rows = misses.copy()
    rows["direction"] = rows["direction"].map(DIRECTION_WORDS)
    return rows
