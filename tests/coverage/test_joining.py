"""Draws of an outside model: the chance in a person's own draws counts once."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.charts import SizeChart, assign, chart_from, demo_chart
from sizing.coverage import estimate_coverage
from sizing.measures import SEATED_AND_GIRTHS
from sizing.people import load_people
from sizing.people.layout import layout
from sizing.people.own import people_from
from sizing.people.people import People
from sizing.stats.intervals import wilson
from sizing.stats.joining import join_influences, variance_of_sum
from sizing.stats.layout import Layout

#: Invented: how far builds, bodies and the model scatter.
MEAN, BUILD, BODY, MODEL = 172.0, 6.0, 6.0, 0.6


class Shift:
    """A model of one coefficient, the mean, whose normal bodies' score is known."""

    def __init__(self, score: np.ndarray, error: float) -> None:
        self.score, self.error = score, error

    def gradient(self, draw: int, influence: np.ndarray) -> np.ndarray:
        return influence.T @ self.score[draw][:, None]

    def variance(self, gradient: np.ndarray) -> np.ndarray:
        return (gradient[:, 0] * self.error) ** 2


def place_of(draws: int, persons: int, model: Shift | None = None) -> Layout:
    rows = np.arange(draws * persons).reshape(draws, persons)
    return Layout(rows, np.ones(persons), model=model)


def one_study(
    rng: np.random.Generator, n: int = 120, draws: int = 5
) -> tuple[float, np.ndarray, Layout]:
    """Return a truth, who is inside a band in each draw, and how they were drawn.

    The truth has a mean of its own, as each draw has, and neither depends on the
    people who were taken; draws come in opposite pairs.
    """
    ends = np.array([160.0, 175.0])
    own = MEAN + rng.normal(0, MODEL)
    truth = np.diff(stats.norm.cdf((ends - own) / np.hypot(BUILD, BODY)))[0]
    shift = np.repeat(rng.normal(0, MODEL, draws // 2 + 1), 2)[:draws]
    shift *= np.where(np.arange(draws) % 2, -1, 1)
    body = rng.normal(0, BODY, (draws, n))
    stature = MEAN + rng.normal(0, BUILD, n) + shift[:, None] + body
    inside = ((stature > ends[0]) & (stature < ends[1])).astype(float)
    return truth, inside, place_of(draws, n, Shift(body / BODY**2, MODEL))


def test_intervals_hold_the_truth_when_an_outside_model_draws(rng):
    """95 per cent of them, and more by Rubin's rules."""
    held, by_rubin, error, variance = [], [], [], []
    for _ in range(600):
        truth, inside, place = one_study(rng)
        share = inside.mean(axis=1)
        influence = (inside - share[:, None]) / inside.shape[1]
        for how, found in ((place, held), (replace(place, model=None), by_rubin)):
            mean, total, df = join_influences(how, share, influence, 119.0)
            ends = wilson(*(np.array([v]) for v in (mean, total, df, 120.0)))
            found.append(ends[0][0] <= truth <= ends[1][0])
            if how is place:
                error.append(mean - truth)
                variance.append(total)
    assert 0.93 <= np.mean(held) <= 0.97
    assert np.mean(by_rubin) > 0.975
    assert np.mean(variance) / np.mean(np.square(error)) == pytest.approx(1, abs=0.15)


def test_against_plain_loops(rng):
    draws, persons = 4, 12
    unit = np.arange(persons) // 2
    score = rng.normal(0, 1, (draws, persons))
    place = replace(
        place_of(draws, persons, Shift(score, 0.3)),
        unit=unit,
        stratum=np.arange(6) // 2,
    )
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
    slope = sum(
        score[d, i] * influence[d, i] for d in range(draws) for i in range(persons)
    )
    model = (1 + 1 / 16) * (0.3 * slope / draws) ** 2
    assert mean == pytest.approx(np.mean(estimates))
    assert total == pytest.approx(own + model)
    assert df == pytest.approx(3 * ((own + model) / own) ** 2)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6), draws=st.integers(2, 6), persons=st.integers(2, 20))
def test_never_less_than_the_sampling_error_and_in_any_order(seed, draws, persons):
    rng = np.random.default_rng(seed)
    score = rng.normal(0, 1, (draws, persons))
    place = place_of(draws, persons, Shift(score, 0.2))
    influence = rng.normal(0, 0.1, (draws, persons, 2))
    estimates = rng.normal(0, 0.1, (draws, 2))
    found = join_influences(place, estimates, influence, 8.0)
    order = rng.permutation(draws)
    other = place_of(draws, persons, Shift(score[order], 0.2))
    again = join_influences(other, estimates[order], influence[order], 8.0)
    for one, other in zip(found, again, strict=True):
        assert np.allclose(one, other)
    _, total, df = found
    assert (total >= variance_of_sum(place, influence.mean(axis=0)) - 1e-15).all()
    assert (df >= 8).all()


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
    assert taken.drawn is None
    assert drawn.drawn.draw.tolist() == [0] * 40 + [1] * 40 + [2] * 40
    assert layout(drawn).joined == "; 3 draws of a model fitted to other people"
    assert layout(drawn).how == "linearisation by person"
    assert layout(taken).joined == ""
    one = layout(load_people("adults", draws=1))
    assert one.joined == "; one draw of a model fitted to other people"


def moved(people: People, chart: SizeChart, measure: str) -> tuple[float, float]:
    """Return by how much drawn people's coverage moves with a measure's intercept.

    As the derivative that the scores tell, and as the difference of two charts
    moved by 1 % either way.
    """
    place = layout(people)
    fits = assign(people, chart).fits.any(axis=1)[place.rows].astype(float)
    share = place.weight / place.weight.sum()
    influence = share * (fits - (fits @ share)[:, None])
    told = sum(
        place.model.gradient(d, influence[d][:, None])[0, 1:]
        .reshape(4, 1 + len(SEATED_AND_GIRTHS), -1)[
            :, SEATED_AND_GIRTHS.index(measure), 0
        ]
        .sum()
        for d in range(place.draws)
    )
    ends = []
    for side in (-1, 1):
        frame = chart.frame.copy()
        frame[[f"{measure}_low", f"{measure}_high"]] *= 1 + side * 1e-2
        near = assign(people, chart_from(frame, warn=False)).fits.any(axis=1)
        ends.append((near[place.rows] @ share).mean())
    return told / place.draws, (ends[0] - ends[1]) / 2e-2


@pytest.mark.parametrize("measure", ["sitting_height_cm", "hip_circumference_cm"])
def test_scores_tell_how_a_share_moves_with_the_model(measure):
    """Against moving the chart's edges: a share falls as bodies leave the band."""
    rng = np.random.default_rng(4)
    frame = pd.DataFrame(
        {
            "sex": np.where(rng.random(1500) < 0.5, "female", "male"),
            "age_years": rng.uniform(20, 70, 1500),
            "body_mass_kg": rng.normal(78, 9, 1500),
            "stature_cm": rng.normal(168, 6, 1500),
        }
    )
    people = people_from(frame, draws=20, seed=2)
    low = people.frame[measure].quantile(0.6)
    band = {"size": ["one"], f"{measure}_low": [low], f"{measure}_high": [2 * low]}
    told, seen = moved(people, chart_from(pd.DataFrame(band), warn=False), measure)
    assert told == pytest.approx(seen, rel=0.06) and abs(seen) > 0.5


@pytest.mark.parametrize("name", ["care_home_nordic"])
def test_how_sure_an_answer_is_does_not_hang_on_the_seed(name):
    """Half-widths at the commands' ten draws; told from draws alone: 3 times."""
    half = []
    for seed in (1, 2, 3):
        people = load_people(name, draws=10, seed=seed)
        row = estimate_coverage(people, demo_chart()).table.iloc[0]
        half.append(row["high"] - row["low"])
    assert max(half) / min(half) < 1.3


def test_one_body_in_a_small_group_does_not_make_it_wholly_unsure(rng):
    """A share hardly above 0 is little less sure than a share of 0."""
    persons, draws = 40, 5
    fits = np.zeros((draws, persons))
    fits[0, 0] = 1
    share = fits.mean(axis=1)
    influence = (fits - share[:, None]) / persons
    model = Shift(rng.normal(0, 1, (draws, persons)), 0.1)
    place = place_of(draws, persons, model)
    _, total, df = join_influences(place, share, influence, 39.0)
    low, high = wilson(*(np.array([v]) for v in (share.mean(), total, df, 40.0)))
    _, none = wilson(*(np.array([v]) for v in (0.0, 0.0, 39.0, 40.0)))
    assert low[0] < share.mean() < high[0] < 2 * none[0]
