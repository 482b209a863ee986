"""Draws of an outside model: the chance in a person's own draws counts once."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.charts import chart_from
from sizing.coverage import estimate_coverage, who_falls_between
from sizing.people import load_people
from sizing.people.layout import layout
from sizing.people.own import people_from
from sizing.people.people import People
from sizing.stats.intervals import wilson
from sizing.stats.joining import (
    join_influences,
    join_outside,
    variance_of_sum,
)
from sizing.stats.layout import Layout

#: Invented: one band of stature, and how far builds, bodies and the model scatter.
CHART = chart_from(
    pd.DataFrame({"size": ["one"], "stature_cm_low": [160], "stature_cm_high": [175]}),
    warn=False,
)
MEAN, BUILD, BODY, MODEL = 172.0, 6.0, 6.0, 0.6


def place_of(draws: int, persons: int, *, outside: bool = True) -> Layout:
    rows = np.arange(draws * persons).reshape(draws, persons)
    return Layout(rows, np.ones(persons), outside=outside)


def studies(
    rng: np.random.Generator, count: int = 50, n: int = 120, draws: int = 5
) -> tuple[People, np.ndarray]:
    """Return people of many studies drawn from a model, and each study's truth.

    Each study's truth has a model of its own, as its draws have, and neither
    depends on the people who were taken.
    """
    ends = np.array([159.95, 175.05])
    scatter = np.hypot(BUILD, BODY)
    own = MEAN + rng.normal(0, MODEL, count)
    truth = np.diff(stats.norm.cdf((ends[:, None] - own) / scatter), axis=0)[0]
    build = rng.normal(0, BUILD, (count, n))
    shift = rng.normal(0, MODEL, (draws, count, 1))
    stature = MEAN + shift + build + rng.normal(0, BODY, (draws, count, n))
    frame = pd.DataFrame(
        {
            "person": np.tile(np.arange(count * n), draws),
            "draw": np.repeat(np.arange(draws), count * n),
            "study": np.tile(np.repeat(np.arange(count), n), draws),
            "stature_cm": stature.ravel(),
        }
    )
    evidence = pd.DataFrame({"stature_cm": "predicted"}, index=frame.index)
    weight = pd.Series(np.ones(len(frame)))
    return People("studies", frame, weight, evidence, outside_model=True), truth


def of_studies(people: People) -> pd.DataFrame:
    """Return the share covered in each study, in the order of their numbers."""
    table = estimate_coverage(people, CHART, by="study", replicates=100).table
    table = table[(table["outcome"] == "covered") & (table["by"] == "study")]
    return table.set_index(table["level"].astype(int)).sort_index()


def test_intervals_hold_the_truth_when_an_outside_model_draws(rng):
    """95 per cent of them, and not nearly all as by Rubin's rules."""
    held, by_rubin, error, variance = [], [], [], []
    for _ in range(10):
        people, truth = studies(rng)
        found = of_studies(people)
        held.append((found["low"] <= truth) & (truth <= found["high"]))
        error.append(found["estimate"] - truth)
        variance.append(found["standard_error"] ** 2)
        wide = of_studies(replace(people, outside_model=False))
        by_rubin.append((wide["low"] <= truth) & (truth <= wide["high"]))
    assert 0.92 <= np.mean(held) <= 0.98
    assert np.mean(by_rubin) > 0.985
    # As large as the error's, and more: V cannot be less than 0 to make up for luck.
    ratio = np.mean(variance) / np.mean(np.square(error))
    assert 0.9 <= ratio <= 1.7


def test_against_plain_loops(rng):
    draws, persons = 4, 12
    unit = np.arange(persons) // 2
    place = replace(place_of(draws, persons), unit=unit, stratum=np.arange(6) // 2)
    influence = rng.normal(0, 0.01, (draws, persons))
    estimates = rng.normal(0.5, 0.02, draws)
    mean, total, df = join_influences(place, estimates, influence, 3.0)

    own = 0.0
    for stratum in range(3):
        sums = []
        for u in (2 * stratum, 2 * stratum + 1):
            members = [i for i in range(persons) if unit[i] == u]
            sums.append(sum(np.mean(influence[:, i]) for i in members))
        centre = sum(sums) / 2
        own += 2 * sum((one - centre) ** 2 for one in sums)
    residual = sum(np.var(influence[:, i], ddof=1) for i in range(persons))
    model = 1.25 * max(np.var(estimates, ddof=1) - residual, 0)
    assert mean == pytest.approx(np.mean(estimates))
    assert total == pytest.approx(own + model)
    taken = 1.25 * np.var(estimates, ddof=1) if model else 0.0
    want = (own + model) ** 2 / (own**2 / 3 + taken**2 / 3)
    assert df == pytest.approx(min(max(want, 1.5), 3))


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), draws=st.integers(2, 6), persons=st.integers(2, 20))
def test_never_less_than_the_sampling_error_and_in_any_order(seed, draws, persons):
    rng = np.random.default_rng(seed)
    place = place_of(draws, persons)
    influence = rng.normal(0, 0.1, (draws, persons, 2))
    estimates = rng.normal(0, 0.1, (draws, 2))
    found = join_influences(place, estimates, influence, 8.0)
    order = rng.permutation(draws)
    again = join_influences(place, estimates[order], influence[order], 8.0)
    for one, other in zip(found, again, strict=True):
        assert np.allclose(one, other)
    _, total, df = found
    assert (total >= variance_of_sum(place, influence.mean(axis=0)) - 1e-15).all()
    assert ((df >= 1) & (df <= 8)).all()


def test_draws_that_agree_add_nothing(rng):
    influence = rng.normal(0, 0.1, 30)
    influence -= influence.mean()
    same = np.tile(influence, (3, 1))
    mean, total, df = join_influences(place_of(3, 30), np.full(3, 0.4), same, 29.0)
    assert (mean, df) == (pytest.approx(0.4), pytest.approx(29))
    # The error of a mean, as scipy has it.
    assert np.sqrt(total) == pytest.approx(stats.sem(influence * 30))


def test_people_of_no_weight_tell_nothing_of_the_error(rng):
    influence = rng.normal(0, 0.1, 12)
    weight = np.ones(12)
    weight[7:] = 0
    influence[7:] = 0
    rows = np.arange(12)[None]
    some = variance_of_sum(Layout(rows, weight), influence)
    alone = variance_of_sum(Layout(rows[:, :7], weight[:7]), influence[:7])
    assert some == pytest.approx(alone)
    assert alone == pytest.approx(7 / 6 * np.square(influence).sum())


def test_what_the_model_adds_shows(rng):
    """Coefficients that move everyone alike cannot hide behind residuals."""
    own, residual = np.array(1e-4), np.array(1e-4)
    far = np.array([0.3, 0.5, 0.7])
    _, total, df = join_outside(far, own, residual, 200.0)
    assert total == pytest.approx(1e-4 + 4 / 3 * (0.04 - 1e-4))
    assert df == pytest.approx(2, rel=0.02)


def test_people_know_whether_an_outside_model_drew_them(rng):
    frame = pd.DataFrame(
        {
            "sex": ["female", "male"] * 20,
            "age_years": 50.0,
            "body_mass_kg": rng.normal(75, 9, 40),
            "stature_cm": rng.normal(168, 8, 40),
        }
    )
    taken = people_from(frame)
    drawn = people_from(frame, draws=3)
    assert (taken.outside_model, drawn.outside_model) == (False, True)
    assert layout(drawn).joined == "; 3 draws of a model fitted to other people"
    assert layout(drawn).how == "linearisation by person"
    assert layout(taken).joined == ""
    assert layout(load_people("adults", draws=2)).outside
    # One draw cannot tell what another would have shown.
    assert not layout(load_people("adults", draws=1)).outside


def test_odds_ratios_of_drawn_people_are_joined_so(rng):
    """Against one fit in each draw: narrower than by Rubin's rules, same centre."""
    people, _ = studies(rng, count=2, n=400)
    frame = people.frame.assign(age_years=50.0)
    gapped = chart_from(
        pd.DataFrame(
            {
                "size": ["one", "two"],
                "stature_cm_low": [150, 172],
                "stature_cm_high": [168, 190],
            }
        ),
        warn=False,
    )
    people = replace(people, frame=frame)
    ours = who_falls_between(people, gapped, terms=["study"])
    theirs = who_falls_between(
        replace(people, outside_model=False), gapped, terms=["study"]
    )
    assert "fitted to other people" in ours["method"].iloc[0]
    assert "Rubin" in theirs["method"].iloc[0]
    row, other = (t[t["message"] == ""].iloc[0] for t in (ours, theirs))
    assert row["estimate"] == pytest.approx(other["estimate"])
    assert other["low"] < row["low"] < row["high"] < other["high"]


def test_one_body_in_a_small_group_does_not_make_it_wholly_unsure(rng):
    """A share hardly above 0 is little less sure than a share of 0."""
    persons, draws = 40, 5
    fits = np.zeros((draws, persons))
    fits[0, 0] = 1
    share = fits.mean(axis=1)
    influence = (fits - share[:, None]) / persons
    _, total, df = join_influences(place_of(draws, persons), share, influence, 39.0)
    low, high = wilson(*(np.array([v]) for v in (share.mean(), total, df, 40.0)))
    _, none = wilson(*(np.array([v]) for v in (0.0, 0.0, 39.0, 40.0)))
    assert low[0] < share.mean() < high[0] < 2 * none[0]
