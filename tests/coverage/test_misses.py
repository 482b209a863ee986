"""Why people have no size: against a count by hand and against coverage."""

import numpy as np
import pandas as pd
import pytest

from sizing.charts import chart_from
from sizing.coverage import estimate_coverage, why_none
from sizing.errors import SizingWarning
from sizing.people import people_from

from . import cases

HIPS = {"hip_circumference_cm_low": [80, 100], "hip_circumference_cm_high": [98, 120]}
CHART = chart_from(cases.CHART.frame.assign(**HIPS), warn=False)


def invented(n: int, seed: int = 3):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {
            "stature_cm": rng.normal(170, 12, n).round(1),
            "hip_circumference_cm": rng.normal(100, 12, n).round(1),
        }
    )
    return people_from(frame, weight=rng.uniform(0.5, 2, n))


def test_shares_add_up_to_those_without_a_size():
    people = invented(600)
    table = estimate_coverage(people, CHART).table
    covered = table.loc[table["outcome"] == "covered", "estimate"].item()
    assert why_none(people, CHART)["estimate"].sum() == pytest.approx(1 - covered)


def test_each_person_is_counted_as_a_count_by_hand_does():
    people = invented(300)
    found = why_none(people, CHART).set_index(["measure", "direction"])["estimate"]
    bands = {m: list(zip(*CHART.edges(m), strict=True)) for m in CHART.measures}
    unit = {m: np.median([hi - lo for lo, hi in bands[m]]) for m in bands}
    share: dict[tuple[str, str], float] = {}
    for (_, row), weight in zip(people.frame.iterrows(), people.weight, strict=True):
        misses = []
        for size in range(2):
            own = {}
            for m in bands:
                value = round(10 * row[m])
                low, high = bands[m][size]
                if value > high:
                    own[m, "too_small_for"] = (value - high) / unit[m]
                elif value < low:
                    own[m, "too_large_for"] = (low - value) / unit[m]
            misses.append(own)
        if any(not own for own in misses):
            continue
        nearest = min(misses, key=lambda own: sum(own.values()))
        worst = max(nearest, key=lambda pair: nearest[pair])
        share[worst] = share.get(worst, 0) + weight / people.weight.sum()
    assert dict(found) == pytest.approx(share)


def test_a_measure_that_nobody_has_is_named_without_a_miss():
    frame = pd.DataFrame({"stature_cm": [160.0, 175.0, 200.0]})
    with pytest.warns(SizingWarning, match="has no column hip_circumference_cm"):
        found = why_none(people_from(frame), CHART).set_index("direction")
    assert found.loc["not_measured", "measure"] == "hip_circumference_cm"
    assert found.loc["not_measured", "estimate"] == pytest.approx(2 / 3)
    assert found.loc["not_measured", ["miss_median", "miss_most"]].isna().all()
    assert found.loc["too_small_for", "miss_median"] == 10


def test_nobody_without_a_size_gives_an_empty_table_with_its_columns():
    frame = pd.DataFrame({"stature_cm": [160.0], "hip_circumference_cm": [90.0]})
    found = why_none(people_from(frame), CHART)
    assert found.empty and "miss_median" in found.columns


def test_two_people_are_told_apart_as_two_hundred_are():
    """The columns of a table of two rows were once taken for its keys."""
    frame = pd.DataFrame(
        {"stature_cm": [200.0, 140.0], "hip_circumference_cm": [90.0, 90.0]}
    )
    found = why_none(people_from(frame), CHART)
    assert found["estimate"].tolist() == [0.5, 0.5]
