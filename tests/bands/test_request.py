"""What a fit is asked for, what it is praised for, and whom it is judged on."""

from itertools import combinations, count, product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from sizing.bands import cells, fit_bands, partition_bands, variations
from sizing.bands.cells import (
    ROUNDINGS,
    Axis,
    Breaks,
    cumulate,
    cumulate_blurred,
    make_axis,
)
from sizing.bands.fit import half_splits
from sizing.bands.fitter import Fitter
from sizing.bands.goal import (
    Goal,
    chart_of,
    covered,
    quantile_boxes,
    read_measured,
    share_covered,
)
from sizing.bands.request import FitSettings
from sizing.charts import SizeChart
from sizing.errors import SizingError
from sizing.measures import NO_HIGH, vocabulary

from .oracle import MEASURES, make_people

HIP, SIT = MEASURES[:2]


def goal_of(measures, **settings):
    asked = {"widths": dict.fromkeys(measures, 5.0), "sizes": 1, "objective": "loss"}
    return FitSettings(**{**asked, **settings}).goal()


def request_of(values=((80, 50), (90, 60), (101, 71)), columns=None, **change):
    people = make_people(values, **(columns or {}))
    widths = dict(zip(MEASURES, (5.0, 4.0, 3.0, 6.0), strict=True))
    asked = {"widths": {m: widths[m] for m in MEASURES[: len(values[0])]}, "sizes": 2}
    return Fitter.of(people, **{**asked, **change})


def test_as_many_sizes_as_there_are_distinct_people_may_be_asked_for():
    corner = [[80, 50], [80, 60], [90, 50], [80, 50]]
    assert request_of(corner, sizes=3).layout.sizes == 3
    with pytest.raises(SizingError, match="4 sizes are more than the 3 distinct"):
        request_of(corner, sizes=4)
    line = [[80, 50], [81, 50], [82, 50], [83, 50]]
    assert request_of(line, sizes=4).layout.sizes == 4
    assert request_of(step_cm=0.1).layout.steps == (1, 1)
    assert len(request_of(np.arange(12.0).reshape(3, 4) + 50).layout.makers) == 4


def owned_of(*bands, load=90.0):
    rows = [
        {"size": str(k), "load_limit_kg": load, f"{HIP}_low": low, f"{HIP}_high": high}
        for k, (low, high) in enumerate(bands)
    ]
    return SizeChart(pd.DataFrame(rows), name="ours")


def test_sizes_owned_take_every_place_in_order():
    """Two of three sizes are owned: the new one is the third, second or first."""
    people = {"values": [[80.0], [90.0], [101.0]], "columns": {"body_mass_kg": 95.0}}
    owned = owned_of((80.0, 85.0), (80.0, 86.0))
    found = request_of(**people, sizes=3, fixed=owned, load_limit_kg=95).layout
    assert [limits.tolist() for limits in found.limits] == [
        [900, 900, 950],
        [900, 950, 900],
        [950, 900, 900],
    ]
    places = found.axes(found.steps, bounding=False)
    ends = [[h.tolist() for h in axes[0].high] for axes in places]
    free = [850 + 10 * i for i in range(17)]
    assert ends == [[[850], [860], free], [[850], free, [860]], [free, [850], [860]]]
    both = request_of(**people, sizes=2, fixed=owned, load_limit_kg=200)
    assert not both.measured.coverable.any()
    one = request_of(**people, sizes=3, fixed=owned, load_limit_kg=200)
    assert one.measured.coverable.all()
    for wrong, words in (
        (owned_of((80, 85), (79, 86)), "not in order"),
        (owned_of((80, 85), (81, 84)), "not in order"),
        (owned_of((80, 85), (np.nan, 86)), "lacks an edge"),
        (owned_of((80, 85), (81, np.nan)), "lacks an edge"),
        (owned_of((80, 85), (81, 86), (82, 87), (83, 88)), "4 sizes are owned already"),
    ):
        with pytest.raises(SizingError, match=words):
            request_of(**people, sizes=3, fixed=wrong)


def test_goals_are_told_in_tenths():
    usual = vocabulary().set_index("name")["error_cm"]
    judged = goal_of([HIP, SIT], objective="judged", errors={SIT: 0.3})
    assert judged.sd == pytest.approx((10 * usual[HIP], 3.0))
    apart = goal_of([HIP, SIT], near={SIT: 0.7})
    assert apart.near == (0, 7) and (apart.too_large, apart.too_small) == (1, 0.5)
    assert goal_of([HIP], too_large=0, too_small=1).too_small == 1
    assert goal_of([HIP], objective="covered") == Goal()


def measured_of(x, weight=None, mass=None, limits=(NO_HIGH,)):
    mass = np.zeros(len(x)) if mass is None else np.asarray(mass)
    people = make_people(np.asarray(x) / 10, weight, body_mass_kg=mass / 10)
    return read_measured(people, MEASURES[: len(x[0])], limits=limits)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["loss", "judged", "covered"]))
def test_what_a_person_is_worth_against_looking_at_every_size(seed, name):
    """Ordered sizes of differing load limits; she counts on those that lift her."""
    rng = np.random.default_rng(seed)
    x = rng.integers(0, 30, (20, 2))
    mass, limits = rng.integers(0, 5, 20), rng.integers(1, 5, 3)
    measured = measured_of(x, mass=mass, limits=limits)
    low = np.sort(rng.integers(0, 22, (3, 2)), axis=0)
    high = np.maximum.accumulate(low + rng.integers(0, 9, (3, 2)), axis=0)
    large, small = rng.integers(0, 5, 2) / 4
    near, sd = (int(rng.integers(0, 4)), int(rng.integers(0, 4))), (3.0, 0.0)
    goal = {
        "loss": Goal("loss", near=near, too_large=large, too_small=small),
        "judged": Goal("judged", sd=sd),
        "covered": Goal(),
    }[name]
    read = np.arange(-30, 61)
    boxes = low, high, limits
    for i, worth in enumerate(goal.worth(measured, boxes)):
        able = [k for k in range(3) if mass[i] <= limits[k]]
        if name == "judged":
            # Every reading of the first measure, rounded to a whole tenth.
            chance = np.diff(norm.cdf((np.r_[read, 61] - 0.5 - x[i, 0]) / sd[0]))
            inside = np.zeros(len(read), dtype=bool)
            for k in able:
                if low[k, 1] <= x[i, 1] <= high[k, 1]:
                    inside |= (read >= low[k, 0]) & (read <= high[k, 0])
            assert worth == pytest.approx(chance[inside].sum(), abs=1e-9)
            continue
        if name == "covered":
            fits = [((low[k] <= x[i]) & (x[i] <= high[k])).all() for k in able]
            assert worth == any(fits)
            continue
        costs = [1.0]
        for k in able:
            down = np.maximum(low[k] - x[i], 0)
            up = np.maximum(x[i] - high[k], 0)
            if (down <= near).all() and (up <= near).all():
                costs.append(max(large * down.any(), small * up.any()))
        assert worth == pytest.approx(1 - min(costs), abs=1e-9)
    some = rng.random(20) < 0.5
    if some.any():
        mean = goal.worth(measured, boxes)[some].mean()
        assert goal.value(measured, boxes, some) == pytest.approx(mean)


def test_halves_are_each_fitted_to_once_and_judged_once(monkeypatch):
    """Five persons of differing draws: two of them train, then the other three."""
    person = np.array([0, 1, 1, 2, 3, 3, 4])
    values = np.array([80.0, 84, 85, 90, 93, 99, 101])[:, None]
    people = make_people(values, [1, 2, 1, 3, 1, 2, 1], person=person)
    fitter = Fitter.of(people, widths={HIP: 8.0}, sizes=1)
    rng, want = np.random.default_rng(3), []
    for _ in range(2):
        half = np.isin(person, rng.permutation(5)[:2])
        for train in (half, ~half):
            weight = np.where(train, people.weight, 0.0)
            charts = fitter.fit(weight), fitter.rival(weight)
            want.append([fitter.value(chart, ~train) for chart in charts])
    found = half_splits(fitter, splits=4, seed=3)
    told = np.column_stack([found.fitted, found.rival])
    assert told.tolist() == want and found.persons == 3
    for splits, n in ((0, 0), (1, 1), (3, 3)):
        assert len(half_splits(fitter, splits=splits, seed=1).fitted) == n
    one = Fitter.of(make_people([[80], [90]], draws=2), widths={HIP: 5}, sizes=1)
    assert half_splits(one, splits=4, seed=1).persons == 0
    # A half that no chart is for is left out.
    monkeypatch.setattr(Fitter, "fit", refused_every_other_time(Fitter.fit))
    some = half_splits(fitter, splits=4, seed=3)
    assert some.fitted.tolist() == [row[0] for row in want[1::2]]


def refused_every_other_time(fit):
    times = count()

    def refuse(self, weight=None):
        if next(times) % 2 == 0:
            raise SizingError("no chart")
        return fit(self, weight)

    return refuse


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.sampled_from([0, 1, 2, 40]), min_size=8, max_size=14),
    st.sampled_from([2, 3, 12]),
    st.integers(0, 10**6),
)
def test_values_are_counted_in_blocks_and_cut_at_any_distance(gaps, fan, seed):
    """Values near each other and far apart: some bands hold one value alone."""
    rng = np.random.default_rng(seed)
    x = rng.permutation(700 + np.cumsum(gaps)) / 10
    weight = rng.integers(0, 4, len(x)).astype(float)
    x[rng.random(len(x)) < 0.1] = np.nan
    known = ~np.isnan(x) & (weight > 0)
    values = np.unique(x[known])
    if len(values) < 3:
        return
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(variations, "FAN", fan)
        patch.setattr(variations, "_BLOCK", 3)
        found = partition_bands(x, 3, weights=weight)
        plain = partition_bands(x, 1)
    assert plain["centre"].item() == pytest.approx(np.nanmean(x))

    def cost(cuts):
        band = np.searchsorted(cuts, x[known], side="right")
        parts = [(x[known][band == k], weight[known][band == k]) for k in range(3)]
        return sum((w * (p - np.average(p, weights=w)) ** 2).sum() for p, w in parts)

    best = min(map(cost, combinations(values[1:], 2)))
    assert cost(found["low"].iloc[1:]) == pytest.approx(best, abs=1e-8)
    # Of equal cuts the lowest.
    assert partition_bands([70.0, 71.0, 72.0], 2)["low"].tolist() == [70, 71]


# The parts that a fit is put together from, against plain counting and by hand


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
            "nobody in 'invented' has all of hip girth, sitting height",
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
    assert np.flatnonzero(covered(measured, boxes)).tolist() == [0, 2]
    assert share_covered(measured, boxes) == pytest.approx(5 / 63)
    edges = ([[0, 0], *low], [[799, 999], *high], [600, 701])
    two = [np.array(each) for each in edges]
    assert share_covered(measured, two) == pytest.approx(39 / 63)
    chart = chart_of(measured, two, group="adult", name="ours", source="by hand")
    assert chart.frame["size"].tolist() == ["adult 1", "adult 2"]
    assert chart.frame["load_limit_kg"].tolist() == [60, 70.1]
    assert chart.frame[f"{HIP}_high"].tolist() == [79.9, 90]
    assert chart.frame[f"{SIT}_low"].tolist() == [0, 50]
    named = {"group": "adult", "name": "", "source": ""}
    free = chart_of(measured, (low, high, np.array([NO_HIGH])), **named)
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
