"""Missing body mass, stature and age, from embedded people built alike.

Sampling-importance-resampling (Rubin 1988): candidates of the same sex, near in what
is known of build (or was said of it), weighed by the likelihood of the girths and
seated measures known; then drawn.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body.chance import Flags, Keys, log_density, patterns, uniforms
from sizing.people.body.model import moments
from sizing.stats.formulas import Floats
from sizing.surveys import read_embedded

#: What is completed, and the columns of said values that may help.
BUILD = ("body_mass_kg", "stature_cm", "age_years")
REPORTED = {"body_mass_kg": "reported_mass_kg", "stature_cm": "reported_stature_cm"}

#: Candidates per person.
CANDIDATES = 192
#: How near a donor is: SD of ln mass, of ln stature and of age in years (a
#: tenth of the age, but half a year at least and three at most). Our choice.
NEAR_LN_MASS, NEAR_LN_STATURE = 0.03, 0.01
NEAR_AGE = (0.5, 0.1, 3.0)
#: Donors who differ in serious difficulty walking count this much. Our choice.
OTHER_WALKING = 0.1
#: Beyond this many of those SDs from the nearest donor nobody alike was met.
FAR = 3.0
_CHUNK = 400


@dataclass(frozen=True)
class Donors:
    """Embedded people of one sex with body mass, stature and age.

    ``build`` (d, 3) is ln mass, ln stature, age; ``walking`` (d,) 1 serious difficulty,
    0 none, NaN not asked; ``said_bias`` and ``said_sd`` (2,) of ln measured - ln said.
    """

    build: Floats
    walking: Floats
    said_bias: Floats
    said_sd: Floats


@dataclass(frozen=True)
class Candidates:
    """Candidates for each person's build, (n, candidates, 3); far: nobody is alike."""

    build: Floats
    weight: Floats
    far: Flags


def _walking(frame: pd.DataFrame) -> Floats:
    asked = frame["walking_difficulty"].astype("Float64")
    return np.asarray(asked.to_numpy(dtype=float, na_value=np.nan), dtype=np.float64)


@lru_cache(maxsize=1)
def donors() -> dict[str, Donors]:
    everyone = read_embedded().frame.dropna(subset=list(BUILD))
    return {sex: _donors(everyone[everyone["sex"] == sex]) for sex in SEXES}


def _donors(people: pd.DataFrame) -> Donors:
    build = people[list(BUILD)].to_numpy(dtype=float).copy()
    build[:, :2] = np.log(build[:, :2])
    gaps = [np.log(people[name]) - np.log(people[s]) for name, s in REPORTED.items()]
    quarter, middle, three = (
        np.array([gap.quantile(q) for gap in gaps]) for q in (0.25, 0.5, 0.75)
    )
    # Slips make the plain SD too wide; the quartiles' distance is 1.349 SD.
    return Donors(build, _walking(people), middle, (three - quarter) / 1.349)


def candidates(
    frame: pd.DataFrame, *, seed: int, keys: Keys, known: Floats
) -> Candidates:
    n = len(frame)
    build = np.empty((n, CANDIDATES, 3))
    weight = np.empty((n, CANDIDATES))
    far = np.zeros(n, dtype=bool)
    start = uniforms(seed, keys, "candidates", 1)[:, 0]
    sex = frame["sex"].to_numpy(dtype=object)
    for one_sex in SEXES:
        whole = np.flatnonzero(sex == one_sex)
        for at in range(0, len(whole), _CHUNK):
            rows = whole[at : at + _CHUNK]
            pool = donors()[one_sex]
            build[rows], far[rows] = _nearby(frame.iloc[rows], pool, start[rows])
            weight[rows] = _likelihood(one_sex, build[rows], known[rows])
    return Candidates(build, weight, far)


def _nearby(
    frame: pd.DataFrame, pool: Donors, start: Floats
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Sample candidates near each person, known values put in their place."""
    n = len(frame)
    given = frame[list(BUILD)].to_numpy(dtype=float)
    target = given.copy()
    target[:, :2] = np.log(given[:, :2])
    low, part, high = NEAR_AGE
    near_age = np.clip(part * given[:, 2], low, high)
    width = np.column_stack(
        [np.full(n, NEAR_LN_MASS), np.full(n, NEAR_LN_STATURE), near_age]
    )
    for i, said in enumerate(REPORTED.values()):
        if said in frame:
            value = np.log(frame[said].to_numpy(dtype=float)) + pool.said_bias[i]
            use = np.isnan(target[:, i]) & np.isfinite(value)
            target[use, i] = value[use]
            width[use, i] = pool.said_sd[i]
    log_weight = np.zeros((n, len(pool.build)))
    for i in range(3):
        rows = np.flatnonzero(np.isfinite(target[:, i]))
        gap = target[rows, i][:, None] - pool.build[:, i]
        log_weight[rows] -= 0.5 * (gap / width[rows, i][:, None]) ** 2
    far = log_weight.max(axis=1) < -0.5 * FAR**2
    if "walking_difficulty" in frame:
        differ = np.abs(_walking(frame)[:, None] - pool.walking) == 1
        log_weight += np.log(OTHER_WALKING) * differ
    total = np.cumsum(np.exp(log_weight - log_weight.max(axis=1)[:, None]), axis=1)
    # Systematic sampling: one random start, even steps.
    steps = np.arange(CANDIDATES) / CANDIDATES
    picks = np.empty((n, CANDIDATES), dtype=np.intp)
    for i, row in enumerate(total):
        picks[i] = np.searchsorted(row, (start[i] / CANDIDATES + steps) * row[-1])
    build = pool.build[np.minimum(picks, len(pool.build) - 1)]
    build[:, :, :2] = np.exp(build[:, :, :2])
    known = np.isfinite(given)[:, None, :]
    return np.where(known, given[:, None, :], build), far


def _likelihood(sex: str, build: Floats, known: Floats) -> Floats:
    n, c, _ = build.shape
    weight = np.full((n, c), 1.0 / c)
    for rows, which in patterns(np.isfinite(known)):
        place = np.flatnonzero(which)
        if len(place) == 0:
            continue
        flat = build[rows].reshape(-1, 3)
        who = np.full(len(flat), sex, dtype=object)
        one = moments(who, *flat.T, measures=[SEATED_AND_GIRTHS[i] for i in place])
        value = np.repeat(np.log(known[rows][:, place]), c, axis=0)
        covariance = one.covariance(sampling=False)
        log_weight = log_density(value - one.mean, covariance).reshape(-1, c)
        raw = np.exp(log_weight - log_weight.max(axis=1)[:, None])
        weight[rows] = raw / raw.sum(axis=1)[:, None]
    return weight


def pick(found: Candidates, u: Floats) -> Floats:
    """Return one candidate's build per person, by uniform numbers ``u``."""
    total = np.cumsum(found.weight, axis=1)
    place = (total < (u * total[:, -1])[:, None]).sum(axis=1)
    place = np.minimum(place, found.weight.shape[1] - 1)
    out: Floats = found.build[np.arange(len(u)), place]
    return out
