"""Conditioning: against scipy, against brute force, and by invariants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal

from sizing.people.body.conditional import condition_normal, log_density, sample_normal

P = 4


def random_covariance(seed: int, n: int = 3) -> np.ndarray:
    a = np.random.default_rng(seed).normal(size=(n, P, P + 2))
    return a @ a.swapaxes(1, 2)


@given(st.integers(0, 10**6), st.lists(st.booleans(), min_size=P, max_size=P))
@settings(max_examples=40)
def test_conditional_density_against_scipy(seed, flags):
    """p(unknown | known) = p(all) / p(known), for exact known values."""
    known = np.array(flags)
    if known.all() or not known.any():
        return
    rng = np.random.default_rng(seed)
    covariance = random_covariance(seed)
    mean = rng.normal(size=(3, P))
    point = rng.normal(size=(3, P))
    value = np.where(known, point, np.nan)
    m, c = condition_normal(mean, covariance, value, np.zeros((3, P)))
    u, k = np.flatnonzero(~known), np.flatnonzero(known)
    for i in range(3):
        whole = multivariate_normal(mean[i], covariance[i]).logpdf(point[i])
        part = multivariate_normal(mean[i, k], covariance[i][np.ix_(k, k)])
        ours = multivariate_normal(m[i, u], c[i][np.ix_(u, u)]).logpdf(point[i, u])
        assert ours == pytest.approx(whole - part.logpdf(point[i, k]), abs=1e-6)
        assert (m[i, k] == point[i, k]).all()
        assert (c[i][k] == 0).all()


def test_measuring_error_against_brute_force():
    """Weigh a million draws by the likelihood of a reading with error."""
    rng = np.random.default_rng(8)
    covariance = np.array([[1.0, 0.6], [0.6, 1.0]])
    error = 0.3
    x = rng.multivariate_normal([0, 0], covariance, size=1_000_000)
    w = np.exp(-0.5 * (1.2 - x[:, 0]) ** 2 / error)
    brute_mean = np.average(x, axis=0, weights=w)
    brute_var = np.average((x - brute_mean) ** 2, axis=0, weights=w)
    m, c = condition_normal(
        np.zeros((1, 2)),
        covariance[None],
        np.array([[1.2, np.nan]]),
        np.array([[error, 0.0]]),
    )
    assert m[0] == pytest.approx(brute_mean, abs=0.01)
    assert np.diag(c[0]) == pytest.approx(brute_var, abs=0.01)


@given(st.integers(0, 10**6))
@settings(max_examples=25)
def test_two_readings_in_turn_equal_both_at_once(seed):
    rng = np.random.default_rng(seed)
    covariance, mean = random_covariance(seed), rng.normal(size=(3, P))
    value = rng.normal(size=(3, P))
    error = rng.uniform(0.1, 1, size=(3, P))
    a, b = value.copy(), value.copy()
    a[:, 1:] = np.nan
    b[:, [0, 2, 3]] = np.nan
    both = value.copy()
    both[:, 2:] = np.nan
    once = condition_normal(mean, covariance, both, error)
    first = condition_normal(mean, covariance, a, error)
    second = condition_normal(*first, b, error)
    np.testing.assert_allclose(once[0], second[0], atol=1e-9)
    np.testing.assert_allclose(once[1], second[1], atol=1e-9)


@given(st.integers(0, 10**6), st.integers(1, P))
@settings(max_examples=25)
def test_log_density_against_scipy(seed, k):
    rng = np.random.default_rng(seed)
    covariance = random_covariance(seed)[:, :k, :k]
    gap = rng.normal(size=(3, k))
    ours = log_density(gap, covariance)
    other = [
        multivariate_normal(np.zeros(k), covariance[i]).logpdf(gap[i]) for i in range(3)
    ]
    assert ours == pytest.approx(np.array(other), rel=1e-7, abs=1e-8)


def test_samples_have_the_mean_and_covariance_asked_for():
    rng = np.random.default_rng(1)
    covariance = random_covariance(5, 1)
    # A certain entry must come back without spread.
    covariance[:, 0, :] = covariance[:, :, 0] = 0
    n = 200_000
    x = sample_normal(
        np.ones((n, P)), np.repeat(covariance, n, 0), rng.normal(size=(n, P))
    )
    # Eigenvectors leave rounding of 1e-8 where the variance is 0.
    assert np.ptp(x[:, 0]) < 1e-6
    np.testing.assert_allclose(np.cov(x.T), covariance[0], atol=0.15)


@given(st.integers(0, 10**6), st.integers(1, P))
@settings(max_examples=25)
def test_one_measure_more_leaves_the_others_as_drawn(seed, first):
    rng = np.random.default_rng(seed)
    covariance, mean = random_covariance(seed), rng.normal(size=(3, P))
    z = rng.normal(size=(3, P))
    part = sample_normal(mean[:, :first], covariance[:, :first, :first], z[:, :first])
    whole = sample_normal(mean, covariance, z, first)
    np.testing.assert_array_equal(whole[:, :first], part)
    # The columns of the root are what unit steps of z move.
    steps = [
        sample_normal(0 * mean, covariance, np.eye(P)[[k] * 3], first) for k in range(P)
    ]
    root = np.stack(steps, axis=2)
    np.testing.assert_allclose(root @ root.swapaxes(1, 2), covariance, atol=1e-8)
