"""Findings about valid charts: each kind, its words, and its warning."""

import warnings

import numpy as np
import pandas as pd
import pytest

from sizing.charts import chart_from, demo_chart, review_chart
from sizing.errors import SizingWarning
from sizing.measures import plausible_range
from tests.charts.cases import HIGH, LOW, found


def frame(low: list, high: list, **columns: object) -> pd.DataFrame:
    sizes = {"size": [f"size {i + 1}" for i in range(len(low))], "group": "adult"}
    more = {LOW: low, HIGH: high, "load_limit_kg": 150, **columns}
    return pd.DataFrame({**sizes, **more})


def test_a_sound_chart_has_no_findings_and_no_warnings():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        chart = chart_from(frame([70, 88], [90, 110]))
    assert review_chart(chart).empty
    assert review_chart(demo_chart()).empty


@pytest.mark.parametrize(
    ("low", "high", "gap"),
    [
        ([70, 95], [90, 110], (90, 95)),
        ([95, 70], [110, 90], (90, 95)),
        ([70, 90.1], [90, 110], None),
        ([70, 90], [90, 110], None),
        ([70, 90.2], [90, 110], (90, 90.2)),
        ([70, None], [90, 110], None),
    ],
)
def test_gaps_between_neighbours(low, high, gap):
    table = found(frame(low, high), "gap")
    assert len(table) == (gap is not None)
    if gap is not None:
        row = table.iloc[0]
        assert (row["low"], row["high"]) == gap
        assert (row["size"], row["other_size"]) == ("size 1", "size 2")
        assert "belongs to neither 'size 1' nor 'size 2'" in row["words"]


def test_a_step_down_to_another_group_is_no_gap():
    table = frame([70, 60], [90, 65], group=["adult", "bariatric"])
    assert "gap" not in set(found(table)["kind"])
    table = frame([70, 95], [90, 120], group=["adult", "bariatric"])
    assert "gap" in set(found(table)["kind"])


def test_sizes_out_of_order():
    row = found(frame([80, 70], [110, 90]), "out_of_order").iloc[0]
    assert (row["size"], row["other_size"]) == ("size 2", "size 1")
    assert "begins or ends lower: list the sizes from small to large" in row["words"]
    # Either end is enough, and the same ends are no disorder.
    for low, high in (([80, 70], [100, 110]), ([80, 85], [110, 100])):
        assert (found(frame(low, high))["kind"] == "out_of_order").sum() == 1
    same = frame([80, 80, 80], [100, 100, 110])
    assert "out_of_order" not in set(found(same)["kind"])
    groups = frame([70, 88], [90, 110], group=["bariatric", "adult"])
    row = found(groups, "out_of_order").iloc[0]
    assert "list paediatric, adult, bariatric in this order" in row["words"]


def test_numbers_are_doubted_from_their_thresholds_on():
    least, most = plausible_range("hip_circumference_cm")
    for low, high, kinds in (
        ([70, most], [90, most + 9], set()),
        ([70, most + 0.1], [90, most + 9], {"nobody_fits"}),
        ([least - 9, 70], [least, 90], set()),
        ([least - 9, 70], [least - 0.1, 90], {"nobody_fits"}),
        ([70, 88], [90, 1.5 * most], set()),
        ([70, 88], [90, 1.5 * most + 0.1], {"doubtful_number"}),
    ):
        table = found(frame(low, high))
        told = set(table["kind"])
        assert told & {"nobody_fits", "doubtful_number"} == kinds, (low, high)
    assert "'size 2' ends at a hip girth of" in table["words"].iloc[-1]
    assert "leave the cell empty for no limit" in table["words"].iloc[-1]


def test_a_measure_that_no_size_limits():
    table = frame([70, 88], [90, 110], stature_cm_low=[None, None])
    row = found(table).iloc[0]
    assert (row["kind"], row["measure"]) == ("measure_not_limited", "stature_cm")
    assert "no size limits it" in row["words"]


def test_load_limits_missing():
    row = found(frame([70, 88], [90, 110], load_limit_kg=[None, None])).iloc[0]
    assert (row["kind"], row["size"]) == ("no_load_limit", None)
    assert "read each sling's own label" in row["words"]
    row = found(frame([70, 88], [90, 110], load_limit_kg=[120, None])).iloc[0]
    assert (row["kind"], row["size"]) == ("no_load_limit", "size 2")


def test_a_load_limit_inside_the_band():
    table = frame(
        [70, 88], [90, 110], body_mass_kg_low=[40, 80], body_mass_kg_high=[90, 180]
    )
    row = found(table, "load_limit_inside_band").iloc[0]
    assert (row["size"], row["low"], row["high"]) == ("size 2", 150, 180)
    assert "nobody above the load limit is counted as fitting" in row["words"]
    for top, told in ((150, False), (150.1, True)):
        table["body_mass_kg_high"] = [90, top]
        kinds = set(found(table)["kind"])
        assert ("load_limit_inside_band" in kinds) == told


def test_every_finding_is_warned_of():
    table = frame([70, 95], [90, 85 + 25], load_limit_kg=[np.nan, np.nan])
    with pytest.warns(SizingWarning) as caught:
        chart = chart_from(table, name="mine")
    told = [str(w.message) for w in caught]
    assert told == [f"mine: {words}" for words in review_chart(chart)["words"]]
    assert len(told) == 2


def test_a_warning_points_at_the_line_that_made_the_chart():
    with pytest.warns(SizingWarning) as told:
        chart_from(frame([70, 95], [90, 110]))
    assert {warning.filename for warning in told} == {__file__}


def test_gaps_of_a_chart_from_large_to_small_lie_between_neighbours():
    """Each gap ends at the next larger size, to the half centimetre."""
    table = frame([140.5, 120, 100], [150, 130.5, 110.5])
    gaps = found(table, "gap")
    words = gaps["words"].tolist()
    assert ["from over 130.5 to under 140.5" in one for one in words] == [True, False]
    assert ["from over 110.5 to under 120 " in one for one in words] == [False, True]
    assert gaps[["low", "high"]].values.tolist() == [[130.5, 140.5], [110.5, 120]]
