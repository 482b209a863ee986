"""Ways of choosing against brute force; margins against the fit layer."""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sizing.charts import demo_chart, fits_matrix
from sizing.errors import SizingError
from sizing.lesson import chance_of_wrong_size, compare_ways, surprising_pairs
from sizing.lesson.choosing import (
    CHOICE_OUTCOMES,
    edge_margins,
    innermost,
    likely_chances,
    outcome_of_choice,
    reading_errors,
)
from sizing.lesson.practice import practice_clients
from sizing.lesson.tape import error_parts, measuring_error
from sizing.lesson.ways import OF_SOME, WAY_WORDS, elsewhere
from sizing.people import load_people, people_from
from sizing.words.lesson import table_against_tape
from sizing.words.numbers import points_interval
from tests.lesson.cases import HIP, brute_outcome, chart_of


@pytest.fixture(scope="module")
def adults():
    return load_people("adults", draws=2)


@pytest.fixture(scope="module")
def found(adults):
    return compare_ways(adults, demo_chart(), replicates=50)


@given(st.lists(st.booleans(), min_size=1, max_size=6), st.integers(-1, 5))
def test_outcomes_of_choice_against_brute_force(fits, chosen):
    chosen = min(chosen, len(fits) - 1)
    code = outcome_of_choice(np.array([chosen]), np.array([fits]))
    assert code[0] == brute_outcome(chosen, fits)


def test_shares_of_everyone_and_of_people_who_fit_against_a_plain_count(found, adults):
    """None was allowed to guessers before, and nobody was said to be missed."""
    fits = fits_matrix(adults.frame, demo_chart())
    sizes = [*demo_chart().sizes]
    weight, some = adults.weight.to_numpy(), fits.any(axis=1)
    groups = {
        "fitting_if_some_fits": ["fitting"],
        "wrong_if_some_fits": ["one_too_small", "one_too_large", "two_or_more_off"],
        "missed_if_some_fits": ["none_found_though_one_fits"],
    }
    for way in WAY_WORDS:
        came = np.array([
            brute_outcome(sizes.index(c) if c else -1, list(f))
            for c, f in zip(found.choices[way], fits, strict=True)
        ])  # fmt: skip
        rows = found.overall.query("way == @way").set_index("outcome")["estimate"]
        for name in CHOICE_OUTCOMES:
            share = np.average(came == name, weights=weight)
            assert rows[name] == pytest.approx(share, abs=1e-6)
        for name, outcomes in groups.items():
            each = [
                np.average(np.isin(came[own], outcomes), weights=(weight * some)[own])
                for own in adults.frame.groupby("draw").indices.values()
            ]
            assert rows[name] == pytest.approx(np.mean(each), abs=1e-6)
    table = found.table
    assert table["estimate"].between(table["low"], table["high"]).all()


def test_a_table_can_do_better_than_a_tape_that_errs_much():
    found = elsewhere(load_people("adults", draws=1), demo_chart(), replicates=20)
    fits = found[found["outcome"] == OF_SOME[0]]
    fits = fits.pivot_table("estimate", "case", "way")
    assert fits.loc["twice", "both"] > fits.loc["twice", "tape_once"]
    assert fits.loc["narrow", "both"] < fits.loc["narrow", "tape_once"]
    assert fits.loc["half", "tape_once"] > fits.loc["twice", "tape_once"]


def test_measuring_puts_fewest_in_a_wrong_size(found):
    wrong, gaps = (
        rows.query("outcome == 'wrong_if_some_fits'").set_index("way")
        for rows in (found.overall, found.differences)
    )
    order, gap = wrong["estimate"], gaps.loc["by_eye"]
    assert order["tape_twice"] < order["tape_once"] < order["both"] < order["by_eye"]
    assert gap["estimate"] == pytest.approx(order["by_eye"] - order["tape_once"])
    assert gap["low"] > 0


def test_the_group_guessing_fails_most_is_the_highest_of_those_large_enough(found):
    worst, rows = found.worst_groups().iloc[0], found.table
    rows = rows.query("way == 'by_eye' and outcome == 'wrong_if_some_fits' and n >= 30")
    assert worst["estimate"] == rows[rows["by"] != "everyone"]["estimate"].max()
    assert str(worst["level"]) in found.summary()


def test_same_seed_same_choices_whatever_other_ways_are_asked(found, adults):
    how = {"ways": ["by_eye"], "by": [], "replicates": 50}
    again, other = (compare_ways(adults, demo_chart(), seed=s, **how) for s in (1, 2))
    assert (again.choices["by_eye"] == found.choices["by_eye"]).all()
    assert (other.choices["by_eye"] != found.choices["by_eye"]).any()


def test_margins_agree_with_the_fit_layer_and_are_distances_to_the_nearest_edge(adults):
    chart = demo_chart()
    margin = edge_margins(adults.frame, chart)
    assert ((margin >= 0) == fits_matrix(adults.frame, chart)).all()
    hip = np.round(np.arange(60, 120, 0.7), 1)
    one = chart_of(**{HIP: [(80, 100)]})
    found, sd = edge_margins(pd.DataFrame({HIP: hip}), one)[:, 0], reading_errors()[HIP]
    assert found == pytest.approx(np.minimum(hip - 80, 100 - hip) / sd)
    assert ((innermost(found[:, None]) == 0) == (found >= 0)).all()


def test_likely_size_against_a_count_over_the_neighbours():
    rng = np.random.default_rng(3)
    mass = np.round(rng.uniform(50, 100, 300), 1)
    frame = pd.DataFrame({"body_mass_kg": mass, HIP: mass + rng.normal(20, 4, 300)})
    people = people_from(frame)
    bands = {HIP: [(60, 95), (95, 130)], "body_mass_kg": [(40, 90), (60, 120)]}
    given = people.frame, people.weight, chart_of(**bands), ["body_mass_kg"]
    for i in (0, 17, 205):
        chance = likely_chances(*given, people.frame.iloc[[i]])[0]
        gap = np.abs(np.log(mass) - np.log(mass[i]))
        gap[i] = np.inf
        near = np.sort(gap)[49]
        hip = frame[HIP].to_numpy()[gap <= near]
        for j, ((low, high), (light, heavy)) in enumerate(
            zip(*bands.values(), strict=True)
        ):
            share = ((hip >= low) & (hip <= high)).mean()
            share = share if light <= mass[i] <= heavy else 0.0
            assert chance[j] == pytest.approx(share, abs=0.03)


def test_chance_of_a_wrong_size_for_one_measure_against_the_normal_curve():
    hip = np.tile(np.round(np.arange(85.0, 95.05, 0.1), 1), 200)
    people = people_from(pd.DataFrame({HIP: hip}))
    chart = chart_of(**{HIP: [(60, 90), (90.1, 120)]})
    table = chance_of_wrong_size(people, chart, times=(1, 4), replicates=50)
    sd = reading_errors()[HIP]
    x = np.unique(hip)
    for times in (1, 4):
        spread = sd / np.sqrt(times)
        above = stats.norm.sf(90.05, x, spread)
        expected = np.where(x <= 90, above, 1 - above).mean()
        row = table.query("times == @times and by == 'one measurer'")
        got = row.set_index("outcome").loc["wrong_size", "estimate"]
        assert got == pytest.approx(expected, abs=0.005)


def test_a_habit_is_not_evened_out_by_the_same_measurer(adults):
    rng = np.random.default_rng(5)
    true = {"A": 90.0, "B": 105.0, "C": 120.0}
    readings = pd.DataFrame(product(range(12), true, (1, 2)))
    readings = readings.set_axis(["participant", "subject", "reading"], axis=1)
    habits = rng.normal(0, 3, 12)[readings["participant"]]
    value = readings["subject"].map(true) + habits + rng.normal(0, 0.2, len(readings))
    readings = readings.assign(measure=HIP, value=value)
    error = measuring_error(readings)
    parts = error_parts(error, demo_chart()).set_index("measure").loc[HIP]
    assert parts["lasting"] > 1.5 and parts["within"] < 0.4
    table = chance_of_wrong_size(adults, demo_chart(), error, times=(1, 3))
    chance = table.query("outcome == 'either'").set_index(["by", "times"])["estimate"]
    one, new = "one measurer", "a new measurer each time"
    assert chance[one, 3] > chance[new, 3]
    assert chance[one, 1] == chance[new, 1]


def test_the_tape_s_interval_carries_what_is_not_known_of_its_errors(adults):
    """Before, its share was given as 5 (5 to 5) where the error was from memory."""
    usual = dict(reading_errors())
    ways = ["by_eye", "tape_once"]
    found, sure, twice = (
        compare_ways(adults, ways=ways, by=[], reading_sd=sd, replicates=50)
        .overall.query("outcome == 'fitting_if_some_fits'")
        .set_index("way")
        for sd in (None, usual, {m: 2 * e for m, e in usual.items()})
    )
    assert found["estimate"].to_dict() == sure["estimate"].to_dict()
    assert found.loc["by_eye", "low"] == sure.loc["by_eye", "low"]
    width = [one.loc["tape_once", ["high", "low"]] @ [1, -1] for one in (found, sure)]
    assert width[0] > 5 * width[1]
    gap = found.loc["tape_once", "low"] - twice.loc["tape_once", "estimate"]
    # The delta method is rough: the share falls faster than the errors grow.
    assert abs(gap) < 0.04
    once = chance_of_wrong_size(adults, demo_chart(), times=(1,)).query(
        "outcome == 'either' and by == 'one measurer'"
    )
    assert (once["high"] - once["low"]).iloc[0] > 5 * width[1]


def test_reading_once_and_twice_are_the_same_figures_wherever_they_stand(adults):
    """Before, one page counted everyone and another those who fit some size."""
    ways = ["tape_once", "tape_twice"]
    found = compare_ways(adults, ways=ways, by=[], replicates=50).overall
    found = found[found["outcome"].isin(OF_SOME[1:])]
    repeats = chance_of_wrong_size(adults, demo_chart(), times=(1, 2), replicates=50)
    repeats = repeats.query("by == 'one measurer' and outcome != 'either'")
    for name in ("estimate", "low", "high"):
        assert found[name].tolist() == pytest.approx(repeats[name].tolist())
    assert set(found["n"]) == set(repeats["n"])


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (-0.11, 0.04, "Whether the tape, read once, puts more or fewer is not settled"),
        (0.01, 0.04, "That is more than by one reading"),
        (-0.11, -0.01, "That is fewer than by one reading"),
    ],
)
def test_what_is_not_settled_between_table_and_tape_is_not_said(
    found, low, high, verdict
):
    """Before, -4 (-11 to +4) points were "as many, as far as can be said"."""
    rows = found.differences.assign(low=low, high=high)
    rows["estimate"] = (low + high) / 2
    said = table_against_tape(replace(found, differences=rows))
    assert verdict in said and points_interval(rows.iloc[0]) in said
    assert ("does not see the shape" in said) == (low > 0)
    assert ("one slip at any edge" in said) == (high < 0)
    weight = {"reading_sd": {"body_mass_kg": 1.0}}
    blind = replace(found, differences=rows, settings=found.settings | weight)
    assert "shape" not in table_against_tape(blind)


def test_pairs_are_alike_and_share_no_size(adults):
    chart = demo_chart()
    pairs = surprising_pairs(adults, chart, n=4)
    assert len(pairs.table) == 4
    for number, own in pairs.bodies.groupby("pair"):
        fits = fits_matrix(own, chart)
        assert fits.any(axis=1).all() and not (fits[0] & fits[1]).any()
        assert len(set(own["sex"])) == 1 and len(set(own["age"])) == 1
        assert np.ptp(own["body_mass_kg"]) <= 1 + 1e-9
        assert np.ptp(own["stature_cm"]) <= 1 + 1e-9
        row = pairs.table.set_index("pair").loc[number]
        assert own[row["parting_measure"]].tolist() == [row["a"], row["b"]]
    assert not {"person", "age_years"} & {*pairs.table.columns, *pairs.bodies.columns}
    # A hair of body mass is no surprise.
    hair = chart_of(body_mass_kg=[(20, 70), (70.1, 150)])
    assert surprising_pairs(adults, hair).table.empty


def test_cards_are_seeded_banded_and_answered_rightly(adults):
    chart = demo_chart()
    made = practice_clients(adults, chart, n=9, seed=4)
    again = practice_clients(adults, chart, n=9, seed=4)
    pd.testing.assert_frame_equal(made.cards, again.cards)
    fits = fits_matrix(made.cards, chart)
    for row, answer in zip(fits, made.answers["right"], strict=True):
        names = [s for s, f in zip(chart.sizes, row, strict=True) if f]
        assert answer == (" or ".join(names) or "none")
    assert made.answers["distance_sd"].is_monotonic_decreasing
    assert {"easy", "middling", "hard"} == set(made.answers["difficulty"])
    assert not {"person", "age_years", "ethnic_group"} & set(made.cards.columns)
    numbers = made.cards.select_dtypes("number").to_numpy() * 2
    assert (numbers == np.round(numbers)).all()


@pytest.mark.parametrize(
    "asked", [{"ways": ["by magic"]}, {"by": ["shoe size"]}, {"ways": []}]
)
def test_what_cannot_be_asked_is_refused(adults, asked):
    with pytest.raises(SizingError):
        compare_ways(adults, demo_chart(), replicates=50, **asked)
