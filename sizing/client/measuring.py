"""What was measured of a client, what was not, and what to measure next."""

import numpy as np
import pandas as pd
from scipy.special import ndtri

from sizing.client.client import Client
from sizing.client.how import ESTIMATED, MASS, TAKEN, reading, usual_error
from sizing.client.outcomes import Fitting
from sizing.client.posterior import Bodies
from sizing.client.stature import STATURE
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS, SEXES, labels
from sizing.people.body.draw import evidence_levels
from sizing.stats.formulas import Floats

#: Share of such bodies inside the interval of a measure.
LEVEL = 0.90
#: The oldest measured for lengths and thighs (ANSUR II 2012), the BMI from which
#: hardly anybody was, and the most that is then written (our choice, no source).
OLDEST, HEAVY, MOST = 58.0, 40.0, 0.95
#: Classes into which simulated readings are sorted.
_CLASSES = 32
#: Measures no better than this many usual errors are worth taking again.
_POOR = 1.5
#: Answers less likely than this are not weighed.
_HARDLY = 0.002
_ENDS = ["estimate", "low", "high"]
#: Where an answer's tables hold chances.
_CHANCES = {
    "sizes": _ENDS,
    "outcomes": _ENDS,
    "margins": ["chance"],
    "next_measure": ["now", "after"],
    "growth": ["beyond_20"],
    "borderline": ["estimate"],
}
COLUMNS = ["measure", "how", "now", "after", "estimate", "low", "high", "method", "n"]


def measures_frame(client: Client, bodies: Bodies, quantiles: Floats) -> pd.DataFrame:
    mass, stature = (np.array([quantiles[1][j]]) for j in (0, 1))
    order = np.argsort(bodies.age_years)
    middle = np.searchsorted(np.cumsum(bodies.weight[order]), 0.5)
    age = bodies.age_years[order[middle : middle + 1]]
    level = np.zeros(len(SEATED_AND_GIRTHS), dtype=np.int8)
    for sex in SEXES if client.sex is None else (client.sex,):
        named = np.array([sex], dtype=object)
        one = evidence_levels(named, mass, stature, age, SEATED_AND_GIRTHS)
        level = np.maximum(level, one[0])
    table = pd.DataFrame(
        {"measure": MEASURES, "label": [labels()[m] for m in MEASURES]}
    )
    known = client.table.set_index("measure").reindex(MEASURES).reset_index()
    how = known["how"].fillna("")
    # An estimate as it was worked out.
    if client.stature is not None:
        best, worked_out = client.stature.best, how == ESTIMATED
        known.loc[worked_out, ["value", "sd"]] = best["estimate"], best["sd_cm"]
    words = np.array(["predicted"] * 2 + [EVIDENCE[i] for i in level], dtype=object)
    words[how.isin([*TAKEN, "exact"])] = EVIDENCE[0]
    words[np.isnan(quantiles[1])] = EVIDENCE[-1]
    return table.assign(
        evidence=words,
        how=how,
        reading=known["value"].astype(float),
        error_sd=known["sd"].astype(float),
        estimate=quantiles[1],
        low=quantiles[0],
        high=quantiles[2],
        method=f"median and {100 * LEVEL:.0f} % interval of joint draws",
        n=len(bodies.weight),
    )


# What the chart limits and nobody measured: it leads the answer and bounds chances


def not_taken(client: Client, margins: pd.DataFrame) -> tuple[str, ...]:
    """Return the measures that a size limits and no tape or scale read."""
    limited = margins.loc[margins[["low_edge", "high_edge"]].notna().any(axis=1)]
    taken = {one.measure for one in client.readings if one.how in (*TAKEN, "exact")}
    return tuple(m for m in limited["measure"].unique() if m not in taken)


def why_cautious(client: Client, bmi: float) -> str:
    """Say why the model's word on this person is worth less; "" where it is not.

    >>> why_cautious(Client(age_years=82.0), 25.6)
    'over 58 years'
    """
    age = client.age_years
    reasons = {
        "of unknown age": age is None,
        f"over {OLDEST:g} years": age is not None and age > OLDEST,
        f"of body mass index {HEAVY:g} or more": bmi >= HEAVY,
        "with a condition stated": bool(client.conditions),
    }
    return " and ".join(words for words, holds in reasons.items() if holds)


def bounded(frames: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return an answer's tables with chances ``MOST`` at most, gains following."""
    found = {}
    for name, columns in _CHANCES.items():
        table = frames[name]
        known = [column for column in columns if column in table]
        found[name] = table.assign(**table[known].clip(upper=MOST))
    was, now = frames["next_measure"], found["next_measure"]
    less = (was["after"] - was["now"]) - (now["after"] - now["now"])
    found["next_measure"] = now.assign(**now[_ENDS].sub(less, axis=0))
    return frames | found


# What to measure next: the reading expected to settle most


def next_measures(client: Client, bodies: Bodies, found: Fitting) -> pd.DataFrame:
    """Rank the measures by what taking each is expected to settle.

    One row per measure not yet taken well, most telling first: ``measure``; ``how``
    (how it would be taken); ``now`` and ``after`` (chance that the likeliest answer is
    right: one size fits, or none does); ``estimate, low, high`` (``after - now``, 95
    %), ``method, n``. Empty where a limited measure is unknown and not predicted: it
    comes first.

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
    first = float(bodies.weight @ now)
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
        ends = gain[0], gain[0] - half, gain[0] + half
        rows.append((measure, how, first, first + gain[0], *ends))
    table = pd.DataFrame(rows, columns=COLUMNS[:-2]).assign(
        method="expected over simulated readings, cross-fitted; 95 % Monte Carlo "
        "interval",
        n=n,
    )
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
