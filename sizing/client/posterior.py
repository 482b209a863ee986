"""What a person's body may be, given what is known of it: joint draws."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from sizing.client.client import Client
from sizing.client.draws import COLUMNS, as_read, even_numbers, older_times, quantile
from sizing.client.readings import Reading
from sizing.measures import MEASURES, SEATED_AND_GIRTHS, SEXES
from sizing.people.body.chance import condition_normal, log_density
from sizing.people.body.donors import NEAR_AGE, NEAR_LN_MASS, NEAR_LN_STATURE, donors
from sizing.people.body.draw import broken_ratios
from sizing.people.body.model import Moments, model_age, moments
from sizing.stats.formulas import Floats

#: Bodies drawn, and builds among them: fewer where readings fix the build.
DRAWS, BUILDS, BUILDS_IF_KNOWN = 4096, 512, 256
#: A reading of the build with less than this relative error fixes it.
FIXED = 0.03
#: Below this share of effective builds a second, better aimed round is drawn.
ENOUGH = 0.4
#: Ages above this are recorded as this among the embedded people.
OLDEST = 80.0
_KERNEL = np.array([NEAR_LN_MASS**2, NEAR_LN_STATURE**2])
#: The kernel is widened by this factor until so many embedded people carry the
#: weight: where few are built alike, a narrow one would draw the person to them.
WIDER, ALIKE, _MOST_STEPS = 1.6, 20.0, 8
#: Share of people unlike those surveyed, and how many times as wide each of their
#: seated measures and girths is spread, by itself. Our choice, no source: with one
#: in ten, of sizes said to fit soldiers left out with 80 % 83 % do, with one in
#: twenty 82 %, with none 80 %.
UNLIKE, TIMES = 0.05, 3.0
#: A rule of proportion that would rule out more than this is broken by the readings
#: themselves, and not applied.
_BROKEN = 0.5
#: Smallest error on the logarithmic scale: a hundredth of a millimetre in 100 cm.
_LEAST = 1e-7


@dataclass(frozen=True)
class Bodies:
    """Weighted joint draws of true measures (cm, kg), dependent within a ``build``."""

    values: Floats
    weight: Floats
    build: npt.NDArray[np.int64]
    sex: npt.NDArray[np.object_]
    age_years: Floats

    @property
    def effective(self) -> float:
        """Kish's effective number of builds."""
        return float(1.0 / np.square(self.build_weight).sum())

    @property
    def build_weight(self) -> Floats:
        return np.bincount(self.build, self.weight).astype(float)

    def share(self, what: npt.NDArray[np.generic]) -> tuple[Floats, Floats]:
        """Return weighted means of columns and their Monte Carlo variances."""
        x = np.asarray(what, dtype=float)
        mean = self.weight @ x
        by_build = np.column_stack(
            [np.bincount(self.build, self.weight * column) for column in x.T]
        )
        w = self.build_weight
        return mean, np.square(by_build - w[:, None] * mean).sum(axis=0)

    def quantile(self, q: Sequence[float]) -> Floats:
        """Return weighted quantiles of every measure, shape (len(q), 10)."""
        columns = [quantile(column, self.weight, q) for column in self.values.T]
        return np.column_stack(columns)


#: Ln mass and ln stature, age and sex: of embedded people, or of builds drawn.
_People: TypeAlias = tuple[Floats, Floats, npt.NDArray[np.object_]]


@lru_cache(maxsize=4)
def _pool(sex: str | None) -> _People:
    sexes = SEXES if sex is None else (sex,)
    found = [donors()[one].build for one in sexes]
    names = np.array(sexes, dtype=object).repeat([len(one) for one in found])
    build = np.vstack(found)
    return build[:, :2], build[:, 2], names


@lru_cache(maxsize=8)
def _numbers(seed: int, builds: int, draws: int) -> tuple[Floats, Floats]:
    """Return evenly spread numbers: 3 per build, normals per body."""
    first = even_numbers(builds, 3, np.random.default_rng([seed, 1]))
    parts = []
    for start in range(0, len(SEATED_AND_GIRTHS), COLUMNS):
        generator = np.random.default_rng([seed, 2 + start])
        columns = min(COLUMNS, len(SEATED_AND_GIRTHS) - start)
        # Sobol points of two sequences share their order; mixing them undoes it.
        parts.append(generator.permutation(even_numbers(draws, columns, generator)))
    return first, ndtri(np.hstack(parts).clip(1e-12, 1 - 1e-12))


def draw_bodies(
    sex: str | None,
    age_years: float | None,
    readings: Sequence[Reading],
    *,
    seed: int = 1,
    draws: int = DRAWS,
    fewer: int = 1,
    unlike: float = UNLIKE,
    confirmed: bool = False,
) -> Bodies:
    """Draw jointly what all measures may be, given the readings.

    With d a donor's ln mass and ln stature, H the kernel, L and h precision and
    information of the readings, the component of d becomes normal with precision
    ``P = H^-1 + L``, mean ``P^-1 (H^-1 d + h)``, weight ``exp((m'Pm - d'H^-1 d) / 2)``.
    Builds drawn from it are weighed by the density of the seated readings; where few
    carry the weight, a second round aims at them and divides it out again. The rest is
    normal given the build, or, with probability ``unlike``, spread three times as wide.
    ``fewer``: by how many times there are fewer builds among the draws.
    """
    pool, near = _pool(sex), _near_in_age(sex, age_years)
    log_value, variance = np.full(len(MEASURES), np.nan), np.zeros(len(MEASURES))
    for one in readings:
        j = MEASURES.index(one.measure)
        log_value[j], variance[j] = one.log_value, max(one.log_sd, _LEAST) ** 2
    read, seated, error = np.isfinite(log_value[:2]), log_value[2:], variance[2:]
    centre = np.where(read, log_value[:2], pool[0].mean(axis=0))
    precision = np.diag(np.where(read, 1.0 / np.where(read, variance[:2], 1.0), 0.0))
    fixed = read.all() and (variance[:2] < FIXED**2).all()
    builds = min((BUILDS_IF_KNOWN if fixed else BUILDS) // fewer, draws)
    u, z = _numbers(seed, builds, draws)
    aim = np.zeros((2, 2)), np.zeros(2)
    for last in (False, True):
        parts = _builds(pool, near, age_years, centre, precision, aim, u)
        mass, stature = np.exp(parts[0].T)
        law = moments(parts[2], mass, stature, parts[1], sampling=True)
        laws = _laws(law, unlike, older_times(parts[2], parts[1]))
        each = (np.log(p) + _seated_density(law, s, seated, error) for p, s in laws)
        density = np.stack(list(each))
        x = parts[0] - centre
        # What the aim must be divided out by.
        aimed = 0.5 * np.einsum("ni,ij,nj->n", x, aim[0], x) - x @ aim[1]
        log_weight = aimed + np.logaddexp.reduce(density)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        if last or 1.0 / np.square(weight).sum() >= ENOUGH * builds:
            break
        aim = _aim_at(x, weight)
    # The chance of each build that it is not the first law's, of people as surveyed.
    unlikely = 1.0 - np.exp(density[0] - np.logaddexp.reduce(density))
    logs = _seated(law.mean, [s for _, s in laws], unlikely, seated, error, z)
    return _bodies(parts, logs, weight, readings, confirmed)


def _laws(one: Moments, unlike: float, older: Floats) -> list[tuple[float, Floats]]:
    """Return share and covariance of people as surveyed, and of those unlike them."""
    surveyed = one.covariance()
    if unlike == 0:
        return [(1.0, surveyed)]
    shares, found = (1.0 - unlike, unlike), (surveyed, surveyed.copy())
    place = np.arange(surveyed.shape[1])
    # How far the model may be off is not what varies between people.
    people = surveyed[:, place, place] - np.square(one.error_sd)
    for s, times in zip(found, (older, np.maximum(older, TIMES)), strict=True):
        s[:, place, place] += (np.square(times) - 1.0) * people
    return list(zip(shares, found, strict=True))


def _builds(
    pool: _People,
    near: Floats,
    age_years: float | None,
    centre: Floats,
    precision: Floats,
    aim: tuple[Floats, Floats],
    u: Floats,
) -> _People:
    """Draw ln mass and ln stature, age and sex from the conditioned mixture."""
    builds, ages, sexes = pool
    d = builds - centre
    for step in range(_MOST_STEPS):
        kernel = np.diag(1.0 / _KERNEL) / WIDER ** (2 * step)
        total = kernel + precision + aim[0]
        # Symmetric, so that rows may be multiplied from the right.
        mean = (d @ kernel + aim[1]) @ np.linalg.inv(total)
        log_weight = near + 0.5 * (
            ((mean @ total) * mean).sum(axis=1) - ((d @ kernel) * d).sum(axis=1)
        )
        each = np.exp(log_weight - log_weight.max())
        if each.sum() ** 2 / np.square(each).sum() >= ALIKE:
            break
    weight = np.cumsum(each)
    pick = np.searchsorted(weight, u[:, 0] * weight[-1])
    pick = np.minimum(pick, len(weight) - 1)
    root = np.linalg.cholesky(np.linalg.inv(total))
    build = centre + mean[pick] + ndtri(u[:, 1:]) @ root.T
    age = ages[pick] if age_years is None else np.full(len(u), float(age_years))
    return build, age, sexes[pick]


@lru_cache(maxsize=256)
def _near_in_age(sex: str | None, age_years: float | None) -> Floats:
    """Return each embedded person's log weight by age; kept, so not to be changed."""
    ages = _pool(sex)[1]
    if age_years is None:
        return np.zeros(len(ages))
    low, part, high = NEAR_AGE
    year = float(model_age(age_years))
    near = np.clip(part * year, low, high)
    gap = np.minimum(year, OLDEST) - np.minimum(model_age(ages), OLDEST)
    log_weight: Floats = -0.5 * np.square(gap / near)
    return log_weight


@lru_cache(maxsize=256)
def build_of(sex: str | None, age_years: float | None) -> tuple[Floats, Floats]:
    """Return mean and covariance of ln mass and ln stature at that sex and age."""
    builds = _pool(sex)[0]
    log_weight = _near_in_age(sex, age_years)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = weight @ builds
    gap = builds - mean
    return mean, (gap * weight[:, None]).T @ gap + np.diag(_KERNEL)


def _seated_density(
    one: Moments, covariance: Floats, seated: Floats, error: Floats
) -> Floats:
    """Return the log density of the seated readings given each build."""
    place = np.flatnonzero(np.isfinite(seated))
    if len(place) == 0:
        return np.zeros(len(one.mean))
    part = covariance[:, place[:, None], place] + np.diag(error[place])
    return log_density(seated[place] - one.mean[:, place], part)


def _aim_at(x: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Return a normal likelihood that moves the builds to where the weight is."""
    moved = weight @ x
    gap = x - moved
    # A few heavy builds understate their own spread: widen by the kernel.
    after = (gap * weight[:, None]).T @ gap + np.diag(_KERNEL)
    before = np.cov(x.T)
    more = np.linalg.inv(after) - np.linalg.inv(before)
    values, vectors = np.linalg.eigh((more + more.T) / 2)
    more = (vectors * np.maximum(values, 0.0)) @ vectors.T
    # Mean of the two normals' product is where the weight is.
    information = np.linalg.solve(before, moved - x.mean(axis=0)) + more @ moved
    return more, np.where(np.isfinite(information), information, 0.0)


def _seated(
    mean: Floats,
    covariances: Sequence[Floats],
    unlikely: Floats,
    seated: Floats,
    error: Floats,
    z: Floats,
) -> Floats:
    """Draw ln seated measures; ``unlikely``: each build's chance of the second law."""
    n, p = mean.shape
    each = len(z) // n
    # Steps of the golden ratio: even over the builds, whatever their number.
    start = (np.arange(n) * 0.6180339887498949) % 1.0
    of_second = (np.arange(each) + start[:, None]) / each < unlikely[:, None]
    out = np.empty((n, each, p))
    for number, covariance in enumerate(covariances):
        known = (np.broadcast_to(one, (n, p)) for one in (seated, error))
        centre, rest = condition_normal(mean, covariance, *known)
        root = np.linalg.cholesky(rest + 1e-18 * np.eye(p))
        drawn = centre[:, None, :] + z.reshape(n, each, p) @ root.swapaxes(1, 2)
        mine = of_second if number else ~of_second
        out[mine] = drawn[mine]
    return out.reshape(-1, p)


def _bodies(
    parts: _People,
    logs: Floats,
    weight: Floats,
    readings: Sequence[Reading],
    confirmed: bool,
) -> Bodies:
    n = len(weight)
    each = len(logs) // n
    values = np.exp(np.column_stack([np.repeat(parts[0], each, axis=0), logs]))
    age = np.repeat(parts[1], each)
    w = np.repeat(weight / each, each)
    broken = broken_ratios(np.column_stack([values[:, :2], age]), values[:, 2:])
    bearing = w @ broken < _BROKEN
    impossible = np.asarray(broken[:, bearing].any(axis=1), dtype=bool)
    if w[impossible].sum() < _BROKEN:
        w = np.where(impossible, 0.0, w)
    w = w / w.sum()
    for one in readings:
        j = MEASURES.index(one.measure)
        values[:, j] = as_read(values[:, j], w, one, confirmed)
    build, sex = np.repeat(np.arange(n), each), np.repeat(parts[2], each)
    return Bodies(values, w, build, sex, age)


def bodies_of(
    client: Client, *, seed: int = 1, confirmed: bool = False, fewer: int = 1
) -> Bodies:
    """Draw a client's measures; what a condition changes by its own reading, or NaN."""
    about = client.sex, client.age_years, client.unchanged.readings
    many = DRAWS // fewer
    bodies = draw_bodies(
        *about, seed=seed, draws=many, fewer=fewer, confirmed=confirmed
    )
    values = bodies.values.copy()
    rng = np.random.default_rng([seed, 3])
    for name in client.touched:
        column = values[:, MEASURES.index(name)]
        column[:] = np.nan
        one = client.known.get(name)
        if one is not None:
            # Even over the weights, in an order that no other measure shares.
            order = rng.permutation(len(column))
            weight = bodies.weight[order]
            even = ndtri((np.cumsum(weight) - weight / 2).clip(1e-9, 1 - 1e-9))
            column[order] = np.exp(one.log_value + one.log_sd * even)
    return replace(bodies, values=values)
