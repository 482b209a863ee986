"""The look-up piece by piece: tables, masks and units of a miss by hand."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import OUTCOMES, SizeChart, assign, chart_from
from sizing.charts import fits as core
from sizing.charts.fits import judge, size_masks, yardsticks
from sizing.client.outcomes import edges_of, fitting
from sizing.errors import SizingWarning
from sizing.measures import MEASURES
from sizing.measures.edges import NO_HIGH
from tests.charts.cases import HIGH, HIP, LOW, people_of


def chart_of(low, high, **columns):
    data = {"size": [f"s{i}" for i in range(len(low))], LOW: low, HIGH: high}
    return SizeChart(pd.DataFrame(data | columns))


def test_a_table_holds_each_tenth_between_the_edges_and_what_is_missing():
    low, high = np.array([2, 0, 0]), np.array([4, 3, NO_HIGH])
    table = core.lookup(low, high, np.uint8)
    # Missing, then 0, 1, ... up to the greatest edge, then everything beyond.
    assert table.tolist() == [4, 6, 6, 7, 7, 5, 4]
    table = core.lookup(low, high, np.uint8, missing_holds=True)
    assert table.tolist() == [7, 6, 6, 7, 7, 5, 4]
    values = np.array([-9, -1, 0, 2, 4, 5, 6, 10**6])
    assert core.masks(values, table).tolist() == [7, 7, 6, 7, 5, 4, 4, 4]
    one_open = core.lookup(np.array([0, 3]), np.array([3, NO_HIGH]), np.uint8)
    assert one_open.tolist() == [0, 1, 1, 1, 3, 2]


@pytest.mark.parametrize(
    ("count", "bits"),
    [(1, 8), (8, 8), (9, 16), (16, 16), (17, 32), (32, 32), (33, 64), (64, 64)],
)
def test_masks_are_as_small_as_the_sizes_allow(count, bits):
    chart = chart_of(np.arange(count) + 50.0, np.arange(count) + 50.0)
    kind = core.mask_type(chart)
    assert np.iinfo(kind).bits == bits
    hips = np.arange(count) * 10 + 500
    masks = size_masks({HIP: hips}, chart)
    assert masks.dtype == kind and masks.tolist() == [1 << i for i in range(count)]
    assert (core.unpack([masks], count) == np.eye(count, dtype=bool)).all()


def test_the_load_limit_bounds_the_body_mass_from_above():
    mass = {"body_mass_kg_low": [40.0, 50], "body_mass_kg_high": [90.0, np.nan]}
    chart = chart_of([70, 80], [90, 100], load_limit_kg=[80.0, np.nan], **mass)
    told = core.limits(chart)
    assert list(told) == ["body_mass_kg", HIP]
    assert [e.tolist() for e in told["body_mass_kg"]] == [[400, 500], [800, NO_HIGH]]
    bare = chart_of([70, 80], [90, 100], load_limit_kg=[np.nan, 120.0])
    told = core.limits(bare)
    assert list(told) == ["body_mass_kg", HIP]
    assert [e.tolist() for e in told["body_mass_kg"]] == [[0, 0], [NO_HIGH, 1200]]
    none = chart_of([70, 80], [90, 100], load_limit_kg=[np.nan, np.nan])
    assert list(core.limits(none)) == [HIP]
    frame = pd.DataFrame({HIP: [85.04, np.nan]})
    told = core.tenths(frame, bare)
    assert told["body_mass_kg"].tolist() == [-1, -1]
    assert told[HIP].tolist() == [850, -1]


def test_what_comes_of_whom_nothing_limits_or_only_the_load():
    nothing = SizeChart(pd.DataFrame({"size": ["a", "b"]}))
    told = judge({}, nothing, 3)
    assert told.code.tolist() == [1] * 3 and told.count.tolist() == [2] * 3
    load = SizeChart(pd.DataFrame({"size": ["a", "b"], "load_limit_kg": [90.0, 120.0]}))
    told = judge({"body_mass_kg": np.array([900, 901, 1200, 1201, -1])}, load, 5)
    assert told.code.tolist() == [1, 0, 0, 5, 6]
    assert told.fitting[0].tolist() == [3, 2, 2, 0, 0]
    assert told.possible[0].tolist() == [3, 2, 2, 0, 3]


def test_the_unit_of_a_miss_is_a_width_or_a_tenth_of_an_edge():
    """An edge of 0 is none; of open bands a tenth of the middle edge counts."""
    chart = chart_of([0, 70, 80], [60.0, 78, np.nan])
    assert yardsticks(chart) == {HIP: 80.0}
    chart = chart_of([0, 0, 50], [60.0, np.nan, np.nan])
    assert yardsticks(chart) == {HIP: 55.0}
    chart = chart_of([70, 80, 90], [78.0, 92, 106])
    assert yardsticks(chart) == {HIP: 120.0}
    chart = chart_of([70.0, 70.0], [70.0, 70.0])
    assert yardsticks(chart) == {HIP: 1.0}
    chart = chart_of([0.6], [np.nan])
    assert yardsticks(chart) == {HIP: 1.0}


def test_a_mass_right_at_the_load_limit_is_not_over_it():
    """Above the band of body mass, yet borne: the size is too small by the band."""
    mass = {"body_mass_kg_low": [40.0], "body_mass_kg_high": [100.0]}
    chart = chart_of([70], [90], load_limit_kg=[120.0], **mass)
    frame = pd.DataFrame({"body_mass_kg": [120.0, 120.1], HIP: 80.0})
    table = assign(people_of(frame), chart).table
    assert table["outcome"].tolist() == ["beyond_largest", "over_load"]
    assert table["direction"].tolist() == ["too_small_for", "over_load"]
    assert table["miss"].tolist() == pytest.approx([20.0, 0.1])
    assert table["failing_measure"].tolist() == ["body_mass_kg"] * 2


def gapped():
    """Two sizes with a gap of stature between them, hips of 70 to 90 and to 91."""
    stature = {"stature_cm_low": [150.0, 172], "stature_cm_high": [168.0, 190]}
    return chart_of([70, 75], [90, 91], **stature)


def test_on_an_edge_of_all_sizes_nobody_is_beyond_them():
    """Of no size for her stature alone: hips right on the outermost edges."""
    frame = pd.DataFrame({"stature_cm": 170.0, HIP: [69.9, 70, 91, 91.1, 80]})
    told = assign(people_of(frame), gapped()).table["outcome"].tolist()
    outer = ["below_smallest", "beyond_largest"]
    assert told == [outer[0], "between", "between", outer[1], "between"]
    edges = edges_of(gapped(), np.full(2, NO_HIGH))
    bodies = np.full((5, len(MEASURES)), 100.0)
    for name in frame:
        bodies[:, MEASURES.index(name)] = frame[name]
    found = fitting(bodies, edges, over=np.zeros(2, dtype=bool))
    assert [OUTCOMES[code] for code in found.outcome] == told


def test_a_tenth_more_in_one_measure_makes_another_size_the_nearer():
    """Both miss stature by 2 cm; one of them hips by a millimetre, too."""
    for hip, nearest_size in ((90.0, "s0"), (90.1, "s1"), (74.9, "s0"), (75.0, "s0")):
        frame = pd.DataFrame({"stature_cm": [170.0], HIP: [hip]})
        row = assign(people_of(frame), gapped()).table.iloc[0]
        assert row["nearest_size"] == nearest_size
        assert row["failing_measure"] == "stature_cm" and row["miss"] == 2.0


def test_a_measure_that_is_not_given_leaves_what_does_not_limit_it():
    chart = chart_of([70, 70], [90, 90], load_limit_kg=[100.0, np.nan])
    hip = np.array([690, 700, 900, 901])
    for kind in (np.int16, np.int64):
        assert size_masks({HIP: hip.astype(kind)}, chart).tolist() == [0, 2, 2, 0]


edge = st.sampled_from([None, 50.0, 60.0, 70.0])
value = st.sampled_from([np.nan, 45.0, 55.0, 65.0, 75.0])


@settings(max_examples=40)
@given(
    st.lists(st.tuples(*[edge] * 5), min_size=1, max_size=3), st.tuples(*[value] * 3)
)
def test_the_first_measure_missing_that_decides_is_named(sizes, body):
    names = ["body_mass_kg", "stature_cm", HIP]
    rows, bands = [], []
    for i, (low, high, tall, hip, load) in enumerate(sizes):
        rows.append(
            {"size": f"s{i}", "load_limit_kg": load, "stature_cm_low": tall}
            | {f"{HIP}_high": hip, "body_mass_kg_low": low, "body_mass_kg_high": high}
        )
        tops = [x for x in (high, load) if x is not None]
        bands.append([(low, min(tops) if tops else None), (tall, None), (None, hip)])
    chart = SizeChart(
        pd.DataFrame(rows, dtype=object).astype(
            {c: float for c in rows[0] if c != "size"}
        )
    )
    if not chart.measures:
        return
    frame = pd.DataFrame([dict(zip(names, body, strict=True))])
    row = assign(people_of(frame), chart).table.iloc[0]

    def ruled_out(band, x):
        low, high = band
        return bool((low is not None and x < low) or (high is not None and x > high))

    open_ = [
        bands_
        for bands_ in bands
        if not any(ruled_out(b, x) for b, x in zip(bands_, body, strict=True))
    ]
    unsure = [
        name
        for j, name in enumerate(names)
        if np.isnan(body[j]) and any(bands_[j] != (None, None) for bands_ in open_)
    ]
    sure = [
        bands_
        for bands_ in open_
        if not any(np.isnan(body[j]) and bands_[j] != (None, None) for j in range(3))
    ]
    if row["outcome"] == "not_measured":
        assert not sure and row["failing_measure"] == unsure[0]
        assert row["direction"] == "not_measured" and pd.isna(row["nearest_size"])
        assert np.isnan(row["miss"])
    else:
        assert sure or not open_
    assert row["sizes_fitting"] == len(sure)


def test_a_warning_of_a_lacking_column_points_at_the_line_that_asked():
    chart = chart_from(
        pd.DataFrame({"size": ["a"], f"{HIP}_low": [70], "stature_cm_low": [150]}),
        warn=False,
    )
    with pytest.warns(
        SizingWarning, match=f"no column stature_cm, {HIP}, which"
    ) as told:
        assign(people_of(pd.DataFrame({"waist_circumference_cm": [80.0]})), chart)
    assert told[0].filename == __file__
