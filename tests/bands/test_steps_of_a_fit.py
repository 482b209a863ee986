"""The parts that a fit is put together from, against plain counting and by hand."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from sizing.bands import cells, fit_bands
from sizing.bands.axis import ROUNDINGS, Axis, make_axis
from sizing.bands.cells import Breaks, cumulate, cumulate_blurred
from sizing.bands.measured import (
    chart_of,
    covered,
    quantile_boxes,
    read_measured,
    share_covered,
)
from sizing.errors import SizingError
from sizing.measures.edges import NO_HIGH

from .oracle import MEASURES, make_people

HIP, SIT = MEASURES[:2]


def test_rounded_edges_are_whole_multiples_to_the_nearest_tenth():
    """By hand: 31 to 35 inches are 787.4, 812.8, 838.2, 863.6 and 889 mm."""
    values = np.array([800, 1000])
    inch, _ = make_axis(HIP, values, [127], step=25, rounding="inch")
    assert inch.low[0].tolist() == [787, 813, 838, 864, 889]
    assert inch.high[0].tolist() == [914, 940, 965, 991, 1016]
    two, outer = make_axis(HIP, values, [127], step=51, rounding="inch")
    assert two.low[0].tolist() == [787, 838, 889]
    assert outer.top[0].tolist() == [813, 864, 914]
    assert outer.high[0].tolist() == [940, 991, 1041]
    five, _ = make_axis(HIP, np.array([812, 1015]), [95], step=10, rounding="five")
    assert five.low[0].tolist() == [800, 850, 900, 950]
    assert five.high[0].tolist() == [900, 950, 1000, 1050]
    with pytest.raises(SizingError, match="narrower than the rounding"):
        make_axis(HIP, values, [12], step=25, rounding="inch")


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([None, *ROUNDINGS]),
    st.integers(51, 300),
    st.integers(1, 60),
    st.integers(700, 900),
    st.integers(0, 200),
)
def test_candidates_rise_and_reach_from_end_to_end(rounding, wide, step, at, far):
    """A width of 21.6 cm in whole inches once ended two bands at one edge."""
    given_ = {"step": step, "rounding": rounding}
    values = np.array([at, at + far])
    exact, bounding = make_axis(HIP, values, [wide], **given_)
    low, high = exact.low[0], exact.high[0]
    assert (np.diff(low) > 0).all() and (np.diff(high) > 0).all() and (high > low).all()
    assert low[0] <= at and high[-1] >= at + far
    assert (high[:-1] < at + far).all()
    # An inch may be rounded down to where the smallest person is.
    assert (low[1:] + (rounding == "inch") > at).all()
    # Up to the next candidate every permitted edge is stood for, and none after.
    unit = 1 if rounding is None else ROUNDINGS[rounding]
    top, reach = bounding.top[0], bounding.high[0]
    assert (np.abs(low[1:] - top[:-1] - unit) < 1).all() and (top >= low).all()
    assert (reach >= high).all() and bounding.inner[0].tolist() == high.tolist()
    near = 0.6 if rounding is None else unit / 2 + 1
    assert (np.abs(high - low - wide) <= near).all()


@pytest.mark.parametrize(
    ("values", "widths", "more"),
    [
        ([99.0, 100.2, 100.3], 1.4, {"rounding": "whole", "step_cm": 1}),
        ([90.0, 93.3, 100.0, 103.0], 10.2, {"rounding": "whole"}),
    ],
)
def test_bands_that_come_out_narrower_still_reach_the_largest_person(
    values, widths, more
):
    """All but the smallest fit one band, narrower than asked where it lies."""
    people = make_people(np.array(values)[:, None])
    asked = {"widths": {HIP: widths}, "sizes": 1, "splits": 0, "step_cm": 0.1, **more}
    found = fit_bands(people, **asked)
    assert found.share == pytest.approx(1 - 1 / len(values))
    assert found.upper_bound >= found.share


def axis_of(low, high, **more):
    low, high = (tuple(np.array(e) for e in part) for part in (low, high))
    return Axis(HIP, low, low, high, high, **more)


def test_people_are_read_as_tenths_and_those_not_measured_still_count():
    """By hand: rows 1 (not measured) and 4 (weighs nothing) are left out."""
    values = [[80.0, 50.0], [np.nan, 50.0], [0.0, 60.1], [90.2, 0.0], [70.0, 70.0]]
    people = make_people(
        values,
        [1.0, 4.0, 2.0, 3.0, 0.0],
        person=[7, 9, 3, 7, 8],
        body_mass_kg=[100.0, 50.0, np.nan, 100.1, 50.0],
    )
    measured = read_measured(people, [HIP, SIT], limits=[900, 1000])
    assert measured.measures == (HIP, SIT)
    assert measured.values.tolist() == [[800, 500], [0, 601], [902, 0]]
    assert measured.weight.tolist() == [1, 2, 3] and measured.row.tolist() == [0, 2, 3]
    assert measured.mass.tolist() == [1000, NO_HIGH, 1001]
    assert measured.coverable.tolist() == [True, False, False]
    assert measured.counted.tolist() == [1, 0, 0]
    same = measured.person
    assert same[0] == same[2] != same[1] and measured.persons == 2
    assert sorted(set(same.tolist())) == [0, 1]
    assert measured.total == 10 and measured.not_measured == pytest.approx(0.4)
    free = read_measured(people, [HIP])
    assert free.mass.tolist() == [0, 0, 0] and free.coverable.all()
    assert read_measured(people, [HIP], limits=[900, NO_HIGH]).coverable.all()


@pytest.mark.parametrize(
    ("measures", "limits", "weight", "words"),
    [
        ([HIP, "chest_x", "calf_x"], [NO_HIGH], None, "chest_x.*choose among these"),
        ([HIP], [900], None, "body_mass_kg.*no load limit.*or state no load limit"),
        ([HIP], [NO_HIGH], [-1, 2], "weights of the people make no sense"),
        ([HIP], [NO_HIGH], [1, np.nan], "weights of the people make no sense"),
        ([HIP], [NO_HIGH], [0, 0], "weights of the people make no sense"),
        (
            [HIP, SIT],
            [NO_HIGH],
            [0, 1],
            f"nobody in 'invented' has all of {HIP}, {SIT}",
        ),
    ],
)
def test_people_who_cannot_be_banded_are_refused(measures, limits, weight, words):
    people = make_people([[80.0, 50.0], [90.0, np.nan]], weight)
    with pytest.raises(SizingError, match=words):
        read_measured(people, measures, limits=limits)


def test_both_edges_and_the_limit_belong_to_a_box():
    values = [[80, 50], [79.9, 50], [90, 60], [90.1, 60], [85, 60.1], [85, 55]]
    mass = [60, 60, 70, 70, 70, 70.1]
    people = make_people(values, [1, 2, 4, 8, 16, 32], body_mass_kg=mass)
    measured = read_measured(people, [HIP, SIT], limits=[700])
    low, high = np.array([[800, 500]]), np.array([[900, 600]])
    boxes = (low, high, np.array([700]))
    assert np.flatnonzero(covered(measured, *boxes)).tolist() == [0, 2]
    assert share_covered(measured, *boxes) == pytest.approx(5 / 63)
    edges = ([[0, 0], *low], [[799, 999], *high], [600, 701])
    two = [np.array(each) for each in edges]
    assert share_covered(measured, *two) == pytest.approx(39 / 63)
    chart = chart_of(measured, *two, group="adult", name="ours", source="by hand")
    assert chart.frame["size"].tolist() == ["adult 1", "adult 2"]
    assert chart.frame["load_limit_kg"].tolist() == [60, 70.1]
    assert chart.frame[f"{HIP}_high"].tolist() == [79.9, 90]
    assert chart.frame[f"{SIT}_low"].tolist() == [0, 50]
    named = {"group": "adult", "name": "", "source": ""}
    free = chart_of(measured, low, high, np.array([NO_HIGH]), **named)
    assert free.frame["load_limit_kg"].isna().all()


def some_axes(rng, measures=2, sizes=2):
    """Axes of few candidates, their edges strictly rising, sizes not alike."""
    found = []
    for _ in range(measures):
        low = [np.sort(rng.choice(12, rng.integers(1, 5), False)) for _ in range(sizes)]
        high = [e + np.sort(rng.choice(6, len(e))) for e in low]
        found.append(axis_of(low, high))
    return found


def test_a_table_too_large_for_the_memory_is_refused(monkeypatch):
    monkeypatch.setattr(cells, "MOST_CELLS", 12)
    number, weight = np.array([0, 11]), np.ones(2)
    assert cumulate(number, weight, [2, 3]).tolist() == [[1, 1, 1], [1, 1, 1]]
    with pytest.raises(SizingError, match=r"found: 15.*up to 12 cells"):
        cumulate(number, weight, [2, 4])


@pytest.mark.parametrize("sd", [(0.0, 0.0, 0.0), (3.0, 0.0, 2.0), (1.0, 2.0, 0.5)])
@pytest.mark.parametrize("measures", [1, 2, 3])
def test_blurred_people_are_below_a_cut_by_their_chance(measures, sd):
    rng = np.random.default_rng(measures)
    breaks = [Breaks.of(axis) for axis in some_axes(rng, measures)]
    x = rng.integers(0, 5, (20, measures))
    weight = rng.integers(0, 3, 20).astype(float)
    table = cumulate_blurred(x, weight, breaks, sd[:measures])
    assert table.shape == tuple(len(cut.cuts) for cut in breaks)
    for at in product(*map(range, table.shape)):
        chance = np.ones(20)
        for d, i in enumerate(at):
            far = breaks[d].cuts[i] - 0.5 - x[:, d]
            # A normal error as good as none stands for none.
            chance *= norm.cdf(far / max(sd[d], 1e-9))
        assert table[at] == pytest.approx(weight @ chance, abs=1e-9)


def test_more_than_three_blurred_measures_are_refused():
    breaks = [Breaks.of(axis) for axis in some_axes(np.random.default_rng(0), 4)]
    with pytest.raises(SizingError, match=r"found: 4.*one to three measures"):
        cumulate_blurred(np.zeros((2, 4), int), np.ones(2), breaks, (1.0,) * 4)


def test_the_rival_takes_the_width_at_its_place():
    """By hand: six persons of weights 1, 1, 2, 2, 1, 1, two sizes: 2 and 6 of 8."""
    values = np.array([[10, 3], [12, 3], [20, 3], [30, 3], [41, 3], [55, 3]])
    weight = np.array([1.0, 1, 2, 2, 1, 1])
    axis = axis_of([[0, 10, 20]] * 2, [[6, 17, 29], [7, 19, 31]])
    low, high = quantile_boxes(values, weight, [axis, axis], 2)
    # Quantiles 12 and 30; the middles nearest, 13.5 and 25.5, are 7 and 11 wide.
    assert low.tolist() == [[9, 0], [25, 0]]
    assert high.tolist() == [[16, 6], [36, 7]]
    alike = [axis_of([[0]] * 3, [[4]] * 3)] * 2
    three, _ = quantile_boxes(values, np.ones(6), alike, 3)
    assert three[:, 0].tolist() == [8, 18, 39]
