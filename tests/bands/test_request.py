"""What a fit is asked for, what it is praised for, and whom it is judged on."""

from itertools import combinations
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from sizing.bands import partition, partition_bands
from sizing.bands.fit import half_splits
from sizing.bands.fitter import Fitter
from sizing.bands.goal import Goal
from sizing.bands.measured import read_measured
from sizing.bands.request import FitSettings
from sizing.charts import SizeChart
from sizing.errors import SizingError
from sizing.measures import vocabulary
from sizing.measures.edges import NO_HIGH

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


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"step_cm": 0.04}, "step of the grid makes no sense"),
        ({"step_cm": np.inf}, "the step makes no sense"),
        ({"step_cm": "wide"}, "the step makes no sense"),
        ({"least_overlap": {HIP: -1}}, "the least overlap makes no sense"),
        ({"widths": dict.fromkeys([*MEASURES, "x_cm"], 5.0)}, "too many measures"),
    ],
)
def test_requests_that_make_no_sense_are_refused(change, words):
    with pytest.raises(SizingError, match=words):
        request_of(np.arange(12.0).reshape(3, 4) + 50, **change)
    assert request_of(step_cm=0.1).layout.steps == (1, 1)
    four = request_of(np.arange(12.0).reshape(3, 4) + 50)
    assert len(four.layout.makers) == 4


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


def test_goals_are_told_in_tenths_and_refused_if_they_make_no_sense():
    usual = vocabulary().set_index("name")["error_cm"]
    judged = goal_of([HIP, SIT], objective="judged", errors={SIT: 0.3})
    assert judged.sd == pytest.approx((10 * usual[HIP], 3.0))
    apart = goal_of([HIP, SIT], near={SIT: 0.7})
    assert apart.near == (0, 7) and (apart.too_large, apart.too_small) == (1, 0.5)
    assert goal_of([HIP], too_large=0, too_small=1).too_small == 1
    assert goal_of([HIP], objective="covered") == Goal()
    for change, words in (
        ({"too_large": 1.01}, "cost of a size too large makes no sense.*from 0 to 1"),
        ({"too_small": -0.1}, "cost of a size too small makes no sense"),
        ({"near": -1.0}, "near makes no sense.*from 0"),
        ({"near": np.inf}, "near makes no sense"),
        ({"near": np.nan}, "near makes no sense"),
        ({"errors": {HIP: np.inf}}, "error makes no sense"),
    ):
        with pytest.raises(SizingError, match=words):
            request_of(**{"objective": "loss", **change})


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
    for i, worth in enumerate(goal.worth(measured, low, high, limits)):
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
        mean = goal.worth(measured, low, high, limits)[some].mean()
        assert goal.value(measured, low, high, limits, some) == pytest.approx(mean)


class Recorded:
    """Fits and rivals that are the weights themselves; judged by their sum."""

    def __init__(self, person, refuse=()):
        person = np.asarray(person)
        self.measured = SimpleNamespace(
            person=person,
            persons=person.max() + 1,
            weight=np.arange(1.0, 1 + len(person)),
        )
        self.refuse, self.fits, self.judged = refuse, [], []
        self.meter = SimpleNamespace(spent=False)

    def fit(self, weight):
        self.fits.append(weight)
        if len(self.fits) in self.refuse:
            raise SizingError("no chart")
        return "fit"

    def rival(self, weight):
        assert weight is self.fits[-1]
        return "rival"

    def value(self, chart, rows):
        self.judged.append(rows)
        return len(self.judged) / 100 + (chart == "rival") / 2


def test_halves_are_each_fitted_to_once_and_judged_once():
    """Five persons of differing draws: two of them train, then the other three."""
    person = np.array([0, 1, 1, 2, 3, 3, 4])
    told = Recorded(person)
    found = half_splits(told, splits=5, seed=3)
    assert found.persons == 3
    assert found.fitted == pytest.approx([0.01, 0.03, 0.05, 0.07, 0.09])
    assert found.rival == pytest.approx([0.52, 0.54, 0.56, 0.58, 0.60])
    trained = [set(person[w > 0].tolist()) for w in told.fits]
    assert [len(half) for half in trained] == [2, 3, 2, 3, 2]
    for k in (0, 2):
        assert trained[k] | trained[k + 1] == {0, 1, 2, 3, 4}
    assert len({frozenset(half) for half in trained}) > 2
    for k, weight in enumerate(told.fits):
        for rows in told.judged[2 * k : 2 * k + 2]:
            assert (rows == (weight == 0)).all()
        assert set(weight[weight > 0]) <= set(told.measured.weight)
        # All draws of a person are on the same side.
        assert all(len({bool(w) for w in weight[person == p]}) == 1 for p in range(5))
    # A half that no chart is for is left out, and nobody is asked for nothing.
    some = half_splits(Recorded(person, refuse=(2, 3)), splits=4, seed=3)
    assert len(some.fitted) == 2 == len(some.rival)
    for who, splits in (([0, 0], 4), (person, 0)):
        none = half_splits(Recorded(who), splits=splits, seed=1)
        assert (len(none.fitted), len(none.rival), none.persons) == (0, 0, 0)
    assert len(half_splits(Recorded([0, 1]), splits=1, seed=1).fitted) == 1


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
        patch.setattr(partition, "FAN", fan)
        patch.setattr(partition, "_BLOCK", 3)
        found = partition_bands(x, 3, weights=weight)
        plain = partition_bands(x, 1)
    assert found.n == plain.n == (~np.isnan(x)).sum()
    assert plain.table["centre"].item() == pytest.approx(np.nanmean(x))
    best = np.inf
    for cuts in combinations(values[1:], 2):
        band = np.searchsorted(cuts, x[known], side="right")
        parts = [(x[known][band == k], weight[known][band == k]) for k in range(3)]
        best = min(
            best, sum((w * (p - np.average(p, weights=w)) ** 2).sum() for p, w in parts)
        )
    assert found.cost == pytest.approx(best, abs=1e-8)


def test_of_equal_cuts_the_lowest_is_taken():
    assert partition_bands([70.0, 71.0, 72.0], 2).table["low"].tolist() == [70, 71]
    four = partition_bands([70.0, 71.0, 72.0, 73.0], 3)
    assert four.table["low"].tolist() == [70, 71, 72]
    assert four.cost == pytest.approx(0.5)
