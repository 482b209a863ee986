"""The regression terms of the body model and their coefficients.

For one sex and one measure ``y`` in centimetres the model reads

    ln y = beta' phi(q, s, a) + sigma e,    ln sigma = gamma' (1, q, s, a),

with ``q = ln(BMI / 25)``, ``s = ln(stature / 165 cm)``, ``a`` the age in
decades from a centre, and ``phi`` the monomials listed in ``terms``. The
residuals ``e`` of the measures are jointly normal with correlation ``R``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, TypeAlias

import numpy as np
import numpy.typing as npt

from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.resources import source_json

Floats = npt.NDArray[np.float64]

#: Where the predictors are centred.
BMI_CENTRE = 25.0
STATURE_CENTRE_CM = 165.0


def predictors(
    body_mass_kg: npt.ArrayLike,
    stature_cm: npt.ArrayLike,
    age_years: npt.ArrayLike,
    age_centre: float,
) -> Floats:
    """Return the columns ``q, s, a`` of each person.

    >>> predictors([68.0625], [165.0], [55.0], 45.0).round(6).tolist()
    [[0.0, 0.0, 1.0]]
    """
    mass = np.asarray(body_mass_kg, dtype=float)
    stature = np.asarray(stature_cm, dtype=float)
    age = np.asarray(age_years, dtype=float)
    bmi = mass / np.square(stature / 100)
    return np.column_stack(
        [
            np.log(bmi / BMI_CENTRE),
            np.log(stature / STATURE_CENTRE_CM),
            (age - age_centre) / 10,
        ]
    )


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
    """Return the terms of ``x``, continued by the tangent outside its range.

    Inside ``low <= x <= high`` these are the monomials. Outside, with ``c`` the
    nearest point of the range, ``phi(c) + dphi/dx(c) (x - c)``: the curve goes
    on as a straight line on the logarithmic scale and a square term cannot
    bend it where nobody was measured.
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


#: Terms, predictors within their range and how far q lies above it, by form.
Designs: TypeAlias = dict[bytes, tuple[Floats, Floats, Floats]]


@dataclass(frozen=True)
class MeasureModel:
    """Coefficients of one measure for one sex.

    - ``terms`` (k, 3): Powers of ``q, s, a`` in each term.
    - ``beta, covariance`` (k,) and (k, k): Coefficients of the mean of ``ln y`` and
      their sampling covariance.
    - ``gamma`` (4,): Coefficients of ``ln sigma`` on ``1, q, s, a``.
    - ``range_age`` (r,): Ages at which ``range_q`` is given; between them it is
      interpolated.
    - ``range_q`` (r, 2): Lowest and highest ``q`` the coefficients were fitted on.
    - ``range_s, range_a`` (2,): The same for ``s`` and ``a``.
    - ``shift, spread``: Beyond the highest ``q``, per unit of ``q``: what the mean of
      the reasonable forms adds to the tangent, and their SD.
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
        n = len(age_years)
        limits = []
        for side in (0, 1):
            q = np.interp(age_years, self.range_age, self.range_q[:, side])
            rest = np.tile([self.range_s[side], self.range_a[side]], (n, 1))
            limits.append(np.column_stack([q, rest]))
        return limits[0], limits[1]

    @cached_property
    def _form(self) -> bytes:
        ranges = self.range_age, self.range_q, self.range_s, self.range_a
        return b"".join(part.tobytes() for part in (self.terms, *ranges))

    def design(
        self, x: Floats, age_years: Floats, made: Designs | None = None
    ) -> tuple[Floats, Floats, Floats]:
        """Return terms, ``ln sigma`` and how far ``q`` lies above its range.

        ``made`` keeps what measures of one form share, for the same ``x`` and ages.
        """
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

    def predictors(
        self, mass: Floats, stature: Floats, age: Floats
    ) -> npt.NDArray[np.float64]:
        """Return ``q, s, a`` for this group's age centre."""
        return predictors(mass, stature, age, self.age_centre)


def measure_model(entry: Mapping[str, Any]) -> MeasureModel:
    def array(name: str) -> Floats:
        return np.asarray(entry[name], dtype=float)

    return MeasureModel(
        terms=np.asarray(entry["terms"], dtype=np.int64),
        beta=array("beta"),
        covariance=array("covariance"),
        gamma=array("gamma"),
        range_age=array("range_age"),
        range_q=array("range_q"),
        range_s=array("range_s"),
        range_a=array("range_a"),
        shift=float(entry["shift"]),
        spread=float(entry["spread"]),
    )


@lru_cache(maxsize=2)
def group_models(group: str) -> dict[str, GroupModel]:
    """Return the coefficients of ``adult`` or ``child``, by sex.

    >>> sorted(group_models("adult"))
    ['female', 'male']
    """
    content = source_json(f"{group}_model.json")
    return {
        sex: GroupModel(
            age_centre=float(content["age_centre"]),
            measures={
                name: measure_model(content["sexes"][sex]["measures"][name])
                for name in SEATED_AND_GIRTHS
            },
            correlation=np.asarray(content["sexes"][sex]["correlation"], dtype=float),
        )
        for sex in SEXES
    }
