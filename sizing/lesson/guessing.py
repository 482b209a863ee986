"""How far guesses of body mass are off: published figures and a fitted curve."""

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize, special

from sizing.errors import one_of
from sizing.lesson.choosing import ADULT_FROM
from sizing.resources import source_table
from sizing.stats.intervals import score_interval, student
from sizing.words.numbers import points, share

#: The studies; each guesser is fitted on one: unless told otherwise, of those with
#: that guesser, on the first that published most figures.
STUDIES: tuple[str, ...] = (
    "ED 2005",
    "ED 2004",
    "Fernandes 1999",
    "Paediatric 1999",
    "NHANES 2017-18",
)
#: What a study is called on a page: where it was published, and when.
STUDY_WORDS: dict[str, str] = {
    "ED 2005": "Acad Emerg Med 2005",
    "ED 2004": "Am J Emerg Med 2004",
    "Fernandes 1999": "Can Fam Physician 1999",
    "Bloomfield 2006": "Crit Care Med 2006",
    "Paediatric 1999": "Pediatr Emerg Care 1999",
    "NHANES 2017-18": "US survey 2017-18",
}
#: 2 is the normal curve, 1 Laplace's.
_SHAPES = (1.0, 2.0)
#: What a shape other than the normal must gain in the sum of squared misses:
#: chi-squared with one degree of freedom, 5 %. Four figures settle no more.
_WORTH = 3.84

#: SD of a guess of stature, relative to the stature: common practice, no source.
STATURE_GUESS_SD = 0.04


@dataclass(frozen=True)
class GuessModel:
    """How guesses scatter around the scale, relative to the scale's reading.

    The error ``guess / scale - 1`` follows the exponential power curve with density
    proportional to ``exp(-|(e - centre) / scale| ** shape)``: ``centre`` is the median
    (-0.03: 3 % too low); ``shape`` 2 is the normal curve, 1 has Laplace's heavy tails.
    """

    centre: float
    scale: float
    shape: float
    guesser: str = "nurse"
    subjects: str = "adults"
    study: str = ""

    def errors(self, n: int, rng: np.random.Generator) -> npt.NDArray[np.float64]:
        """Draw n relative errors.

        A gamma variate to the power 1/shape, with a random sign, is one of the
        curve (Nadarajah, J Appl Stat 2005;32:685-694, from memory).
        """
        size = rng.gamma(1 / self.shape, size=n) ** (1 / self.shape)
        sign = np.where(rng.random(n) < 0.5, -1.0, 1.0)
        # Nobody guesses less than a tenth of what the scale says.
        return np.maximum(self.centre + self.scale * sign * size, -0.9)

    def share_below(self, error: float) -> float:
        """Return the share of guesses with a relative error below this one."""
        z = (error - self.centre) / self.scale
        half = special.gammainc(1 / self.shape, abs(z) ** self.shape) / 2
        return float(0.5 + np.sign(z) * half)

    def share_within(self, bound: float) -> float:
        """Return the share of guesses within a relative bound of the scale."""
        return self.share_below(bound) - self.share_below(-bound)

    def quantile(self, q: float) -> float:
        """Return a quantile of the relative error."""
        size = special.gammaincinv(1 / self.shape, abs(2 * q - 1))
        return float(
            self.centre + self.scale * np.sign(q - 0.5) * size ** (1 / self.shape)
        )

    def mean_absolute(self) -> float:
        """Return the mean absolute relative error, by the trapezoid rule."""
        z = np.linspace(-30, 30, 3_001)
        weight = np.exp(-(np.abs(z) ** self.shape))
        errors = np.abs(self.centre + self.scale * z)
        return float((weight * errors).sum() / weight.sum())

    def figure(self, statistic: str, bound: float) -> float:
        """Return what the curve says for a published statistic."""
        if statistic == "within":
            return self.share_within(bound)
        if statistic == "beyond":
            return 1 - self.share_within(bound)
        if statistic == "quantile":
            return self.quantile(bound)
        return self.mean_absolute()

    def summary(self) -> str:
        """Return the curve in plain words."""
        within, beyond = self.share_within(0.1), 1 - self.share_within(0.2)
        low, high = points(self.quantile(0.25)), points(self.quantile(0.75))
        return (
            f"A {self.guesser}'s guess of weight ({self.subjects}; fitted on "
            f"{STUDY_WORDS.get(self.study, self.study) or 'figures given'}): half are "
            f"off the scale by {low} % to {high} %. Within 10 % are {share(within)}; "
            f"{share(beyond)} are off by more than 20 %."
        )


def guessing_figures() -> pd.DataFrame:
    """Return the published figures on guessed body mass.

    Of relative errors: ``within``, ``beyond``: share of guesses within or beyond the
    bound; ``quantile``: at ``bound``; ``mean_absolute``.
    """
    return _figures().copy()


@cache
def _figures() -> pd.DataFrame:
    table = source_table("guessing_figures.csv")
    named = table["source"].where(~table["source"].str.startswith("same"))
    first = named.groupby(table["study"]).transform("first")
    rest = table["source"].str.removeprefix("same").str.removeprefix("; ")
    joined = (first + "; " + rest).str.removesuffix("; ")
    table["source"] = table["source"].where(named.notna(), joined)
    return table


def fit_guess(
    guesser: str = "nurse", subjects: str = "adults", *, study: str | None = None
) -> GuessModel:
    """Fit a curve of guessing errors to the figures of one study.

    The curve has the least sum of ``(expected - published)^2 / variance`` over the
    study's figures, each as a share: for a quantile, the curve's share below the
    published value. The variance is that of a share of n people; of a mean absolute
    error, its square times ``0.6 / n`` (the normal curve's). A study that gives no
    quantile leaves the centre at 0. The shape is the normal curve's unless another
    lowers the sum by more than 3.84 (three figures or more). Without a study, the one
    with the most figures.
    """
    figures = guessing_figures()
    one_of("subjects", subjects, sorted(set(figures["subjects"])))
    figures = figures[figures["subjects"] == subjects]
    one_of("guesser", guesser, sorted(set(figures["guesser"])))
    figures = figures[figures["guesser"] == guesser]
    count = figures["study"].value_counts(sort=False)
    study = str(count.idxmax()) if study is None else study
    one_of("study of this guesser", study, list(count.index))
    return _fitted(guesser, subjects, study)


@cache
def _fitted(guesser: str, subjects: str, study: str) -> GuessModel:
    rows = _figures()
    chosen = (rows["guesser"] == guesser) & (rows["subjects"] == subjects)
    chosen &= rows["study"] == study
    return fit_figures(rows[chosen], guesser, subjects, study)


def fit_figures(
    rows: pd.DataFrame, guesser: str, subjects: str, study: str
) -> GuessModel:
    """Fit the curve to rows of figures; ``fit_guess`` has the rule."""
    has_centre = bool((rows["statistic"] == "quantile").any())
    normal, least = _best(rows, has_centre, (guesser, subjects, study), normal=True)
    if len(rows) < 3:
        return normal
    heavy, least_heavy = _best(
        rows, has_centre, (guesser, subjects, study), normal=False
    )
    return heavy if least - least_heavy > _WORTH else normal


def _best(
    rows: pd.DataFrame, has_centre: bool, names: tuple[str, str, str], *, normal: bool
) -> tuple[GuessModel, float]:
    """Return the curve of least sum of squared misses, and that sum."""

    def model(parameters: npt.NDArray[np.float64]) -> GuessModel:
        rest = list(parameters[1:])
        centre = float(rest.pop(0)) if has_centre else 0.0
        shape = float(rest.pop(0)) if not normal else 2.0
        scale = float(np.exp(parameters[0]))
        return GuessModel(centre, scale, shape, *names)

    def misses(parameters: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        curve = model(parameters)
        return np.array([_miss(curve, row) for row in figures])

    figures = rows.to_dict("records")
    start, low, high = [np.log(0.1)], [np.log(0.005)], [np.log(1.0)]
    if has_centre:
        start, low, high = [*start, 0.0], [*low, -0.3], [*high, 0.3]
    if not normal:
        start, low, high = [*start, 1.5], [*low, _SHAPES[0]], [*high, _SHAPES[1]]
    found = optimize.least_squares(misses, start, bounds=(low, high), xtol=1e-10)
    return model(found.x), float(2 * found.cost)


def _miss(curve: GuessModel, row: dict[Any, Any]) -> float:
    """Return one figure's miss in standard errors."""
    value, n = float(row["value"]), float(row["n"])
    if row["statistic"] == "mean_absolute":
        return float((curve.mean_absolute() - value) / (value * np.sqrt(0.6 / n)))
    if row["statistic"] == "quantile":
        share = float(row["bound"])
        expected = curve.share_below(value)
    else:
        share = value
        expected = curve.figure(str(row["statistic"]), float(row["bound"]))
    return float((expected - share) / np.sqrt(share * (1 - share) / n))


def check_guesses(*, study: str | None = None) -> pd.DataFrame:
    """Set the fitted curves against every published figure.

    Each guesser is fitted on one study (``study`` where it has the guesser); what the
    others published is predicted. Returns ``guessing_figures`` with role, fitted_on,
    model, miss (model minus published), and of shares Wilson's 95 % interval and
    ``inside``.
    """
    figures = guessing_figures()
    rows = []
    for (guesser, subjects), own in figures.groupby(
        ["guesser", "subjects"], sort=False
    ):
        on = study if study in set(own["study"]) else None
        curve = fit_guess(str(guesser), str(subjects), study=on)
        for row in own.to_dict("records"):
            model = curve.figure(str(row["statistic"]), float(row["bound"]))
            share = row["statistic"] in ("within", "beyond")
            low, high = (
                map(float, score_interval(row["value"], row["n"], student(np.inf)))
                if share
                else (np.nan, np.nan)
            )
            rows.append(
                {
                    **row,
                    "role": "fitted" if row["study"] == curve.study else "predicted",
                    "fitted_on": curve.study,
                    "model": model,
                    "miss": model - row["value"],
                    "low": low,
                    "high": high,
                    "method": "Wilson 95 % interval of the figure" if share else "",
                    "inside": bool(low <= model <= high) if share else pd.NA,
                }
            )
    return pd.DataFrame(rows)


def guessed(
    frame: pd.DataFrame,
    rng: np.random.Generator,
    guess: GuessModel | None = None,
    stature_sd: float = STATURE_GUESS_SD,
) -> pd.DataFrame:
    """Return the people with body mass and stature as they are guessed.

    Nurses' curves, one for adults and one for children, if ``guess`` is None.
    The two guesses err independently.
    """
    n = len(frame)
    curve = guess or fit_guess("nurse")
    error = curve.errors(n, rng)
    if guess is None and "age_years" in frame:
        child = (frame["age_years"] < ADULT_FROM).to_numpy(bool, na_value=False)
        if child.any():
            of_child = fit_guess("nurse", "children").errors(int(child.sum()), rng)
            error[child] = of_child
    return frame.assign(
        body_mass_kg=frame["body_mass_kg"] * (1 + error),
        stature_cm=frame["stature_cm"] * (1 + stature_sd * rng.standard_normal(n)),
    )
