"""What came of the room's answers: sizes, guesses, tape."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import check_seed
from sizing.lesson.agreement import TOGETHER, Agreement, limits_of_agreement
from sizing.lesson.answers import CHOSEN, NO_SIZE, Answers
from sizing.lesson.choosing import (
    CHOICE_OUTCOMES,
    PUT_WRONG_OUTCOMES,
    edge_margins,
    innermost,
    outcome_of_choice,
    reading_errors,
)
from sizing.lesson.practice import Practice, sizes_in_words
from sizing.lesson.tape import MeasuringError, measuring_error
from sizing.stats.intervals import binomial_interval, student

_WHO = ["participant", "subject"]
_OUT = ["participant", "subject", "what", "reason"]
#: Where a size chosen after measuring comes from.
_AGAIN = "again"


@dataclass(frozen=True)
class RoomResult:
    """The room's hour in figures.

    ``confusion``: source (``chosen``, ``tape``), right (the sizes that fit, or
    ``none``), chosen, count; ``sizes``: source, participant (``together`` first),
    outcome, count, n, estimate, low, high, method; ``wrong``: the same of all put in a
    size that does not fit; ``guesses``: of each measure; ``gain``: see ``guess_gain``;
    ``not_counted``: usable answers with nothing to set them against; ``with_slips``:
    the same with every doubtful number left in, None where none was.
    """

    confusion: pd.DataFrame
    sizes: pd.DataFrame
    wrong: pd.DataFrame
    guesses: Mapping[str, Agreement]
    gain: pd.DataFrame
    error: MeasuringError
    not_counted: pd.DataFrame
    answers: Answers
    chart: str
    invented: tuple[str, ...] = ()
    with_slips: "RoomResult | None" = None


def room_result(
    answers: Answers,
    chart: SizeChart,
    *,
    practice: Practice | None = None,
    seed: int = 1,
) -> RoomResult:
    """Work out what the room's answers show.

    Which sizes are right for a volunteer is known if the ``reference`` rows give
    every measure the chart limits. By tape: each participant's first readings of
    a volunteer, or where the scale alone gives the body mass, the reference's;
    the size is chosen as in ``compare_ways``. Guesses are set against the
    reference, or against the card. Intervals of shares are Clopper and Pearson's;
    the choices of one participant hang together, so they are somewhat too narrow.

    >>> from sizing.charts import chart_from
    >>> from sizing.lesson.answers import read_answers
    >>> chart = chart_from(pd.DataFrame({"size": ["one", "two"],
    ...     "hip_circumference_cm_low": [80, 100],
    ...     "hip_circumference_cm_high": [100, 120]}), warn=False)
    >>> room = pd.DataFrame({"participant": ["reference", 1, 2], "subject": "A",
    ...     "chosen_size": [None, "one", "two"],
    ...     "hip_circumference_cm": [95.0, None, 97.0]})
    >>> found = room_result(read_answers(room, chart), chart)
    >>> found.confusion[["source", "right", "chosen", "count"]].values.tolist(
    ...     )  # doctest: +NORMALIZE_WHITESPACE
    [['chosen', 'one', 'one', 1], ['chosen', 'one', 'two', 1],
     ['tape', 'one', 'one', 1]]
    """
    check_seed(seed)
    truth = _truth(answers, chart, practice)
    right = _right_sizes(truth, chart)
    position = {size: i for i, size in enumerate(chart.sizes)} | {NO_SIZE: -1}
    chosen = answers.sizes.rename(columns={"chosen_size": "size"})
    chosen = chosen.sort_values("reading", kind="stable")
    later = chosen.duplicated(_WHO).map({False: "chosen", True: _AGAIN})
    chosen = chosen.assign(source=later)
    tape, out = _by_tape(answers, truth, chart)
    every = pd.concat([chosen, tape], ignore_index=True)
    known = every["subject"].isin(list(right)).to_numpy(dtype=bool)
    reason = "nobody knows which size is right: the reference lacks a measure"
    lost = every[~known].assign(what="sizes", reason=reason)
    every = every[known].reset_index(drop=True)
    fits = (
        np.array([right[s] for s in every["subject"]])
        if len(every)
        else np.zeros((0, len(chart.sizes)), dtype=bool)
    )
    codes = np.array([position[str(size)] for size in every["size"]], dtype=np.int64)
    every["right"] = [sizes_in_words(row, chart.sizes) for row in fits]
    every["outcome"] = outcome_of_choice(codes, fits)
    gain = guess_gain(answers, truth, every)
    every = every[every["source"] != _AGAIN].drop(columns="reading")
    confusion = (
        every.groupby(["source", "right", "size"], sort=False)
        .size()
        .rename("count")
        .reset_index()
        .rename(columns={"size": "chosen"})
    )
    guesses, lost_guesses = _guesses(answers, truth, seed)
    lost = pd.concat([lost[_OUT], out, lost_guesses], ignore_index=True)
    return RoomResult(
        confusion,
        *_outcomes(every),
        guesses,
        gain,
        measuring_error(answers.readings),
        lost,
        answers,
        chart.name,
        chart.invented,
        None
        if answers.doubted.empty
        else room_result(answers.with_doubted(), chart, practice=practice, seed=seed),
    )


def _truth(
    answers: Answers, chart: SizeChart, practice: Practice | None
) -> pd.DataFrame:
    """Return what is known of each subject: one row each, measures as columns."""
    known = answers.reference.pivot_table(
        index="subject", columns="measure", values="value"
    )
    if practice is not None:
        cards = practice.cards.set_index("card").select_dtypes("number")
        known = pd.concat([known, cards.drop(index=known.index, errors="ignore")])
    known.index.name = "subject"
    lacking = [m for m in limits(chart) if m not in known]
    return known.assign(**dict.fromkeys(lacking, np.nan))


def _right_sizes(
    truth: pd.DataFrame, chart: SizeChart
) -> dict[str, npt.NDArray[np.bool_]]:
    """Return which sizes fit each subject of whom every needed measure is known."""
    whole = truth[truth[list(limits(chart))].notna().all(axis=1)]
    fits = edge_margins(whole, chart, reading_errors()) >= 0
    return {str(s): row for s, row in zip(whole.index, fits, strict=True)}


def _by_tape(
    answers: Answers, truth: pd.DataFrame, chart: SizeChart
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the size that each participant's own readings of a volunteer give."""
    columns = [*_WHO, "size", "source"]
    needed = list(limits(chart))
    read = answers.readings[answers.readings["measure"].isin(needed)]
    if read.empty:
        return pd.DataFrame(columns=columns), pd.DataFrame(columns=_OUT)
    first = read.sort_values("reading", kind="stable").drop_duplicates(
        [*_WHO, "measure"]
    )
    wide = first.pivot_table(index=_WHO, columns="measure", values="value", sort=False)
    wide = wide.reset_index()
    wide = wide.reindex(columns=[*_WHO, *needed])
    if "body_mass_kg" in needed:
        scale = wide["subject"].map(truth["body_mass_kg"])
        wide["body_mass_kg"] = wide["body_mass_kg"].fillna(scale)
    whole = wide[needed].notna().all(axis=1)
    reason = "not every measure that the chart limits was taken"
    out = wide.loc[~whole, _WHO].assign(what="sizes by tape", reason=reason)
    wide = wide[whole].reset_index(drop=True)
    best = innermost(edge_margins(wide, chart, reading_errors()))
    names = np.array([*chart.sizes, NO_SIZE], dtype=object)
    return wide[_WHO].assign(size=names[best], source="tape")[columns], out


def _outcomes(every: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Count each outcome, and all wrong sizes, together and by participant."""
    rows, wrong = [], []
    for source, own in every.groupby("source", sort=False):
        groups = [(TOGETHER, own), *own.groupby("participant", sort=False)]
        for who, part in groups:
            about = {"source": source, "participant": who}
            found = part["outcome"].to_numpy(dtype=object)
            for outcome in CHOICE_OUTCOMES:
                count = int((found == outcome).sum())
                rows.append({**about, "outcome": outcome} | _share(count, len(part)))
            count = sum(one in PUT_WRONG_OUTCOMES for one in found)
            wrong.append(about | _share(count, len(part)))
    who = ["source", "participant"]
    figures = ["count", "n", "estimate", "low", "high", "method"]
    return (
        pd.DataFrame(rows, columns=[*who, "outcome", *figures]),
        pd.DataFrame(wrong, columns=[*who, *figures]),
    )


_interval = lru_cache(maxsize=4096)(binomial_interval)


def _share(count: int, n: int) -> dict[str, object]:
    low, high = _interval(count / n, n)
    return {
        "count": count,
        "n": n,
        "estimate": count / n,
        "low": low,
        "high": high,
        "method": "95 %, Clopper and Pearson",
    }


def _guesses(
    answers: Answers, truth: pd.DataFrame, seed: int
) -> tuple[dict[str, Agreement], pd.DataFrame]:
    """Set guesses against the truth, measure by measure."""
    found, lost = {}, [pd.DataFrame(columns=_OUT)]
    first = answers.guesses[answers.guesses["reading"] == 1]
    for measure, own in first.groupby("measure", sort=True):
        name = str(measure)
        true = own["subject"].map(truth.get(name, {})).astype(float)
        found[name] = limits_of_agreement(
            own["value"].to_numpy(),
            true.to_numpy(),
            own["participant"].to_numpy(),
            subject=own["subject"].to_numpy(),
            seed=seed,
        )
        reason = "no true value is known of this subject"
        lost.append(own[true.isna()].assign(what="guesses", reason=reason)[_OUT])
    return found, pd.concat(lost, ignore_index=True)


def guess_gain(
    answers: Answers, truth: pd.DataFrame, sizes: pd.DataFrame
) -> pd.DataFrame:
    """Return how much nearer the room's second guesses are than its first.

    Before and after: mean absolute error relative to the truth, and of sizes the share
    that is not right, each participant counting once. The gain is the mean over
    participants of their own mean gain; its interval is Student's t over participants,
    missing for fewer than two.
    """
    guesses = answers.guesses[answers.guesses["measure"].isin(truth.columns)]
    true = [truth[m].get(s) for m, s in guesses[["measure", "subject"]].to_numpy()]
    told = guesses.assign(off=(guesses["value"] / np.array(true, float) - 1).abs())
    wrong = ~sizes["outcome"].isin(["fitting", "rightly_none"])
    chosen = sizes[sizes["source"] != "tape"]
    told = pd.concat([told, chosen.assign(measure=CHOSEN, off=wrong.astype(float))])
    rows = []
    for measure, own in told.groupby("measure", sort=True):
        both = own.pivot_table(index=_WHO, columns="reading", values="off")
        if not {1, 2} <= set(both):
            continue
        each = both[[1, 2]].dropna().groupby("participant").mean()
        gain = each[1] - each[2]
        n = len(gain)
        if not n:
            continue
        half = student(n - 1) * gain.std() / np.sqrt(n) if n > 1 else np.nan
        rows.append(
            {
                "measure": measure,
                "before": each[1].mean(),
                "after": each[2].mean(),
                "estimate": gain.mean(),
                "low": gain.mean() - half,
                "high": gain.mean() + half,
                "method": "95 %, Student's t over participants, paired",
                "n": n,
            }
        )
    names = ["measure", "before", "after", "estimate", "low", "high", "method", "n"]
    return pd.DataFrame(rows, columns=names)
