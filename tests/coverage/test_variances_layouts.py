"""Coverage piece by piece: variances, joining, layouts and groups by hand."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sizing.coverage import compare_charts, estimate_coverage, who_falls_between
from sizing.coverage.chunks import coverage_in_chunks
from sizing.coverage.coverage import NOT_KNOWN, by_list, grouping
from sizing.errors import SizingError
from sizing.measures import MEASURES
from sizing.people.body import Drawn
from sizing.people.layout import layout
from sizing.people.people import People
from sizing.stats.intervals import wilson
from sizing.stats.joining import (
    complete_df,
    design_df,
    join_draws,
    variance_of_sum,
    variance_of_totals,
)
from sizing.stats.shares import _variance, replicate_counts

from .cases import CHART, people_of, place_of

# Variances and joining


def test_units_are_compared_within_their_strata_and_a_lone_one_with_all():
    totals = np.array([[1.0, 10], [3, 10], [8, 20], [2, 0], [5, 1], [11, 2]])
    stratum = np.array([0, 0, 1, 2, 2, 2])
    told = variance_of_totals(totals, stratum)
    first = 2 * (1 + 1)  # 1 and 3 around 2
    lone = (8 - 5) ** 2  # 5 is the mean of all six
    third = 1.5 * ((2 - 6) ** 2 + (5 - 6) ** 2 + (11 - 6) ** 2)
    assert told[0] == pytest.approx(first + lone + third)
    mean = 43 / 6
    assert told[1] == pytest.approx((20 - mean) ** 2 + 1.5 * 2)


def test_degrees_of_freedom_are_units_less_strata_that_hold_anybody():
    unit, stratum = np.array([0, 0, 1, 2, 3, 4]), np.array([0, 0, 1, 1, 1])
    weighted = np.array([[1, 1, 1, 1, 1, 1], [1, 0, 0, 0, 1, 1], [0, 0, 1, 0, 0, 0]]).T
    assert design_df(unit, stratum, weighted.astype(float)).tolist() == [[3], [1], [1]]
    place = place_of([1, 2, 0, 1, 3, 0], unit=unit, stratum=stratum)
    assert complete_df(place) == 1.0
    plain = place_of([1, 2, 0, 1, 3, 0])
    assert complete_df(plain) == pytest.approx(49 / 15 - 1)
    assert complete_df(place_of([1.0, 0.0])) == 1.0


def test_the_variance_of_a_sum_counts_people_of_any_weight():
    influence = np.array([0.1, -0.2, 0.1, 0.0])
    for weight, times in (([1, 2, 3, 0], 1.5), ([1, 0, 0, 0], 2)):
        found = variance_of_sum(place_of(weight), influence)
        assert found == pytest.approx(times * 0.06)
    unit, stratum = np.array([0, 0, 1, 1]), np.array([0, 0])
    place = place_of([1, 2, 3, 1], unit=unit, stratum=stratum)
    both = np.column_stack([influence, 2 * influence])
    told = variance_of_sum(place, both)
    assert told == pytest.approx([2 * (0.1**2 + 0.1**2), 8 * (0.1**2 + 0.1**2)])


@given(
    st.lists(st.floats(0.1, 0.9), min_size=2, max_size=6),
    st.floats(1e-5, 0.1),
    st.floats(2, 500),
)
def test_draws_are_joined_by_the_published_sums(estimates, within, complete):
    """Rubin's total variance; degrees of freedom of Barnard and Rubin (1999)."""
    m = len(estimates)
    centre = sum(estimates) / m
    between = sum((e - centre) ** 2 for e in estimates) / (m - 1)
    total = within + (1 + 1 / m) * between
    share = (1 + 1 / m) * between / total
    observed = (complete + 1) / (complete + 3) * complete * (1 - share)
    right = 1 / (share**2 / (m - 1) + 1 / observed)
    found = join_draws(np.array(estimates), np.full(m, within), complete)
    assert [float(x) for x in found] == pytest.approx([centre, total, right])
    alone = join_draws(np.array([[0.3, 0.4]]), np.array([[0.01, 0.02]]), 7.0)
    assert [x.tolist() for x in alone] == [[0.3, 0.4], [0.01, 0.02], [7.0, 7.0]]


@given(st.integers(2, 60), st.data())
def test_score_intervals_against_solving_for_their_ends(n, data):
    """Wilson's ends p solve |share - p| = t sqrt(p (1 - p) / n)."""
    share = data.draw(st.integers(0, n)) / n
    df = data.draw(st.sampled_from([0.5, 1.0, 4.0, 30.0, 1e9]))
    given = [share, share * (1 - share) / n, df, n]
    low, high = wilson(*(np.array([one]) for one in given))
    t = stats.t.ppf(0.975, max(df, 1.0))
    for end in (low[0], high[0]):
        gap = (share - end) ** 2 - t**2 * end * (1 - end) / n
        assert gap == pytest.approx(0, abs=1e-9)
    if df == 1e9:
        assert t == pytest.approx(NormalDist().inv_cdf(0.975))
    # Without any variance the effective number is Kish's.
    same = wilson(np.array([share]), np.zeros(1), np.array([df]), np.array([n]))
    assert [float(e[0]) for e in same] == pytest.approx([float(low[0]), float(high[0])])


def test_replicates_without_a_group_are_left_out_of_its_variance():
    means = np.array([[1.0, np.nan], [3.0, 5.0], [5.0, np.nan], [7.0, 9.0]])
    assert _variance(means) == pytest.approx([20 / 3, 8.0])
    counts = replicate_counts(7, 50, np.random.default_rng(2))
    assert counts.shape == (50, 7) and (counts.sum(axis=1) == 7).all()
    assert (counts == replicate_counts(7, 50, np.random.default_rng(2))).all()
    assert counts.mean(axis=0) == pytest.approx(np.ones(7), abs=0.5)
    assert len(np.unique(counts, axis=0)) > 40


# Layouts and groups


def test_people_are_arranged_by_draw_and_number():
    frame = pd.DataFrame({"person": [7, 3, 3, 7, 5, 5], "draw": [1, 0, 1, 0, 0, 1]})
    frame["stature_cm"] = 170.0
    weight = pd.Series([2.0, 1.0, 1.0, 2.0, 3.0, 3.0])
    people = People("some", frame, weight, pd.DataFrame(index=frame.index))
    place = layout(people)
    assert place.rows.tolist() == [[1, 4, 3], [2, 5, 0]]
    assert place.weight.tolist() == [1.0, 3.0, 2.0] and place.draws == 2
    assert place.how == "bootstrap of persons"
    assert place.joined == "; 2 draws joined by Rubin's rules"
    drawn = Drawn(1, frame["draw"].to_numpy())
    # Whose bodies are not there cannot have been drawn.
    assert layout(replace(people, drawn=drawn)).model is None
    whole = frame.assign(sex="male", **dict.fromkeys(("age_years", *MEASURES), 50.0))
    outside = layout(replace(people, frame=whole, drawn=drawn))
    assert outside.model is not None and outside.how == "linearisation by person"
    assert outside.joined == "; 2 draws of a model fitted to other people"
    design = frame.assign(stratum=[9, 4, 4, 9, 9, 9], unit=[1, 1, 1, 1, 2, 2])
    found = layout(replace(people, frame=design))
    assert found.unit.tolist() == [0, 2, 1] and found.stratum.tolist() == [0, 1, 1]
    assert found.how == "linearisation by stratum and unit"
    # One unit in each stratum says nothing of sampling error.
    alone = layout(replace(people, frame=design.assign(unit=1)))
    assert alone.unit is None and alone.stratum is None


@pytest.mark.parametrize(
    ("frame", "weight", "words"),
    [
        ({"person": [1, 2, 1], "draw": [0, 0, 1]}, [1, 1, 1], "lacks some person"),
        ({"person": [1, 2, 1, 3], "draw": [0, 0, 1, 1]}, [1] * 4, "once in every draw"),
        ({"person": [1, 1], "draw": [0, 0]}, [1, 1], "once in every draw"),
        ({"person": [1, 2], "draw": [0, 0]}, [1, -1], "weights of 0 or more"),
        ({"person": [1, 2], "draw": [0, 0]}, [0, 0], "not all 0"),
        ({"person": [1, 2], "draw": [0, 0]}, [1, np.inf], "cannot be used"),
        ({"person": [1, 1], "draw": [0, 1]}, [1, 1.1], "differs between draws"),
    ],
)
def test_people_that_cannot_be_arranged_are_refused(frame, weight, words):
    frame = pd.DataFrame(frame).assign(stature_cm=170.0)
    people = People("x", frame, pd.Series(weight, dtype=float), pd.DataFrame())
    with pytest.raises(SizingError, match=words):
        layout(people)


def test_a_grouping_has_up_to_fifty_levels_and_one_for_not_known():
    fifty = pd.DataFrame({"ward": [*range(50), None]})
    level = grouping(fifty, "ward")
    assert len(level.categories) == 51 and level[-1] == NOT_KNOWN
    assert level.codes.tolist() == [*range(50), 50]
    with pytest.raises(SizingError, match="has 51 different values"):
        grouping(pd.DataFrame({"ward": range(51)}), "ward")
    with pytest.raises(SizingError, match="no column age_years to group by") as told:
        grouping(pd.DataFrame({"person": [1], "draw": [0], "ward": ["n"]}), "age_band")
    assert "Allowed: age_band, bmi_class, ward. " in str(told.value)
    bands = grouping(pd.DataFrame({"age_years": [30.0, np.nan, 1.0]}), "age_band")
    assert bands.tolist() == ["18 to 39", NOT_KNOWN, NOT_KNOWN]
    assert by_list(("sex", "ward")) == ["sex", "ward"]


@pytest.mark.parametrize(("count", "small"), [(29, True), (30, False)])
def test_fewer_than_thirty_persons_are_a_small_group(count, small):
    ward = ["a"] * count + ["b"] * 60
    people = people_of(np.linspace(140, 195, count + 60), ward=ward)
    tables = [
        estimate_coverage(people, CHART, by="ward", replicates=50).table,
        compare_charts(people, CHART, CHART, by="ward", replicates=50).table,
        coverage_in_chunks([people.frame], CHART, by="ward"),
    ]
    words = estimate_coverage(people, CHART, by="ward", replicates=50).summary()
    assert ("too few to rely on: ward a." in words) == small
    for table in tables:
        flags = table.groupby("level")["small_group"].first().to_dict()
        assert flags == {"a": small, "b": False, "everyone": False}
    age = {"age_years": 40.0, "sex": ["female"] * count + ["male"] * 60}
    odds = who_falls_between(
        people_of(people.frame["stature_cm"], **age), CHART, terms=["sex"]
    )
    assert odds["small_group"].tolist() == [small, False]


def test_who_has_no_stratum_stands_in_one_of_its_own():
    unit = [1.0, 2.0, 1.0, np.nan]
    people = people_of([160.0] * 4, stratum=[1.0, 1.0, np.nan, np.nan], unit=unit)
    place = layout(people)
    assert place.unit.tolist() == [0, 1, 2, 3]
    assert place.stratum.tolist() == [0, 0, 1, 1]


def test_people_of_no_weight_are_not_among_those_compared():
    stature = [160.0, 160, 170, 160, 170, 170, 170]
    exposed = ["yes"] * 3 + ["no"] * 3 + ["yes"]
    columns = {"age_years": 50.0, "exposed": exposed}
    people = people_of(stature, [1.0] * 6 + [0.0], **columns)
    found = who_falls_between(people, CHART, terms=["exposed"]).set_index("level")
    assert found["n"].to_dict() == {"yes": 3, "no": 3}
    assert found["n_between"].to_dict() == {"yes": 1, "no": 2}
