"""Joint draws: what must hold whatever the people, and what published data say."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from data_sources.prediction import predict_measures
from data_sources.read_surveys import read_ansur2, read_snyder1977
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS
from sizing.people.body import chance, draw_measures
from sizing.people.body import donors as model_donors
from sizing.people.body import draw as model_draw
from sizing.people.body.draw import RATIOS, _one_draw, broken_ratios, drawn_betas
from sizing.people.body.model import group_models, moments
from sizing.resources import source_table
from sizing.surveys import read_embedded


@pytest.fixture(scope="module")
def embedded() -> pd.DataFrame:
    return read_embedded().frame


def adults(n: int, **columns) -> pd.DataFrame:
    base = {"person": range(n), "sex": "female", "age_years": 45.0}
    base |= {"body_mass_kg": 70.0, "stature_cm": 163.0}
    return pd.DataFrame({**base, **columns}, index=range(n))


people = st.lists(
    st.fixed_dictionaries(
        {
            "sex": st.sampled_from(["female", "male"]),
            "age_years": st.none() | st.floats(2, 95),
            "body_mass_kg": st.none() | st.floats(9, 260),
            "stature_cm": st.none() | st.floats(80, 205),
            "hip_circumference_cm": st.none() | st.floats(45, 200),
            "sitting_height_cm": st.none() | st.floats(45, 105),
        }
    ),
    min_size=1,
    max_size=4,
)


@given(people, st.integers(1, 3), st.integers(0, 99))
@settings(max_examples=15, deadline=None)
def test_any_people_come_back_whole_and_as_given(rows, draws, seed):
    frame = pd.DataFrame(rows).assign(person=range(len(rows)), note="kept")
    drawn, evidence = draw_measures(frame, draws=draws, seed=seed)
    n = len(frame)
    assert drawn["person"].tolist() == list(range(n)) * draws
    assert drawn["draw"].tolist() == np.repeat(range(draws), n).tolist()
    assert (drawn["note"] == "kept").all()
    numbers = drawn[["age_years", *MEASURES]]
    assert np.isfinite(numbers).all(axis=None) and (numbers > 0).all(axis=None)
    assert evidence.isin(EVIDENCE).all(axis=None)
    for name in ("age_years", *MEASURES):
        if name not in frame:
            continue
        given_value = np.tile(frame[name].astype(float), draws)
        known = np.isfinite(given_value)
        assert (drawn[name].to_numpy()[known] == given_value[known]).all()
        if name in MEASURES:
            assert ((evidence[name] == "measured").to_numpy() == known).all()


def test_same_seed_same_bytes_other_seed_other_draws(embedded):
    part = embedded.iloc[::40]
    one, first = draw_measures(part, draws=2, seed=5)
    two, second = draw_measures(part, draws=2, seed=5)
    other, _ = draw_measures(part, draws=2, seed=6)
    pd.testing.assert_frame_equal(one, two, check_exact=True)
    pd.testing.assert_frame_equal(first, second)
    assert (one["thigh_circumference_cm"] != other["thigh_circumference_cm"]).all()


def test_draws_of_a_person_do_not_depend_on_the_others(embedded, monkeypatch):
    part = embedded.iloc[::25]
    few = part.iloc[3::5].iloc[::-1]
    whole, _ = draw_measures(part, draws=3, seed=2)
    # Nor on how many are worked out at a time.
    monkeypatch.setattr(model_donors, "_CHUNK", 2)
    alone, _ = draw_measures(few, draws=1, seed=2)
    match = whole[whole["draw"] == 0].set_index("person").loc[alone["person"]]
    for name in ("age_years", *MEASURES):
        # Sums may be taken in another order: the last bits can differ.
        np.testing.assert_allclose(alone[name], match[name], rtol=1e-9)


def test_draws_follow_the_prediction():
    """Draws of one build have the model's means, SDs and correlations.

    Its bias elsewhere is no part of how people differ.
    """
    n = 20_000
    drawn, _ = draw_measures(adults(n), draws=1, seed=3)
    build = [np.array([x]) for x in (70.0, 163.0, 45.0)]
    law = moments(np.array(["female"], dtype=object), *build, sampling=True, bias=False)
    covariance = law.covariance()[0]
    sd = np.sqrt(np.diag(covariance))
    logs = np.log(drawn[list(SEATED_AND_GIRTHS)].to_numpy())
    np.testing.assert_allclose(logs.mean(axis=0), law.mean[0], atol=0.012)
    np.testing.assert_allclose(logs.std(axis=0), sd, rtol=0.06)
    expected = covariance / np.outer(sd, sd)
    np.testing.assert_allclose(np.corrcoef(logs.T), expected, atol=0.05)


def test_nothing_is_bent_by_a_square_beyond_its_range():
    """Girths keep rising with body mass to 300 kg, and from 2 to 15 years."""
    mass = np.arange(40.0, 301.0, 5.0)
    for sex, stature in (("female", 162.0), ("male", 176.0)):
        frame = adults(len(mass), sex=sex, body_mass_kg=mass, stature_cm=stature)
        means = predict_measures(frame).mean
        for name in ("hip", "thigh", "waist", "chest"):
            column = MEASURES.index(f"{name}_circumference_cm")
            assert (np.diff(means[:, column]) > 0).all(), (sex, name)


@pytest.mark.parametrize(("group", "ages"), [("adult", (25, 90)), ("child", (3, 15))])
def test_moments_against_the_formula_term_by_term(rng, group, ages):
    """Inside the range the polynomial, outside its tangent by differences."""
    n = 60
    sex = rng.choice(["female", "male"], n).astype(object)
    age = rng.uniform(*ages, n) + 0.01
    stature = rng.uniform(*((140, 205) if group == "adult" else (85, 175)), n)
    mass = rng.uniform(11, 70, n) * (stature / 100) ** 2
    found = moments(sex, mass, stature, age, sampling=True, bias=False)
    outside, knots = 0, source_table("older_widths.csv")
    for i in range(n):
        model = group_models(group)[sex[i]]
        bmi = mass[i] / (stature[i] / 100) ** 2
        x = [np.log(bmi / 25), np.log(stature[i] / 165)]
        x.append((age[i] - model.age_centre) / 10)
        for j, name in enumerate(SEATED_AND_GIRTHS):
            one = model.measures[name]
            ends = [np.interp(age[i], one.range_age, one.range_q[:, k]) for k in (0, 1)]
            ends = np.array([ends, one.range_s, one.range_a])
            at = np.clip(x, *ends.T)

            def phi(q, s, a, one=one):
                return np.array([q**h * s**k * a**m for h, k, m in one.terms.tolist()])

            terms = phi(*at)
            for k, step in enumerate(1e-6 * np.eye(3)):
                slope = (phi(*(at + step)) - phi(*(at - step))) / 2e-6
                terms = terms + slope * (x[k] - at[k])
            above = max(x[0] - ends[0][1], 0)
            part = knots[(knots["sex"] == sex[i]) & (knots["measure"] == name)]
            shift, times = (
                np.interp(age[i], part["age_years"], part[k])
                for k in ("shift", "drawn_times")
            )
            outside += above > 0
            mean = terms @ one.beta + one.shift * above + shift
            assert found.mean[i, j] == pytest.approx(mean, abs=1e-6)
            log_sd = np.log(times) + one.gamma[0] + one.gamma[1:] @ at
            assert np.log(found.sd[i, j]) == pytest.approx(log_sd)
            assert found.form_shift_sd[i, j] == pytest.approx(one.spread * above)
            error = terms @ one.covariance @ terms
            assert found.error_sd[i, j] ** 2 == pytest.approx(error, rel=1e-4)
    assert outside > 50


def test_missing_mass_follows_the_embedded_people(embedded):
    """Drawn body mass has the distribution of the measured one."""
    women = embedded[(embedded["sex"] == "female") & embedded["age_years"].ge(20)]
    women = women.dropna(subset=["body_mass_kg", "stature_cm"]).iloc[::3]
    gap = women[["person", "sex", "age_years", "stature_cm"]]
    drawn, evidence = draw_measures(gap, draws=1, seed=1)
    test = stats.ks_2samp(drawn["body_mass_kg"], women["body_mass_kg"])
    assert test.pvalue > 0.001
    assert (evidence["body_mass_kg"] == "predicted").mean() > 0.95


def test_a_large_hip_tells_of_a_large_mass():
    # Whoever has no such measure beside them takes nothing from them.
    hips = [np.nan, 90.0, 130.0]
    beside = adults(3, body_mass_kg=np.nan, hip_circumference_cm=hips)
    drawn, _ = draw_measures(beside, draws=100, seed=1)
    mass = drawn.groupby("person")["body_mass_kg"]
    assert mass.mean()[2] > mass.mean()[1] + 25
    assert mass.std()[0] > 1.5 * mass.std()[1]


def test_a_body_breaks_a_rule_beyond_either_end_of_it():
    sound = predict_measures(adults(1)).table.set_index("measure")["estimate"]
    build = np.array([[70.0, 163.0, 45.0]])

    def broken(**changes):
        body = {**sound, **changes}
        values = np.array([[body[m] for m in SEATED_AND_GIRTHS]])
        return broken_ratios(build, values).any()

    assert not broken()
    for above, below, low, high in RATIOS:
        for end, inward in ((low, 1.001), (high, 0.999)):
            inside = {above: end * inward * sound[below]}
            outside = {above: end / inward * sound[below]}
            others = {
                a: (lo + hi) / 2 * (inside.get(b, sound[b]))
                for a, b, lo, hi in RATIOS
                if above == b
            }
            assert not broken(**inside, **others), (above, end)
            assert broken(**outside, **others), (above, end)
    assert broken(sitting_height_cm=np.nan)


@pytest.mark.surveys
def test_the_rules_are_wider_than_anybody_measured_and_not_without_end(survey_folder):
    """By a twentieth of the range seen or more, and by less than twice that range."""
    names = ["ansur2_women.csv", "ansur2_men.csv"]
    frames = [read_ansur2(survey_folder / name).frame for name in names]
    frames.append(read_snyder1977(survey_folder / "snyder1977_children.csv").frame)
    people = pd.concat(frames)
    for above, below, low, high in RATIOS:
        ratio = (people[above] / people[below]).dropna()
        span = ratio.max() - ratio.min()
        assert len(ratio) > 6000
        for room in (ratio.min() - low, high - ratio.max()):
            assert 0.05 * span <= room < 2 * span, (above, below)


def test_the_mixing_is_that_published():
    """SplitMix64's first numbers from 1234567 (its authors' code, from memory)."""
    state = np.uint64(1234567) + np.arange(1, 3, dtype=np.uint64) * chance._STEP
    assert chance._mix(state).tolist() == [6457827717110365317, 3203168211198807973]


# Draws piece by piece: each step of one draw, and how often it is made again


P = len(SEATED_AND_GIRTHS)
HIP = SEATED_AND_GIRTHS.index("hip_circumference_cm")
#: Of one sex and build each: usual, very heavy, a child.
SEX = np.array(["female", "male", "female"], dtype=object)
BUILD = np.array([[70.0, 163, 45.5], [190.0, 172, 50.5], [27.0, 128, 8.25]])


def test_with_no_noise_a_known_measure_moves_the_others_as_the_normal_says():
    """And with none known a draw is its own curve, on the form that all share."""
    known, none = np.full((3, P), np.nan), np.zeros((3, P))
    one = moments(SEX, *BUILD.T, betas=drawn_betas(5, 1))
    form = chance.even_normal(5, 1, "form") * one.form_shift_sd
    usual = _one_draw(SEX, BUILD, known, none, seed=5, draw=1)
    np.testing.assert_allclose(np.log(usual), one.mean + form)
    known[:, HIP] = [110.0, 165.0, 70.0]
    found = _one_draw(SEX, BUILD, known, none, seed=5, draw=1)
    for i in range(3):
        assert found[i, HIP] == known[i, HIP]
        # Beyond the range where forms agree, the person's own measure tells which
        # form is hers: the forms' spread then is hers too, and nothing is shared.
        own = one.form_shift_sd[i, HIP] > 0
        shift = one.form_shift_sd[i] * own
        mean = one.mean[i] + (0 if own else form[i])
        spread = np.outer(one.sd[i], one.sd[i]) * one.correlation()[i]
        spread = spread + np.outer(shift, shift)
        gap = np.log(known[i, HIP]) - mean[HIP]
        right = mean + spread[:, HIP] / spread[HIP, HIP] * gap
        np.testing.assert_allclose(np.log(found[i]), right, rtol=1e-7)
    assert (one.form_shift_sd[:, HIP] > 0).tolist() == [False, True, False]


@pytest.mark.parametrize("gap", ["body_mass_kg", "hip_breadth_sitting_cm"])
def test_a_body_that_cannot_be_is_drawn_again_eight_times_and_then_kept(
    monkeypatch, gap
):
    asked = []

    def never(build, values):
        asked.append(values.copy())
        return np.array([[True], [False]])[: len(values)]

    monkeypatch.setattr(model_draw, "broken_ratios", never)
    frame = pd.DataFrame({"person": [1, 2], "sex": "female", "age_years": 45.5})
    frame["body_mass_kg"], frame["stature_cm"] = 70.0, 163.0
    frame.loc[0, gap] = np.nan
    drawn, evidence = draw_measures(frame, draws=2, seed=1)
    # Once, and eight times more the one that cannot be; the same in each draw.
    assert [len(values) for values in asked] == [2, *[1] * 8] * 2
    kept = drawn[list(SEATED_AND_GIRTHS)].to_numpy()
    for draw in (0, 1):
        tries = [asked[9 * draw + i][0] for i in range(9)]
        assert len({tuple(values) for values in tries}) == 9
        assert (kept[2 * draw] == tries[-1]).all()
        assert (kept[2 * draw + 1] == asked[9 * draw][1]).all()
    first = drawn["person"] == 1
    marked = (evidence[list(SEATED_AND_GIRTHS)] == "unsupported").all(axis=1)
    assert marked.tolist() == first.tolist()
    assert (evidence.loc[~first, "body_mass_kg"] == "measured").all()


def test_an_exact_value_of_what_is_certain_teaches_nothing():
    covariance = np.array([[[0.0, 0.0], [0.0, 2.0]]])
    mean, spread = chance.condition_normal(
        np.array([[1.0, 3.0]]), covariance, np.array([[9.0, np.nan]]), np.zeros((1, 2))
    )
    assert mean.tolist() == [[9.0, 3.0]] and spread.tolist() == [[[0, 0], [0, 2.0]]]
