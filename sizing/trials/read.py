"""Trials of slings: read and checked; what cannot be used is named and counted."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.build import alike, as_text
from sizing.client.readings import HOW, MASS, reading
from sizing.errors import InputProblems, Problem, SizingError, warn
from sizing.measures import MEASURES, measure_patterns, to_standard_units, vocabulary
from sizing.measures.headings import measure_columns, plain
from sizing.measures.tables import ROW, TRIALS, take
from sizing.people.files import read_table
from sizing.people.own import unnamed
from sizing.resources import source_table, texts
from sizing.trials.model import OUTCOMES

_T = texts("trials")
#: Fewer say too little (our choice, no source), and more would take minutes.
LEAST, MOST = 20, 5000
WHERE = ("too_large_where", "too_small_where")
_WORDS = ("service", "chart", "pattern", "size", "how", "outcome", *WHERE)
_WRITTEN = {
    word: outcome for outcome, words in _T.written.items() for word in words.split(",")
}


@dataclass(frozen=True)
class Trials:
    """Trials of one chart, checked; ``measures``: those whose edges they can teach."""

    frame: pd.DataFrame
    measures: tuple[str, ...]
    left_out: pd.DataFrame
    chart: SizeChart
    pattern: str = ""
    invented: bool = False


def taught(chart: SizeChart) -> tuple[str, ...]:
    """Return the measures trials teach: weight, which the label says, only alone."""
    lengths = tuple(m for m in chart.measures if m != MASS)
    return lengths or chart.measures


def demo_trials() -> pd.DataFrame:
    """Return invented trials of the demo chart."""
    return source_table("demo_trials.csv")


def read_trials(
    trials: str | Path | pd.DataFrame,
    chart: SizeChart,
    *,
    pattern: str | None = None,
    invented: bool = False,
) -> Trials:
    """Read and check trials of a chart's slings.

    Parameters
    ----------
    trials : path or DataFrame
        CSV or XLSX, one row per sling tried on: ``size`` as on the chart, ``outcome``
        (fits, too small, too large, both), every length and girth that the chart
        limits, in any unit. May hold ``service`` (a word, no name), ``chart``,
        ``pattern``, ``how`` (one of ``sizing.client.HOW``; empty: tape once),
        ``too_small_where`` and ``too_large_where`` (places parted by ``;``).
    chart : SizeChart
        The printed chart of the slings tried.
    pattern : str, optional
        Pattern of sling whose trials are wanted.
    invented : bool
        Whether the trials are made up.

    Returns
    -------
    Trials
        What can be used, and what was left out and why.

    Raises
    ------
    InputProblems, SizingError
        Naming every word that is not known or contradicts another; or if too few
        trials can be used, or those of several patterns stand together.

    Warns
    -----
    SizingWarning
        Of people heavier than the load limit of what they were tried in.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> found = read_trials(demo_trials(), demo_chart())
    >>> found.measures[-1], len(found.frame) + len(found.left_out)
    ('hip_circumference_cm', 160)
    """
    if not isinstance(trials, pd.DataFrame):
        trials = read_table(trials, TRIALS)
    about = trials.attrs.get("file", TRIALS.title)
    taken = take(unnamed(trials, about), TRIALS, collect=True)
    measures, problems = taught(chart), list[Problem]()
    with taken.told():
        named = [one.measure in MEASURES for one in taken.found]
        given = [one.standard for one in taken.found if one.measure in MEASURES]
        read = pd.DataFrame(columns=given)
        numbers = taken.frame.loc[:, named].set_axis(pd.Index(taken.rows[1:], name=ROW))
        try:
            read = to_standard_units(numbers, file=taken.file)
        except InputProblems as wrong:
            problems += wrong.problems
        words = taken.frame.reindex(columns=list(_WORDS)).map(as_text)
        frame = words.astype(object).reset_index(drop=True)
        frame.insert(0, "row", taken.rows[1:])
        problems += _read_words(frame, chart, measures)
        if lacking := [m for m in measures if m not in given]:
            allowed = "a column " + ", ".join(lacking)
            problems.append(Problem(_T.refused["not_measured"], allowed, "add it"))
        if problems:
            raise InputProblems(problems)
    frame, own = frame.join(read.reset_index(drop=True)), _T.refused
    patterns = frame["pattern"][frame["pattern"] != ""].unique().tolist()
    if pattern is None and len(patterns) > 1:
        raise SizingError(
            own["patterns"].format(about=taken.about),
            allowed=own["patterns_allowed"],
            action=own["patterns_action"].format(names=", ".join(patterns)),
        )
    pattern = pattern or "".join(patterns)
    # What is of another chart or pattern, lacks a value or stands twice is left out.
    key = [c for c in frame if c not in ("row", "chart", "pattern")]
    text = pd.Series(["|".join(map(str, row)) for row in frame[key].to_numpy(object)])
    faults = {
        "chart": ~frame["chart"].map(alike).isin(["", alike(chart.name)]),
        "pattern": ~frame["pattern"].isin([pattern, ""]),
        "outcome": frame["outcome"] == "",
        "measure": frame[list(measures)].isna().any(axis=1),
        "twice": text.duplicated(),
    }
    reasons = np.select(list(faults.values()), [_T.reasons[one] for one in faults], "")
    left = frame.assign(reason=reasons).loc[reasons != "", ["row", "reason"]]
    kept = frame[reasons == ""].reset_index(drop=True)
    if not LEAST <= len(kept) <= MOST:
        count = Counter(left["reason"]).items()
        why = "; ".join(f"{n}: {reason}" for reason, n in count)
        what = own["count"].format(about=taken.about, n=len(kept))
        raise SizingError(
            what + (own["count_left"].format(why=why) if why else ""),
            allowed=f"{LEAST} to {MOST:,} trials",
            action=own["too_few" if len(kept) < LEAST else "too_many"],
        )
    for measure in measures:
        pairs = zip(kept[measure], kept["how"], strict=True)
        kept[f"{measure}_error"] = [_error(measure, *pair) for pair in pairs]
    limit = chart.frame.set_index("size")["load_limit_kg"]
    if MASS in kept and (over := kept[MASS] > kept["size"].map(limit)).any():
        rows = ", ".join(map(str, kept.loc[over, "row"].head(10)))
        warn(own["load"].format(rows=rows))
    names = ["row", "service", "size", "outcome", *WHERE[::-1], *measures]
    kept = kept[[*names, *(f"{m}_error" for m in measures)]]
    left = left.reset_index(drop=True)
    return Trials(kept, measures, left, chart, pattern, invented)


def _read_words(
    frame: pd.DataFrame, chart: SizeChart, measures: Sequence[str]
) -> Iterable[Problem]:
    patterns = measure_patterns()["pattern"].unique().tolist()
    known = {
        "size": ({alike(s): s for s in chart.sizes}, chart.sizes),
        "outcome": (_WRITTEN | {"": ""}, OUTCOMES),
        "how": ({alike(h): h for h in HOW} | {"": HOW[0]}, HOW),
        "pattern": ({alike(p): p for p in patterns} | {"": ""}, patterns),
    }
    own = frame["chart"].map(alike).isin(["", alike(chart.name)]).tolist()
    for name, (words, allowed) in known.items():
        for i, text in enumerate(frame[name]):
            if alike(text) not in words and (own[i] or name != "size"):
                told = _T.refused["unknown"].format(name=name)
                yield _problem(told, ", ".join(allowed), i, name, text or "nothing")
        frame[name] = [words.get(alike(text), "") for text in frame[name]]
    places = _places(measures)
    for name, outcomes in zip(WHERE, ("too large", "too small"), strict=True):
        found: list[tuple[str, ...]] = []
        for i, text in enumerate(frame[name]):
            parts = [p for p in map(plain, re.split(r"[;,/+&]| and ", text)) if p]
            meant = [places.get(part, ()) for part in parts]
            if any(len(one) != 1 for one in meant) and own[i]:
                clear = sorted(p for p, m in places.items() if len(m) == 1)
                yield _problem(_T.refused["place"], ", ".join(clear), i, name, text)
            found.append(tuple(dict.fromkeys(m for one in meant for m in one)))
            what = frame["outcome"][i]
            if found[-1] and what not in (outcomes, "both"):
                told = _T.refused["contradicts"].format(what=outcomes, outcome=what)
                yield _problem(told, f"{outcomes}, or both", i, "outcome", what)
        frame[name] = found
    for i, (large, small) in enumerate(zip(*(frame[n] for n in WHERE), strict=True)):
        if set(large) & set(small):
            told = "; ".join(large)
            yield _problem(_T.refused["same_place"], "one of them", i, WHERE[0], told)


def _problem(what: str, allowed: str, i: int, column: str, value: str) -> Problem:
    return Problem(what, allowed, "correct the cell", None, i + 2, column, value[:60])


def _places(measures: Sequence[str]) -> dict[str, tuple[str, ...]]:
    table = vocabulary().set_index("name")
    called = table["governs"] + ";" + table["place_words"]
    also = {column.standard: column.words for column in measure_columns()}
    found: dict[str, tuple[str, ...]] = {}
    for measure in measures:
        parts = {plain(part) for part in str(called[measure]).split(";")}
        for word in also[measure] | parts | {measure}:
            found[word] = (*found.get(word, ()), measure)
    # A measure's own word goes before another's part of that name.
    return found | {word: (m,) for m in measures for word in also[m]}


def _error(measure: str, value: float, how: str) -> float:
    weighed = how in ("scale", "hoist scale")
    if (measure == MASS) != weighed and how not in ("reported", "guessed"):
        how = "scale" if measure == MASS else HOW[0] if weighed else how
    return reading(measure, value, how).sd
