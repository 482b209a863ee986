"""Odd but possible inputs end in an answer or in plain words, in bounded work."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.prediction import predict_measures
from sizing.charts import SizeChart, assign, chart_from, demo_chart, fits_matrix
from sizing.lesson import read_answers
from sizing.lesson.answers import doubtful
from sizing.people import people_from
from sizing.stock.tables import tilted

HIP = "hip_circumference_cm"


@given(
    st.lists(st.floats(3, 120), min_size=3, max_size=40),
    st.floats(130, 400),
    st.sampled_from([-0.5, -0.1, 0.05, 0.1, 0.5]),
)
def test_a_mean_is_moved_however_far_one_client_is_from_all(masses, far, share):
    """A single client of 310 kg among 400 ended in a ValueError."""
    mass = np.array([far, *(masses * 100)])
    found = tilted(np.ones(len(mass)), mass, share * mass.mean())
    assert np.isfinite(found).all() and found.sum() > 0
    end = mass.max() if share > 0 else mass.min()
    ends = mass.mean() * (1 + share), mass.mean() + 0.9 * (end - mass.mean())
    wanted = min(ends) if share > 0 else max(ends)
    assert np.average(mass, weights=found) == pytest.approx(wanted, rel=1e-6)


def test_a_build_all_known_but_the_age_is_predicted():
    """Rounding left nearly no variance where all was known: LinAlgError."""
    body = {"body_mass_kg": 66.9, "stature_cm": 166.1, "sitting_height_cm": 80.1}
    body |= {HIP: 65.1, "hip_breadth_sitting_cm": 44.1}
    person = pd.DataFrame([{"person": 1, "sex": "male"} | body])
    table = predict_measures(person).table.set_index("measure")
    assert np.isfinite(table["estimate"]).all()
    assert table.loc["stature_cm", "low"] == table.loc["stature_cm", "high"] == 166.1


def many_sizes(count: int) -> SizeChart:
    """Return a chart of so many overlapping sizes, every other limited in height."""
    number = np.arange(count)
    sizes = {"size": [f"size {i}" for i in number], "load_limit_kg": 60.0 + number}
    sizes |= {f"{HIP}_low": 60 + 0.4 * number, f"{HIP}_high": 65 + 0.4 * number}
    sizes["stature_cm_low"] = np.where(number % 2, 150.0, np.nan)
    return chart_from(pd.DataFrame(sizes), warn=False)


@settings(max_examples=15)
@given(st.sampled_from([64, 65, 128, 200]), st.integers(0, 2**32 - 1))
def test_as_many_sizes_as_a_chart_may_have_are_judged(count, seed):
    """More than 64 were refused, although a chart may hold 200."""
    rng, chart = np.random.default_rng(seed), many_sizes(count)
    number = np.arange(count)
    ends = {"body_mass_kg": (40, 300), HIP: (55, 150), "stature_cm": (140, 190)}
    frame = pd.DataFrame({m: rng.uniform(*ends[m], 40).round(1) for m in ends})
    mass, hip, stature = (frame[[name]].to_numpy() for name in ends)
    low = 60 + 0.4 * number
    want = (hip >= low - 1e-9) & (hip <= low + 5 + 1e-9) & (mass <= 60 + number)
    want &= (stature >= 150) | (number % 2 == 0)
    np.testing.assert_array_equal(fits_matrix(frame, chart), want)
    found = assign(people_from(frame.assign(age_years=50.0)), chart).table
    assert found["sizes_fitting"].tolist() == want.sum(axis=1).tolist()
    first = [chart.sizes[row.argmax()] if row.any() else None for row in want]
    told = found["size"].astype(object)
    assert told.where(told.notna(), None).tolist() == first
    assert (found["outcome"].isin(["one", "choice"]) == want.any(axis=1)).all()


def test_parts_of_a_long_chart_together_decide_who_is_beyond_it():
    """Above the last part's sizes is beyond; above the first part's is not."""
    three = {"body_mass_kg": [70.0, 70.0, 300.0], HIP: [190.0, 55.0, 100.0]}
    people = people_from(pd.DataFrame(three).assign(stature_cm=170.0, age_years=50.0))
    told = assign(people, many_sizes(200)).table["outcome"].tolist()
    assert told == ["beyond_largest", "below_smallest", "over_load"]


PAIR = st.tuples(st.sampled_from("123456"), st.sampled_from([98.0, 99.5, 101.0, 40]))


@given(st.lists(PAIR, min_size=1, max_size=25))
def test_what_the_others_found_is_their_median(pairs):
    """Whoever answers is left out of what she is held against."""
    room = pd.DataFrame(pairs, columns=["participant", "value"]).assign(
        subject="A", reading=1, guess=False, measure=HIP, row=range(len(pairs))
    )
    told = doubtful(room.assign(reason=""))
    for row in room.itertuples():
        others = room[room["participant"] != row.participant]
        if others["participant"].nunique() < 2:
            assert told[row.Index] == ""
        elif told[row.Index].startswith("makes sense"):
            assert f"{others['value'].median():.1f}" in told[row.Index]


def test_a_room_is_read_in_work_that_grows_with_its_rows(monkeypatch):
    """Each reading was held against a list of all others, each size spelled anew."""
    asked, sizes, chart = [], SizeChart.sizes.fget, demo_chart()
    counted = property(lambda chart: asked.append(1) or sizes(chart))
    monkeypatch.setattr(SizeChart, "sizes", counted)
    for rows in (20, 400):
        asked.clear()
        room = {"participant": range(rows), "subject": "card 1", "chosen_size": "none"}
        assert len(read_answers(pd.DataFrame(room), chart).sizes) == rows
        assert len(asked) < 10
