"""Mean and spread of the seated measures and girths of people of known build."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from sizing.measures import SEATED_AND_GIRTHS, SEXES
from sizing.people.body.terms import Designs, Floats, GroupModel, group_models
from sizing.resources import source_table

#: Children's and adults' coefficients are blended between these ages.
SEAM_YEARS = (16.0, 20.0)
#: A whole number below this age means completed years: half a year is added.
COMPLETED_YEARS_BELOW = 20.0

#: Age of the oldest in the survey of soldiers.
OLDEST_SURVEYED = 58.0

#: What a draw adds to beta: (group, sex, measure) -> coefficients.
Betas = Callable[[str, str, str], Floats]


def adult_share(age_years: npt.ArrayLike) -> Floats:
    """Return the weight of the adult model: 0 to 16 years, 1 from 20 years.

    Between, ``3 t^2 - 2 t^3`` with ``t`` the way from 16 to 20, so that the
    prediction has no kink in age.

    >>> adult_share([16, 18, 20]).tolist()
    [0.0, 0.5, 1.0]
    """
    low, high = SEAM_YEARS
    t = np.clip((np.asarray(age_years, dtype=float) - low) / (high - low), 0, 1)
    return t * t * (3 - 2 * t)


def model_age(age_years: npt.ArrayLike) -> Floats:
    """Return the age the model uses: completed years become mid-year.

    >>> model_age([7, 7.25, 40]).tolist()
    [7.5, 7.25, 40.0]
    """
    age = np.asarray(age_years, dtype=float)
    completed = (age < COMPLETED_YEARS_BELOW) & (age == np.floor(age))
    return np.where(completed, age + 0.5, age)


@dataclass(frozen=True)
class Moments:
    """What the model says of each person, on the logarithmic scale.

    - ``measures``: The p measures.
    - ``mean, sd`` (n, p): Of ``ln y``; ``sd`` is the spread between people.
    - ``form_shift_sd`` (n, p): SD of the mean beyond the range of BMI, where forms
      disagree.
    - ``error_sd`` (n, p): How far the mean may be off: sampling error of the
      coefficients, and the typical error in populations the model never saw.
    - ``share`` (n,): Weight of the adult model.
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
            pair = [
                group_models(group)[sex].correlation[np.ix_(place, place)]
                for group in ("child", "adult")
            ]
            w = self.share[rows][:, None, None]
            out[rows] = (1 - w) * pair[0] + w * pair[1]
        return out

    def covariance(self, *, sampling: bool = True, form: bool = True) -> Floats:
        """Covariance of ``ln y`` of each row, shape (n, p, p).

        People's spread; with ``sampling`` also the error of the means, taken to be
        correlated like the residuals; with ``form`` also the disagreement of the
        forms, which moves the measures together.
        """
        scale = self.sd[:, :, None] * self.sd[:, None, :]
        if sampling:
            error = self.error_sd
            scale = scale + error[:, :, None] * error[:, None, :]
        out = scale * self.correlation()
        if form:
            shift = self.form_shift_sd
            out = out + shift[:, :, None] * shift[:, None, :]
        return out


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
    """Return mean and spread of ``ln y`` for people of known build.

    With ``sampling`` the error of the mean too, for what is said of one person; the
    bias in that person's population is part of it, unless ``bias`` is False.
    """
    n, p = len(sex), len(measures)
    years = model_age(age)
    share = adult_share(years)
    mean, log_sd, form, error = (np.zeros((n, p)) for _ in range(4))
    for group, weight in (("child", 1 - share), ("adult", share)):
        models: Mapping[str, GroupModel] = group_models(group)
        for one_sex in SEXES:
            rows = np.flatnonzero((sex == one_sex) & (weight > 0))
            if len(rows) == 0:
                continue
            model = models[one_sex]
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
    """Return the typical error of mean logs in populations the model never saw.

    ``share`` is the weight of the adult model; one row for each.

    >>> model_bias([0.0, 1.0])[:, SEATED_AND_GIRTHS.index("hip_circumference_cm")]
    array([0.0219, 0.0104])
    """
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
    """Return what age beyond the oldest surveyed adds to ``ln y``, and times its SD.

    Only thigh girth is known to change: thinner and more varied than younger people
    of that build (older_widths.csv).

    >>> older_law("female", "thigh_circumference_cm", np.array([50.0, 80.0]))[0]
    array([ 0.    , -0.0462])
    """
    knots = _older_knots()[sex, measure]
    return (
        np.interp(age_years, knots[0], knots[1]),
        np.interp(age_years, knots[0], knots[2]),
    )


@lru_cache(maxsize=1)
def _older_knots() -> dict[tuple[str, str], Floats]:
    table = source_table("older_widths.csv")
    columns = ["age_years", "shift", "drawn_times"]
    return {
        (str(sex), str(name)): part[columns].to_numpy(dtype=float).T
        for (sex, name), part in table.groupby(["sex", "measure"])
    }
