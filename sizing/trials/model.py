"""The model of slings tried on: where edges really lie, drawn from what happened."""

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import ndtr

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

#: What the model takes for granted, in cm (our choices, no source): the SD of how far
#: the edges of a measure lie from the printed ones, all sizes alike.
SHIFT_SD = 5.0
#: Middle, and SD of the logarithm: how unsharp an edge is from person to person; how
#: far single sizes stray from the shared shift; how far single services do.
SPREAD, STRAY, SERVICE = (1.5, 0.5), (0.8, 0.5), (0.8, 0.5)
#: Share of trials taken to be written down wrongly, so that no slip moves an edge far.
SLIP = 0.01
#: Stands for no edge: no body comes near.
FAR = 1e4
#: What can happen, in the order of ``outcome_chances``.
OUTCOMES: tuple[str, ...] = ("fits", "too small", "too large", "both")
#: Draws that settle, and draws kept.
_SETTLING, _KEPT = 150, 600
_ACCEPTED = 0.8
_LEAST = 1e-12


@dataclass(frozen=True)
class Tried:
    """Trials as arrays: m measures, k sizes, n trials; ends are low and high."""

    value: Floats  # (m, n), and the SDs of its errors
    error: Floats
    size: Ints
    service: Ints  # -1: none, or too few to have their own effects
    printed: Floats  # (2, m, k), FAR away where there is no edge
    said: Bools  # (2, m, n): where it was said to be too large, and too small
    outcome: Ints  # place in OUTCOMES
    unit: Floats  # (m,): what stands for one cm of the priors

    @cached_property
    def services(self) -> int:
        return int(self.service.max(initial=-1)) + 1

    @cached_property
    def true(self) -> tuple[Floats, Floats]:
        """The true values expected, drawn towards their mean, and their variances."""
        mean = self.value.mean(axis=1, keepdims=True)
        spread = np.maximum(self.value.var(axis=1, keepdims=True), _LEAST)
        variance = self.error**2
        kept = np.clip(1 - variance.mean(axis=1, keepdims=True) / spread, 0.5, 1.0)
        return mean + kept * (self.value - mean), variance * kept

    @cached_property
    def weights(self) -> Floats:
        """(4, n): of 1, and the chances that all fit, none is large, none is small."""
        large, small = np.any(self.said, axis=1)
        small = np.isin(self.outcome, (1, 3)) & ~small
        large = np.isin(self.outcome, (2, 3)) & ~large
        both, alike = small & large, np.where(small == large, 1, -1)
        parts = both, alike, np.where(both, -1, small), np.where(both, -1, large)
        return np.array(parts, dtype=float)

    @cached_property
    def open(self) -> Bools:
        """Of which measures nothing was said, (m, n)."""
        return np.logical_not(self.said.any(axis=0))

    @cached_property
    def slips(self) -> Floats:
        """The chance that what was written came of a slip."""
        ways = np.where(self.open.all(axis=0), 1, self.unit.size)
        return SLIP / len(OUTCOMES) / ways

    @cached_property
    def groups(self) -> tuple[Floats, Floats]:
        """Which size and which service each trial is of, as columns of 0 and 1."""
        sizes = np.eye(self.printed.shape[2])[self.size]
        return sizes, np.eye(self.services + 1)[self.service][:, :-1]

    @cached_property
    def parts(self) -> list[slice]:
        """Where shifts, strays, services, spreads and the two scales stand."""
        _, m, k = self.printed.shape
        ends = np.cumsum([0, 2 * m, 2 * m * k, 2 * self.services, m, 1, 1])
        return [slice(a, b) for a, b in pairwise(ends.tolist())]


@dataclass(frozen=True)
class State:
    """Parameters by name; strays and services stand in units of their scales."""

    stray: Floats
    service: Floats
    spread: Floats  # (m, 1)
    scales: tuple[float, float]
    edges: Floats  # (2, m, k)
    at: Floats  # (2, m, n): the edges each trial met


def state(tried: Tried, theta: Floats) -> State:
    """Read a vector of parameters; the prior of each is N(0, 1)."""
    _, m, k = tried.printed.shape
    shift, stray, service, spread, one, two = (theta[part] for part in tried.parts)
    stray, service = stray.reshape(2, m, k), service.reshape(2, -1)
    scales = (
        STRAY[0] * float(np.exp(STRAY[1] * one[0])),
        SERVICE[0] * float(np.exp(SERVICE[1] * two[0])),
    )
    unit = tried.unit[:, None]
    moved = SHIFT_SD * shift.reshape(2, m, 1) + scales[0] * stray
    edges = tried.printed + unit * moved
    at = edges[:, :, tried.size]
    if tried.services:
        own = scales[1] * (service @ tried.groups[1].T)
        at = at + unit * own[:, None, :]
    widths = unit * SPREAD[0] * np.exp(SPREAD[1] * spread)[:, None]
    return State(stray, service, widths, scales, edges, at)


_SIGN = np.array([1.0, -1.0]).reshape(2, 1, 1)


def _off(tried: Tried, now: State) -> tuple[Floats, Floats, Floats]:
    """Return the chances of too large and too small, (2, m, n), and their arguments."""
    x, variance = tried.true
    wide = np.sqrt(now.spread**2 + variance)
    argument = _SIGN * (now.at - x) / wide
    return ndtr(argument), argument, wide


def outcome_chances(tried: Tried, theta: Floats) -> Floats:
    """Return the chance of each of ``OUTCOMES`` for each trial, (4, n)."""
    off, _, _ = _off(tried, state(tried, theta))
    fits = np.maximum(1 - off[0] - off[1], _LEAST).prod(axis=0)
    not_large, not_small = (1 - off).prod(axis=1)
    small, large = not_large - fits, not_small - fits
    return np.stack([fits, small, large, 1 - fits - small - large])


def minus_log_posterior(theta: Floats, tried: Tried) -> tuple[float, Floats]:
    """Return minus the logarithm of the posterior, and its gradient.

    At each measure a size is too large, right or too small; a trial is too small if
    any measure is, and fits if all do. Measures of which nothing was said may be
    anything that agrees with what happened.
    """
    now = state(tried, theta)
    off, argument, wide = _off(tried, now)
    factors = np.stack([1 - off[0] - off[1], 1 - off[0], 1 - off[1]])
    live = (factors > _LEAST) & tried.open
    factors = np.maximum(factors, _LEAST)
    products = np.where(tried.open, factors, 1.0).prod(axis=1)
    sure = np.maximum(off, _LEAST)
    told = np.where(tried.said, sure, 1.0).prod(axis=(0, 1))
    parts = told * tried.weights[1:] * products
    chance = told * tried.weights[0] + parts.sum(axis=0)
    whole = (1 - SLIP) * np.maximum(chance, 0.0) + tried.slips

    rate = (1 - SLIP) / whole
    each = np.where(live, (rate * parts)[:, None, :] / factors, 0.0)
    by_off = np.where(tried.said, rate * chance / sure, 0.0) - each[0] - each[1:]
    by_argument = by_off * np.exp(-(argument**2) / 2) / (wide * np.sqrt(2 * np.pi))
    by_edge = _SIGN * by_argument * tried.unit[:, None]
    by_size = by_edge @ tried.groups[0]
    by_service = by_edge.sum(axis=1) @ tried.groups[1]
    by_spread = -(by_argument * argument).sum(axis=0) / wide * now.spread**2
    one, two = now.scales
    parts_of = (
        SHIFT_SD * by_size.sum(axis=2).ravel(),
        one * by_size.ravel(),
        two * by_service.ravel(),
        SPREAD[1] * by_spread.sum(axis=1),
        [STRAY[1] * one * (by_size * now.stray).sum()],
        [SERVICE[1] * two * (by_service * now.service).sum()],
    )
    gradient = np.concatenate(parts_of)
    value = -np.log(whole).sum() + theta @ theta / 2
    return float(value), theta - gradient


def draw(tried: Tried, rng: np.random.Generator) -> Floats:
    """Draw parameters from the posterior, (draws, parameters).

    Hamiltonian Monte Carlo (Duane et al., Phys Lett B 1987;195:216-222) from the
    posterior's mode, in coordinates in which its curvature there, and then the
    covariance of the draws that settle, is 1. A mode with its curvature alone gave
    intervals that held the truth too seldom.
    """
    none = np.zeros(tried.parts[-1].stop)
    start = minimize(minus_log_posterior, none, (tried,), "L-BFGS-B", True).x
    steps = 1e-4 * np.eye(len(start))
    sides = [
        [minus_log_posterior(start + sign * step, tried)[1] for step in steps]
        for sign in (1, -1)
    ]
    curved = np.subtract(*map(np.array, sides))
    values, axes = np.linalg.eigh((curved + curved.T) / 4e-4)
    axes = axes / np.sqrt(np.clip(values, 0.2, None))
    first, step = _walk(tried, start, axes, 0.3, _SETTLING, rng, settle=True)
    about = np.cov(first[_SETTLING // 3 :], rowvar=False)
    # So few draws give a rough covariance: half of it is taken from the curvature.
    axes = np.linalg.cholesky((about + axes @ axes.T) / 2)
    first, step = _walk(tried, first[-1], axes, step, _SETTLING // 2, rng, settle=True)
    return _walk(tried, first[-1], axes, step, _KEPT, rng, settle=False)[0]


def _walk(
    tried: Tried,
    start: Floats,
    axes: Floats,
    step: float,
    count: int,
    rng: np.random.Generator,
    *,
    settle: bool,
) -> tuple[Floats, float]:
    """Return draws, and the step that suited them."""

    def slope(place: Floats) -> tuple[float, Floats]:
        value, gradient = minus_log_posterior(place, tried)
        return value, axes.T @ gradient

    place, (value, gradient) = start, slope(start)
    kept = np.empty((count, len(start)))
    for i in range(count):
        pace = step * rng.uniform(0.8, 1.2)
        momentum = speed = rng.standard_normal(len(start))
        to, to_value, to_gradient = place, value, gradient
        for _ in range(int(np.clip(round(1.6 / pace), 1, 8))):
            speed = speed - pace / 2 * to_gradient
            to = to + pace * (axes @ speed)
            to_value, to_gradient = slope(to)
            speed = speed - pace / 2 * to_gradient
        risen = to_value - value + (speed @ speed - momentum @ momentum) / 2
        chance = math.exp(-max(float(risen), 0.0)) if np.isfinite(risen) else 0.0
        if rng.uniform() < chance:
            place, value, gradient = to, to_value, to_gradient
        if settle:
            step = min(step * math.exp(0.25 * (chance - _ACCEPTED)), 0.8)
        kept[i] = place
    return kept, step
