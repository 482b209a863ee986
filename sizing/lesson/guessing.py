"""How far guesses of body mass are off: published figures and a fitted curve."""

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

#: The studies; each guesser is fitted on one: unless told otherwise, of those with
#: that guesser, on the first that published most figures.
STUDIES = ("ED 2005", "ED 2004", "Fernandes 1999", "Paediatric 1999", "NHANES 2017-18")
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

    @cached_property
    def _curve(self) -> Any:
        return stats.gennorm(self.shape, loc=self.centre, scale=self.scale)

    def errors(self, n: int, rng: np.random.Generator) -> Floats:
        """Draw n errors; nobody guesses under a tenth of what the scale says."""
        drawn: Floats = np.maximum(self._curve.rvs(n, random_state=rng), -0.9)
        return drawn

    def share_below(self, error: float) -> float:
        """Return the share of guesses with a relative error below this one."""
        return float(self._curve.cdf(error))

    def share_within(self, bound: float) -> float:
        """Return the share of guesses within a relative bound of the scale."""
        return self.share_below(bound) - self.share_below(-bound)

    def quantile(self, q: float) -> float:
        """Return a quantile of the relative error."""
        return float(self._curve.ppf(q))

    def mean_absolute(self) -> float:
        """Return the mean absolute relative error, by the trapezoid rule."""
        z = np.linspace(-30, 30, 3_001)
        weight = np.exp(-(np.abs(z) ** self.shape))
        errors = np.abs(self.centre + self.scale * z)
        return float((weight * errors).sum() / weight.sum())

    def figure(self, statistic: str, bound: float) -> float:
        """Return what the curve says for a published statistic."""
        within = self.share_within
        say = {"within": within, "quantile": self.quantile}
        say["beyond"] = lambda bound: 1 - within(bound)
        return say[statistic](bound) if statistic in say else self.mean_absolute()

    def summary(self) -> str:
        """Return the curve in plain words."""
        words: str = _T.evidence["curve"]
        return words.format(
            of=self,
            study=STUDY_WORDS.get(self.study, self.study) or "figures given",
            low=points(self.quantile(0.25)),
            high=points(self.quantile(0.75)),
            within=share(self.share_within(0.1)),
            beyond=share(1 - self.share_within(0.2)),
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
    """Fit the curve; ``fit_guess`` has the rule."""
    names, rows = (guesser, subjects, study), _figures()
    rows = rows[(rows[["guesser", "subjects", "study"]] == [*names]).all(axis=1)]
    normal, least = _best(rows, names, normal=True)
    if len(rows) < 3:
        return normal
    heavy, least_heavy = _best(rows, names, normal=False)
    return heavy if least - least_heavy > _WORTH else normal


def _best(
    rows: pd.DataFrame, names: tuple[str, str, str], *, normal: bool
) -> tuple[GuessModel, float]:
    """Return the curve of least sum of squared misses, and that sum."""
    figures = rows.to_dict("records")
    # What is fitted beside the scale, with its start and its bounds.
    fitted = {"scale": (np.log(0.1), np.log(0.005), np.log(1.0))}
    if "quantile" in set(rows["statistic"]):
        fitted["centre"] = (0.0, -0.3, 0.3)
    if not normal:
        fitted["shape"] = (1.5, *_SHAPES)

    def model(values: Floats) -> GuessModel:
        found = {"centre": 0.0, "shape": 2.0}
        found |= zip(fitted, map(float, values), strict=True)
        found["scale"] = float(np.exp(found["scale"]))
        return GuessModel(found["centre"], found["scale"], found["shape"], *names)

    def misses(values: Floats) -> Floats:
        curve = model(values)
        return np.array([_miss(curve, row) for row in figures])

    start, low, high = zip(*fitted.values(), strict=True)
    found = optimize.least_squares(misses, start, bounds=(low, high), xtol=1e-10)
    return model(found.x), float(2 * found.cost)


def _miss(curve: GuessModel, row: dict[Any, Any]) -> float:
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
    rows = []
    groups = guessing_figures().groupby(["guesser", "subjects"], sort=False)
    for (guesser, subjects), own in groups:
        on = study if study in set(own["study"]) else None
        curve = fit_guess(str(guesser), str(subjects), study=on)
        for row in own.to_dict("records"):
            value, model = row["value"], curve.figure(row["statistic"], row["bound"])
            row |= {
                "role": "fitted" if row["study"] == curve.study else "predicted",
                "fitted_on": curve.study,
                "model": model,
                "miss": model - value,
                **dict.fromkeys(("low", "high"), np.nan),
                "method": "",
                "inside": pd.NA,
            }
            if row["statistic"] in ("within", "beyond"):
                ends = map(float, score_interval(value, row["n"], student(np.inf)))
                row["low"], row["high"] = ends
                row["method"] = "Wilson 95 % interval of the figure"
                row["inside"] = bool(row["low"] <= model <= row["high"])
            rows.append(row)
    return pd.DataFrame(rows)


def guessed(
    frame: pd.DataFrame, rng: np.random.Generator, guess: GuessModel | None = None
) -> pd.DataFrame:
    """Return the people with body mass and stature as they are guessed.

    Nurses' curves, one for adults and one for children, if ``guess`` is None.
    The two guesses err independently.
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
