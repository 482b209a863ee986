"""Draws of an outside model: the chance in a person's own draws counts once."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.charts import SizeChart, assign, chart_from, demo_chart
from sizing.coverage import compare_charts, estimate_coverage, who_falls_between
from sizing.coverage.chunks import coverage_in_chunks
from sizing.coverage.coverage import NOT_KNOWN, by_list, grouping
from sizing.errors import SizingError
from sizing.measures import MEASURES, SEATED_AND_GIRTHS
from sizing.people import load_people
from sizing.people.body import Drawn
from sizing.people.own import people_from
from sizing.people.people import People, layout
from sizing.stats.estimates import (
    Layout,
    complete_df,
    design_df,
    join_draws,
    join_influences,
    variance_of_sum,
)
from sizing.stats.formulas import wilson

from .cases import CHART, people_of, place_of

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
    return truth, inside, place_of([1] * n, draws, model=Shift(body / BODY**2, MODEL))


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
        place_of([1] * persons, draws, model=Shift(score, 0.3)),
        unit=unit,
        stratum=np.array([0, 0, 1, 1, 1, 2]),
    )
    influence = rng.normal(0, 0.01, (draws, persons))
    estimates = rng.normal(0.5, 0.02, draws)
    mean, total, df = join_influences(place, estimates, influence, 3.0)

    sums = [sum(np.mean(influence[:, i]) for i in (2 * u, 2 * u + 1)) for u in range(6)]
    # A unit alone in its stratum is compared with all of them.
    own = (sums[5] - np.mean(sums)) ** 2
    for units in (sums[:2], sums[2:5]):
        own += len(units) * np.var(units, ddof=1)
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
    place = place_of([1] * persons, draws, model=Shift(score, 0.2))
    influence = rng.normal(0, 0.1, (draws, persons, 2))
    estimates = rng.normal(0, 0.1, (draws, 2))
    found = join_influences(place, estimates, influence, 8.0)
    order = rng.permutation(draws)
    other = place_of([1] * persons, draws, model=Shift(score[order], 0.2))
    again = join_influences(other, estimates[order], influence[order], 8.0)
    for one, other in zip(found, again, strict=True):
        assert np.allclose(one, other)
    _, total, df = found
    assert (total >= variance_of_sum(place, influence.mean(axis=0)) - 1e-15).all()
    assert (df >= 8).all()


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
    place = place_of([1] * persons, draws, model=model)
    _, total, df = join_influences(place, share, influence, 39.0)
    low, high = wilson(*(np.array([v]) for v in (share.mean(), total, df, 40.0)))
    _, none = wilson(*(np.array([v]) for v in (0.0, 0.0, 39.0, 40.0)))
    assert low[0] < share.mean() < high[0] < 2 * none[0]


# Coverage piece by piece: variances, joining, layouts and groups by hand


# Variances and joining


def test_degrees_of_freedom_are_units_less_strata_that_hold_anybody():
    unit, stratum = np.array([0, 0, 1, 2, 3, 4]), np.array([0, 0, 1, 1, 1])
    weighted = np.array([[1, 1, 1, 1, 1, 1], [1, 0, 0, 0, 1, 1], [0, 0, 1, 0, 0, 0]]).T
    assert design_df(unit, stratum, weighted.astype(float)).tolist() == [[3], [1], [1]]
    place = place_of([1, 2, 0, 1, 3, 0], unit=unit, stratum=stratum)
    assert complete_df(place) == 1.0


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
    frame = pd.DataFrame({"age_years": [30.0, np.nan, 1.0]})
    assert grouping(frame, "age_band").tolist() == ["18 to 39", NOT_KNOWN, NOT_KNOWN]
    # A column of one's own goes before a made one.
    frame["age_band"] = ["x", None, "y"]
    assert grouping(frame, "age_band").tolist() == ["x", NOT_KNOWN, "y"]
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
