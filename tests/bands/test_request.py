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
from sizing.bands.goal import Goal, quantile_boxes, read_measured
from sizing.charts import SizeChart
from sizing.errors import SizingError
from sizing.measures import NO_HIGH

from .oracle import MEASURES, make_people

HIP, SIT = MEASURES[:2]


def owned_of(*bands, load=90.0):
    rows = [
        {"size": str(k), "load_limit_kg": load, f"{HIP}_low": low, f"{HIP}_high": high}
        for k, (low, high) in enumerate(bands)
    ]
    return SizeChart(pd.DataFrame(rows), name="ours")


@pytest.mark.parametrize("x", [75.0, 87.5, 100.0])
def test_a_new_size_takes_any_place_among_two_owned(x):
    """The smallest, between them or the largest; those too light for all count not."""
    people = make_people([[x], [81.0], [94.0]], body_mass_kg=95.0)
    asked = {"widths": {HIP: 5.0}, "splits": 0, "load_limit_kg": 95.0}
    for load, sizes, share in ((95.0, 3, 1), (90.0, 3, 1 / 3), (90.0, 2, 0)):
        owned = owned_of((80.0, 85.0), (90.0, 95.0), load=load)
        found = fit_bands(people, sizes=sizes, fixed=owned, **asked)
        assert found.share == pytest.approx(share)
    for wrong, words in (
        (owned_of((80, 85), (79, 86)), "not in order"),
        (owned_of((80, 85), (81, 84)), "not in order"),
        (owned_of((80, 85), (np.nan, 86)), "lacks an edge"),
        (owned_of((80, 85), (81, np.nan)), "lacks an edge"),
        (owned_of((80, 85), (81, 86), (82, 87), (83, 88)), "4 sizes are owned already"),
    ):
        with pytest.raises(SizingError, match=words):
            fit_bands(people, sizes=3, fixed=wrong, **asked)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["loss", "judged", "covered"]))
def test_what_a_person_is_worth_against_looking_at_every_size(seed, name):
    """Ordered sizes of differing load limits; she counts on those that lift her."""
    rng = np.random.default_rng(seed)
    x = rng.integers(0, 30, (20, 2))
    mass, limits = rng.integers(0, 5, 20), rng.integers(1, 5, 3)
    people = make_people(x / 10, body_mass_kg=mass / 10)
    measured = read_measured(people, [HIP, SIT], limits=limits)
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
    fit, times = Fitter.fit, count()

    def refused_every_other_time(self, weight=None):
        if next(times) % 2 == 0:
            raise SizingError("no chart")
        return fit(self, weight)

    monkeypatch.setattr(Fitter, "fit", refused_every_other_time)
    some = half_splits(fitter, splits=4, seed=3)
    assert some.fitted.tolist() == [row[0] for row in want[1::2]]


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
    if rounding is not None:
        # Whole multiples, to the nearest tenth.
        for edges in (low, high):
            assert (np.abs(edges - unit * np.rint(edges / unit)) <= 0.5).all()


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


@pytest.mark.parametrize(
    ("measures", "limits", "weight", "words"),
    [
        ([HIP, "chest_x", "calf_x"], [NO_HIGH], None, "chest_x.*choose among these"),
        ([HIP], [900], None, "body_mass_kg.*no load limit.*or state no load limit"),
        ([HIP], [NO_HIGH], [-1, 2], "weights of the people make no sense"),
        ([HIP], [NO_HIGH], [1, np.nan], "weights of the people make no sense"),
        ([HIP], [NO_HIGH], [0, 0], "weights of the people make no sense"),
        ([HIP, SIT], [NO_HIGH], [0, 1], "nobody in 'invented' has all of hip girth"),
    ],
)
def test_people_who_cannot_be_banded_are_refused(measures, limits, weight, words):
    people = make_people([[80.0, 50.0], [90.0, np.nan]], weight)
    with pytest.raises(SizingError, match=words):
        read_measured(people, measures, limits=limits)


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
