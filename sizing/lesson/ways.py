"""The same people sized by each way of choosing; and all that a lesson shows."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart, demo_chart
from sizing.charts.fits import limits
from sizing.coverage.coverage import EVERYONE, memberships
from sizing.errors import SizingError, check_number, check_seed, one_of
from sizing.lesson import choosing
from sizing.lesson.answers import read_answers
from sizing.lesson.choosing import CHOICE_OUTCOMES, Bools, Floats, GuessModel, Ints
from sizing.lesson.practice import Pairs, Practice, practice_clients, surprising_pairs
from sizing.lesson.room import RoomResult, room_result
from sizing.lesson.tape import chance_of_wrong_size
from sizing.measures import MEASURES
from sizing.people import People, load_people, population_titles
from sizing.people.people import layout
from sizing.resources import closing, invented_words, texts
from sizing.stats.estimates import SMALL_GROUP, Layout, Means
from sizing.stats.formulas import LEVEL, student
from sizing.words.numbers import interval

_T = texts("lesson")
#: Ways of choosing, in the order of every table.
WAYS = ["by_eye", "usual", "stature", "body_mass", "both", "tape_once", "tape_twice"]
WAY_WORDS: dict[str, str] = dict(zip(WAYS, _T.ways, strict=True))
_KNOWN = {"stature": ("stature_cm",), "body_mass": ("body_mass_kg",)}
PUT_WRONG = "put_in_a_wrong_size"
#: The way that the others are compared with.
_AGAINST = "tape_once"
#: Of the people who fit at least one size: these three add up to 1.
OF_SOME = tuple(f"{came}_if_some_fits" for came in ("fitting", "wrong", "missed"))
FITTED, WRONG, MISSED = OF_SOME

#: The study in which nurses' guesses of adults were best.
BEST_GUESSES = "Fernandes 1999"
#: Each case, and what it is called.
CASES: dict[str, str] = _T.cases
_MOVED_CM = {"narrow": 2.0, "wide": -2.0}
_TIMES = {"half": 0.5, "twice": 2.0}
#: What the forms are laid out for, if nothing else is asked.
CLASS_SIZE = {"participants": 12, "volunteers": 3, "readings": 2}
#: ``progress(words, share)``: what is being done, and how much is done, 0 to 1.
Progress = Callable[[str, float], None]


@dataclass(frozen=True)
class WaysResult:
    """How often each way fits; ``choices``: what it chose for each person."""

    table: pd.DataFrame
    differences: pd.DataFrame
    choices: pd.DataFrame
    chart: str
    people: str
    settings: Mapping[str, Any] = field(default_factory=dict)
    invented: tuple[str, ...] = ()

    @property
    def overall(self) -> pd.DataFrame:
        return self.table[self.table["by"] == EVERYONE].reset_index(drop=True)

    def worst_groups(self) -> pd.DataFrame:
        """Return the groups large enough, by how often guessing is wrong."""
        rows = self.table.query(
            "way == 'by_eye' and outcome == @WRONG and by != @EVERYONE"
        )
        rows = rows[~rows["small_group"]].sort_values("estimate", ascending=False)
        return rows.reset_index(drop=True)

    def summary(self) -> str:
        rows, own = self.overall.set_index(["way", "outcome"]), _T.ways_said
        who, n = population_titles().get(self.people, self.people), rows["n"].iloc[0]
        first = own["first"].format(who=f"{who[0].upper()}{who[1:]}", n=n, of=self)
        lines = [first]
        for way in dict.fromkeys(self.table["way"]):
            parts = (interval(rows.loc[(way, one)]) for one in OF_SOME)
            named = dict(zip(("fits", "wrong", "missed"), parts, strict=True))
            lines.append(own["way"].format(way=WAY_WORDS[way].capitalize(), **named))
        for top in self.worst_groups().head(1).to_dict("records"):
            worst = own["worst"].format(level=top["level"], wrong=interval(top))
            lines.append(worst)
        led = filter(None, [invented_words(*self.invented)])
        return "\n".join([*led, *lines, closing()])


def compare_ways(
    people: People | None = None,
    chart: SizeChart | None = None,
    *,
    ways: Sequence[str] = tuple(WAY_WORDS),
    by: Sequence[str] = ("sex", "age_band", "bmi_class"),
    guess: GuessModel | None = None,
    reading_sd: Mapping[str, float] | None = None,
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
        ``by_eye``: by body mass and stature as guessed. ``usual``: the size that fits
        most of them for all. ``stature``, ``body_mass``, ``both``: by these, read once.
        ``tape_once``, ``tape_twice``: by every measure that the chart limits, read
        once, or the mean of two readings.
    by : sequence of str
        Groupings, as in ``sizing.coverage.estimate_coverage``.
    guess : GuessModel, optional
        Of body mass; if not given, nurses' curves, of adults and of children.
    reading_sd : mapping, optional
        Measure to SD of one reading in cm or kg, instead of the vocabulary's.
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
        ``.differences``: the last three, each way less ``tape_once``.
        ``.choices``: person, draw, and the size each way chose (empty: none).

    Raises
    ------
    SizingError
        For an unknown way or grouping, or people without the measures.

    Notes
    -----
    Who knows only body mass or stature takes the size that most probably fits people
    alike; nobody at a bedside has that table. By tape, of several sizes that fit, the
    one whose nearest edge is farthest is taken. Errors of reading are normal and
    independent, and average out, which a wrong landmark does not.

    Intervals are those of ``sizing.coverage.estimate_coverage``; of differences,
    Student's t. By the delta method, those of the tape carry that readings may err by
    half or twice as much, unless ``reading_sd`` is given. Guessing curves are exact.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> found = compare_ways(people, ways=["tape_once"], by=[], replicates=50).overall
    >>> bool(found.set_index("outcome")["estimate"]["fitting_if_some_fits"] > 0.8)
    True
    """
    for way in ways:
        one_of("way", way, list(WAY_WORDS))
    if not ways:
        raise SizingError(f"Give at least one way of: {', '.join(WAY_WORDS)}.")
    for measure, each in (reading_sd or {}).items():
        one_of("measure", measure, list(MEASURES))
        check_number(f"the spread of a reading of {measure}", each, least=0)
    check_seed(seed)
    people = load_people("adults", seed=seed) if people is None else people
    chart = demo_chart() if chart is None else chart
    sd = {**choosing.reading_errors(), **(reading_sd or {})}
    frame, weight = people.frame, people.weight.to_numpy(float)
    fits = choosing.edge_margins(frame, chart) >= 0
    usual = int((fits * weight[:, None]).sum(axis=0).argmax())
    chosen: dict[str, Ints] = {}
    # The same with readings that err more: by one SD of what is not known of it.
    erring: dict[str, Ints] = {}
    errs = [(chosen, 1.0), (erring, float(np.exp(choosing.ERROR_SPREAD)))]
    for way in ways:
        rng = np.random.default_rng([seed, list(WAY_WORDS).index(way)])
        if way == "usual":
            chosen[way] = np.full(len(frame), usual)
        elif way.startswith("tape"):
            for codes, more in errs[:1] if reading_sd else errs:
                times = more / np.sqrt(2 if way == "tape_twice" else 1)
                errors = {m: times * e for m, e in sd.items()}
                codes[way] = choosing.chosen_by_tape(frame, chart, errors, seed)
        else:
            known = _KNOWN.get(way, ("body_mass_kg", "stature_cm"))
            if way == "by_eye":
                seen = choosing.guessed(frame, rng, guess)
            else:
                error = {m: sd[m] * rng.standard_normal(len(frame)) for m in known}
                seen = frame.assign(**{m: frame[m] + error[m] for m in known})
            chance = choosing.likely_chances(frame, weight, chart, known, seen)
            likely = chance.max(axis=1) >= choosing.NONE_BELOW
            chosen[way] = np.where(likely, chance.argmax(axis=1), -1)

    place = layout(people, chart.measures)
    labels, members = memberships(people, list(by), place)
    some = np.asarray(fits.any(axis=1))[place.rows].astype(float)[..., None]
    others = [way for way in chosen if way != _AGAINST] if _AGAINST in chosen else []
    now = _counted(chosen, fits, others)
    then = _counted({**chosen, **erring}, fits, others)
    whom = members, [m * own for m, own in zip(members, some, strict=True)]
    drawing: Any = {"replicates": replicates, "seed": seed}
    means = [
        choosing.doubted_means(place, *each, **drawing)
        for each in zip(now, then, whom, strict=True)
    ]
    doubt = dict.fromkeys(erring, f"; {choosing.SPREAD_WORDS}")
    found = _shares(place, means, labels, list(chosen), others, doubt)
    names = np.array([*chart.sizes, ""], dtype=object)
    by_way = {way: names[codes] for way, codes in chosen.items()}
    choices = frame[["person", "draw"]].assign(**by_way)
    fitted = [choosing.fit_guess("nurse", whom) for whom in ("adults", "children")]
    curves = [guess] if guess else fitted
    settings = {
        "usual_size": chart.sizes[usual],
        "guess": tuple(curves),
        "stature_guess_sd": choosing.STATURE_GUESS_SD,
        "reading_sd": {m: sd[m] for m in limits(chart)},
        "seed": seed,
    }
    named = (chart.name, people.name)
    return WaysResult(*found, choices, *named, settings, chart.invented)


def _shares(
    place: Layout,
    means: Sequence[Means],
    labels: Sequence[tuple[str, str]],
    ways: list[str],
    others: list[str],
    doubt: Mapping[str, str],
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the shares of every way, group and outcome, and the differences."""
    everyone, found = means
    width = len(ways) * len(OF_SOME)
    figures = {n: getattr(found, n) for n in ("estimate", "variance", "df")}
    own = replace(found, **{name: of[:, :width] for name, of in figures.items()})
    parts = ((everyone, [*CHOICE_OUTCOMES, PUT_WRONG]), (own, OF_SOME))
    table = pd.concat([_long(one, labels, ways, which) for one, which in parts])
    method = f"{100 * LEVEL:.0f} % score interval on the effective number; {place.how}"
    method += place.joined
    table.insert(7, "method", [method + doubt.get(way, "") for way in table["way"]])
    order = pd.Categorical(table["way"], ways).argsort(kind="stable")
    estimate, variance, df = (of[0, width:] for of in figures.values())
    half = student(df) * np.sqrt(variance)
    how = f"paired difference, Student's t; {place.how}{place.joined}"
    keys = [(way, _AGAINST, one) for way in others for one in OF_SOME]
    differences = pd.DataFrame(keys, columns=["way", "against", "outcome"]).assign(
        estimate=estimate,
        low=estimate - half,
        high=estimate + half,
        method=how + doubt.get(_AGAINST, ""),
        n=round(found.n[0]),
    )
    return table.iloc[order].reset_index(drop=True), differences


def _counted(
    chosen: Mapping[str, Ints], fits: Bools, others: Sequence[str]
) -> tuple[Floats, Floats]:
    """Return what came of each choice (people, ways' outcomes): of all, of OF_SOME."""
    each_way = (choosing.outcome_of_choice(codes, fits) for codes in chosen.values())
    came = np.array([*each_way])
    wrong = np.isin(came, choosing.PUT_WRONG_OUTCOMES)
    ways, each = list(chosen), [came == name for name in CHOICE_OUTCOMES]
    of_all = np.stack([*each, wrong], axis=1).astype(float)
    missed = came == choosing.NOT_FOUND
    of_some = 1.0 * np.stack([came == "fitting", wrong, missed], axis=1)
    if others:
        # Joining the draws is slow, and done once: differences go with the shares.
        gaps = of_some[[ways.index(way) for way in others]]
        gaps -= of_some[ways.index(_AGAINST)]
        of_some = np.concatenate([of_some, gaps])
    of_all, of_some = (o.reshape(-1, came.shape[1]).T for o in (of_all, of_some))
    return np.ascontiguousarray(of_all), np.ascontiguousarray(of_some)


def _long(
    means: Means,
    labels: Sequence[tuple[str, str]],
    ways: Sequence[str],
    outcomes: Sequence[str],
) -> pd.DataFrame:
    low, high = means.shares()
    keys = [(way, *label, one) for label in labels for way in ways for one in outcomes]
    n, effective = (
        np.repeat(each, means.estimate.shape[1])
        for each in (np.round(means.n).astype(int), means.n_effective)
    )
    return pd.DataFrame(keys, columns=["way", "by", "level", "outcome"]).assign(
        estimate=means.estimate.ravel(),
        low=low.ravel(),
        high=high.ravel(),
        n=n,
        n_effective=effective,
        standard_error=np.sqrt(means.variance).ravel(),
        small_group=n < SMALL_GROUP,
    )


def elsewhere(people: People, chart: SizeChart, **drawing: Any) -> pd.DataFrame:
    """Compare table and tape on other charts, and with other errors of reading.

    Bands of body measures 2 cm shorter or longer at both ends, or every reading's SD
    halved or doubled: our choice, to see what the finding rests on.
    """
    found = []
    for case in CASES:
        frame, moved = chart.frame.copy(), _MOVED_CM.get(case, 0.0)
        for name in frame.filter(regex="_cm_(low|high)$"):
            frame[name] += moved if str(name).endswith("low") else -moved
        times, errors = _TIMES.get(case, 1.0), choosing.reading_errors()
        sd = {measure: times * each for measure, each in errors.items()}
        how = {"ways": ("both", "tape_once"), "by": (), "reading_sd": sd} | drawing
        told = compare_ways(people, replace(chart, frame=frame), **how).overall
        told.insert(0, "case", case)
        found.append(told)
    return pd.concat(found, ignore_index=True)


def silent(words: str, share: float) -> None: ...


@dataclass(frozen=True)
class Lesson:
    """All that a lesson shows; ``kinder``: by eye only, with ``BEST_GUESSES``."""

    people: People
    chart: SizeChart
    practice: Practice
    ways: WaysResult
    elsewhere: pd.DataFrame
    kinder: WaysResult
    check: pd.DataFrame
    pairs: Pairs
    repeats: pd.DataFrame
    room: RoomResult | None
    units: str
    class_size: Mapping[str, int]
    pattern: str | None


def prepare_lesson(
    population: str = "adults",
    chart: SizeChart | None = None,
    *,
    clients: int = 12,
    answers: str | Path | pd.DataFrame | None = None,
    draws: int = 5,
    seed: int = 1,
    units: str = "metric",
    class_size: Mapping[str, int] | None = None,
    pattern: str | None = None,
    progress: Progress = silent,
) -> Lesson:
    chart = demo_chart() if chart is None else chart
    progress("Loading the people", 0.0)
    people = load_people(population, draws=draws, seed=seed)
    progress("Dealing the cards", 0.1)
    drawing = dict[str, Any](seed=seed, replicates=100)
    practice = practice_clients(people, chart, n=clients, seed=seed, units=units)
    room = None
    if answers is not None:
        progress("Reading the room's answers", 0.12)
        read = read_answers(answers, chart)
        room = room_result(read, chart, practice=practice, seed=seed)
    progress("Comparing the ways of choosing", 0.15)
    ways = compare_ways(people, chart, **drawing)
    progress("Comparing on other charts", 0.35)
    few = load_people(population, draws=1, seed=seed)
    others = elsewhere(few, chart, **drawing)
    progress("Comparing with kinder guesses", 0.4)
    guess = choosing.fit_guess("nurse", study=BEST_GUESSES)
    kinder = compare_ways(people, chart, ways=["by_eye"], by=[], guess=guess, **drawing)
    progress("Looking for pairs that surprise", 0.45)
    pairs = surprising_pairs(people, chart, n=3, seed=seed)
    progress("Trying one, two and three readings", 0.47)
    error = None if room is None else room.error
    repeats = chance_of_wrong_size(people, chart, error, **drawing)
    given = people, chart, practice, ways, others, kinder, choosing.check_guesses()
    sizes = CLASS_SIZE | dict(class_size or {})
    return Lesson(*given, pairs, repeats, room, units, sizes, pattern)
