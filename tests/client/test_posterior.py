"""What a body may be, given readings: against exact and brute-force answers."""

import subprocess
import sys
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest, multivariate_normal, norm, qmc

from sizing.client.draws import COLUMNS, even_numbers
from sizing.client.outcomes import chances
from sizing.client.posterior import Bodies, build_of, draw_bodies
from sizing.client.readings import reading
from sizing.measures import MEASURES, SEATED_AND_GIRTHS
from sizing.people.body.donors import NEAR_LN_MASS, NEAR_LN_STATURE, donors
from sizing.people.body.model import moments

from .cases import BACK, HIP, MASS, SEAT, STATURE, WAIST, fits, made, read

#: Places among the seated measures and girths.
AT = {name: i for i, name in enumerate(SEATED_AND_GIRTHS)}
BUILD = [reading(MASS, 82.0, "exact"), reading(STATURE, 171.0, "exact")]


def exact(hip=None):
    """Weight, mean and covariance of ln seated measures of that build, by hand.

    As surveyed, and with each measure's own variance nine times as large.
    """
    woman, build = np.array(["female"], dtype=object), np.array([[82.0], [171], [45]])
    one, at = moments(woman, *build, sampling=True), AT[HIP]
    laws = []
    for share, times in ((0.95, 1.0), (0.05, 9.0)):
        mean, cov = one.mean[0], one.covariance()[0]
        cov = cov + (times - 1) * np.diag(np.diag(cov))
        if hip is not None:
            noise = (hip.sd / hip.value) ** 2
            spread = np.sqrt(cov[at, at] + noise)
            share *= norm.pdf(np.log(hip.value), mean[at], spread)
            # Textbook two-block formula on the precision scale, not the gain form.
            precision = np.linalg.inv(cov)
            more = precision.copy()
            more[at, at] += 1 / noise
            pull = precision @ mean
            pull[at] += np.log(hip.value) / noise
            cov = np.linalg.inv(more)
            mean = cov @ pull
        laws.append((share, mean, cov))
    total = sum(share for share, _, _ in laws)
    return [(share / total, mean, cov) for share, mean, cov in laws]


@pytest.mark.parametrize("girth", [None, 104.0, 115.0])
def test_box_chances_against_scipy_multivariate_normal(girth):
    hip = None if girth is None else reading(HIP, girth)
    bodies = draw_bodies("female", 45.0, BUILD + ([hip] if hip else []))
    names = [BACK, SEAT, HIP]
    place = [AT[name] for name in names]
    for low, high in (([54, 45, 98], [62, 52, 112]), ([50, 40, 80], [58, 49, 108])):
        # Edges belong, in whole tenths: half a tenth on either side.
        box = [np.log(np.array(low) - 0.05), np.log(np.array(high) + 0.05)]
        answer = 0.0
        for weight, mean, cov in exact(hip):
            law = multivariate_normal(mean[place], cov[np.ix_(place, place)])
            answer += weight * float(law.cdf(box[1], lower_limit=box[0]))
        ends = zip(low, high, strict=True)
        chart = made({name: [one] for name, one in zip(names, ends, strict=True)})
        share = chances(bodies, fits(bodies.values, chart).fits)
        assert share["estimate"][0] == pytest.approx(answer, abs=0.012)


def some_bodies(rng, weight, of=5):
    """Builds of so many bodies each, whose measures are plain numbers."""
    n = len(weight)
    women, share = np.full(n, "female", object), weight / weight.sum()
    values = rng.normal(100, 10, (n, len(MEASURES)))
    return Bodies(values, share, np.arange(n) // of, women, np.full(n, 40.0))


def test_shares_and_their_errors_against_a_plain_loop(rng):
    bodies = some_bodies(rng, rng.uniform(0.1, 5, 60))
    flags = rng.random((60, 3)) < [0.2, 0.5, 0.9]
    mean, variance = bodies.share(flags)
    for j in range(3):
        right = bodies.weight[flags[:, j]].sum()
        assert mean[j] == pytest.approx(right)
        error = 0.0
        for build in range(12):
            mine = bodies.build == build
            w = bodies.weight[mine]
            error += w.sum() ** 2 * (np.average(flags[mine, j], weights=w) - right) ** 2
        assert variance[j] == pytest.approx(error)
    each = [bodies.weight[bodies.build == build].sum() for build in range(12)]
    assert bodies.effective == pytest.approx(1 / sum(w**2 for w in each))


def test_chances_of_independent_draws_against_scipys_wilson(rng):
    n = 80
    bodies = some_bodies(rng, np.ones(n), of=1)
    hits = [0, 1, 37, 79, 80]
    flags = np.column_stack([np.arange(n) < hit for hit in hits])
    told = chances(bodies, flags)
    for i, hit in enumerate(hits):
        want = binomtest(hit, n).proportion_ci(0.95, method="wilson")
        found = [told[name][i] for name in ("estimate", "low", "high")]
        assert found == pytest.approx([hit / n, want.low, want.high], abs=1e-9)
    assert told["n"] == n


@pytest.mark.parametrize("age", [2.0, 8.0, 30.0, 79.0, 85.0])
def test_builds_come_from_people_near_in_age(age):
    """SD a tenth of the age, half a year at least and three at most, 80 the last."""
    pool = donors()["female"].build
    ages = np.where(pool[:, 2] < 20, pool[:, 2] + 0.5, pool[:, 2]).clip(max=80)
    year = min(age + 0.5 if age < 20 else age, 80)
    width = min(max(0.1 * (age + 0.5 * (age < 20)), 0.5), 3.0)
    near = norm.pdf(ages, year, width)
    mean, covariance = build_of("female", age)
    assert mean == pytest.approx(np.average(pool[:, :2], axis=0, weights=near))
    want = np.cov(pool[:, :2].T, aweights=near, ddof=0)
    want += np.diag([NEAR_LN_MASS**2, NEAR_LN_STATURE**2])
    np.testing.assert_allclose(covariance, want, rtol=1e-9)


def test_quantiles_against_numpy_where_all_weigh_alike(rng):
    bodies = some_bodies(rng, np.ones(60))
    q = [0.05, 0.31, 0.5, 0.95]
    right = np.quantile(bodies.values, q, axis=0, method="hazen")
    np.testing.assert_allclose(bodies.quantile(q), right, rtol=1e-12)


def brute_force(readings, n):
    """Accept simulated people whose simulated readings come near the real ones."""
    rng = np.random.default_rng(3)
    pool = donors()["male"].build
    near = np.exp(-0.5 * ((pool[:, 2].clip(max=80) - 55) / 3.0) ** 2)
    pick = rng.choice(len(pool), n, p=near / near.sum())
    near = rng.standard_normal((n, 2)) * [NEAR_LN_MASS, NEAR_LN_STATURE]
    build = pool[pick, :2] + near
    men, age = np.full(n, "male", dtype=object), np.full(n, 55.0)
    one = moments(men, *np.exp(build).T, age, sampling=True)
    root = np.linalg.cholesky(one.covariance()[0] / np.outer(one.sd[0], one.sd[0]))
    logs = one.mean + one.sd * (rng.standard_normal((n, one.sd.shape[1])) @ root.T)
    # One in twenty is unlike the others: each measure three times as wide, by itself.
    unlike = rng.random(n) < 0.05
    own = np.sqrt(8 * np.diag(root @ root.T)) * one.sd[unlike]
    logs[unlike] += own * rng.standard_normal((unlike.sum(), one.sd.shape[1]))
    everything = np.column_stack([build, logs])
    keep = np.ones(n, dtype=bool)
    for r in readings:
        told = everything[:, MEASURES.index(r.measure)]
        told = told + rng.standard_normal(n) * r.log_sd
        keep &= np.abs(told - r.log_value) < 0.4 * r.log_sd
    return everything[keep]


def test_unknown_build_against_brute_force_simulation():
    readings = read("reported", **{HIP: 112.0, BACK: 62.0})
    kept = brute_force(readings, 250_000)
    assert len(kept) > 1900
    bodies = draw_bodies("male", 55.0, readings)
    logs = np.log(bodies.values)
    mean, right = bodies.weight @ logs, kept.mean(axis=0)
    spread = np.sqrt(bodies.weight @ (logs - mean) ** 2)
    sd = kept.std(axis=0)
    # Mean within a tenth of an SD, SD within a tenth of itself, all measures.
    assert np.abs((mean - right) / sd).max() < 0.1
    assert np.abs(spread / sd - 1).max() < 0.12


def test_a_second_round_is_as_good_as_many_draws():
    readings = read(**{HIP: 131.0, WAIST: 128.0, BACK: 60.0})
    one = draw_bodies("male", 60.0, readings)
    other = [draw_bodies("male", 60.0, readings, seed=s) for s in range(2, 10)]
    middle = np.mean([b.weight @ np.log(b.values) for b in other], axis=0)
    spread = np.sqrt(one.weight @ (np.log(one.values) - middle) ** 2)
    assert one.effective > 300
    assert np.abs((one.weight @ np.log(one.values) - middle) / spread).max() < 0.15


@settings(max_examples=15, deadline=None)
@given(
    sex=st.sampled_from(["female", "male", None]),
    age=st.sampled_from([3.0, 9.0, 17.0, 40.0, 79.0, 96.0, None]),
    hip=st.floats(60, 150),
    how=st.sampled_from(["tape once", "tape twice", "reported", "guessed"]),
)
def test_draws_are_weighed_whole_and_repeatable(sex, age, hip, how):
    one = reading(HIP, hip, how)
    bodies, again = (draw_bodies(sex, age, [one]) for _ in range(2))
    assert bodies.weight.sum() == pytest.approx(1.0)
    assert (bodies.weight >= 0).all()
    assert np.isfinite(bodies.values).all()
    assert (bodies.values == again.values).all()
    assert (np.diff(bodies.quantile([0.05, 0.5, 0.95]), axis=0) >= 0).all()


def test_monte_carlo_interval_holds_the_answer_of_many_draws():
    readings = [reading(MASS, 75.0, "guessed")]
    rows = []
    for seed in range(1, 25):
        bodies = draw_bodies("female", 70.0, readings, seed=seed)
        told = chances(bodies, fits(bodies.values).fits)
        rows.append([told[name][4] for name in ("estimate", "low", "high")])
    estimate, low, high = np.array(rows).T
    held = ((low <= estimate.mean()) & (estimate.mean() <= high)).mean()
    assert held >= 0.85


# Evenly spread numbers are those of SciPy's Sobol sequence, to the last bit


def test_the_same_as_scipys():
    for columns, rows in product(range(1, COLUMNS + 1), (1, 256, 4096)):
        theirs = qmc.Sobol(columns, rng=np.random.default_rng([3, 1])).random(rows)
        ours = even_numbers(rows, columns, np.random.default_rng([3, 1]))
        assert np.array_equal(ours, theirs), (columns, rows)


def test_workbooks_are_not_loaded_for_a_client():
    code = (
        "import sys, sizing.cli.client\n"
        "print(*sorted({'openpyxl', 'matplotlib'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "", done.stderr
