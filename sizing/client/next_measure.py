"""What to measure next: the reading expected to settle most."""

import numpy as np
import pandas as pd
from scipy.special import ndtri

from sizing.client.client import Client
from sizing.client.how import MASS, reading, usual_error
from sizing.client.outcomes import Fitting
from sizing.client.posterior import Bodies
from sizing.client.stature import STATURE
from sizing.measures import MEASURES
from sizing.people.body.terms import Floats

#: Classes into which simulated readings are sorted.
_CLASSES = 32
#: Measures no better than this many usual errors are worth taking again.
_POOR = 1.5
#: Answers less likely than this are not weighed.
_HARDLY = 0.002
COLUMNS = ["measure", "how", "now", "after", "estimate", "low", "high", "method", "n"]


def next_measures(client: Client, bodies: Bodies, found: Fitting) -> pd.DataFrame:
    """Rank the measures by what taking each is expected to settle.

    Returns
    -------
    DataFrame
        One row per measure not yet taken well, most telling first:
        ``measure``; ``how`` (how it would be taken); ``now`` and ``after``
        (chance that the likeliest answer is right: one size fits, or none
        does); ``estimate, low, high`` (``after - now``, 95 %), ``method, n``.
        Empty where a limited measure is unknown and not predicted: it comes first.

    Notes
    -----
    Each draw is read once with the usual error. Draws are sorted by the reading
    into 32 classes; in each, half of the builds choose the likeliest answer and
    the other half say how often it is right, and the other way round, so that
    nothing is gained by choosing on noise (expected value of information: Raiffa
    and Schlaifer, Applied Statistical Decision Theory, 1961, from memory).
    """
    if (found.may & ~found.fits).any():
        return pd.DataFrame(columns=COLUMNS)
    answers = np.column_stack([found.fits, ~found.fits.any(axis=1)]).astype(float)
    # Answers that hardly ever are right cannot be chosen: leaving them out is quick.
    answers = answers[:, bodies.weight @ answers > _HARDLY]
    fold = bodies.build % 2
    known = client.known
    n = len(bodies.weight)
    noise = ndtri((np.random.default_rng(7).permutation(n) + 0.5) / n)
    now = _right(np.zeros(n, dtype=int), 1, fold, bodies, answers)
    rows = []
    for j, measure in enumerate(MEASURES):
        if client.stature is not None and measure == STATURE:
            continue  # whoever cannot stand is not asked to
        if np.isnan(bodies.values[0, j]):
            continue  # a condition forbids to predict what it would be read as
        if measure in known and known[measure].sd <= _POOR * usual_error(measure):
            continue
        how = "scale" if measure == MASS else "tape once"
        read = bodies.values[:, j] + noise * reading(measure, 1.0, how).sd
        classes = _sorted(read, bodies.weight)
        after = _right(classes, _CLASSES, fold, bodies, answers)
        gain, variance = bodies.share((after - now)[:, None])
        half = ndtri(0.975) * np.sqrt(variance[0])
        first = float(bodies.weight @ now)
        rows.append(
            {
                "measure": measure,
                "how": how,
                "now": first,
                "after": first + gain[0],
                "estimate": gain[0],
                "low": gain[0] - half,
                "high": gain[0] + half,
                "method": "expected over simulated readings, cross-fitted; 95 % "
                "Monte Carlo interval",
                "n": n,
            }
        )
    table = pd.DataFrame(rows, columns=COLUMNS)
    return table.sort_values("estimate", ascending=False, ignore_index=True)


def _sorted(read: Floats, weight: Floats) -> np.ndarray:
    """Return each draw's class, the classes of about equal weight."""
    order = np.argsort(read, kind="stable")
    place = np.empty(len(read), dtype=int)
    total = np.cumsum(weight[order])
    place[order] = np.minimum((total * _CLASSES).astype(int), _CLASSES - 1)
    return place


def _right(
    classes: np.ndarray, count: int, fold: np.ndarray, bodies: Bodies, answers: Floats
) -> Floats:
    """Return for each draw whether the answer the other fold chooses is right."""
    group = classes * 2 + fold
    width = answers.shape[1]
    cell = group[:, None] * width + np.arange(width)
    sums = np.bincount(
        cell.ravel(), (bodies.weight[:, None] * answers).ravel(), 2 * count * width
    ).reshape(count, 2, width)
    best = sums.argmax(axis=2)
    chosen = best[classes, 1 - fold]
    out: Floats = answers[np.arange(len(answers)), chosen]
    return out
