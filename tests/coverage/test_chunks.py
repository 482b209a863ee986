"""Counting in chunks: the same for every cutting, and as one pass tells."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import assign, chart_from, demo_chart
from sizing.coverage import coverage_in_chunks, estimate_coverage, why_none
from sizing.errors import SizingError, SizingWarning
from sizing.people import people_from
from sizing.stats.formulas import wilson

from . import cases
from .cases import invented, people_with

BY = ["sex", "age_band", "ward"]
KEYS = ["by", "level", "outcome"]


def wards(rng, n):
    """Return rows of people in wards of unlike size, some of them never weighed."""
    frame = invented(rng, n, 1).frame
    ward = rng.choice(["north", "south", "hill"], n, p=[0.7, 0.29, 0.01])
    mass = frame["body_mass_kg"].where(rng.random(n) > 0.02)
    return frame.assign(ward=ward, body_mass_kg=mass)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    cuts=st.lists(st.integers(1, 399), unique=True, max_size=4),
    turned=st.booleans(),
)
def test_counts_are_the_same_for_every_cutting(seed, cuts, turned):
    frame = wards(np.random.default_rng(seed), 400)
    ends = [0, *sorted(cuts), 400]
    parts = [frame.iloc[a:b] for a, b in pairwise(ends)]
    one = coverage_in_chunks([frame], demo_chart(), by=BY)
    cut = coverage_in_chunks(parts[::-1] if turned else parts, demo_chart(), by=BY)
    cut, one = (found.sort_values(KEYS, ignore_index=True) for found in (cut, one))
    pd.testing.assert_frame_equal(cut, one)
    assert np.allclose(one["people"], one["estimate"] * one["n"])


def test_shares_and_intervals_against_one_pass(rng):
    frame = wards(rng, 3000)
    weight = rng.gamma(3, 1, 3000)
    people = people_with(frame, weight)
    whole = estimate_coverage(people, demo_chart(), by=BY, replicates=2000)
    frame = frame.assign(weight=weight)
    parts = [frame.iloc[place::5] for place in range(5)]
    found = coverage_in_chunks(parts, demo_chart(), by=BY)
    both = found.merge(whole.table, on=KEYS, suffixes=("", "_whole"))
    assert len(both) == len(found) == len(whole.table)
    assert np.allclose(both["estimate"], both["estimate_whole"])
    assert np.allclose(both["n_effective"], both["n_effective_whole"])
    assert (both["n"] == both["n_whole"]).all()
    # There the error comes from a bootstrap of persons.
    some = both["people"] > 30
    ratio = both["standard_error"][some] / both["standard_error_whole"][some]
    assert ratio.between(0.85, 1.15).all()
    assert np.allclose(both["low"][some], both["low_whole"][some], atol=0.01)
    share, error, number = found[["estimate", "standard_error", "n_effective"]].T.values
    ends = wilson(share, error**2, np.maximum(number - 1, 1), number)
    assert np.allclose(found[["low", "high"]].T, ends)
    w = weight / weight.sum()
    fits = assign(people_with(frame), demo_chart()).fits.any(axis=1)
    row = found.iloc[0]
    want = np.sqrt((w**2 * (fits - row["estimate"]) ** 2).sum())
    assert row["standard_error"] == pytest.approx(want)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda f: f.assign(weight=-1.0), "a weight cannot be used"),
        (lambda f: f.assign(weight=0.0), "nobody was counted"),
        (lambda f: f[["sex"]], "none of the measures"),
    ],
)
def test_chunks_that_cannot_be_used_are_refused(rng, change, message):
    with pytest.raises(SizingError, match=message):
        coverage_in_chunks([change(wards(rng, 20))], demo_chart())
    with pytest.raises(SizingError, match="nobody was counted"):
        coverage_in_chunks([], demo_chart())


def test_levels_of_one_chunk_alone_are_told_in_their_order():
    """Each level once, whichever chunk brought it, and who is not known last."""
    chart = demo_chart()
    parts = [
        pd.DataFrame({"hip_circumference_cm": 95.0, "ward": wards})
        for wards in (["b", None], ["c", "a"], ["b", "b"])
    ]
    found = coverage_in_chunks(parts, chart, by="ward")
    covered = found[found["outcome"] == "covered"].set_index("level")
    assert covered.index.tolist() == ["everyone", "a", "b", "c", "not known"]
    assert covered["n"].tolist() == [6, 1, 3, 1, 1]
    done = []
    coverage_in_chunks(iter(parts), chart, progress=done.append)
    assert done == [2, 4, 6]


# Why people have no size: against a count by hand and against coverage


HIPS = {"hip_circumference_cm_low": [80, 100], "hip_circumference_cm_high": [98, 120]}
CHART = chart_from(cases.CHART.frame.assign(**HIPS), warn=False)


def two_measures(n: int, seed: int = 3):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {
            "stature_cm": rng.normal(170, 12, n).round(1),
            "hip_circumference_cm": rng.normal(100, 12, n).round(1),
        }
    )
    return people_from(frame, weight=rng.uniform(0.5, 2, n))


def test_each_person_is_counted_as_a_count_by_hand_does():
    people = two_measures(300)
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


@pytest.mark.parametrize(
    ("stature", "hip", "shares"),
    [([160.0], [90.0], []), ([200.0, 140], 90.0, [0.5] * 2)],
)
def test_nobody_and_two_people_are_told_as_two_hundred_are(stature, hip, shares):
    """The columns of a table of two rows were once taken for its keys."""
    frame = pd.DataFrame({"stature_cm": stature, "hip_circumference_cm": hip})
    found = why_none(people_from(frame), CHART)
    assert found["estimate"].tolist() == shares and "miss_median" in found.columns
