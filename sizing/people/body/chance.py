"""Random numbers that belong to a person, and normal distributions of many people."""

import hashlib
from collections.abc import Iterable
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from sizing.stats.formulas import Floats

Flags: TypeAlias = npt.NDArray[np.bool_]
Keys: TypeAlias = npt.NDArray[np.uint64]

_STEP = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
#: Fractional part of the golden ratio: its multiples fill (0, 1) evenly.
_GOLDEN = 0.6180339887498949
#: Log variance of what is known: far below any error of reading (our choice).
_CERTAIN = 1e-14
#: How many measures are drawn before the others: those the model began with.
FIRST = 8


def _mix(z: Keys) -> Keys:
    """Finalise as SplitMix64 does (Steele, Lea, Flood 2014, OOPSLA)."""
    z = (z ^ (z >> np.uint64(30))) * _MIX_1
    z = (z ^ (z >> np.uint64(27))) * _MIX_2
    return z ^ (z >> np.uint64(31))


def keys_of(people: Iterable[object]) -> Keys:
    """Return a 64-bit key for each person's name or number; 7, 7.0 and "7" are one."""
    labels = (
        str(int(name))
        if isinstance(name, float | np.floating) and float(name).is_integer()
        else str(name)
        for name in people
    )
    made = (hashlib.blake2b(one.encode(), digest_size=8).digest() for one in labels)
    return np.frombuffer(b"".join(made), dtype="<u8").astype(np.uint64)


def uniforms(seed: int, keys: Keys, stream: str, places: int) -> Floats:
    """Uniform numbers in (0, 1), a row a key, the same whoever else is there."""
    start = keys_of([f"{seed}/{stream}"])[0]
    with np.errstate(over="ignore"):
        rows = _mix(_mix(keys + start) + _STEP)
        column = np.arange(1, places + 1, dtype=np.uint64) * _STEP
        bits = _mix(_mix(rows[:, None] + column[None, :]) ^ start)
    return ((bits >> np.uint64(11)).astype(float) + 0.5) / 2.0**53


def normals(seed: int, keys: Keys, stream: str, places: int) -> Floats:
    """Return standard normal numbers, one row per key."""
    return ndtri(uniforms(seed, keys, stream, places))


def even_normal(seed: int, draw: int, stream: str) -> float:
    """A standard normal number, even over draws: five would not average out."""
    start = uniforms(seed, keys_of(["draws"]), stream, 1)[0, 0]
    return float(ndtri((start + draw * _GOLDEN) % 1.0))


def condition_normal(
    mean: Floats, covariance: Floats, value: Floats, error_variance: Floats
) -> tuple[Floats, Floats]:
    """Condition each row's normal distribution on what is known of it (not NaN)."""
    new_mean, new_covariance = mean.copy(), covariance.copy()
    for rows, known in patterns(np.isfinite(value)):
        k = np.flatnonzero(known)
        if len(k) == 0:
            continue
        gain, rest = _gain(covariance[rows], k, error_variance[rows][:, k])
        gap = value[rows][:, k] - mean[rows][:, k]
        new_mean[rows] = mean[rows] + np.einsum("npk,nk->np", gain, gap)
        new_covariance[rows] = rest
    exact = np.isfinite(value) & (error_variance == 0)
    new_mean[exact] = value[exact]
    new_covariance[exact] = 0.0
    new_covariance.swapaxes(1, 2)[exact] = 0.0
    return new_mean, new_covariance


def _gain(
    covariance: Floats, k: npt.NDArray[np.intp], error: Floats
) -> tuple[Floats, Floats]:
    known = covariance[:, k][:, :, k].copy()
    diagonal = np.arange(len(k))
    known[:, diagonal, diagonal] += error
    # An exact value of something already certain (variance 0, but for rounding)
    # teaches nothing.
    known[:, diagonal, diagonal] += known[:, diagonal, diagonal] <= _CERTAIN
    cross = covariance[:, :, k]
    solved = np.linalg.solve(known, cross.swapaxes(1, 2))
    gain = np.asarray(solved, dtype=np.float64).swapaxes(1, 2)
    rest = covariance - gain @ cross.swapaxes(1, 2)
    rest = (rest + rest.swapaxes(1, 2)) / 2
    # Rounding may leave -1e-20 where next to nothing is left.
    place = np.arange(rest.shape[1])
    rest[:, place, place] = np.maximum(rest[:, place, place], 0.0)
    return gain, rest


def patterns(known: Flags) -> list[tuple[npt.NDArray[np.intp], Flags]]:
    """Return the rows of each pattern of what is known, and the pattern."""
    code = known @ (1 << np.arange(known.shape[1]))
    found, first, inverse = np.unique(code, return_index=True, return_inverse=True)
    return [(np.flatnonzero(inverse == i), known[first[i]]) for i in range(len(found))]


def sample_normal(
    mean: Floats, covariance: Floats, z: Floats, first: int = FIRST
) -> Floats:
    """Return ``mean + L z``, ``L L' = covariance``; after ``first``, given those."""
    values, vectors = np.linalg.eigh(covariance[:, :first, :first])
    size = np.sqrt(np.maximum(values, 0.0))[:, None, :]
    root = (vectors * size) @ vectors.swapaxes(1, 2)
    drawn: Floats = mean.copy()
    drawn[:, :first] += np.einsum("npk,nk->np", root, z[:, :first])
    if mean.shape[1] > first:
        inverse = vectors / np.where(size > 1e-7, size, np.inf)
        cross = covariance[:, first:, :first] @ inverse @ vectors.swapaxes(1, 2)
        drawn[:, first:] += np.einsum("npk,nk->np", cross, z[:, :first])
        rest = covariance[:, first:, first:] - cross @ cross.swapaxes(1, 2)
        drawn[:, first:] += sample_normal(0 * z[:, first:], rest, z[:, first:])
    return drawn


def log_density(gap: Floats, covariance: Floats) -> Floats:
    """Return the log normal density of ``gap``, shape (n, k), at mean 0."""
    if gap.shape[1] == 1:
        variance = covariance[:, 0, 0]
        return -0.5 * (gap[:, 0] ** 2 / variance + np.log(2 * np.pi * variance))
    root = np.linalg.cholesky(covariance)
    z = np.linalg.solve(root, gap[:, :, None])[:, :, 0]
    log_root = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
    constant = 0.5 * gap.shape[1] * np.log(2 * np.pi)
    density: Floats = -0.5 * (z**2).sum(axis=1) - log_root - constant
    return density
