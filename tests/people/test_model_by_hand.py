"""The body model piece by piece: each worked out again here in another way."""

import hashlib
from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from data_sources.derive_older_widths import THIGH, read_adults
from sizing.measures import EVIDENCE, SEATED_AND_GIRTHS
from sizing.people.body import chance
from sizing.people.body import donors as model_donors
from sizing.people.body import draw as model_draw
from sizing.people.body.model import group_models, model_bias, moments, older_law

WHOLE = 2**64


def mixed(z):
    """SplitMix64's last step in plain whole numbers (Steele, Lea, Flood 2014)."""
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9 % WHOLE
    z = (z ^ (z >> 27)) * 0x94D049BB133111EB % WHOLE
    return z ^ (z >> 31)


def key(text):
    return int.from_bytes(
        hashlib.blake2b(text.encode(), digest_size=8).digest(), "little"
    )


def number(seed, person, stream, place):
    """One number of a person's, in plain whole numbers."""
    step = 0x9E3779B97F4A7C15
    start = key(f"{seed}/{stream}")
    row = mixed((mixed((key(person) + start) % WHOLE) + step) % WHOLE)
    bits = mixed(mixed((row + (place + 1) * step) % WHOLE) ^ start)
    return ((bits >> 11) + 0.5) / 2**53


@given(st.integers(0, 99), st.integers(0, 10**6), st.text("abc/1", max_size=5))
@settings(max_examples=20)
def test_noise_against_whole_numbers_without_end(seed, person, stream):
    found = chance.uniforms(seed, chance.keys_of([person, f"{person}x"]), stream, 3)
    for i, name in enumerate((str(person), f"{person}x")):
        expected = [number(seed, name, stream, place) for place in range(3)]
        assert found[i].tolist() == expected
    np.testing.assert_allclose(
        chance.normals(seed, chance.keys_of([person]), stream, 3),
        norm.ppf(found[:1]),
        rtol=1e-9,
    )


def test_a_whole_number_is_one_key_however_it_is_written():
    same = chance.keys_of([7, 7.0, np.float64(7), np.int64(7), "7"])
    assert len(set(same.tolist())) == 1
    assert chance.keys_of(["7.5"]) == chance.keys_of([7.5]) != chance.keys_of([7])


def test_shared_numbers_step_by_the_golden_ratio():
    golden = (np.sqrt(5) - 1) / 2
    start = number(4, "draws", "form", 0)
    for draw in range(6):
        expected = norm.ppf((start + draw * golden) % 1)
        assert chance.even_normal(4, draw, "form") == pytest.approx(expected, rel=1e-9)


@pytest.fixture(scope="module")
def pool():
    """Invented donors: ln mass, ln stature, age."""
    draw = np.random.default_rng(3)
    mass, tall, age = (draw.uniform(*e, 40) for e in ((70, 90), (160, 180), (30, 60)))
    build = np.column_stack([np.log(mass), np.log(tall), age])
    said = np.array([0.02, -0.01]), np.array([0.05, 0.02])
    return model_donors.Donors(build, draw.choice([0.0, 1.0, np.nan], 40), *said)


#: What is known of one person, and how near a donor is in mass, stature and age.
NEARNESS = [
    ({"stature_cm": 170.0, "age_years": 40.0}, (None, 0.01, 3.0)),
    ({"body_mass_kg": 80.0, "age_years": 31.0}, (0.03, None, 3.0)),
    ({"body_mass_kg": 80.0, "age_years": 30.0}, (0.03, None, 3.0)),
    ({"body_mass_kg": 80.0, "age_years": 29.0}, (0.03, None, 2.9)),
    ({"body_mass_kg": 80.0, "age_years": 4.0}, (0.03, None, 0.5)),
    ({"body_mass_kg": 75.0, "stature_cm": 165.0}, (0.03, 0.01, None)),
    ({"age_years": 45.0, "walking_difficulty": True}, (None, None, 3.0)),
    ({"age_years": 45.0, "walking_difficulty": False}, (None, None, 3.0)),
    ({"age_years": 45.0, "reported_mass_kg": 78.0}, ("said", None, 3.0)),
    (
        {"body_mass_kg": 75.0, "age_years": 45.0, "reported_mass_kg": 90.0}
        | {"reported_stature_cm": 172.0},
        (0.03, "said", 3.0),
    ),
]


@pytest.mark.parametrize(("known", "width"), NEARNESS)
def test_donors_are_taken_as_often_as_they_are_near(pool, known, width):
    """Each donor's share of the candidates, to one place, is that of her weight."""
    row = dict.fromkeys(model_donors.BUILD, np.nan) | known
    frame = pd.DataFrame([row])
    build, far = model_donors._nearby(frame, pool, np.array([0.4]))
    best = np.ones(len(pool.build))
    said = ("reported_mass_kg", "reported_stature_cm")
    for i, name in enumerate(model_donors.BUILD):
        if width[i] is None:
            continue
        if width[i] == "said":
            value = np.log(row[said[i]]) + pool.said_bias[i]
            sd = pool.said_sd[i]
        else:
            value = row[name] if i == 2 else np.log(row[name])
            sd = width[i]
        best = best * np.exp(-0.5 * ((value - pool.build[:, i]) / sd) ** 2)
    other = 1.0 - row.get("walking_difficulty", np.nan)
    weight = best * np.where(pool.walking == other, 0.1, 1.0)
    assert far[0] == (best.max() < np.exp(-4.5))
    if best.max() == 0:
        return
    free = next(i for i, name in enumerate(model_donors.BUILD) if name not in known)
    pooled = pool.build[:, free] if free == 2 else np.exp(pool.build[:, free])
    times = [np.isclose(build[0, :, free], one, rtol=1e-12).sum() for one in pooled]
    assert build.shape == (1, 192, 3) and sum(times) == 192
    assert np.abs(np.array(times) - 192 * weight / weight.sum()).max() < 1
    # The first place lies four tenths of a step in.
    ends = np.cumsum(weight) / weight.sum()
    first = np.flatnonzero(ends >= 0.4 / 192)[0]
    assert build[0, 0, free] == pytest.approx(pooled[first], rel=1e-12)
    for i, name in enumerate(model_donors.BUILD):
        if name in known:
            assert (build[0, :, i] == known[name]).all()


def test_what_people_say_is_corrected_by_the_median_and_spread_by_quartiles():
    gap = np.array([-0.2, -0.01, 0.0, 0.01, 0.3])
    people = pd.DataFrame({"body_mass_kg": 80 * np.exp(gap + 0.05)})
    people = people.assign(stature_cm=170 * np.exp(gap / 2), age_years=40.0)
    people = people.assign(reported_mass_kg=80.0, reported_stature_cm=170.0)
    asked = pd.array([True, False, None, True, False], "boolean")
    people["walking_difficulty"] = asked
    found = model_donors._donors(people)
    assert found.said_bias == pytest.approx([0.05, 0.0])
    # A normal distribution's quartiles are 1.349 SD apart.
    assert norm.ppf(0.75) - norm.ppf(0.25) == pytest.approx(1.349, abs=1e-4)
    assert found.said_sd == pytest.approx([0.02 / 1.349, 0.01 / 1.349])
    build = np.column_stack([np.exp(found.build[:, :2]), found.build[:, 2]])
    np.testing.assert_allclose(build, people[list(model_donors.BUILD)])
    np.testing.assert_array_equal(found.walking, [1, 0, np.nan, 1, 0])


def test_candidates_weigh_as_likely_as_the_known_measures_are():
    build = np.array([[[60.0, 165, 40], [80, 165, 40], [100, 165, 40]]] * 2)
    known = np.full((2, len(SEATED_AND_GIRTHS)), np.nan)
    names = ("hip_circumference_cm", "waist_circumference_cm")
    places = [SEATED_AND_GIRTHS.index(name) for name in names]
    known[0, places] = 105.0, 95.0
    weight = model_donors._likelihood("female", build, known)
    each = moments(np.full(3, "female", dtype=object), *build[0].T, measures=names)
    laws = zip(each.mean, each.covariance(sampling=False), strict=True)
    densities = [multivariate_normal(*law).pdf(np.log([105.0, 95.0])) for law in laws]
    assert weight[0] == pytest.approx(np.array(densities) / sum(densities))
    assert weight[1] == pytest.approx([1 / 3] * 3)


@given(st.lists(st.floats(0.01, 1), min_size=2, max_size=6), st.floats(0.001, 0.999))
def test_a_candidate_is_picked_by_her_share_of_the_weight(weights, u):
    share = np.array(weights) / sum(weights)
    build = np.arange(len(share) * 3, dtype=float).reshape(1, -1, 3)
    found = model_donors.Candidates(build, share[None], np.zeros(1, dtype=bool))
    got = model_donors.pick(found, np.array([u]))
    ends = np.cumsum(share)
    place = min(int((ends < u).sum()), len(share) - 1)
    if np.abs(u - ends).min() > 1e-9:
        assert got.tolist() == [build[0, place].tolist()]


def test_coefficients_of_many_draws_have_their_sampling_covariance():
    model = group_models("adult")["female"]
    one, two = "sitting_height_cm", "shoulder_height_sitting_cm"
    drawn = [model_draw.drawn_betas(7, draw) for draw in range(1500)]
    betas = {
        name: np.array([d("adult", "female", name) for d in drawn])
        for name in (one, two)
    }
    scaled = {}
    for name, beta in betas.items():
        truth = model.measures[name]
        sd = np.sqrt(np.diag(truth.covariance))
        gap = (beta - truth.beta) / sd
        assert np.abs(gap.mean(axis=0)).max() < 0.12
        expected = truth.covariance / np.outer(sd, sd)
        assert np.abs(np.cov(gap.T) - expected).max() < 0.15
        scaled[name] = np.linalg.lstsq(truth.root, (beta - truth.beta).T, rcond=None)[0]
    place = [SEATED_AND_GIRTHS.index(name) for name in (one, two)]
    r = np.corrcoef(scaled[one][-1], scaled[two][-1])[0, 1]
    assert r == pytest.approx(model.correlation[tuple(place)], abs=0.1)
    assert (model_draw.drawn_betas(7, 0)("adult", "male", one) != betas[one][0]).any()
    again = model_draw.drawn_betas(7, 3)
    assert (again("adult", "female", one) == betas[one][3]).all()


def test_residuals_of_each_age_and_sex_are_correlated_as_its_model_says():
    n = 3000
    sex = np.array(["female", "male", "female"] * n, dtype=object)
    age = np.array([40.0, 17.25, 8.25] * n)
    body = [np.full(3 * n, value) for value in (60.0, 165.0)]
    one = moments(sex, *body, age)
    z = np.random.default_rng(2).normal(size=(3 * n, len(SEATED_AND_GIRTHS)))
    rows = np.arange(3 * n)
    out = model_draw._correlated(one, rows, z)
    for kind in range(3):
        expected = one.correlation()[kind]
        assert np.abs(np.cov(out[kind::3].T) - expected).max() < 0.09
    # A part of the rows gives the same.
    some = rows[5::7]
    np.testing.assert_allclose(model_draw._correlated(one, some, z[some]), out[some])


def test_between_child_and_adult_every_part_is_blended():
    t = 1.25 / 4
    w = 3 * t**2 - 2 * t**3
    sex, body = np.array(["male"], dtype=object), np.array([[150.0], [170.0], [17.25]])
    one = moments(sex, *body, sampling=True)
    for j, name in enumerate(SEATED_AND_GIRTHS):
        parts = []
        for group in ("child", "adult"):
            model = group_models(group)["male"]
            m = model.measures[name]
            terms, log_sd, above = m.design(model.predictors(*body), body[2])
            error = np.sqrt(terms[0] @ m.covariance @ terms[0])
            mean = terms[0] @ m.beta + m.shift * above[0]
            bias = model_bias(float(group == "adult"))[j]
            parts.append([mean, log_sd[0], m.spread * above[0], error, bias])
        child, adult = np.array(parts)
        mean, log_sd, form, error, bias = (1 - w) * child + w * adult
        error = np.hypot(error, bias)
        got = (one.mean, np.log(one.sd), one.form_shift_sd, one.error_sd)
        assert [x[0, j] for x in got] == pytest.approx([mean, log_sd, form, error])
    assert one.form_shift_sd.max() > 0
    r, sd = one.correlation()[0], one.sd[0]
    child, adult = (group_models(g)["male"].correlation for g in ("child", "adult"))
    np.testing.assert_allclose(r, (1 - w) * child + w * adult)
    plain = np.outer(sd, sd) * r
    err, shift = one.error_sd[0], one.form_shift_sd[0]
    for sampling in (True, False):
        for form in (True, False):
            expected = plain + sampling * np.outer(err, err) * r
            expected = expected + form * np.outer(shift, shift)
            got = one.covariance(sampling=sampling, form=form)[0]
            np.testing.assert_allclose(got, expected)


@pytest.mark.parametrize("group", ["adult", "child"])
@pytest.mark.parametrize("sex", ["female", "male"])
def test_evidence_turns_just_beyond_each_range(group, sex):
    """One predictor a hair inside and a hair outside its range at a time."""
    model = group_models(group)[sex]
    age = 45.5 if group == "adult" else 9.5
    for name in SEATED_AND_GIRTHS:
        one = model.measures[name]
        (low,), (high,) = one.bounds(np.array([age]))
        middle = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2]
        ks = range(3 if group == "adult" else 2)
        for k, sign, beyond in product(ks, (-1, 1), (False, True)):
            (q, s), years = middle, age
            at = (low if sign < 0 else high)[k] + sign * 1e-6 * (1 if beyond else -1)
            if k == 0:
                q = at
            elif k == 1:
                s = at
            else:
                years = model.age_centre + 10 * at
                if years < 20:
                    continue
                (now,), (top,) = one.bounds(np.array([years]))
                q = (now[0] + top[0]) / 2
            stature = 165 * np.exp(s)
            mass = 25 * np.exp(q) * (stature / 100) ** 2
            body = (np.array([v]) for v in (mass, stature, years))
            who = np.array([sex], dtype=object)
            ((code,),) = model_draw.evidence_levels(who, *body, [name])
            expected = "extrapolated" if beyond else "predicted"
            if name in model_draw.CONVERTED[group]:
                expected = "extrapolated"
            heavy = k == 0 and sign == 1 and beyond and group == "adult"
            if heavy and name in model_draw.NO_HEAVY_DATA:
                expected = "unsupported"
            assert EVIDENCE[code] == expected, (name, k, sign, beyond)


def test_at_eighteen_the_adult_model_decides_the_evidence():
    """Only a child's buttock-popliteal length is converted from another."""
    name = "buttock_popliteal_length_cm"
    ages = np.array([17.99, 18.0 + 1e-9, 20.5])
    body = [np.full(3, value) for value in (65.0, 172.0)]
    men = np.full(3, "male", dtype=object)
    codes = model_draw.evidence_levels(men, *body, ages, [name])
    words = [EVIDENCE[code] for code in codes[:, 0]]
    assert words == ["extrapolated", "predicted", "predicted"]


@pytest.mark.surveys
def test_thighs_of_the_old_are_as_thin_and_varied_as_surveyed(survey_folder):
    """By shape, people of odd number, from whose bodies nothing was derived."""
    people = read_adults(survey_folder)
    people = people[~people["even"]].dropna(subset=[f"gap_{THIGH}"])
    old, young = people["RIDAGEYR"] >= 75, people["RIDAGEYR"] <= 58
    for sex, rows in people.groupby("sex"):
        shift, times = older_law(str(sex), THIGH, np.array([80.0]))
        gap, z = rows[f"gap_{THIGH}"], rows[f"z_{THIGH}"]
        thin = gap[old].mean() - gap[young].mean()
        assert abs(np.exp(thin - shift[0]) - 1) < 0.02
        assert abs(z[old].std() / z[young].std() / times[0] - 1) < 0.25


# Conditioning: against scipy, against brute force, and by invariants


P = 4


def random_covariance(seed: int, n: int = 3) -> np.ndarray:
    a = np.random.default_rng(seed).normal(size=(n, P, P + 2))
    return a @ a.swapaxes(1, 2)


@given(st.integers(0, 10**6), st.lists(st.booleans(), min_size=P, max_size=P))
@settings(max_examples=40)
def test_conditional_density_against_scipy(seed, flags):
    """p(x | readings) = p(x, readings) / p(readings), of readings with an error."""
    k = np.flatnonzero(flags)
    if len(k) == 0:
        return
    rng = np.random.default_rng(seed)
    covariance, mean = random_covariance(seed), rng.normal(size=(3, P))
    point, read = rng.normal(size=(2, 3, P))
    error, value = rng.uniform(0.1, 1, size=(3, P)), np.where(flags, read, np.nan)
    m, c = chance.condition_normal(mean, covariance, value, error)
    for i, one in enumerate(covariance):
        readings = one[np.ix_(k, k)] + np.diag(error[i, k])
        both = np.block([[one, one[:, k]], [one[k], readings]])
        law = multivariate_normal(np.append(mean[i], mean[i, k]), both)
        part = multivariate_normal(mean[i, k], readings).logpdf(read[i, k])
        whole = law.logpdf(np.append(point[i], read[i, k]))
        ours = multivariate_normal(m[i], c[i]).logpdf(point[i])
        assert ours == pytest.approx(whole - part, abs=1e-6)
    # Without an error a reading is the value, and the rest as with next to none.
    m, c = chance.condition_normal(mean, covariance, value, 0 * error)
    assert (m[:, k] == read[:, k]).all() and (c[:, k] == 0).all()
    near = chance.condition_normal(mean, covariance, value, 1e-9 * error)
    np.testing.assert_allclose(m, near[0], atol=1e-4)
    np.testing.assert_allclose(c, near[1], atol=1e-4)


@given(st.integers(0, 10**6), st.integers(1, P))
@settings(max_examples=25)
def test_log_density_against_scipy(seed, k):
    rng = np.random.default_rng(seed)
    covariance = random_covariance(seed)[:, :k, :k]
    gap = rng.normal(size=(3, k))
    each = zip(covariance, gap, strict=True)
    other = [multivariate_normal(np.zeros(k), c).logpdf(one) for c, one in each]
    expected = pytest.approx(np.array(other), rel=1e-7, abs=1e-8)
    assert chance.log_density(gap, covariance) == expected


@given(st.integers(0, 10**6), st.integers(1, P))
@settings(max_examples=25)
def test_one_measure_more_leaves_the_others_as_drawn(seed, first):
    rng = np.random.default_rng(seed)
    covariance, mean = random_covariance(seed), rng.normal(size=(3, P))
    z = rng.normal(size=(3, P))
    part = chance.sample_normal(
        mean[:, :first], covariance[:, :first, :first], z[:, :first]
    )
    whole = chance.sample_normal(mean, covariance, z, first)
    np.testing.assert_array_equal(whole[:, :first], part)
    # The columns of the root are what unit steps of z move.
    steps = [
        chance.sample_normal(0 * mean, covariance, np.eye(P)[[k] * 3], first)
        for k in range(P)
    ]
    root = np.stack(steps, axis=2)
    np.testing.assert_allclose(root @ root.swapaxes(1, 2), covariance, atol=1e-8)
