"""Change over visits, and of a growing child: when a size ends."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rcpchgrowth import measurement_from_sds, sds_for_measurement
from scipy.stats import norm

from sizing.client import change
from sizing.client.change import (
    edges_at,
    measure_again_in,
    outgrows,
    over_visits,
    readings_of,
    size_at,
)
from sizing.client.posterior import draw_bodies
from sizing.client.readings import reading
from sizing.client.visits import Decision, Visit
from sizing.measures import MEASURES
from sizing.people.body.model import moments
from sizing.people.classes import z_score
from sizing.plots.client import plot_visits
from sizing.words.client_notes import growth_words, visits_words

from .cases import DEMO, HIP, MASS, SEAT, STATURE, check, edges, made

START = date(2026, 1, 1)
BARE = Visit(START, {"sex": "male"})


def table_of(days, values, sd=1.0, measure=HIP):
    on = [START + timedelta(days=int(day)) for day in days]
    return pd.DataFrame({"measure": measure, "on": on, "value": values, "sd": sd})


def bands(low=(60.0, 90.0, 100.0), high=(90.0, 100.0, 120.0), load=(100.0,) * 3):
    limits = {HIP: list(zip(low, high, strict=True))}
    return made(limits, load=load, sizes=["S", "M", "L"])


EDGES = edges_at(bands(), BARE)


def one(days, values, sd=1.0, size="M", measure=HIP, edges=EDGES):
    return over_visits(table_of(days, values, sd, measure), edges, size).iloc[0]


@given(
    st.lists(st.integers(0, 900), min_size=2, max_size=6, unique=True),
    st.floats(-20, 20),
    st.integers(0, 1000),
)
@settings(max_examples=40)
def test_the_line_is_that_of_another_library(days, slope, seed):
    days = np.sort(days)
    rng = np.random.default_rng(seed)
    sd = rng.uniform(0.5, 2.0, len(days))
    values = 95 + slope * days / 365.25 + rng.normal(0, sd)
    row = one(days, values, sd)
    if days[-1] - days[0] < 56:
        assert "too short" in row["why_not"] and np.isnan(row["estimate"])
        return
    years = days / 365.25
    fit, cov = np.polyfit(years, values, 1, w=1 / sd, cov="unscaled")
    wider = 1.0
    if len(days) > 2:
        chi2 = np.sum(((values - np.polyval(fit, years)) / sd) ** 2)
        wider = max(1.0, chi2 / (len(days) - 2))
    half = 1.6449 * np.sqrt(cov[0, 0] * wider)
    found = row[["estimate", "low", "high"]].to_numpy(float)
    assert found == pytest.approx([fit[0], fit[0] - half, fit[0] + half], abs=1e-6)
    assert (row["edge_on_low"] is not None) <= (row["low"] * row["high"] > 0)
    furthest = START + timedelta(int(2 * days[-1] - days[0]))
    given_on = row[["edge_on_low", "edge_on", "edge_on_high"]].dropna().tolist()
    assert given_on == sorted(given_on) and all(day <= furthest for day in given_on)


def test_the_day_holds_the_truth_nine_times_in_ten():
    rng = np.random.default_rng(5)
    days, truth = np.array([0, 120, 250, 365]), 500  # reaches 100 cm on day 500
    held = []
    for _ in range(400):
        values = 100 + (days - truth) * 0.02 + rng.normal(0, 0.7, 4)
        row = one(days, values, 0.7)
        if row["edge_on_low"] is None:
            continue
        late = row["edge_on_high"] or date.max
        held.append(row["edge_on_low"] <= START + timedelta(truth) <= late)
    # Three standard errors of a share of 400, and a little for days not given.
    assert len(held) > 380 and np.mean(held) == pytest.approx(0.9, abs=0.06)


@pytest.mark.parametrize(
    ("days", "values", "size", "words"),
    [
        ([0], [95], "M", "one visit"),
        ([0, 55], [95, 99], "M", "too short"),
        ([0, 365], [95, 96], "M", "measuring error is larger"),
        ([0, 365], [80, 84], "", "no size of this chart"),
        ([0, 365], [96, 101], "M", "past the edge of M already"),
        ([0, 365], [80, 83], "S", "for as long as the visits reach back"),
        ([0, 365], [110, 117], "L", None),
        ([0, 365], [97, 92], "M", None),
    ],
)
def test_nothing_is_said_where_there_is_too_little(days, values, size, words):
    row = one(days, [float(v) for v in values], size=size)
    assert (row["edge_on"] is None) == (words is not None)
    if words:
        assert words in row["why_not"]
    (text, *_) = visits_words(row.to_frame().T, size)
    assert ("passes the edge" in text) == (words is None)


def test_a_day_too_far_ahead_is_not_named_and_the_earliest_is():
    # Before: about 2027-10, 90 % 2027-03 to 2032.
    row = one([0, 240], [90.5, 93.9])
    assert row["edge_on"] is row["edge_on_high"] is None and not row["why_not"]
    assert START + timedelta(240) < row["edge_on_low"] <= START + timedelta(480)
    (text, *rest) = visits_words(row.to_frame().T, "M")
    assert f"may pass the edge of M (100 cm) from {row['edge_on_low']} on" in text
    assert "about" not in text and "look at L" in text and len(rest) == 1
    open_end = one([0, 365], [94.0, 98.0])
    (text, *_) = visits_words(open_end.to_frame().T, "M")
    assert f"(90 %: {open_end['edge_on_low']} or later)" in text


def test_a_size_of_another_chart_has_no_edge_on_this_one():
    # Before, sizes of one name in two charts were taken for each other.
    chart = replace(bands(), name="ours")
    visit = replace(BARE, chart="ours", decision=Decision(size="M"))
    assert size_at(chart, visit) == size_at(chart, replace(visit, chart="")) == "M"
    assert size_at(chart, replace(visit, chart="theirs")) == ""


def test_the_next_size_is_the_one_beyond_the_edge():
    assert one([0, 365], [94.0, 99.0])["next_sizes"] == "L"
    assert one([0, 365], [97.0, 92.0])["next_sizes"] == "S"
    assert one([0, 365], [104.0, 115.0], size="L")["next_sizes"] == ""
    open_below = edges_at(bands(low=(np.nan, 90.0, 100.0)), BARE)
    row = one([0, 365], [85.0, 80.0], size="S", edges=open_below)
    assert "no edge that way" in row["why_not"]


def test_the_lowest_load_limit_ends_a_size_for_the_weight():
    hoist = edges_at(bands(), replace(BARE, loads={"hoist": 90.0}))
    row = one([0, 365], [80.0, 86.0], size="M", measure=MASS, edges=hoist)
    assert row["edge"] == 90.0 and row["edge_on"] > START + timedelta(365)
    moved = edges_at(DEMO, replace(BARE, allowances={"leg_stop": -5.0}))
    low, seat = moved.low, SEAT
    first = DEMO.edges(seat)[0]
    assert (low[seat][first > 0] - first[first > 0] == 50).all()


def test_only_what_was_read_counts_and_the_words_follow_the_units():
    entries = {"sex": "female", "age_years": "9", MASS: 25.0, STATURE: 130.0}
    how = {MASS: "scale", STATURE: "reported"}
    first = Visit(START, entries, how, decision=Decision(size="child 1"))
    later = replace(
        first, on=date(2026, 11, 1), entries={**entries, MASS: 30.0, HIP: 70.0}
    )
    found = readings_of([first, later])
    assert found["measure"].tolist() == [MASS, MASS, HIP]
    table = over_visits(found, edges_at(DEMO, later), "child 1")
    words = " ".join(visits_words(table, "child 1"))
    assert "25 kg on 2026-01-01, 30 kg on 2026-11-01; change a year 6 kg" in words
    assert "Hip girth: 70 cm on 2026-11-01. One visit" in words


@pytest.mark.parametrize(
    ("days", "values", "dotted"),
    [([0, 365], [94.0, 99.0], True), ([0, 240], [90.5, 93.9], False)],
)
def test_the_picture_is_no_surer_than_the_words(days, values, dotted):
    # Before, an interval without an end was drawn as if it ended at the estimate.
    row, readings = one(days, values), table_of(days, values)
    ax = plot_visits(readings, EDGES.bands(HIP), row, size="M")
    thick = [line for line in ax.get_lines() if line.get_linewidth() == 4]
    furthest = row["last_on"] + (row["last_on"] - row["first_on"])
    ends = [row["edge_on_low"], row["edge_on_high"] or furthest]
    assert [list(line.get_xdata()) for line in thick] == [ends]
    assert (":" in [line.get_linestyle() for line in ax.get_lines()]) == dotted
    assert ("dotted" in ax.get_xlabel()) == dotted


def chart(measure=HIP, low=50, high=90, **more):
    return made({measure: [(low, high)]}, **more)


def build(age, stature, mass, sex="female"):
    """Bodies of a child whose height and weight are known for certain."""
    exact = [reading(STATURE, stature, "exact"), reading(MASS, mass, "exact")]
    return draw_bodies(sex, age, exact)


def test_stature_leaves_at_the_age_rcpchgrowth_gives():
    # A girl of 6.5 years, 118 cm: at what age does her centile pass 135 cm?
    z = sds_for_measurement("cdc", 6.5, "height", 118.0, sex="female")
    ages = np.arange(6.5, 14, 1 / 24)
    height = [
        measurement_from_sds("cdc", z, "height", sex="female", age=float(age))
        for age in ages
    ]
    # Whole millimetres: 135.0 still fits, 135.1 does not.
    right = float(np.interp(135.05, height, ages))
    one = edges(chart(STATURE, 100, 135))
    row = outgrows(build(6.5, 118.0, 22), one, "one").iloc[0]
    assert row["estimate"] == pytest.approx(right, abs=0.1)
    assert row["low"] == pytest.approx(row["high"], abs=1e-6)


def test_the_load_limit_is_outgrown_too():
    child = {"sex": "female", "age_years": 8, MASS: 26, STATURE: 128}
    growth = check(child, chart(MASS, 10, 60, load=[30.0])).growth
    assert growth.loc[growth["measure"] == MASS, "high_edge"].item() == 30.0
    assert check(child | {"age_years": 40}, chart(high=70), confirmed=True).growth.empty


def told_of(age, **columns):
    """What is said of a child's growth, were these its figures."""
    child = {"sex": "female", "age_years": age, MASS: 29, STATURE: 134}
    answer = check(child, chart(high=70), confirmed=True)
    row = {"measure": HIP, "high_edge": 70.0, "beyond_20": 0.8}
    return growth_words(replace(answer, growth=pd.DataFrame([row | columns])))


@pytest.mark.parametrize(
    ("years", "said", "when"),
    [
        # Half of the time left until the early end.
        ((11.24, 10.04, 13.96), "11.2 years (9 in 10: 10.0 to 14.0)", "within 3 mon"),
        ((18.0, 16.0, np.nan), "(9 in 10: 16.0 to after 20)", "within 12 months"),
        ((9.9, 9.6, 11.0), "leaves one (70 cm) at about", "now and at every lift"),
        ((10.0, 9.7, 11.0), "hip girth leaves", "within 1 months"),
        ((np.nan,) * 3, "stays within one until 20 with a chance of 80 %", "within 12"),
    ],
)
def test_what_is_said_of_growth_is_what_was_found(years, said, when):
    columns = dict(zip(("estimate", "low", "high"), years, strict=True))
    leaves, again = told_of(9.5, **columns)
    assert said in leaves and f"Measure again {when}" in again
    assert told_of(20, **columns) == []
    # Before the first edge; 9 stands for completed years, half a year more at best.
    assert measure_again_in(pd.DataFrame({"low": [12, 10.1, np.nan]}), 9) == (
        pytest.approx(0.3)
    )


def test_centiles_and_who_is_not_grown_out_of_it_by_twenty():
    one = edges(made({STATURE: [(100, 160)], HIP: [(50, 90)]}))
    table = outgrows(build(8.0, 127.3, 25.5), one, "one")
    table = table.set_index("measure")
    z = sds_for_measurement("cdc", 8.5, "height", 127.3, sex="female")
    assert table.loc[STATURE, "centile"] == pytest.approx(norm.cdf(z), abs=0.005)
    assert np.isnan(table.loc[HIP, "centile"])
    assert table.loc[STATURE, "high_edge"] == 160.0
    # Of one exact build all pass, or none does; of hips some do.
    assert table.loc[STATURE, "beyond_20"] in (0, 1)
    assert 0 < table.loc[HIP, "beyond_20"] < 1
    hip = table.loc[HIP]
    assert 8.5 <= hip["low"] < hip["estimate"] <= 20


def test_an_edge_passed_already_is_passed_now():
    bodies = build(8.25, 130.0, 27, "male")
    for high, now in ((129.9, True), (131.0, False)):
        row = outgrows(bodies, edges(chart(STATURE, 100, high)), "one").iloc[0]
        assert (row["estimate"] == 8.25) == now
        assert row["estimate"] < 8.6


@pytest.mark.parametrize("age", [2, 2.03, 16, 19, 19.9])
def test_every_childs_age_can_be_projected(age):
    answer = check({"sex": "male", "age_years": age}, chart(low=40, high=120))
    assert len(answer.growth) == 1 and growth_words(answer)


@pytest.mark.parametrize("sex", ["female", None])
def test_a_child_keeps_her_centiles_and_her_distance_from_the_model(monkeypatch, sex):
    got = {}

    def kept(path, at, chart, size, z):
        got.update(path=path, at=at, z=z)
        return pd.DataFrame()

    monkeypatch.setattr(change, "_leaving", kept)
    taken = [reading(STATURE, 130.0), reading(HIP, 70.0)]
    bodies = draw_bodies(sex, 8.25, taken)
    outgrows(bodies, edges(made({HIP: [(0, 90)]})), "one", seed=2)
    path, at, z = got["path"], got["at"], got["z"]
    assert at.tolist() == [*np.arange(8.25, 20, 0.5), 20.0]
    assert path.shape == (200, len(at), len(MEASURES))
    rows = [np.flatnonzero((bodies.values == body[0]).all(axis=1))[0] for body in path]
    assert (bodies.weight[rows] > 0).all() and len(set(rows)) > 100
    theirs = bodies.sex[rows]
    for word in set(theirs):
        mine = np.flatnonzero(theirs == word)
        for j, name in enumerate(MEASURES[:2]):
            for k in (0, 7, len(at) - 1):
                told = z_score(name, word, at[k], path[mine, k, j])
                assert told == pytest.approx(z[mine, j], abs=1e-6)
    apart = []
    for k in (0, 9, len(at) - 1):
        # A little past a birthday: a whole number would be completed years.
        age = np.full(200, at[k] + 1e-6)
        model = moments(theirs, path[:, k, 0], path[:, k, 1], age)
        apart.append((np.log(path[:, k, 2:]) - model.mean) / model.sd)
    np.testing.assert_allclose(apart[1:], [apart[0]] * 2, atol=1e-4)
