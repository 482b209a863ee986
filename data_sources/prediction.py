"""Estimates of the measures nobody took, with intervals: what the checks compare.

Commands and pages draw bodies (``draw_measures``) or weigh a client's; the draws are
held to these estimates by the tests.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS
from sizing.people.body import donors as model_donors
from sizing.people.body.chance import condition_normal, keys_of
from sizing.people.body.draw import checked, evidence_levels
from sizing.people.body.model import moments
from sizing.stats.formulas import Floats

_PREDICTED = EVIDENCE.index("predicted")
_EXTRAPOLATED = EVIDENCE.index("extrapolated")


@dataclass(frozen=True)
class Prediction:
    """Estimates of every measure of n persons, jointly normal in logarithms.

    ``mean`` (n, p) and ``covariance`` (n, p, p) are those of the logarithms of
    ``MEASURES``, ``given`` (n, p) values known exactly, NaN elsewhere; ``evidence``
    has one row per person, one column per measure.
    """

    person: tuple[object, ...]
    mean: Floats
    covariance: Floats
    given: Floats
    evidence: pd.DataFrame

    @property
    def sd(self) -> Floats:
        """SD of the logarithms, shape (n, p)."""
        return np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2))

    @property
    def table(self) -> pd.DataFrame:
        """Median and 90 % interval per person and measure, in cm or kg.

        Columns ``person, measure, estimate, low, high, evidence``.
        """
        n, p = self.mean.shape
        reach = float(ndtri(0.95)) * self.sd
        # The logarithm of a given value need not come back to the same number.
        exact = np.isfinite(self.given)
        return pd.DataFrame(
            {
                "person": pd.Series(self.person).repeat(p).to_numpy(),
                "measure": np.tile(np.array(MEASURES, dtype=object), n),
                "estimate": np.where(exact, self.given, np.exp(self.mean)).ravel(),
                "low": np.where(exact, self.given, np.exp(self.mean - reach)).ravel(),
                "high": np.where(exact, self.given, np.exp(self.mean + reach)).ravel(),
                "evidence": self.evidence[list(MEASURES)].to_numpy().ravel(),
            }
        )


def predict_measures(frame: pd.DataFrame) -> Prediction:
    """Estimate every measure of each person; ``frame`` as for ``draw_measures``.

    Measures given are exact there. Spread between people, sampling error of the
    coefficients and the disagreement of the forms beyond the BMI anybody had are all
    in the covariance. Where body mass, stature or age is missing, mean and
    covariance are those of the weighted candidates.
    """
    people = checked(frame)
    n, p = len(people), len(MEASURES)
    sex = people["sex"].to_numpy(dtype=object)
    build = people[list(model_donors.BUILD)].to_numpy(dtype=float)
    known = people[list(SEATED_AND_GIRTHS)].to_numpy(dtype=float)
    mean, covariance = np.empty((n, p)), np.zeros((n, p, p))
    whole = np.isfinite(build).all(axis=1)
    typical, far = build.copy(), np.zeros(n, dtype=bool)
    rows = np.flatnonzero(whole)
    one = moments(sex[rows], *build[rows].T, sampling=True)
    mean[rows] = np.column_stack([np.log(build[rows, :2]), one.mean])
    covariance[rows, 2:, 2:] = one.covariance()
    gaps = np.flatnonzero(~whole)
    if len(gaps):
        # The candidates' own numbers come from a fixed seed: an estimate should
        # not change from one call to the next.
        found = model_donors.candidates(
            people.iloc[gaps],
            seed=0,
            keys=keys_of(people["person"].iloc[gaps]),
            known=known[gaps],
        )
        far[gaps] = found.far
        typical[gaps] = np.einsum("nc,nck->nk", found.weight, found.build)
        mean[gaps], covariance[gaps] = _mixture(sex[gaps], found)
    given = people[list(MEASURES)].to_numpy(dtype=float)
    mean, covariance = condition_normal(
        mean, covariance, np.log(given), np.zeros_like(given)
    )
    level = evidence_levels(
        sex, typical[:, 0], typical[:, 1], typical[:, 2], SEATED_AND_GIRTHS
    )
    word = np.array(EVIDENCE, dtype=object)
    evidence = pd.DataFrame(word[level], columns=list(SEATED_AND_GIRTHS))
    for name in MEASURES[:2]:
        evidence[name] = np.where(far, word[_EXTRAPOLATED], word[_PREDICTED])
    evidence = evidence[list(MEASURES)].mask(np.isfinite(given), EVIDENCE[0])
    return Prediction(tuple(people["person"]), mean, covariance, given, evidence)


def _mixture(
    sex: npt.NDArray[np.object_], found: model_donors.Candidates
) -> tuple[Floats, Floats]:
    """Mean and covariance over candidates: within plus between."""
    n, c = found.weight.shape
    flat = found.build.reshape(-1, 3)
    one = moments(np.repeat(sex, c), *flat.T, sampling=True)
    means = np.column_stack([np.log(flat[:, :2]), one.mean]).reshape(n, c, -1)
    mean = np.einsum("nc,ncp->np", found.weight, means)
    gap = means - mean[:, None, :]
    covariance = np.einsum("nc,ncp,ncq->npq", found.weight, gap, gap)
    within = one.covariance().reshape(n, c, *covariance[0, 2:, 2:].shape)
    covariance[:, 2:, 2:] += np.einsum("nc,ncpq->npq", found.weight, within)
    return mean, covariance
