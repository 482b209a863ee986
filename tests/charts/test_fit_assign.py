"""Who fits what: against a plain loop, and what must hold of any chart."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import (
    OUTCOMES,
    SizeChart,
    assign,
    chart_from,
    demo_chart,
    fits_matrix,
)
from sizing.charts import fits as core
from sizing.charts.fits import judge, size_masks
from sizing.errors import SizingError, SizingWarning
from sizing.measures import EVIDENCE
from sizing.people.people import People
from tests.charts.cases import HIGH, HIP, LOW, people_of

MEASURES = ["body_mass_kg", "sitting_height_cm", "hip_circumference_cm"]


# An oracle in plain Python, written from the docstring of ``assign`` alone.


def tenth(value: object) -> int | None:
    if value is None or math.isnan(float(value)):  # type: ignore[arg-type]
        return None
    return math.floor(float(value) * 10 + 0.5 + 1e-7)  # type: ignore[arg-type]


def within(x: int | None, low: int | None, high: int | None) -> str:
    if low is None and high is None:
        return "yes"
    if x is None:
        return "unknown"
    return "yes" if (low or 0) <= x <= (high or 10**9) else "no"


def by_hand(person: dict, chart: SizeChart) -> dict:
    sizes = chart.frame.to_dict("records")
    values = {m: tenth(person.get(m)) for m in MEASURES}

    def ends(size: dict, measure: str) -> tuple[int | None, int | None]:
        pair = [tenth(size.get(f"{measure}_{end}")) for end in ("low", "high")]
        return pair[0], pair[1]

    held = [[within(values[m], *ends(s, m)) for m in MEASURES] for s in sizes]
    bears = [tenth(size["load_limit_kg"]) for size in sizes]
    loads = [within(values["body_mass_kg"], None, load) for load in bears]
    fits, possible, over = [], [], []
    for i, (parts, load) in enumerate(zip(held, loads, strict=True)):
        if all(p == "yes" for p in [*parts, load]):
            fits.append(i)
        elif "no" not in [*parts, load]:
            possible.append(i)
        elif "no" not in parts:
            over.append(i)
    if fits:
        outcome = "one" if len(fits) == 1 else "choice"
    elif possible:
        outcome = "not_measured"
    elif over or all(load == "no" for load in loads):
        outcome = "over_load"
    else:
        outcome = "between"
        for m in [m for m in MEASURES if values[m] is not None]:
            lows, highs = zip(*(ends(size, m) for size in sizes), strict=True)
            if None not in highs and values[m] > max(highs):
                outcome = "beyond_largest"
            elif None not in lows and values[m] < min(lows) and outcome == "between":
                outcome = "below_smallest"
    made = {"outcome": outcome, "fits": fits}
    if outcome == "not_measured":
        asked = {m: [held[i][j] for i in possible] for j, m in enumerate(MEASURES)}
        asked["body_mass_kg"] += [loads[i] for i in possible]
        made["lacking"] = next(m for m in MEASURES if "unknown" in asked[m])
    if outcome in ("between", "beyond_largest", "below_smallest", "over_load"):
        made |= nearest_by_hand(sizes, values, ends, outcome)
    return made


def nearest_by_hand(sizes, values, ends, outcome) -> dict:
    stated = any(tenth(s["load_limit_kg"]) is not None for s in sizes)

    def bounds(size: dict, measure: str) -> tuple[int | None, int | None]:
        low, high = ends(size, measure)
        if measure == "body_mass_kg":
            tops = [t for t in (high, tenth(size["load_limit_kg"])) if t is not None]
            high = min(tops) if tops else None
        return low, high

    units = {}
    for m in MEASURES:
        pairs = [bounds(s, m) for s in sizes]
        widths = [b - a for a, b in pairs if a is not None and b is not None]
        edges = [e for pair in pairs for e in pair if e is not None]
        if edges:
            units[m] = max(float(np.median(widths or np.array(edges) / 10)), 1.0)

    def gap(size: dict, m: str) -> int:
        low, high = bounds(size, m)
        x = values[m]
        if x is None:
            return 0
        above = x - high if high is not None else 0
        below = low - x if low is not None else 0
        return max(above, below, 0)

    best, least = -1, math.inf
    for i, size in enumerate(sizes):
        load = tenth(size["load_limit_kg"])
        if outcome == "over_load" and (load is None or values["body_mass_kg"] <= load):
            continue
        total = sum(gap(size, m) / units[m] for m in units)
        if total < least:
            best, least = i, total
    size = sizes[best]
    known = [(values[m], *ends(size, m)) for m in MEASURES if values[m] is not None]
    harms = {
        "too_small": any(high is not None and x > high for x, _, high in known),
        "too_large": any(low is not None and x < low for x, low, _ in known),
    }
    failing = max(units, key=lambda m: gap(size, m) / units[m])
    load, mass = tenth(size["load_limit_kg"]), values["body_mass_kg"]
    heavy = stated and load is not None and mass is not None and mass > load
    if heavy and (outcome == "over_load" or failing == "body_mass_kg"):
        return harms | {
            "nearest": best,
            "failing": "body_mass_kg",
            "direction": "over_load",
            "miss": (mass - load) / 10,
        }
    low, _ = bounds(size, failing)
    small = low is not None and values[failing] < low
    return harms | {
        "nearest": best,
        "failing": failing,
        "direction": "too_large_for" if small else "too_small_for",
        "miss": gap(size, failing) / 10,
    }


# Few distinct values, so that edges are hit to the tenth and ties occur.
VALUES = [5.0, 9.94, 9.95, 10.0, 10.04, 10.05, 15, 20, 20.1, 40]
value = st.one_of(st.none(), st.sampled_from(VALUES))
edge = st.one_of(st.none(), st.sampled_from([5.0, 9.95, 10.0, 15.0, 20.04, 30.0]))


@st.composite
def charts(draw, most: int = 4) -> SizeChart:
    rows = []
    for i in range(draw(st.integers(1, most))):
        row: dict = {"size": f"size {i}", "load_limit_kg": None}
        for m in MEASURES:
            ends = [draw(edge), draw(edge)]
            if None not in ends:
                ends.sort()
            row |= {f"{m}_low": ends[0], f"{m}_high": ends[1]}
        if all(row[f"{m}_{e}"] is None for m in MEASURES for e in ("low", "high")):
            row["hip_circumference_cm_low"] = 10.0
        load = draw(edge)
        if load is not None and load >= (row["body_mass_kg_low"] or 0):
            row["load_limit_kg"] = load
        rows.append(row)
    return chart_from(pd.DataFrame(rows), warn=False)


persons = st.lists(
    st.fixed_dictionaries(dict.fromkeys(MEASURES, value)), min_size=1, max_size=15
)


def frame_of(rows: list[dict]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=MEASURES).astype(float)


@settings(max_examples=60, deadline=None)
@given(rows=persons, chart=charts())
def test_assign_against_a_plain_loop(rows, chart):
    result = assign(people_of(frame_of(rows)), chart)
    for i, (person, got) in enumerate(
        zip(rows, result.table.to_dict("records"), strict=True)
    ):
        want = by_hand(person, chart)
        assert got["outcome"] == want["outcome"]
        assert np.flatnonzero(result.fits[i]).tolist() == want["fits"]
        assert got["sizes_fitting"] == len(want["fits"])
        if want["fits"]:
            assert got["size"] == chart.sizes[want["fits"][0]]
        else:
            assert pd.isna(got["size"])
        for harm in ("too_small", "too_large"):
            assert got[harm] == want.get(harm, False)
        if "nearest" in want:
            assert got["nearest_size"] == chart.sizes[want["nearest"]]
            assert got["failing_measure"] == want["failing"]
            assert got["direction"] == want["direction"]
            assert got["miss"] == pytest.approx(want["miss"])
        else:
            assert pd.isna(got["nearest_size"]) and pd.isna(got["miss"])
        if "lacking" in want:
            assert got["failing_measure"] == want["lacking"]
            assert got["direction"] == "not_measured"


@settings(max_examples=30, deadline=None)
@given(
    rows=persons,
    chart=charts(),
    seed=st.integers(0, 99),
    more=st.sampled_from([0.1, 3.0]),
)
def test_order_does_not_matter_widening_loses_nobody_and_shares_add_up(
    rows, chart, seed, more
):
    rng = np.random.default_rng(seed)
    frame = frame_of(rows)
    people, sizes = rng.permutation(len(frame)), rng.permutation(len(chart.sizes))
    plain = assign(people_of(frame), chart)
    turned = chart_from(chart.frame.iloc[sizes].reset_index(drop=True), warn=False)
    mixed = assign(people_of(frame.iloc[people]), turned)
    assert (mixed.fits == plain.fits[people][:, sizes]).all()
    outcomes = plain.table["outcome"].iloc[people]
    assert mixed.table["outcome"].tolist() == outcomes.tolist()
    wide = chart.frame.copy()
    for column in wide.columns:
        if column.endswith("_low"):
            wide[column] = (wide[column] - more).clip(lower=0)
        elif column.endswith("_high") or column == "load_limit_kg":
            wide[column] = wide[column] + more
    after = assign(people_of(frame), chart_from(wide, warn=False))
    assert (after.fits >= plain.fits).all()
    shares = plain.shares()
    assert shares.sum() == pytest.approx(1) and list(shares.index) == list(OUTCOMES)
    assert set(shares.index[shares > 0]) == set(plain.table["outcome"])


def two() -> SizeChart:
    return hips_of([70, 90], [90, 110], load_limit_kg=[100, 150])


def hips_of(low, high, **columns) -> SizeChart:
    data = {"size": [f"s{i}" for i in range(len(low))], LOW: low, HIGH: high}
    return SizeChart(pd.DataFrame(data | columns))


def test_the_worst_evidence_is_carried_and_shares_are_weighted():
    frame = pd.DataFrame({"body_mass_kg": [60.0, 60, np.nan, 60, 60]})
    frame[["hip_circumference_cm", "sitting_height_cm"]] = 80.0
    people = people_of(frame)
    levels = ["predicted", "unsupported", "measured", "extrapolated", None]
    people.evidence[HIP] = levels
    # Sitting height is not on the chart and must not count.
    people.evidence["sitting_height_cm"] = "unsupported"
    table = assign(people, two()).table
    assert table["evidence"].tolist() == (
        ["predicted", "unsupported", "missing", "extrapolated", "unsupported"]
    )
    assert table["evidence"].cat.categories.tolist() == list(EVIDENCE)
    bare = People("bare", people.frame, people.weight, pd.DataFrame(index=frame.index))
    assert set(assign(bare, two()).table["evidence"]) == {"unsupported", "missing"}

    weighted = People(
        "some", people.frame, pd.Series([3.0, 1, 0, 0, 0]), people.evidence
    )
    people.frame.loc[1, HIP] = 120.0
    assert assign(weighted, two()).summary() == (
        "chart, some: one size fits: 75.0 %; larger than the largest size: 25.0 %."
    )


# The fast core


@pytest.mark.parametrize("kind", [np.int16, np.int32, np.int64])
def test_tenths_of_every_integer_type_are_judged_as_a_table_is(kind, rng):
    chart = demo_chart()
    values = {m: rng.integers(1, 2400, 70_000).astype(kind) for m in core.limits(chart)}
    expected = fits_matrix(pd.DataFrame(values) / 10, chart)
    assert (fits_matrix(values, chart) == expected).all() and expected.any()


def test_two_byte_columns_reach_their_ends():
    ends = {"load_limit_kg": [100, 150]}
    tall = hips_of([70, 4000], [90, 5000], **ends)
    hip = np.array([-1, 699, 700, 32_767, -32_768], dtype=np.int16)
    mass = np.full(5, 500, dtype=np.int16)
    got = size_masks({"body_mass_kg": mass, HIP: hip}, tall)
    assert got.tolist() == [0, 0, 1, 0, 0]


def test_what_the_fast_core_cannot_take_is_refused():
    chart = hips_of([70] * 65, [math.nan] * 65)
    assert fits_matrix(pd.DataFrame({HIP: [80.0]}), chart).all()
    one, two_ = np.array([800]), np.array([800, 900])
    for values, of, words in (
        ({HIP: one}, chart, "up to 64"),
        ({HIP: one, "body_mass_kg": two_}, two(), "columns of one length"),
        ({}, two(), "at least one measure"),
    ):
        with pytest.raises(SizingError, match=words):
            size_masks(values, of)


@pytest.mark.parametrize(
    ("count", "bits"),
    [(1, 8), (8, 8), (9, 16), (16, 16), (17, 32), (32, 32), (33, 64), (64, 64)],
)
def test_masks_are_as_small_as_the_sizes_allow(count, bits):
    chart = hips_of(np.arange(count) + 50.0, np.arange(count) + 50.0)
    kind = core.mask_type(chart)
    assert np.iinfo(kind).bits == bits
    hips = np.arange(count) * 10 + 500
    masks = size_masks({HIP: hips}, chart)
    assert masks.dtype == kind and masks.tolist() == [1 << i for i in range(count)]
    assert (core.unpack([masks], count) == np.eye(count, dtype=bool)).all()


def test_what_comes_of_whom_nothing_limits_or_only_the_load():
    nothing = SizeChart(pd.DataFrame({"size": ["a", "b"]}))
    told = judge({}, nothing, 3)
    assert told.code.tolist() == [1] * 3 and told.count.tolist() == [2] * 3
    load = SizeChart(pd.DataFrame({"size": ["a", "b"], "load_limit_kg": [90.0, 120.0]}))
    told = judge({"body_mass_kg": np.array([900, 901, 1200, 1201, -1])}, load, 5)
    assert told.code.tolist() == [1, 0, 0, 5, 6]
    assert told.fitting[0].tolist() == [3, 2, 2, 0, 0]
    assert told.possible[0].tolist() == [3, 2, 2, 0, 3]


def test_a_measure_that_is_not_given_leaves_what_does_not_limit_it():
    chart = hips_of([70, 70], [90, 90], load_limit_kg=[100.0, np.nan])
    hip = np.array([690, 700, 900, 901])
    for kind in (np.int16, np.int64):
        assert size_masks({HIP: hip.astype(kind)}, chart).tolist() == [0, 2, 2, 0]


def test_a_warning_of_a_lacking_column_points_at_the_line_that_asked():
    chart = hips_of([70], [math.nan], stature_cm_low=[150])
    words = f"no column stature_cm, {HIP}, which"
    with pytest.warns(SizingWarning, match=words) as told:
        assign(people_of(pd.DataFrame({"waist_circumference_cm": [80.0]})), chart)
    assert told[0].filename == __file__
