"""Estimates of the measures nobody took, with intervals and correlations."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from sizing.errors import SizingError, one_of
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS
from sizing.people.body import donors as model_donors
from sizing.people.body.conditional import condition_normal
from sizing.people.body.evidence import evidence_levels
from sizing.people.body.gate import checked
from sizing.people.body.moments import moments
from sizing.people.body.noise import keys_of
from sizing.people.body.terms import Floats

_PREDICTED = EVIDENCE.index("predicted")
_EXTRAPOLATED = EVIDENCE.index("extrapolated")


@dataclass(frozen=True)
class Prediction:
    """Estimates of every measure of every person, jointly normal in logarithms.

    Attributes
    ----------
    person : tuple
        The people, one row each in the arrays.
    measures : tuple of str
        ``sizing.measures.MEASURES``, the p columns of the arrays.
    mean, covariance : ndarray, shape (n, p) and (n, p, p)
        Of the natural logarithm of the measures in cm or kg.
    given : ndarray, shape (n, p)
        Values known exactly, in cm or kg; NaN elsewhere.
    evidence : DataFrame
        One row per person, one column per measure.
    """

    person: tuple[object, ...]
    measures: tuple[str, ...]
    mean: Floats
    covariance: Floats
    given: Floats
    evidence: pd.DataFrame

    @property
    def sd(self) -> Floats:
        """SD of the logarithms, shape (n, p)."""
        return np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2))

    @property
    def correlation(self) -> Floats:
        """Correlation of the logarithms; 0 with a measure known exactly."""
        sd = np.where(self.sd > 0, self.sd, 1.0)
        out: Floats = self.covariance / (sd[:, :, None] * sd[:, None, :])
        place = np.arange(len(self.measures))
        out[:, place, place] = 1.0
        return out

    @property
    def table(self) -> pd.DataFrame:
        """Median and 90 % interval per person and measure, in cm or kg."""
        return self.interval(0.9)

    def interval(self, level: float = 0.9) -> pd.DataFrame:
        """Return median and central interval of each person and measure.

        Parameters
        ----------
        level : float
            Share of such people whose measure lies inside, between 0 and 1.

        Returns
        -------
        DataFrame
            ``person, measure, estimate, low, high, evidence``.
        """
        n, p = self.mean.shape
        reach = float(ndtri(0.5 + level / 2)) * self.sd
        # The logarithm of a given value need not come back to the same number.
        exact = np.isfinite(self.given)
        return pd.DataFrame(
            {
                "person": pd.Series(self.person).repeat(p).to_numpy(),
                "measure": np.tile(np.array(self.measures, dtype=object), n),
                "estimate": np.where(exact, self.given, np.exp(self.mean)).ravel(),
                "low": np.where(exact, self.given, np.exp(self.mean - reach)).ravel(),
                "high": np.where(exact, self.given, np.exp(self.mean + reach)).ravel(),
                "evidence": self.evidence[list(self.measures)].to_numpy().ravel(),
            }
        )

    def summary(self) -> str:
        """Return the estimates in plain words, a line each."""
        unit = {name: name.rsplit("_", 1)[1] for name in self.measures}
        lines = []
        for row in self.table.itertuples():
            words = str(row.measure).rsplit("_", 1)[0].replace("_", " ")
            lines.append(
                f"{row.person}: {words} {row.estimate:.1f} {unit[str(row.measure)]} "
                f"(9 in 10 such people: {row.low:.1f} to {row.high:.1f}; "
                f"{row.evidence})"
            )
        return "\n".join(lines)


def predict_measures(frame: pd.DataFrame) -> Prediction:
    """Estimate every measure of each person, with intervals and correlations.

    Parameters
    ----------
    frame : DataFrame
        As for ``draw_measures``.

    Returns
    -------
    Prediction
        Measures given are exact there. Spread between people, sampling error
        of the coefficients and the disagreement of the forms beyond the BMI
        anybody had are all in the covariance. Where body mass, stature or age
        is missing, mean and covariance are those of the weighted candidates.

    Raises
    ------
    InputProblems
        If sex, age, person or a measure cannot be used; children under 2.

    Examples
    --------
    >>> person = pd.DataFrame({"person": [1], "sex": ["male"], "age_years": [40],
    ...     "body_mass_kg": [80.0], "stature_cm": [178.0]})
    >>> table = predict_measures(person).table.set_index("measure")
    >>> float(table.loc["stature_cm", "low"])
    178.0
    >>> bool(95 < table.loc["hip_circumference_cm", "estimate"] < 105)
    True
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
    return Prediction(
        tuple(people["person"]), MEASURES, mean, covariance, given, evidence
    )


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


def condition(
    prediction: Prediction,
    known: Mapping[str, float] | pd.DataFrame,
    known_sd: Mapping[str, float] | None = None,
) -> Prediction:
    """Narrow a prediction by measures that were taken.

    Parameters
    ----------
    prediction : Prediction
    known : mapping or DataFrame
        Measure to value in cm or kg; a mapping applies to every person, a
        DataFrame has one row per person in the prediction's order (NaN where
        nothing is known).
    known_sd : mapping, optional
        Measure to SD of the measuring error, in the same unit; 0 or missing
        means exact. A value with error stays uncertain and is shrunk towards
        what the rest of the body says.

    Returns
    -------
    Prediction
        With ``K`` the known, ``S`` the covariance and ``V`` the error
        variances on the logarithmic scale (``(sd / value)^2``):
        ``m + S_K (S_KK + V)^-1 (ln y - m_K)``, ``S - S_K (S_KK + V)^-1 S_K'``.

    Raises
    ------
    SizingError
        For an unknown measure, a value that is not above 0, a negative SD.

    Examples
    --------
    >>> person = pd.DataFrame({"person": [1], "sex": ["male"], "age_years": [40],
    ...     "body_mass_kg": [80.0], "stature_cm": [178.0]})
    >>> before = predict_measures(person)
    >>> after = condition(before, {"hip_circumference_cm": 104.0},
    ...     {"hip_circumference_cm": 1.0})
    >>> bool((after.sd <= before.sd + 1e-12).all())
    True
    """
    sds = dict(known_sd or {})
    for name in [*known, *sds]:
        one_of("measure", name, prediction.measures)
    n, p = prediction.mean.shape
    value, error = np.full((n, p), np.nan), np.zeros((n, p))
    for j, name in enumerate(prediction.measures):
        if name not in known:
            continue
        column = np.broadcast_to(np.asarray(known[name], dtype=float), n)
        sd = float(sds.get(name, 0.0))
        if (column <= 0).any() or not sd >= 0:
            raise SizingError(
                "a measure must be above 0 and its error SD not below 0",
                column=name,
                value=[column.tolist(), sd],
            )
        value[:, j] = column
        error[:, j] = np.where(np.isfinite(column), (sd / column) ** 2, 0.0)
    mean, covariance = condition_normal(
        prediction.mean, prediction.covariance, np.log(value), error
    )
    evidence = prediction.evidence.mask(np.isfinite(value), EVIDENCE[0])
    exact = np.isfinite(value) & (error == 0)
    return Prediction(
        prediction.person,
        prediction.measures,
        mean,
        covariance,
        np.where(exact, value, prediction.given),
        evidence,
    )
