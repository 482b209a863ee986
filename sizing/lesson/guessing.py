"""How far guesses of body mass are off: published figures and a fitted curve."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
import pandas as pd
from scipy import optimize, stats

from sizing.errors import one_of
from sizing.lesson.choosing import ADULT_FROM, Floats
from sizing.resources import source_table, texts
from sizing.stats.formulas import score_interval, student
from sizing.words.numbers import points, share

_T = texts("lesson")
#: What a study is called on a page: where it was published, and when.
STUDY_WORDS: dict[str, str] = _T.studies
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

    The density of ``guess / scale - 1`` is proportional to ``exp(-|(e - centre) /
    scale| ** shape)``; ``shape`` 2 is the normal curve, 1 Laplace's, of heavy tails.
    """

    centre: float
    scale: float
    shape: float
    guesser: str = "nurse"
    subjects: str = "adults"
    study: str = ""

    @cached_property
    def curve(self) -> Any:
        return stats.gennorm(self.shape, loc=self.centre, scale=self.scale)

    def errors(self, n: int, rng: np.random.Generator) -> Floats:
        """Draw n errors; nobody guesses under a tenth of what the scale says."""
        drawn: Floats = np.maximum(self.curve.rvs(n, random_state=rng), -0.9)
        return drawn

    def figure(self, statistic: str, bound: float) -> float:
        """Return what the curve says for a published statistic."""
        if statistic == "quantile":
            return float(self.curve.ppf(bound))
        if statistic == "mean_absolute":  # By the trapezoid rule.
            z = np.linspace(-30, 30, 3_001)
            weight = np.exp(-(np.abs(z) ** self.shape))
            errors = np.abs(self.centre + self.scale * z)
            return float((weight * errors).sum() / weight.sum())
        within = float(self.curve.cdf(bound)) - float(self.curve.cdf(-bound))
        return within if statistic == "within" else 1 - within

    def summary(self) -> str:
        words: str = _T.evidence["curve"]
        return words.format(
            of=self,
            study=STUDY_WORDS.get(self.study, self.study) or "figures given",
            low=points(self.figure("quantile", 0.25)),
            high=points(self.figure("quantile", 0.75)),
            within=share(self.figure("within", 0.1)),
            beyond=share(self.figure("beyond", 0.2)),
        )


@cache
def guessing_figures() -> pd.DataFrame:
    """Return the published figures on guessed body mass, as relative errors."""
    return source_table("guessing_figures.csv")


def fit_guess(
    guesser: str = "nurse", subjects: str = "adults", *, study: str | None = None
) -> GuessModel:
    """Fit a curve of guessing errors to one study; if none is named, the fullest.

    The curve has the least sum of ``(expected - published)^2 / variance`` over the
    study's figures, each as a share: for a quantile, the curve's share below the
    published value. The variance is that of a share of n people; of a mean absolute
    error, its square times ``0.6 / n`` (the normal curve's). A study that gives no
    quantile leaves the centre at 0. The shape is the normal curve's unless another
    lowers the sum by more than 3.84 (three figures or more).
    """
    figures = guessing_figures()
    for what, name in (("subjects", subjects), ("guesser", guesser)):
        one_of(what, name, sorted(set(figures[what])))
        figures = figures[figures[what] == name]
    count = figures["study"].value_counts(sort=False)
    study = str(count.idxmax()) if study is None else study
    one_of("study of this guesser", study, list(count.index))
    return _fitted(guesser, subjects, study)


@cache
def _fitted(*names: str) -> GuessModel:
    rows = guessing_figures()
    rows = rows[(rows[["guesser", "subjects", "study"]] == [*names]).all(axis=1)]
    # What is fitted beside the scale, with its start and its bounds.
    fitted = {"scale": (np.log(0.1), np.log(0.005), np.log(1.0))}
    if "quantile" in set(rows["statistic"]):
        fitted["centre"] = (0.0, -0.3, 0.3)
    figures = rows.to_dict("records")
    normal, least = _best(figures, names, fitted)
    if len(rows) < 3:
        return normal
    heavy, least_heavy = _best(figures, names, fitted | {"shape": (1.5, *_SHAPES)})
    return heavy if least - least_heavy > _WORTH else normal


def _best(
    figures: list[dict[Any, Any]],
    names: tuple[str, ...],
    fitted: Mapping[str, tuple[float, float, float]],
) -> tuple[GuessModel, float]:
    """Return the curve of least sum of squared misses, and that sum."""

    def model(values: Floats) -> GuessModel:
        found = {"centre": 0.0, "shape": 2.0}
        found |= zip(fitted, map(float, values), strict=True)
        scale = float(np.exp(found["scale"]))
        return GuessModel(found["centre"], scale, found["shape"], *names)

    def misses(values: Floats) -> Floats:
        curve = model(values)
        return np.array([_miss(curve, row) for row in figures])

    start, low, high = zip(*fitted.values(), strict=True)
    found = optimize.least_squares(misses, start, bounds=(low, high), xtol=1e-10)
    return model(found.x), float(2 * found.cost)


def _miss(curve: GuessModel, row: dict[Any, Any]) -> float:
    kind, bound, value, n = (row[c] for c in ("statistic", "bound", "value", "n"))
    if kind == "quantile":
        expected, value = float(curve.curve.cdf(value)), float(bound)
    else:
        expected = curve.figure(kind, bound)
    of_mean = kind == "mean_absolute"
    variance = value**2 * 0.6 / n if of_mean else value * (1 - value) / n
    return float((expected - value) / np.sqrt(variance))


def check_guesses() -> pd.DataFrame:
    """Set the fitted curves against every published figure.

    Each guesser is fitted on one study; what the others published is predicted. Of
    shares, Wilson's 95 % interval, and ``inside``.
    """
    found = []
    groups = guessing_figures().groupby(["guesser", "subjects"], sort=False)
    for (guesser, subjects), own in groups:
        curve = fit_guess(str(guesser), str(subjects))
        given = zip(own["statistic"], own["bound"], strict=True)
        fitted = own["study"] == curve.study
        own = own.assign(
            role=fitted.map({True: "fitted", False: "predicted"}),
            fitted_on=curve.study,
            model=[curve.figure(*each) for each in given],
        )
        found.append(own)
    table = pd.concat(found, ignore_index=True)
    value, model = table["value"], table["model"]
    known = table["statistic"].isin(["within", "beyond"])
    low, high = score_interval(value, table["n"], student(np.inf))
    inside = pd.Series((low <= model) & (model <= high), dtype=object)
    method = "Wilson 95 % interval of the figure"
    return table.assign(
        miss=model - value,
        low=np.where(known, low, np.nan),
        high=np.where(known, high, np.nan),
        method=np.where(known, method, ""),
        inside=inside.where(known, pd.NA),
    )


def guessed(
    frame: pd.DataFrame, rng: np.random.Generator, guess: GuessModel | None = None
) -> pd.DataFrame:
    """Return the people with body mass and stature as guessed, independently.

    Nurses' curves, one for adults and one for children, if ``guess`` is None.
    """
    n = len(frame)
    error = (guess or fit_guess("nurse")).errors(n, rng)
    if guess is None and "age_years" in frame:
        child = (frame["age_years"] < ADULT_FROM).to_numpy(bool, na_value=False)
        if child.any():
            curve = fit_guess("nurse", "children")
            error[child] = curve.errors(int(child.sum()), rng)
    of_height = STATURE_GUESS_SD * rng.standard_normal(n)
    return frame.assign(
        body_mass_kg=frame["body_mass_kg"] * (1 + error),
        stature_cm=frame["stature_cm"] * (1 + of_height),
    )
