"""What of a client was measured or looks wrong, and what to measure next."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy.special import chdtrc, ndtri

from sizing.client.client import Client, like_a_child
from sizing.client.outcomes import Fitting
from sizing.client.posterior import Bodies, build_of, draw_bodies
from sizing.client.readings import (
    ESTIMATED,
    MASS,
    STATURE,
    TAKEN,
    Reading,
    reading,
    usual_error,
)
from sizing.errors import Problem
from sizing.measures import (
    EVIDENCE,
    MEASURES,
    OF_KIND,
    SEATED_AND_GIRTHS,
    SEXES,
    UNIT_WORDS,
    Amount,
    Said,
    Worded,
    joined,
    labels,
    plain,
)
from sizing.people.body.draw import evidence_levels
from sizing.resources import texts
from sizing.stats.formulas import Floats

_T = texts("problems")
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
#: A reading this many SDs from what the others let expect is doubted, if the
#: readings together are also rarer than RARE among people (our choice, no
#: source; a test counts how many survey people are doubted).
FAR, RARE = 4.0, 1e-4
#: Draws behind the joint distribution; and how near its mean, in SDs, a slip of unit
#: that is named brings the reading.
_DRAWS, _NEAR = 256, 2.0
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
    mass, stature = quantiles[1, :1], quantiles[1, 1:2]
    order = np.argsort(bodies.age_years)
    middle = np.searchsorted(np.cumsum(bodies.weight[order]), 0.5)
    at = mass, stature, bodies.age_years[order[middle : middle + 1]]
    sexes = np.array([[one] for one in SEXES if client.sex in (None, one)], object)
    levels = [evidence_levels(one, *at, SEATED_AND_GIRTHS)[0] for one in sexes]
    names = {"measure": MEASURES, "label": [labels()[m] for m in MEASURES]}
    known = client.table.set_index("measure").reindex(MEASURES).reset_index()
    how = known["how"].fillna("")
    # An estimate as it was worked out.
    if client.stature is not None:
        best, worked_out = client.stature.best, how == ESTIMATED
        known.loc[worked_out, ["value", "sd"]] = best["estimate"], best["sd_cm"]
    told = ["predicted"] * 2 + [EVIDENCE[i] for i in np.max(levels, axis=0)]
    words = np.array(told, dtype=object)
    words[how.isin([*TAKEN, "exact"])] = EVIDENCE[0]
    words[np.isnan(quantiles[1])] = EVIDENCE[-1]
    return pd.DataFrame(names).assign(
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
    """Say why the model's word on this person is worth less; "" where it is not."""
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
    """Rank the measures not yet taken well by what taking each is expected to settle.

    None where one must come first. Expected value of information (Raiffa and Schlaifer,
    Applied Statistical Decision Theory, 1961, from memory): ``after - now`` is the gain
    in the chance that the likeliest answer is right. In each class of readings half of
    the builds choose it and the others judge: nothing is gained by choosing on noise.
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
        # Whoever cannot stand is not asked to.
        skip = client.stature is not None and measure == STATURE
        # A condition forbids to predict what it would be read as.
        skip |= bool(np.isnan(bodies.values[0, j]))
        taken = known.get(measure)
        if skip or (taken and taken.sd <= _POOR * usual_error(measure)):
            continue
        how = "scale" if measure == MASS else "tape once"
        read = bodies.values[:, j] + noise * reading(measure, 1.0, how).sd
        classes = _sorted(read, bodies.weight)
        after = _right(classes, _CLASSES, fold, bodies, answers)
        gain, variance = bodies.share((after - now)[:, None])
        half = ndtri(0.975) * np.sqrt(variance[0])
        ends = gain[0], gain[0] - half, gain[0] + half
        rows.append((measure, how, first, first + gain[0], *ends))
    method = "expected over simulated readings, cross-fitted; 95 % Monte Carlo interval"
    table = pd.DataFrame(rows, columns=COLUMNS[:-2]).assign(method=method, n=n)
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


# What looks wrong among the entries, judged against people's joint measures


def doubtful(client: Client, *, seed: int = 1) -> tuple[Problem, ...]:
    """Name readings that do not go with the rest of the person.

    Of ln readings ``y`` with mean ``m``, and ``P`` the inverse of their covariance with
    errors, ``z_k = (P (y - m))_k / sqrt(P_kk)``; ``(y - m)' P (y - m)`` is chi-square.
    """
    found: list[Problem] = []
    build = [one for one in client.readings if one.measure in MEASURES[:2]]
    if build:
        found += _among(build, *build_of(client.sex, client.age_years), client)
    wrong = [problem.column for problem in found]
    kept = [one for one in build if one.measure not in wrong]
    if seated := [one for one in client.readings if one not in build]:
        found += _among(seated, *_people(client, kept, seed), client)
    return tuple(found)


def _people(
    client: Client, build: Sequence[Reading], seed: int
) -> tuple[Floats, Floats]:
    """Return mean and covariance of ln measures among people of that build."""
    bodies = draw_bodies(
        client.sex, client.age_years, build, seed=seed, draws=_DRAWS, unlike=0.0
    )
    logs = np.log(bodies.values)
    mean = bodies.weight @ logs
    gap = logs - mean
    return mean, (gap * bodies.weight[:, None]).T @ gap


def _among(
    readings: Sequence[Reading], mean: Floats, covariance: Floats, client: Client
) -> list[Problem]:
    found: list[Problem] = []
    rest = list(readings)
    while rest:
        place = np.array([MEASURES.index(one.measure) for one in rest])
        gap = np.array([one.log_value for one in rest]) - mean[place]
        error = np.diag([one.log_sd**2 for one in rest])
        precision = np.linalg.inv(covariance[np.ix_(place, place)] + error)
        pull = precision @ gap
        z = pull / np.sqrt(np.diag(precision))
        chance = float(chdtrc(len(rest), gap @ pull))
        worst = int(np.abs(z).argmax())
        if abs(z[worst]) < FAR or chance > RARE:
            break
        one = rest.pop(worst)
        # y_k - pull_k / P_kk is its mean given the others, 1 / P_kk the variance.
        spread = 1.0 / np.sqrt(precision[worst, worst])
        centre = one.log_value - z[worst] * spread
        found.append(_words(one, centre, spread, client))
    return found


def _words(one: Reading, centre: float, spread: float, client: Client) -> Problem:
    low, mid, high = np.exp(centre + spread * np.array([-3.0, 0.0, 3.0])).round()
    what = Said(
        "with the rest of what was entered, a {name} of about {mid} would be expected "
        "(nearly all such people: {usual})",
        name=plain(one.measure),
        mid=Amount(mid, one.measure),
        usual=Amount(low, one.measure, high),
    )
    hints = _units(one, centre, spread)
    age = 0.0 if client.age_years is None else client.age_years
    if child := like_a_child(one.measure, one.value, client.sex or "", age):
        hints.append(f"{child}; ")
    again = "measure it again" if one.how != ESTIMATED else "measure the segment again"
    do = "{again}; if it is right, {confirm}"
    hints.append(Said(do, again=again, confirm=Worded(**_T.confirm)))
    at = None, None, one.measure, round(float(one.value), 1)
    return Problem(what, "", joined(hints, link=""), *at)


def _units(one: Reading, centre: float, spread: float) -> list[str]:
    """Name units in which the number would be what is expected."""
    # On a form in other units the number is not the one that was typed.
    kind = "mass" if one.measure.endswith("_kg") else "length"
    standard = {"mass": "kg", "length": "cm"}[kind]
    would = "it would fit if the number were in {}; "
    return [
        Worded(would.format(UNIT_WORDS[unit]), form_other="")
        for unit, factor in OF_KIND[kind].items()
        if unit != standard
        and abs(np.log(one.value * factor) - centre) < _NEAR * max(spread, 0.03)
    ]
