"""Conditional normal distributions, many people at once."""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


#: Log variance of what is known: far below any error of reading (our choice).
_CERTAIN = 1e-14
#: How many measures are drawn before the others: those the model began with.
FIRST = 8


def condition_normal(
    mean: Floats, covariance: Floats, value: Floats, error_variance: Floats
) -> tuple[Floats, Floats]:
    """Condition each row's normal distribution on what is known of it.

    >>> m, c = condition_normal(
    ...     np.zeros((1, 2)), np.array([[[1.0, 0.5], [0.5, 1.0]]]),
    ...     np.array([[2.0, np.nan]]), np.zeros((1, 2)))
    >>> m.tolist(), c[0, 1, 1].item()
    ([[2.0, 1.0]], 0.75)
    """
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
    certain = known[:, diagonal, diagonal] <= _CERTAIN
    known[:, diagonal, diagonal] += certain
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
    code = known @ (1 << np.arange(known.shape[1]))
    found, first, inverse = np.unique(code, return_index=True, return_inverse=True)
    return [(np.flatnonzero(inverse == i), known[first[i]]) for i in range(len(found))]


def sample_normal(
    mean: Floats, covariance: Floats, z: Floats, first: int = FIRST
) -> Floats:
    """Return ``mean + L z`` for each row, with ``L L' = covariance``.

    The covariance may be singular (known entries have variance 0). Entries after the
    ``first`` ones are drawn given them, so that one more leaves the others as drawn.
    """
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
    density: Floats = (
        -0.5 * (z**2).sum(axis=1) - log_root - 0.5 * gap.shape[1] * np.log(2 * np.pi)
    )
    return density
