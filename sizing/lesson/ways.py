"""The same people sized by each way of choosing, with the errors each makes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from sizing.cautions import cautions, invented_words
from sizing.charts import SizeChart, demo_chart
from sizing.charts.fits import limits
from sizing.coverage.coverage import EVERYONE
from sizing.errors import (
    SizingError,
    check_number,
    check_replicates,
    check_seed,
    one_of,
)
from sizing.lesson.choosing import (
    ADULT_FROM,
    Ints,
    edge_margins,
    innermost,
    likely_size,
    reading_errors,
)
from sizing.lesson.guessing import GuessModel, fit_guess
from sizing.lesson.ways_shares import PUT_WRONG, WRONG_OF_SOME, shares_of_ways
from sizing.measures import MEASURES
from sizing.people import People, load_people, population_titles

#: Ways of choosing, in the order of every table; ``asked`` only on request.
WAY_WORDS: dict[str, str] = {
    "by_eye": "by eye",
    "usual": "the size we always use",
    "stature": "by stature alone",
    "body_mass": "by body mass alone",
    "both": "by body mass and stature",
    "tape_once": "by tape, once",
    "tape_twice": "by tape, twice",
    "asked": "by asking the person's body mass and stature",
}
WAYS: tuple[str, ...] = tuple(WAY_WORDS)[:-1]
#: SD of a guess of stature, relative to the stature: common practice, no source.
STATURE_GUESS_SD = 0.04
#: Mean and SD in cm of what people say of their stature minus what was measured:
#: NHANES 2017-18 adults, n = 5,279 (data_sources/guessing_figures.csv, study
#: NHANES 2017-18, derived by data_sources/derive_reported_errors.py).
STATURE_SAID = (1.70, 3.22)
_KNOWN = ("body_mass_kg", "stature_cm")


@dataclass(frozen=True)
class WaysResult:
    """How often each way of choosing puts people in a fitting size.

    Attributes
    ----------
    table : DataFrame
        See ``compare_ways``.
    differences : DataFrame
        Each way against ``against``, in the same people.
    choices : DataFrame
        One row per person and draw: ``person``, ``draw``, and for each way the
        size it chose (empty: none).
    chart, people : str
    settings : mapping
        The usual size, the guessing curves, the reading errors, the seed.
    sources, limits : tuple of str
    invented : tuple of str
        For ``invented_words``.
    """

    table: pd.DataFrame
    differences: pd.DataFrame
    choices: pd.DataFrame
    chart: str
    people: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    sources: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    invented: tuple[str, ...] = ()

    @property
    def overall(self) -> pd.DataFrame:
        """The rows about everyone."""
        return self.table[self.table["by"] == EVERYONE].reset_index(drop=True)

    def worst_groups(self, way: str = "by_eye") -> pd.DataFrame:
        """Return the groups by how often a way fails those whom a size fits.

        Groups of fewer than 30 persons are left out. Worst first.
        """
        one_of("way", way, list(dict.fromkeys(self.table["way"])))
        chosen = (
            (self.table["way"] == way)
            & (self.table["outcome"] == WRONG_OF_SOME)
            & (self.table["by"] != EVERYONE)
            & ~self.table["small_group"]
        )
        rows = self.table[chosen].sort_values("estimate", ascending=False)
        return rows.reset_index(drop=True)

    def summary(self) -> str:
        """Return the result in plain words, with the cautions."""
        rows = self.overall.set_index(["way", "outcome"])
        ways = list(dict.fromkeys(self.table["way"]))
        who = population_titles().get(self.people, self.people)
        lines = [
            f"{who.capitalize()}, sized by '{self.chart}', n = {rows['n'].iloc[0]:,}."
        ]
        for way in ways:
            fits, wrong = rows.loc[(way, "fitting")], rows.loc[(way, PUT_WRONG)]
            lines.append(
                f"{WAY_WORDS[way].capitalize()}: {_words(fits)} in a size that fits; "
                f"{_words(wrong)} in one that does not."
            )
        if "by_eye" in ways and len(worst := self.worst_groups()):
            top = worst.iloc[0]
            lines.append(
                f"Guessing fails most in the group '{top['level']}': of those whom "
                f"some size fits, {_words(top)} are not put in it."
            )
        lines.append(" ".join(cautions("wrong_size", "assessment", "label", "load")))
        return "\n".join([*filter(None, [invented_words(*self.invented)]), *lines])


def _words(row: pd.Series) -> str:
    low, high = 100 * row["low"], 100 * row["high"]
    return f"{100 * row['estimate']:.0f} % ({low:.0f} to {high:.0f})"


def compare_ways(
    people: People | None = None,
    chart: SizeChart | None = None,
    *,
    ways: Sequence[str] = WAYS,
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
        ``by_eye``: body mass and stature are guessed, and the size is chosen as
        if the guesses were true. ``usual``: one size for all. ``stature``,
        ``body_mass``, ``both``: chosen by these, exactly known. ``tape_once``,
        ``tape_twice``: every measure that the chart limits is read once, or is
        the mean of two readings. ``asked``: as by eye, from what the person
        says.
    by : sequence of str
        Groupings, as in ``sizing.coverage.estimate_coverage``.
    guess : GuessModel, optional
        Of body mass; if not given, nurses' curves, one for adults and one for
        children under 18 (studied at 0 to 8).
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
        n_effective, standard_error, small_group (n under 30). Outcomes: those of
        ``sizing.lesson.choosing.CHOICE_OUTCOMES``, which add up to 1;
        ``put_in_a_wrong_size``: too small, too large, two off, or chosen though
        none fits; ``wrong_of_those_a_size_fits``: 1 minus the share in a fitting
        size, among the people whom some size fits.

        ``.differences``: way, against, outcome (``fitting`` and
        ``put_in_a_wrong_size``), estimate (the way's share minus the other's),
        low, high, method, n.

    Raises
    ------
    SizingError
        For an unknown way, size or grouping, or people without the measures.

    Notes
    -----
    A chooser who knows only body mass or stature takes the size that most
    probably fits given that: its share among the 50 persons most alike, where
    the size's own band of body mass or stature, if it has one, holds the value.
    Nobody at a bedside has that table, so these ways come out better than in
    use; so does guessing. Child or adult is taken as seen. By tape, of several
    sizes that the readings fit, the one whose nearest edge is farthest is taken.

    Errors of reading are normal, independent between measures, and average out
    over readings, which a wrong landmark does not. Sizes are ranked by their
    order in the chart (``outcome_of_choice``). Intervals as in
    ``sizing.coverage.estimate_coverage``: bootstrap of persons or linearisation, draws
    joined as ``coverage`` does, Wilson's score interval; of differences, Student's
    t. The curves of guessing are taken as true: their spread between studies is
    in no interval; ``check_guesses`` shows it.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> found = compare_ways(people, ways=["usual", "tape_once"], by=[],
    ...     replicates=50)
    >>> rows = found.overall.set_index(["way", "outcome"])["estimate"]
    >>> bool(rows["tape_once", "fitting"] > rows["usual", "fitting"])
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
    sd = reading_errors() | dict(reading_sd or {})
    frame, weight = people.frame, people.weight.to_numpy(float)
    fits = edge_margins(frame, chart, sd) >= 0
    fitted = (fits * weight[:, None]).sum(axis=0)
    usual = (
        int(fitted.argmax()) if usual_size is None else chart.sizes.index(usual_size)
    )

    chosen: dict[str, Ints] = {}
    for way in ways:
        rng = np.random.default_rng([seed, list(WAY_WORDS).index(way)])
        if way == "usual":
            chosen[way] = np.full(len(frame), usual)
        elif way.startswith("tape"):
            times = 2 if way == "tape_twice" else 1
            read = read_by_tape(frame, chart, sd, rng, times=times)
            chosen[way] = innermost(edge_margins(read, chart, sd))
        else:
            known = (
                ("stature_cm",)
                if way == "stature"
                else (("body_mass_kg",) if way == "body_mass" else _KNOWN)
            )
            rule = likely_size(frame, weight, chart, known)
            seen = frame
            if way == "by_eye":
                seen = guessed(frame, rng, guess, stature_guess_sd)
            elif way == "asked":
                seen = _asked(frame, rng)
            chosen[way] = rule.choose(seen)

    table, differences = shares_of_ways(
        people, chosen, fits, by, against, replicates=replicates, seed=seed
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
            "usual_size_given": usual_size is not None,
            "guess": tuple(curves),
            "stature_guess_sd": stature_guess_sd,
            "reading_sd": {m: sd[m] for m in limits(chart)},
            "seed": seed,
        },
        people.sources,
        people.limits,
        chart.invented,
    )


def read_by_tape(
    frame: pd.DataFrame,
    chart: SizeChart,
    sd: Mapping[str, float],
    rng: np.random.Generator,
    *,
    times: int = 1,
    lasting_sd: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Return the people's measures as the mean of so many readings tells them.

    Parameters
    ----------
    frame : DataFrame
    chart : SizeChart
        Only the measures it limits are read, body mass by a scale among them.
    sd : mapping
        SD of one reading; it falls by the square root of ``times``.
    rng : Generator
    times : int
    lasting_sd : mapping, optional
        SD of an error that all readings of one measurer share: it stays.

    Returns
    -------
    DataFrame
    """
    read = {}
    for measure in limits(chart):
        if measure not in frame:
            continue
        lasting = (lasting_sd or {}).get(measure, 0.0)
        spread = np.hypot(sd[measure] / np.sqrt(times), lasting)
        true = frame[measure].to_numpy(float, na_value=np.nan)
        read[measure] = true + spread * rng.standard_normal(len(frame))
    return pd.DataFrame(read, index=frame.index)


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


def _asked(frame: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Return the people with body mass and stature as they say them."""
    n = len(frame)
    mean, sd = STATURE_SAID
    return frame.assign(
        body_mass_kg=frame["body_mass_kg"] * (1 + fit_guess("patient").errors(n, rng)),
        stature_cm=frame["stature_cm"] + rng.normal(mean, sd, n),
    )
