"""What the tables and pictures say to people: names, bands, groups."""

import pandas as pd

from sizing.charts import SizeChart
from sizing.coverage import Coverage
from sizing.measures import vocabulary

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


def labels() -> dict[str, str]:
    """Return what each measure is called on an axis, with its unit."""
    words = vocabulary()
    return {
        str(name): f"{label}, {unit}"
        for name, label, unit in zip(
            words["name"], words["label"], words["unit"], strict=True
        )
    }


def length(value: float) -> str:
    """Write cm or kg to the nearest half, as a tape is read."""
    if pd.isna(value):
        return "no limit"
    half = round(2 * value) / 2
    return f"{half:.0f}" if half == int(half) else f"{half:.1f}"


def chart_words(chart: SizeChart) -> pd.DataFrame:
    """Write a chart out for people: one row per size, bands as "80 to 104".

    Size, Group, one column per measure with its unit, and the load limit where one is
    stated; rounded to half a unit.

    >>> from sizing.charts import demo_chart
    >>> chart_words(demo_chart()).loc[3, "Hip girth, cm"]
    '80 to 104'
    """
    frame = chart.frame
    nothing = [float("nan")] * len(frame)
    rows: dict[str, list[str]] = {
        "Size": [str(size) for size in frame["size"]],
        "Group": [str(group) for group in frame["group"]],
    }
    for measure in chart.measures:
        rows[labels()[measure]] = [
            f"{length(low)} to {length(high)}"
            for low, high in zip(
                frame.get(f"{measure}_low", nothing),
                frame.get(f"{measure}_high", nothing),
                strict=True,
            )
        ]
    if frame["load_limit_kg"].notna().any():
        rows["Load limit, kg"] = [length(value) for value in frame["load_limit_kg"]]
    return pd.DataFrame(rows)


def covered_rows(found: Coverage) -> pd.DataFrame:
    """Return who is covered, with groups and levels in plain words."""
    rows = found.table.query("outcome == 'covered'").copy()
    rows["level"] = rows["level"].map(lambda level: LEVEL_WORDS.get(level, level))
    rows["by"] = rows["by"].map(lambda by: BY_WORDS.get(by, by))
    return rows


def miss_rows(misses: pd.DataFrame) -> pd.DataFrame:
    """Return a frame of ``why_none`` with its directions in plain words."""
    rows = misses.copy()
    rows["direction"] = rows["direction"].map(DIRECTION_WORDS)
    return rows
