"""The same people sized by each way of choosing, with the errors each makes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from sizing.cautions import closing, invented_words
from sizing.charts import SizeChart, demo_chart
from sizing.charts.fits import limits
from sizing.coverage.coverage import EVERYONE, memberships
from sizing.errors import (
    SizingError,
    check_number,
    check_replicates,
    check_seed,
    one_of,
)
from sizing.lesson.choosing import (
    CHOICE_OUTCOMES,
    ERROR_SPREAD,
    NOT_FOUND,
    PUT_WRONG_OUTCOMES,
    SPREAD_WORDS,
    Bools,
    Floats,
    Ints,
    chosen_by_tape,
    edge_margins,
    likely_size,
    outcome_of_choice,
    reading_errors,
)
from sizing.lesson.guessing import STATURE_GUESS_SD, GuessModel, fit_guess, guessed
from sizing.measures import MEASURES
from sizing.people import People, load_people, population_titles
from sizing.people.layout import layout
from sizing.stats.intervals import LEVEL, student
from sizing.stats.shares import SMALL_GROUP, Means, group_means
from sizing.words.numbers import interval

#: Ways of choosing, in the order of every table.
WAY_WORDS: dict[str, str] = {
    "by_eye": "by eye",
    "usual": "the size we always use",
    "stature": "by height alone",
    "body_mass": "by weight alone",
    "both": "by weight and height",
    "tape_once": "by tape, once",
    "tape_twice": "by tape, twice",
}
_KNOWN = {"stature": ("stature_cm",), "body_mass": ("body_mass_kg",)}
PUT_WRONG = "put_in_a_wrong_size"
#: Of the people who fit at least one size: these three add up to 1.
FITTED, WRONG, MISSED = OF_SOME = (
    "fitting_if_some_fits",
    "wrong_if_some_fits",
    "missed_if_some_fits",
)


@dataclass(frozen=True)
class WaysResult:
    """How often each way of choosing puts people in a fitting size.

    ``table``, ``differences``: see ``compare_ways``; ``choices``: person, draw, and the
    size each way chose (empty: none); ``settings``: what was assumed.
    """

    table: pd.DataFrame
    differences: pd.DataFrame
    choices: pd.DataFrame
    chart: str
    people: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    invented: tuple[str, ...] = ()

    @property
    def overall(self) -> pd.DataFrame:
        """The rows about everyone."""
        return self.table[self.table["by"] == EVERYONE].reset_index(drop=True)

    def worst_groups(self) -> pd.DataFrame:
        """Return the groups, small ones left out, by how often guessing is wrong."""
        chosen = (
            (self.table["way"] == "by_eye")
            & (self.table["outcome"] == WRONG)
            & (self.table["by"] != EVERYONE)
            & ~self.table["small_group"]
        )
        rows = self.table[chosen].sort_values("estimate", ascending=False)
        return rows.reset_index(drop=True)

    def summary(self) -> str:
        """Return the result in plain words, with the cautions."""
        rows = self.overall.set_index(["way", "outcome"])
        who = population_titles().get(self.people, self.people)
        lines = [
            f"{who[0].upper()}{who[1:]}, sized by '{self.chart}', "
            f"n = {rows['n'].iloc[0]:,}. Of people who fit at least one size:"
        ]
        for way in dict.fromkeys(self.table["way"]):
            fits, wrong, missed = (interval(rows.loc[(way, one)]) for one in OF_SOME)
            lines.append(
                f"{WAY_WORDS[way].capitalize()}: {fits} in a size that fits, {wrong} "
                f"in a wrong one, {missed} in none."
            )
        for _, top in self.worst_groups().head(1).iterrows():
            lines.append(
                f"Guessing fails most in the group '{top['level']}': of people who fit "
                f"at least one size, {interval(top)} are put in a wrong one."
            )
        lines.append(closing())
        return "\n".join([*filter(None, [invented_words(*self.invented)]), *lines])


def compare_ways(
    people: People | None = None,
    chart: SizeChart | None = None,
    *,
    ways: Sequence[str] = tuple(WAY_WORDS),
    by: Sequence[str] = ("sex", "age_band", "bmi_class"),
    guess: GuessModel | None = None,
    stature_guess_sd: float = STATURE_GUESS_SD,
    usual_size: str | None = None,
    reading_sd: Mapping[str, float] | None = None,
    against: str = "tape_once",
    replicates: int = 200,
    seed: int = 1,
) -> WaysResult:
    """Size the same people by each way of choosing, and count what comes of it.

    Parameters
    ----------
    people : People, optional
        Adults of the kit's survey if not given.
    chart : SizeChart, optional
        The invented demo chart if not given.
    ways : sequence of str
        ``by_eye``: by body mass and stature as guessed. ``usual``: one size for all.
        ``stature``, ``body_mass``, ``both``: by these, read once. ``tape_once``,
        ``tape_twice``: by every measure that the chart limits, read once, or the mean
        of two readings.
    by : sequence of str
        Groupings, as in ``sizing.coverage.estimate_coverage``.
    guess : GuessModel, optional
        Of body mass; if not given, nurses' curves, of adults and of children.
    stature_guess_sd : float
        SD of a guess of stature, relative to it. Common practice, no source.
    usual_size : str, optional
        If not given, the size that fits most of these people.
    reading_sd : mapping, optional
        Measure to SD of one reading in cm or kg, instead of the vocabulary's.
    against : str
        The way that the others are compared with, among ``ways``.
    replicates, seed : int
        Of the bootstrap; of the errors. Same seed, same result.

    Returns
    -------
    WaysResult
        ``.table``: way, by, level, outcome; estimate, low, high, method, n,
        n_effective, standard_error, small_group (n under 30). Outcomes, of everyone:
        ``sizing.lesson.choosing.CHOICE_OUTCOMES``, which add up to 1, and
        ``put_in_a_wrong_size``; of the people who fit at least one size:
        ``fitting_if_some_fits``, ``wrong_if_some_fits`` and ``missed_if_some_fits``.

        ``.differences``: way, against, outcome (the last three), estimate (the
        way's share minus the other's), low, high, method, n.

    Raises
    ------
    SizingError
        For an unknown way, size or grouping, or people without the measures.

    Notes
    -----
    Who knows only body mass or stature takes the size that most probably fits people
    alike. Nobody at a bedside has that table: these ways, and guessing, come out
    better than in use. By tape, of several sizes that fit, the one whose nearest edge
    is farthest is taken. Errors of reading are normal, independent between measures,
    and average out over readings, which a wrong landmark does not.

    Intervals are those of ``sizing.coverage.estimate_coverage``, the body model's bias
    counted; of differences, Student's t. Those of the tape carry, by the delta method,
    that readings may err from half to twice as much (``ERROR_SPREAD``), unless
    ``reading_sd`` is given. The curves of guessing are taken as true: their spread
    between studies is in no interval; ``check_guesses`` shows it.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> found = compare_ways(people, ways=["usual", "tape_once"], by=[],
    ...     replicates=50)
    >>> rows = found.overall.set_index(["way", "outcome"])["estimate"]
    >>> fits = "fitting_if_some_fits"
    >>> bool(rows["tape_once", fits] > rows["usual", fits])
    True
    """
    for way in ways:
        one_of("way", way, list(WAY_WORDS))
    if not ways:
        raise SizingError(f"Give at least one way of: {', '.join(WAY_WORDS)}.")
    check_number("the spread of guessed statures", stature_guess_sd, least=0)
    for measure, each in (reading_sd or {}).items():
        one_of("measure", measure, list(MEASURES))
        check_number(f"the spread of a reading of {measure}", each, least=0)
    check_replicates(replicates)
    check_seed(seed)
    people = load_people("adults", seed=seed) if people is None else people
    chart = demo_chart() if chart is None else chart
    if usual_size is not None:
        one_of("size", usual_size, chart.sizes)
    sd = {**reading_errors(), **(reading_sd or {})}
    frame, weight = people.frame, people.weight.to_numpy(float)
    fits = edge_margins(frame, chart, sd) >= 0
    fitted = (fits * weight[:, None]).sum(axis=0)
    usual = (
        int(fitted.argmax()) if usual_size is None else chart.sizes.index(usual_size)
    )

    chosen: dict[str, Ints] = {}
    # The same with readings that err more: by one SD of what is not known of it.
    erring: dict[str, Ints] = {}
    errs = [(chosen, 1.0), (erring, float(np.exp(ERROR_SPREAD)))]
    for way in ways:
        rng = np.random.default_rng([seed, list(WAY_WORDS).index(way)])
        if way == "usual":
            chosen[way] = np.full(len(frame), usual)
        elif way.startswith("tape"):
            for codes, more in errs[:1] if reading_sd else errs:
                times = more / np.sqrt(2 if way == "tape_twice" else 1)
                errors = {m: times * e for m, e in sd.items()}
                codes[way] = chosen_by_tape(frame, chart, errors, seed)
        else:
            known = _KNOWN.get(way, ("body_mass_kg", "stature_cm"))
            rule = likely_size(frame, weight, chart, known)
            if way == "by_eye":
                seen = guessed(frame, rng, guess, stature_guess_sd)
            else:
                error = {m: sd[m] * rng.standard_normal(len(frame)) for m in known}
                seen = frame.assign(**{m: frame[m] + error[m] for m in known})
            chosen[way] = rule.choose(seen)

    table, differences = _shares(
        people,
        chosen,
        erring,
        fits,
        chart.measures,
        by,
        against,
        replicates=replicates,
        seed=seed,
    )
    names = np.array([*chart.sizes, ""], dtype=object)
    choices = frame[["person", "draw"]].assign(
        **{way: names[codes] for way, codes in chosen.items()}
    )
    curves = [guess] if guess else [fit_guess("nurse"), fit_guess("nurse", "children")]
    return WaysResult(
        table,
        differences,
        choices,
        chart.name,
        people.name,
        {
            "usual_size": chart.sizes[usual],
            "guess": tuple(curves),
            "stature_guess_sd": stature_guess_sd,
            "reading_sd": {m: sd[m] for m in limits(chart)},
            "seed": seed,
        },
        chart.invented,
    )


def _shares(
    people: People,
    chosen: Mapping[str, Ints],
    erring: Mapping[str, Ints],
    fits: Bools,
    measures: tuple[str, ...],
    by: Sequence[str],
    against: str,
    *,
    replicates: int,
    seed: int,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the shares of every way, group and outcome, and the differences."""
    place = layout(people, measures)
    labels, members = memberships(people, list(by), place)
    some = np.asarray(fits.any(axis=1))[place.rows].astype(float)
    with_size = [m * s[:, None] for m, s in zip(members, some, strict=True)]
    ways = list(chosen)
    others = [way for way in ways if way != against] if against in chosen else []
    both = []
    for now, then, groups in zip(
        _counted(chosen, fits, others, against),
        _counted({**chosen, **erring}, fits, others, against),
        (members, with_size),
        strict=True,
    ):
        columns = _columns(now, place.rows)
        means = group_means(place, columns, groups, replicates=replicates, seed=seed)
        moved = []
        for change, group in zip(_columns(then - now, place.rows), groups, strict=True):
            weight = group * place.weight[:, None]
            moved.append(weight.T @ change / weight.sum(axis=0)[:, None])
        variance = means.variance + np.square(np.mean(moved, axis=0))
        both.append(replace(means, variance=variance))
    everyone, found = both
    own, rest = slice(len(ways) * len(OF_SOME)), slice(len(ways) * len(OF_SOME), None)
    estimate, variance, df = found.estimate, found.variance, found.df
    fitted = replace(
        found, estimate=estimate[:, own], variance=variance[:, own], df=df[:, own]
    )
    table = pd.concat(
        [
            _long(everyone, labels, ways, [*CHOICE_OUTCOMES, PUT_WRONG]),
            _long(fitted, labels, ways, OF_SOME),
        ],
        ignore_index=True,
    )
    method = f"{100 * LEVEL:.0f} % score interval on the effective number; {place.how}"
    method += place.joined
    more = dict.fromkeys(erring, f"; {SPREAD_WORDS}")
    table.insert(7, "method", [method + more.get(way, "") for way in table["way"]])
    order = pd.Categorical(table["way"], ways)
    table = table.iloc[order.argsort(kind="stable")].reset_index(drop=True)
    half = student(df[0, rest]) * np.sqrt(variance[0, rest])
    differences = pd.DataFrame(
        {
            "way": np.repeat(others, len(OF_SOME)),
            "against": against,
            "outcome": list(OF_SOME) * len(others),
            "estimate": estimate[0, rest],
            "low": estimate[0, rest] - half,
            "high": estimate[0, rest] + half,
            "method": f"paired difference, Student's t; {place.how}{place.joined}"
            + more.get(against, ""),
            "n": round(found.n[0]),
        }
    )
    return table, differences


def _counted(
    chosen: Mapping[str, Ints], fits: Bools, others: Sequence[str], against: str
) -> tuple[Floats, Floats]:
    """Return the outcome of each choice: of all, and of people who fit some size.

    Differences follow the latter: joining the draws, which is slow, is done once.
    """
    came = np.array([outcome_of_choice(codes, fits) for codes in chosen.values()])
    wrong = np.isin(came, PUT_WRONG_OUTCOMES)
    ways, each = list(chosen), [came == name for name in CHOICE_OUTCOMES]
    of_all = np.stack([*each, wrong], axis=1).astype(float)
    of_some = 1.0 * np.stack([came == "fitting", wrong, came == NOT_FOUND], axis=1)
    if others:
        gaps = of_some[[ways.index(way) for way in others]]
        gaps -= of_some[ways.index(against)]
        of_some = np.concatenate([of_some, gaps])
    return of_all, of_some


def _columns(outcomes: Floats, rows: Ints) -> list[Floats]:
    """Return, of each draw, people and each way's outcomes side by side."""
    flat = np.ascontiguousarray(outcomes.reshape(-1, outcomes.shape[2]).T)
    return list(flat[rows])


def _long(
    means: Means,
    labels: Sequence[tuple[str, str]],
    ways: Sequence[str],
    outcomes: Sequence[str],
) -> pd.DataFrame:
    """Return one row per group, way and outcome, with the score interval."""
    low, high = means.shares()
    n = np.round(means.n).astype(int)
    width = means.estimate.shape[1]
    return pd.DataFrame(
        {
            "way": np.tile(np.repeat(ways, len(outcomes)), len(labels)),
            "by": np.repeat([label[0] for label in labels], width),
            "level": np.repeat([label[1] for label in labels], width),
            "outcome": np.tile(outcomes, len(ways) * len(labels)),
            "estimate": means.estimate.ravel(),
            "low": low.ravel(),
            "high": high.ravel(),
            "n": np.repeat(n, width),
            "n_effective": np.repeat(means.n_effective, width),
            "standard_error": np.sqrt(means.variance).ravel(),
            "small_group": np.repeat(n < SMALL_GROUP, width),
        }
    )
