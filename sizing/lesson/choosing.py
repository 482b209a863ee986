"""Choosing a size from what is known or guessed, and how far that is from right."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from types import MappingProxyType
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import optimize, stats
from scipy.spatial import cKDTree

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import SizingError, one_of
from sizing.measures import MISSING_TENTHS, NO_HIGH, NO_LOW, to_tenths, vocabulary
from sizing.resources import source_table, texts
from sizing.stats.estimates import Layout, Means, group_means
from sizing.stats.formulas import score_interval, student
from sizing.words.numbers import points, share

_T = texts("lesson")
Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

#: What can come of choosing a size for a person; each choice has exactly one.
CHOICE_WORDS: dict[str, str] = _T.outcomes
CHOICE_OUTCOMES: tuple[str, ...] = tuple(CHOICE_WORDS)
NOT_FOUND = "none_found_though_one_fits"
#: What each wrong outcome can do to the person: common practice, no source.
WRONG_MEANS: dict[str, str] = _T.wrong_means
#: Those in which the person is put in a size that does not fit.
PUT_WRONG_OUTCOMES = tuple(name for name in WRONG_MEANS if name != NOT_FOUND)
#: Persons alike that a likely size is read from, and what makes two alike: one
#: step is 5 % of body mass or 2.5 cm of stature. Our choice: finer steps would
#: rest on fewer people than the extremes hold.
NEIGHBOURS = 50
_STEP = {"body_mass_kg": 0.05, "stature_cm": 2.5}
ADULT_FROM = 18.0
#: One SD of the logarithm of a typical error that is from memory: taken as from half
#: to twice as much, 19 times in 20. Our choice, no source.
ERROR_SPREAD = math.log(2) / 1.96
SPREAD_WORDS: str = _T.spread
#: Whoever chooses from a table or by eye says "none" where no size fits at least
#: this share of the people most alike: our choice, more likely not than yes.
NONE_BELOW = 0.5
#: What a study is called on a page: where it was published, and when.
STUDY_WORDS: dict[str, str] = _T.studies
#: 2 is the normal curve, 1 Laplace's.
_SHAPES = (1.0, 2.0)
#: What a shape other than the normal must gain in the sum of squared misses:
#: chi-squared with one degree of freedom, 5 %. Four figures settle no more.
_WORTH = 3.84

#: SD of a guess of stature, relative to the stature: common practice, no source.
STATURE_GUESS_SD = 0.04


@cache
def reading_errors() -> Mapping[str, float]:
    """SD of one reading in cm or kg; source: ``error_source`` of ``vocabulary()``."""
    table = vocabulary()
    errors = zip(table["name"], table["error_cm"].astype(float), strict=True)
    return MappingProxyType(dict(errors))


def chosen_by_tape(
    frame: pd.DataFrame, chart: SizeChart, sd: Mapping[str, float], seed: int
) -> Ints:
    """Return the place of the size readings give (-1: none); a seed fixes the slips."""
    rng = np.random.default_rng([seed, 77])
    read = {
        measure: frame[measure].to_numpy(float, na_value=np.nan)
        + sd[measure] * rng.standard_normal(len(frame))
        for measure in limits(chart)
        if measure in frame
    }
    told = pd.DataFrame(read, index=frame.index)
    return innermost(edge_margins(told, chart))


def edge_margins(frame: pd.DataFrame, chart: SizeChart) -> Floats:
    """Return SDs of a reading inside each size (rows, sizes): 0 fits, -inf unknown."""
    margin = np.full((len(frame), len(chart.sizes)), np.inf)
    for measure, (low, high) in limits(chart).items():
        x = _tenths(frame, measure)
        below = np.where(low > NO_LOW, x - low, np.inf)
        above = np.where(high < NO_HIGH, high - x, np.inf)
        inside = np.minimum(below, above) / (10 * reading_errors()[measure])
        limited = (low > NO_LOW) | (high < NO_HIGH)
        inside = np.where((x == MISSING_TENTHS) & limited, -np.inf, inside)
        margin = np.minimum(margin, inside)
    return margin


def _tenths(frame: pd.DataFrame, measure: str) -> Ints:
    if measure not in frame:
        return np.full((len(frame), 1), MISSING_TENTHS)
    return to_tenths(frame[measure].to_numpy(float, na_value=np.nan))[:, None]


def innermost(margin: Floats) -> Ints:
    """Choose the first fitting size whose nearest edge is farthest; -1 if none fits."""
    best = margin.argmax(axis=1)
    fits = margin[np.arange(len(margin)), best] >= 0
    return np.where(fits, best, -1)


def outcome_of_choice(chosen: Ints, fits: Bools) -> npt.NDArray[np.str_]:
    """Return what came of each choice, one of ``CHOICE_OUTCOMES``.

    By rank in the chart; as near below as above counts as too large: one can slip out.
    """
    n, k = fits.shape
    rank = np.arange(k)
    any_fits = fits.any(axis=1)
    gap = np.where(fits, np.abs(rank - chosen[:, None]), k + 1)
    nearest = gap.min(axis=1) if k else np.full(n, 1)
    below = (fits & (rank < chosen[:, None]) & (gap == nearest[:, None])).any(axis=1)
    cases = {
        "rightly_none": ~any_fits & (chosen < 0),
        "chosen_though_none_fits": ~any_fits,
        NOT_FOUND: chosen < 0,
        "fitting": nearest == 0,
        "two_or_more_off": nearest >= 2,
        "one_too_large": below,
    }
    return np.select(list(cases.values()), list(cases), "one_too_small")


def likely_chances(
    people: pd.DataFrame,
    weight: npt.ArrayLike,
    chart: SizeChart,
    known: Sequence[str],
    seen: pd.DataFrame,
) -> Floats:
    """Return each size's chance of fitting those seen (rows, sizes), by ``known``.

    The weighted share it fits among the 50 ``people`` most alike in what is known
    (children among children, adults among adults; never the person herself); 0 where
    what is known lies outside the size's own bands.
    """
    lacking = any(name not in people for name in known)
    point = np.full((len(people), 1), np.nan) if lacking else _points(people, known)
    if not np.isfinite(point).all(axis=1).any():
        raise SizingError(
            f"Choosing by {' and '.join(known)} needs people with both taken: "
            "give people with these columns, or leave that way out."
        )
    bounds = limits(chart)
    fits = np.ones((len(people), len(chart.sizes)))
    for measure, (low, high) in bounds.items():
        if measure not in known:
            x = _tenths(people, measure)
            free = (low == NO_LOW) & (high == NO_HIGH)
            fits *= free | ((x != MISSING_TENTHS) & (x >= low) & (x <= high))
    code, person = pd.factorize(people["person"])
    count = np.bincount(code)
    ends = pd.DataFrame(point).groupby(code).agg(["min", "max"]).to_numpy()
    # What is drawn differs from draw to draw, and teaches nothing.
    taught = np.flatnonzero((ends[:, ::2] == ends[:, 1::2]).all(axis=1))
    if not len(taught):
        raise SizingError(f"Nobody among the people has a measured {known[0]}.")
    share = [(np.bincount(code, column) / count)[taught] for column in fits.T]
    of_person = (np.bincount(code, np.asarray(weight, dtype=float)) / count)[taught]
    # Those seen; a person's draws share what was measured, and so the chances.
    point = _points(seen, known)
    finite: Bools = np.asarray(np.isfinite(point).all(axis=1))[:, None]
    own = pd.Index(person[taught]).get_indexer(pd.Index(seen["person"]))
    key = pd.DataFrame(np.column_stack([np.where(finite, point, 0), own]))
    row = key.groupby(list(key.columns), sort=False).ngroup().to_numpy()
    each = key.drop_duplicates().to_numpy()
    most = min(NEIGHBOURS + 1, len(taught))
    near = cKDTree(ends[taught, ::2]).query(each[:, :-1], k=most)[1].reshape(-1, most)
    other = near != each[:, -1:].astype(int)
    # The farthest makes room where the person herself is not among them.
    other[:, -1] &= other.sum(axis=1) < most
    part = of_person[near] * other
    whole = np.maximum(part.sum(axis=1), 1e-300)
    found = [np.einsum("nk,nk->n", part, one[near]) / whole for one in share]
    chance = np.column_stack(found)[row] * finite
    for name in filter(bounds.__contains__, known):
        (low, high), x = bounds[name], _tenths(seen, name)
        chance = np.where((x >= low) & (x <= high), chance, 0.0)
    return chance


def _points(frame: pd.DataFrame, known: Sequence[str]) -> Floats:
    columns = []
    for name in known:
        value = frame[name].to_numpy(float, na_value=np.nan)
        value = np.log(value) if name == "body_mass_kg" else value
        columns.append(value / _STEP[name])
    if "age_years" in frame:
        age = frame["age_years"].to_numpy(float, na_value=np.nan)
        columns.append(np.where(age < ADULT_FROM, 0.0, 1e4))
    return np.column_stack(columns)


def doubted_means(
    place: Layout,
    now: Floats,
    more: Floats,
    groups: Sequence[Floats],
    *,
    replicates: int,
    seed: int,
) -> Means:
    """Return means of columns within groups, with what is not known of the errors.

    ``more``: ``now``, were readings to err more by one SD of what is not known of their
    errors: by the delta method, a part of the variance.
    """
    columns, moved = list(now[place.rows]), (more - now)[place.rows]
    means = group_means(place, columns, groups, replicates=replicates, seed=seed)
    weights = [group * place.weight[:, None] for group in groups]
    parts = zip(weights, moved, strict=True)
    shifts = [w.T @ change / w.sum(axis=0)[:, None] for w, change in parts]
    variance = means.variance + np.square(np.mean(shifts, axis=0))
    return replace(means, variance=variance)


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
    """Set the fitted curves against every published figure, fitted to or predicted."""
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
    """Return the people with body mass and stature as guessed, independently."""
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
