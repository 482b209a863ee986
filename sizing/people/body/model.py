"""The body model: its terms and coefficients, and mean and spread by build.

For one sex and one measure ``y`` in cm, ``ln y = beta' phi(q, s, a) + sigma e`` and
``ln sigma = gamma' (1, q, s, a)``, with ``q = ln(BMI / 25)``, ``s = ln(stature / 165
cm)``, ``a`` the age in decades from a centre and ``phi`` the monomials in ``terms``.
The residuals ``e`` of the measures are jointly normal with correlation ``R``.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.resources import source_json, source_table
from sizing.stats.formulas import Floats

#: Where the predictors are centred.
BMI_CENTRE, STATURE_CENTRE_CM = 25.0, 165.0
#: Children's and adults' coefficients are blended between these ages.
SEAM_YEARS = (16.0, 20.0)
#: A whole number below this age means completed years: half a year is added.
COMPLETED_YEARS_BELOW = 20.0
#: Age of the oldest in the survey of soldiers.
OLDEST_SURVEYED = 58.0

#: Terms, predictors within their range and how far q lies above it, by form.
Designs: TypeAlias = dict[bytes, tuple[Floats, Floats, Floats]]
#: What a draw adds to beta: (group, sex, measure) -> coefficients.
Betas: TypeAlias = Callable[[str, str, str], Floats]


def predictors(
    body_mass_kg: npt.ArrayLike,
    stature_cm: npt.ArrayLike,
    age_years: npt.ArrayLike,
    age_centre: float,
) -> Floats:
    """Return the columns ``q, s, a`` of each person."""
    mass, stature, age = (
        np.asarray(one, dtype=float) for one in (body_mass_kg, stature_cm, age_years)
    )
    q = np.log(mass / np.square(stature / 100) / BMI_CENTRE)
    s = np.log(stature / STATURE_CENTRE_CM)
    return np.column_stack([q, s, (age - age_centre) / 10])


def monomials(x: Floats, terms: npt.NDArray[np.int64]) -> Floats:
    """Return ``q^i s^j a^k`` for each row of ``x`` and each row of ``terms``."""
    out = np.ones((len(x), len(terms)))
    for column in range(terms.shape[1]):
        for power in range(1, int(terms[:, column].max()) + 1):
            out[:, terms[:, column] >= power] *= x[:, [column]]
    return out


def tangent_terms(
    x: Floats, terms: npt.NDArray[np.int64], low: Floats, high: Floats
) -> Floats:
    """Return the monomials of ``x``, continued by the tangent outside its range.

    There, ``phi(c) + dphi/dx(c) (x - c)`` with ``c`` the nearest point of the range:
    a square term cannot bend the curve where nobody was measured.
    """
    inside = np.clip(x, low, high)
    out = monomials(inside, terms)
    beyond = x - inside
    for column in range(x.shape[1]):
        rows = np.flatnonzero(beyond[:, column])
        if len(rows) == 0:
            continue
        power = terms[:, column]
        lowered = terms.copy()
        lowered[:, column] = np.maximum(power - 1, 0)
        slope = monomials(inside[rows], lowered) * power
        out[rows] += slope * beyond[rows, column][:, None]
    return out


@dataclass(frozen=True)
class MeasureModel:
    """Coefficients of one measure for one sex.

    ``terms`` (k, 3) are powers of ``q, s, a``. The range fitted on is ``range_q`` (r,
    2) at the ages ``range_age`` (r,), interpolated between, ``range_s``, ``range_a``.
    Beyond the highest ``q``, per unit of it, ``shift`` is what the mean of the
    reasonable forms adds to the tangent, and ``spread`` their SD.
    """

    terms: npt.NDArray[np.int64]
    beta: Floats
    covariance: Floats
    gamma: Floats
    range_age: Floats
    range_q: Floats
    range_s: Floats
    range_a: Floats
    shift: float
    spread: float

    @cached_property
    def root(self) -> Floats:
        """A matrix whose product with its transpose is ``covariance``."""
        values, vectors = np.linalg.eigh(self.covariance)
        root: Floats = vectors * np.sqrt(np.maximum(values, 0))
        return root

    def bounds(self, age_years: Floats) -> tuple[Floats, Floats]:
        """Lowest and highest predictors supported at each age."""
        limits = []
        for side in (0, 1):
            q = np.interp(age_years, self.range_age, self.range_q[:, side])
            rest = [self.range_s[side], self.range_a[side]]
            limits.append(np.column_stack([q, np.tile(rest, (len(q), 1))]))
        return limits[0], limits[1]

    @cached_property
    def _form(self) -> bytes:
        ranges = self.range_age, self.range_q, self.range_s, self.range_a
        return b"".join(part.tobytes() for part in (self.terms, *ranges))

    def design(
        self, x: Floats, age_years: Floats, made: Designs | None = None
    ) -> tuple[Floats, Floats, Floats]:
        """Return terms, ``ln sigma``, ``q`` above its range; forms share ``made``."""
        made = {} if made is None else made
        if self._form not in made:
            low, high = self.bounds(age_years)
            terms = tangent_terms(x, self.terms, low, high)
            above = np.maximum(x[:, 0] - high[:, 0], 0.0)
            made[self._form] = terms, np.clip(x, low, high), above
        terms, inside, above = made[self._form]
        return terms, self.gamma[0] + inside @ self.gamma[1:], above


@dataclass(frozen=True)
class GroupModel:
    age_centre: float
    measures: Mapping[str, MeasureModel]
    correlation: Floats

    def predictors(self, mass: Floats, stature: Floats, age: Floats) -> Floats:
        return predictors(mass, stature, age, self.age_centre)


def measure_model(entry: Mapping[str, Any]) -> MeasureModel:
    names = [name for name in MeasureModel.__dataclass_fields__ if name != "terms"]
    numbers: dict[str, Any] = {n: np.asarray(entry[n], float)[()] for n in names}
    return MeasureModel(np.asarray(entry["terms"], dtype=np.int64), **numbers)


@lru_cache(maxsize=2)
def group_models(group: str) -> dict[str, GroupModel]:
    """Return the coefficients of ``adult`` or ``child``, by sex."""
    content = source_json(f"{group}_model.json")
    found = {}
    for sex in SEXES:
        own = content["sexes"][sex]
        each = {
            name: measure_model(own["measures"][name]) for name in SEATED_AND_GIRTHS
        }
        together = np.asarray(own["correlation"], dtype=float)
        found[sex] = GroupModel(float(content["age_centre"]), each, together)
    return found


def adult_share(age_years: npt.ArrayLike) -> Floats:
    """Weight of the adult model: ``3 t^2 - 2 t^3``, t from 0 at 16 to 1 at 20 years."""
    low, high = SEAM_YEARS
    t = np.clip((np.asarray(age_years, dtype=float) - low) / (high - low), 0, 1)
    return t * t * (3 - 2 * t)


def model_age(age_years: npt.ArrayLike) -> Floats:
    """Return the age the model uses: completed years become mid-year."""
    age = np.asarray(age_years, dtype=float)
    completed = (age < COMPLETED_YEARS_BELOW) & (age == np.floor(age))
    return np.where(completed, age + 0.5, age)


@dataclass(frozen=True)
class Moments:
    """What the model says of the ``ln y`` of each person, (people, measures).

    ``sd`` is the spread between people, ``form_shift_sd`` that of the mean beyond the
    range of BMI, where forms disagree, ``error_sd`` how far the mean may be off (error
    of the coefficients, typical error in populations never seen), ``share`` (people,)
    the weight of the adult model.
    """

    measures: tuple[str, ...]
    mean: Floats
    sd: Floats
    form_shift_sd: Floats
    error_sd: Floats
    share: Floats
    sex: npt.NDArray[np.object_]

    def take(self, rows: npt.NDArray[np.intp]) -> "Moments":
        of_people = {k: v[rows] for k, v in vars(self).items() if k != "measures"}
        return Moments(self.measures, **of_people)

    def correlation(self) -> Floats:
        place = [SEATED_AND_GIRTHS.index(name) for name in self.measures]
        out = np.empty((len(self.share), len(place), len(place)))
        for sex in SEXES:
            rows = np.flatnonzero(self.sex == sex)
            child, adult = (
                group_models(group)[sex].correlation[np.ix_(place, place)]
                for group in ("child", "adult")
            )
            w = self.share[rows][:, None, None]
            out[rows] = (1 - w) * child + w * adult
        return out

    def covariance(self, *, sampling: bool = True, form: bool = True) -> Floats:
        """Covariance (n, p, p) of ``ln y``: of people, the means' error, the forms."""

        def outer(sd: Floats) -> Floats:
            product: Floats = sd[:, :, None] * sd[:, None, :]
            return product

        scale = outer(self.sd)
        if sampling:
            scale = scale + outer(self.error_sd)
        out = scale * self.correlation()
        return out + outer(self.form_shift_sd) if form else out


def moments(
    sex: npt.NDArray[np.object_],
    mass: Floats,
    stature: Floats,
    age: Floats,
    *,
    measures: Sequence[str] = SEATED_AND_GIRTHS,
    betas: Betas | None = None,
    sampling: bool = False,
    bias: bool = True,
) -> Moments:
    """Return mean and spread of ``ln y`` by build; ``sampling``: the mean's error."""
    years = model_age(age)
    share = adult_share(years)
    mean, log_sd, form, error = (np.zeros((len(sex), len(measures))) for _ in range(4))
    for group, weight in (("child", 1 - share), ("adult", share)):
        for one_sex, model in group_models(group).items():
            rows = np.flatnonzero((sex == one_sex) & (weight > 0))
            if len(rows) == 0:
                continue
            x = model.predictors(mass[rows], stature[rows], years[rows])
            w = weight[rows]
            made: Designs = {}
            for j, name in enumerate(measures):
                one = model.measures[name]
                terms, spread, above = one.design(x, years[rows], made)
                beta = one.beta if betas is None else betas(group, one_sex, name)
                mean[rows, j] += w * (terms @ beta + one.shift * above)
                log_sd[rows, j] += w * spread
                form[rows, j] += w * one.spread * above
                if sampling:
                    root = terms @ one.root
                    error[rows, j] += w * np.sqrt((root**2).sum(axis=1))
    for one_sex in SEXES:
        rows = np.flatnonzero((sex == one_sex) & (years > OLDEST_SURVEYED))
        for j, name in enumerate(measures):
            shift, times = older_law(one_sex, name, years[rows])
            mean[rows, j] += shift
            log_sd[rows, j] += np.log(times)
    if sampling and bias:
        place = [SEATED_AND_GIRTHS.index(name) for name in measures]
        error = np.hypot(error, model_bias(share)[:, place])
    return Moments(tuple(measures), mean, np.exp(log_sd), form, error, share, sex)


def model_bias(share: npt.ArrayLike = 1.0) -> Floats:
    """Typical error of mean logs in populations never seen (``model_bias.csv``)."""
    child, adult = _biases()
    return child + np.asarray(share, dtype=float)[..., None] * (adult - child)


@lru_cache(maxsize=1)
def _biases() -> tuple[Floats, Floats]:
    table = source_table("model_bias.csv").set_index(["group", "measure"])
    own = table["relative_sd"].unstack("group").reindex(SEATED_AND_GIRTHS)
    # Of a measure just added nothing is known: the largest of the others.
    own = own.fillna(own.max())
    return own["child"].to_numpy(dtype=float), own["adult"].to_numpy(dtype=float)


def older_law(sex: str, measure: str, age_years: Floats) -> tuple[Floats, Floats]:
    """Return what age beyond the oldest surveyed adds to ``ln y``, and times its SD."""
    ages, shift, times = _older_knots()[sex, measure]
    return np.interp(age_years, ages, shift), np.interp(age_years, ages, times)


@lru_cache(maxsize=1)
def _older_knots() -> dict[tuple[str, str], Floats]:
    table = source_table("older_widths.csv")
    columns = ["age_years", "shift", "drawn_times"]
    return {
        (str(sex), str(name)): part[columns].to_numpy(dtype=float).T
        for (sex, name), part in table.groupby(["sex", "measure"])
    }
