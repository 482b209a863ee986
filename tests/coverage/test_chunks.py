"""Counting in chunks: the same for every cutting, and as one pass tells."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.charts import OUTCOMES, assign, chart_from, demo_chart
from sizing.coverage import estimate_coverage
from sizing.coverage.chunks import CountedCoverage, coverage_in_chunks
from sizing.errors import SizingError
from sizing.people.people import People

BY = ["sex", "age_band", "ward"]
COUNTS = ["by", "level", "outcome", "people", "n"]


def invented(rng: np.random.Generator, n: int) -> pd.DataFrame:
    stature = rng.normal(165, 14, n)
    mass = np.exp(rng.normal(3.25, 0.25, n)) * (stature / 100) ** 2
    return pd.DataFrame(
        {
            "person": np.arange(n),
            "draw": 0,
            "sex": rng.choice(["female", "male"], n),
            "age_years": rng.uniform(3, 90, n),
            "ward": rng.choice(["north", "south", "hill"], n, p=[0.7, 0.29, 0.01]),
            "body_mass_kg": np.where(rng.random(n) < 0.02, np.nan, mass),
            "shoulder_height_sitting_cm": stature * 0.35 + rng.normal(0, 2, n),
            "buttock_popliteal_length_cm": stature * 0.29 + rng.normal(0, 2, n),
            "hip_circumference_cm": 35 + mass * 0.85 + rng.normal(0, 4, n),
        }
    )


def people_of(frame: pd.DataFrame, weight: object = None) -> People:
    measures = [c for c in frame if c.endswith(("_cm", "_kg"))]
    return People(
        "some",
        frame,
        pd.Series(np.ones(len(frame)) if weight is None else np.asarray(weight, float)),
        pd.DataFrame("measured", index=frame.index, columns=measures),
    )


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    cuts=st.lists(st.integers(1, 399), unique=True, max_size=4),
    turned=st.booleans(),
)
def test_counts_are_the_same_for_every_cutting(seed, cuts, turned):
    frame = invented(np.random.default_rng(seed), 400)
    ends = [0, *sorted(cuts), 400]
    parts = [frame.iloc[a:b] for a, b in pairwise(ends)]
    one = coverage_in_chunks([frame], demo_chart(), by=BY)
    cut = coverage_in_chunks(parts[::-1] if turned else parts, demo_chart(), by=BY)
    pd.testing.assert_frame_equal(
        cut.table.sort_values(COUNTS[:3], ignore_index=True),
        one.table.sort_values(COUNTS[:3], ignore_index=True),
    )
    pd.testing.assert_frame_equal(cut.by_size, one.by_size)


def test_counts_against_assign_and_pandas(rng):
    frame = invented(rng, 3000)
    found = coverage_in_chunks(
        [frame.iloc[place::4] for place in range(4)], demo_chart(), by="sex"
    )
    outcome = assign(people_of(frame), demo_chart()).table["outcome"]
    for level, rows in (("everyone", outcome), ("male", outcome[frame.sex == "male"])):
        got = found.table[found.table["level"] == level].set_index("outcome")["people"]
        want = rows.value_counts()
        assert got[list(OUTCOMES)].tolist() == want[list(OUTCOMES)].tolist()
        assert got["covered"] == want["one"] + want["choice"]


def test_shares_and_intervals_against_one_pass(rng):
    frame = invented(rng, 3000)
    weight = rng.gamma(3, 1, 3000)
    whole = estimate_coverage(
        people_of(frame, weight), demo_chart(), by=BY, replicates=2000
    )
    frame = frame.assign(weight=weight)
    parts = [frame.iloc[place::5] for place in range(5)]
    found = coverage_in_chunks(parts, demo_chart(), by=BY)
    keys = ["by", "level", "outcome"]
    both = found.table.merge(whole.table, on=keys, suffixes=("", "_whole"))
    assert len(both) == len(found.table) == len(whole.table)
    assert np.allclose(both["estimate"], both["estimate_whole"])
    assert np.allclose(both["n_effective"], both["n_effective_whole"])
    assert (both["n"] == both["n_whole"]).all()
    # There the error comes from a bootstrap of persons.
    some = both["people"] > 30
    ratio = both["standard_error"][some] / both["standard_error_whole"][some]
    assert ratio.between(0.85, 1.15).all()
    assert np.allclose(both["low"][some], both["low_whole"][some], atol=0.01)
    sizes = found.by_size.merge(whole.by_size, on=["size", "share"])
    assert np.allclose(sizes["estimate_x"], sizes["estimate_y"])


def test_the_error_of_a_weighted_share_against_its_formula(rng):
    frame = invented(rng, 500).assign(weight=rng.gamma(3, 1, 500))
    row = coverage_in_chunks([frame], demo_chart()).table.iloc[0]
    w = frame["weight"] / frame["weight"].sum()
    fits = assign(people_of(frame), demo_chart()).fits.any(axis=1)
    assert row["estimate"] == pytest.approx(w[fits].sum())
    want = np.sqrt((w**2 * (fits - row["estimate"]) ** 2).sum())
    assert row["standard_error"] == pytest.approx(want)


def test_two_people_tell_with_one_degree_of_freedom():
    """As a whole population's share does; against Wilson's interval worked by hand."""
    chart = chart_from(
        pd.DataFrame(
            {"size": ["one"], "stature_cm_low": [150], "stature_cm_high": [170]}
        ),
        warn=False,
    )
    frame = pd.DataFrame({"stature_cm": [160.0, 180.0]})
    row = coverage_in_chunks([frame], chart).table.iloc[0]
    # Half of two: the variance of the share is 1/8, that of two people.
    t = stats.t.ppf(0.975, 1)
    half = t * np.sqrt(0.25 / 2 + t**2 / 16) / (1 + t**2 / 2)
    assert row["estimate"] == 0.5
    assert [row["low"], row["high"]] == pytest.approx([0.5 - half, 0.5 + half])


def test_people_bring_their_weights_and_the_words_their_cautions(rng):
    frame = invented(rng, 200)
    weight = rng.gamma(3, 1, 200)
    a = coverage_in_chunks([people_of(frame, weight)], demo_chart())
    b = coverage_in_chunks([frame.assign(weight=weight)], demo_chart())
    pd.testing.assert_frame_equal(a.table, b.table)
    assert "of 200 people counted" in a.summary()
    assert "competent person" in a.summary()


def test_a_stream_is_read_once_and_told(rng):
    told = []
    parts = (invented(rng, 50) for _ in range(3))
    found = coverage_in_chunks(parts, demo_chart(), progress=told.append)
    assert told == [50, 100, 150]
    assert found.table["n"].iloc[0] == 150


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda f: f.assign(weight=-1.0), "a weight cannot be used"),
        (lambda f: f.assign(weight=0.0), "nobody was counted"),
        (lambda f: f[["sex"]], "none of the measures"),
        (lambda f: people_of(pd.concat([f, f.assign(draw=1)])), "2 draws of each"),
    ],
)
def test_chunks_that_cannot_be_used_are_refused(rng, change, message):
    with pytest.raises(SizingError, match=message):
        coverage_in_chunks([change(invented(rng, 20))], demo_chart())


def test_levels_of_one_chunk_alone_are_told_in_their_order():
    """Each level once, whichever chunk brought it, and who is not known last."""
    chart = demo_chart()
    parts = [
        pd.DataFrame({"hip_circumference_cm": 95.0, "ward": wards})
        for wards in (["b", None], ["c", "a"], ["b", "b"])
    ]
    found = coverage_in_chunks(parts, chart, by="ward").table
    covered = found[found["outcome"] == "covered"].set_index("level")
    assert covered.index.tolist() == ["everyone", "a", "b", "c", "not known"]
    assert covered["n"].tolist() == [6, 1, 3, 1, 1]
    done = []
    coverage_in_chunks(parts, chart, progress=done.append)
    assert done == [2, 4, 6]


def test_what_is_said_of_counted_people():
    found = coverage_in_chunks([invented(np.random.default_rng(1), 50)], demo_chart())
    table = found.table.copy()
    table.loc[0, ["estimate", "low", "high"]] = [0.901, 0.804, 0.963]
    table["n"] = 1_234_567
    told = CountedCoverage(table, found.by_size, found.chart).summary()
    assert told.startswith(
        f"{demo_chart().name} covers 90.1 % (80.4 to 96.3) of 1,234,567 people counted"
    )


def test_no_chunk_at_all_is_refused():
    with pytest.raises(SizingError, match="nobody was counted"):
        coverage_in_chunks([], demo_chart())
