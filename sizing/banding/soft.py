"""Cumulated weights of people whose measures are known with an error."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr

from sizing.banding.axis import Ints
from sizing.banding.counts import Breaks, Floats
from sizing.errors import Problem, SizingError


def cumulate_blurred(
    values: Ints, weight: Floats, breaks: Sequence[Breaks], sd: Sequence[float]
) -> Floats:
    """Return the expected weight below each combination of cuts.

    A person of true value x is read as x + e, rounded to a whole tenth, with e
    normal, of mean nought, and independent from measure to measure. She is
    below a cut c with probability Phi((c - 1/2 - x) / sd).

    Parameters
    ----------
    values : ndarray of int64, shape (people, measures)
        In tenths.
    weight : ndarray of float
        One per person.
    breaks : sequence of Breaks
        One per measure.
    sd : sequence of float
        Standard deviation of the error in tenths; 0 for none.

    Returns
    -------
    ndarray of float, one dimension per measure
        As from ``sizing.banding.counts.cumulate``.

    Raises
    ------
    SizingError
        With more than three measures: the table would be too costly.
    """
    if len(breaks) > 3:
        raise SizingError(
            str(
                Problem(
                    "errors and smoothing are allowed for in up to three measures",
                    "one to three measures",
                    "band by fewer measures, or without smoothing",
                    value=len(breaks),
                )
            )
        )
    kept = weight > 0
    keys, place = np.unique(values[kept], axis=0, return_inverse=True)
    first = np.bincount(place.ravel(), weights=weight[kept])
    table: Floats = first.astype(float)[:, None]
    # From the last measure to the first: sum over its values within each
    # combination of the values of the measures before it.
    for d in range(len(breaks) - 1, -1, -1):
        below = _below(keys[:, d], breaks[d].cuts, sd[d])
        before = keys[:, :d]
        starts = np.flatnonzero(
            np.r_[True, (np.diff(before, axis=0) != 0).any(axis=1)]
            if d
            else np.arange(len(keys)) == 0
        )
        stops = np.append(starts[1:], len(keys))
        table = np.stack(
            [
                (below[a:b].T @ table[a:b]).ravel()
                for a, b in zip(starts, stops, strict=True)
            ]
        )
        keys = before[starts]
    return table.reshape([len(cut.cuts) for cut in breaks])


def _below(values: Ints, cuts: Ints, sd: float) -> Floats:
    distance = cuts[None, :] - 0.5 - values[:, None]
    if sd <= 0:
        return (distance > 0).astype(float)
    found: Floats = ndtr(distance / sd)
    return found
