"""What came of a room's answers: sizes, tape, guesses; and courses kept by date."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import chdtri

from sizing.charts import SizeChart
from sizing.charts.build import as_text
from sizing.charts.fits import limits
from sizing.errors import InputProblems, Problem, SizingError, check_seed
from sizing.files.folders import make_folder, write_bytes
from sizing.files.reading import read_rows
from sizing.files.writing import csv_bytes, rounded
from sizing.lesson import choosing
from sizing.lesson.answers import CHOSEN, NO_SIZE, Answers
from sizing.lesson.choosing import Floats
from sizing.lesson.practice import Practice, sizes_in_words
from sizing.lesson.tape import MeasuringError, measuring_error
from sizing.resources import texts
from sizing.stats.formulas import LEVEL, binomial_interval, replicate_counts, student

_T = texts("lesson")
_COLUMNS = ["participant", "statistic", "estimate", "low", "high", "method", "n"]
_STATISTICS = ("bias", "sd", "lower_limit", "upper_limit")
#: Normal quantile that Bland and Altman round from 1.95996.
REACH = 1.96
TOGETHER = "together"
#: The folder within that of the results, and what each file's name begins with.
FOLDER, _FILE = "courses", "course "
#: What is kept of a room: shares but for ``tape_error``, which is in cm or kg.
FIGURES = ("wrong_chosen", "wrong_tape", "gain", "tape_error")
_NUMBERS = ["participants", "n", "estimate", "low", "high"]
COLUMNS = ["date", "chart", "figure", "measure", *_NUMBERS, "method"]


@dataclass(frozen=True)
class Agreement:
    """Bias and limits of agreement, together and by person; ``points``: each guess."""

    table: pd.DataFrame
    points: pd.DataFrame

    def summary(self, unit: str = "kg", size: float = 1.0) -> str:
        """Say bias and limits together; ``size``: how many own units a unit is."""
        own, n = _T.agreement_said, len(self.points)
        if not n:
            return str(own["nothing"])
        rows = self.table.query("participant == @TOGETHER").set_index("statistic")
        known = "limits" if rows["estimate"].notna().all() else "bias"
        told: Any = (rows["estimate"] / size).map(signed).to_dict()
        return str(own[known].format(n=n, unit=unit, **told))


def signed(value: float) -> str:
    """Write a difference to the nearest half, with its sign: '-3.5', '0', '+2'."""
    half = round(2 * value) / 2 if np.isfinite(value) else 0.0
    return f"{half:+g}" if half else "0"


def limits_of_agreement(
    guess: npt.ArrayLike,
    truth: npt.ArrayLike,
    participant: npt.ArrayLike | None = None,
    *,
    seed: int = 1,
) -> Agreement:
    """Compare guesses with the truth as Bland and Altman do; pairs without both go.

    d = guess - truth; limits = bias -+ 1.96 SD(d). By person: bias -+ t s sqrt(1/n),
    limits -+ t s sqrt(1/n + 1.96^2 / (2 (n - 1))). Together, whole participants are
    resampled (percentile bootstrap); fewer than 5 are as if one, and it says so.
    Lancet 1986;327:307-310; Stat Methods Med Res 1999;8:135-160 (limits, from memory).
    """
    check_seed(seed)
    try:
        g, t = (np.asarray(one, dtype=float) for one in (guess, truth))
    except (TypeError, ValueError, OverflowError):
        raise SizingError("Guesses and true values must be numbers.") from None
    if g.shape != t.shape or g.ndim != 1:
        raise SizingError("Give as many guesses as true values, one pair each.")
    who = np.full(len(g), "1") if participant is None else np.asarray(participant)
    points = pd.DataFrame({"participant": who.astype(object).astype(str)})
    points = points.assign(guess=g, truth=t, difference=g - t)
    points = points[points["difference"].notna()].reset_index(drop=True)
    each = points.groupby("participant", sort=False)["difference"]
    rows = [row for name, own in each for row in _rows(str(name), own.to_numpy())]
    if rows:
        rows = _together(points, seed) + rows
    return Agreement(pd.DataFrame(rows, columns=_COLUMNS), points)


def _limits(bias: Any, sd: Any) -> Floats:
    return np.array([bias, sd, bias - REACH * sd, bias + REACH * sd])


def _rows(name: str, d: Floats) -> list[tuple[object, ...]]:
    n, method = len(d), "one guess: no interval"
    value = _limits(d.mean(), d.std(ddof=1) if n > 1 else np.nan)
    low, high = np.full((2, 4), np.nan)
    if n > 1:
        df, s, t = n - 1, value[1], student(n - 1)
        of_limit = t * s * np.sqrt(1 / n + REACH**2 / (2 * df))
        half = np.array([t * s / np.sqrt(n), np.nan, of_limit, of_limit])
        low, high = value - half, value + half
        ends = chdtri(df, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
        low[1], high[1] = s * np.sqrt(df / ends)
        method = "95 %, normal differences (Bland and Altman 1999)"
    rows = zip(_STATISTICS, value, low, high, strict=True)
    return [(name, *row, method, n) for row in rows]


def _together(points: pd.DataFrame, seed: int) -> list[tuple[object, ...]]:
    d = points["difference"].to_numpy()
    rows = _rows(TOGETHER, d)
    code, names = pd.factorize(points["participant"])
    if len(names) == 1:
        return rows
    if len(names) < 5:
        method = f"as if independent; too narrow: only {len(names)} participants"
        return [(*row[:5], method, row[6]) for row in rows]
    w = replicate_counts(len(names), 1000, np.random.default_rng(seed))[:, code]
    n = w.sum(axis=1)
    bias = w @ d / n
    variance = (w @ d**2 - n * bias**2) / np.maximum(n - 1, 1)
    drawn = _limits(bias, np.sqrt(np.maximum(variance, 0)))
    ends = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=1).T
    method = "95 %, bootstrap of participants, percentile"
    both = zip(rows, ends, strict=True)
    return [(*row[:3], *own, method, row[6]) for row, own in both]


_WHO = ["participant", "subject"]
_OUT = [*_WHO, "what", "reason"]
#: Where a size chosen after measuring comes from; what all outcomes of harm make.
_AGAIN, _WRONG = "again", "wrong"


@dataclass(frozen=True)
class RoomResult:
    """The room's hour in figures.

    ``sizes``: what came of each choice, together first; ``wrong``: the same of all put
    in a size that does not fit; ``not_counted``: usable answers with nothing to set
    them against; ``with_slips``: the same with every doubtful number left in, if any.
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
    """Work out what the room's answers show, against the reference or the card.

    By tape: a participant's first readings of a volunteer, the size chosen as in
    ``compare_ways``. Intervals of shares are Clopper and Pearson's; the choices of one
    participant hang together, so they are somewhat too narrow.
    """
    check_seed(seed)
    truth = _truth(answers, chart, practice)
    whole = truth[truth[list(limits(chart))].notna().all(axis=1)]
    fits = choosing.edge_margins(whole, chart) >= 0
    chosen = answers.sizes.rename(columns={CHOSEN: "chosen"})
    chosen = chosen.sort_values("reading", kind="stable")
    later = chosen.duplicated(_WHO).map({False: "chosen", True: _AGAIN})
    tape, out = _by_tape(answers, truth, chart)
    every = pd.concat([chosen.assign(source=later), tape], ignore_index=True)
    # Which sizes are right is known of whom every needed measure is known.
    place = whole.index.get_indexer(pd.Index(every["subject"]))
    lost = every[place < 0].assign(what="sizes", reason=_T.not_counted["right_unknown"])
    every, fits = every[place >= 0].reset_index(drop=True), fits[place[place >= 0]]
    position = {size: i for i, size in enumerate(chart.sizes)} | {NO_SIZE: -1}
    codes = np.array([position[str(size)] for size in every["chosen"]], dtype=np.int64)
    every["right"] = [sizes_in_words(row, chart.sizes) for row in fits]
    every["outcome"] = choosing.outcome_of_choice(codes, fits)
    gain = guess_gain(answers, truth, every)
    every = every[every["source"] != _AGAIN]
    confusion = every.groupby(["source", "right", "chosen"], sort=False).size()
    guesses, lost_guesses = _guesses(answers, truth, seed)
    slips = None
    if len(answers.doubted):
        slips = room_result(answers.with_doubted(), chart, practice=practice, seed=seed)
    out = pd.concat([lost[_OUT], out, lost_guesses], ignore_index=True)
    counted = (confusion.reset_index(name="count"), *_outcomes(every), guesses, gain)
    error, named = measuring_error(answers.readings), chart.name
    return RoomResult(*counted, error, out, answers, named, chart.invented, slips)


def _truth(
    answers: Answers, chart: SizeChart, practice: Practice | None
) -> pd.DataFrame:
    known = answers.reference.pivot_table(
        index="subject", columns="measure", values="value"
    )
    if practice is not None:
        cards = practice.cards.set_index("card").select_dtypes("number")
        known = pd.concat([known, cards.drop(index=known.index, errors="ignore")])
    known.index.name = "subject"
    return known.reindex(columns=[*dict.fromkeys([*known, *limits(chart)])])


def _by_tape(
    answers: Answers, truth: pd.DataFrame, chart: SizeChart
) -> tuple[pd.DataFrame, pd.DataFrame]:
    columns, needed = [*_WHO, "chosen", "source"], list(limits(chart))
    read = answers.readings[answers.readings["measure"].isin(needed)]
    if read.empty:
        return pd.DataFrame(columns=columns), pd.DataFrame(columns=_OUT)
    first = read.sort_values("reading", kind="stable")
    first = first.drop_duplicates([*_WHO, "measure"])
    wide = first.pivot_table(index=_WHO, columns="measure", values="value", sort=False)
    wide = wide.reset_index().reindex(columns=[*_WHO, *needed])
    if "body_mass_kg" in needed:
        # Where the scale alone gives it, the reference's.
        scale = wide["subject"].map(truth["body_mass_kg"])
        wide["body_mass_kg"] = wide["body_mass_kg"].fillna(scale)
    whole, reason = wide[needed].notna().all(axis=1), _T.not_counted["not_whole"]
    out = wide.loc[~whole, _WHO].assign(what="sizes by tape", reason=reason)
    wide = wide[whole].reset_index(drop=True)
    best = choosing.innermost(choosing.edge_margins(wide, chart))
    names = np.array([*chart.sizes, NO_SIZE], dtype=object)
    return wide[_WHO].assign(chosen=names[best], source="tape")[columns], out


def _outcomes(every: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    asked = {name: [name] for name in choosing.CHOICE_OUTCOMES} | {
        _WRONG: choosing.PUT_WRONG_OUTCOMES
    }
    rows, method = [], "95 %, Clopper and Pearson"
    for source, own in every.groupby("source", sort=False):
        for who, part in [(TOGETHER, own), *own.groupby("participant", sort=False)]:
            for name, which in asked.items():
                count, n = int(part["outcome"].isin(which).sum()), len(part)
                figures = count, n, count / n, *_interval(count / n, n), method
                rows.append((source, who, name, *figures))
    names = ["count", "n", "estimate", "low", "high", "method"]
    table = pd.DataFrame(rows, columns=["source", "participant", "outcome", *names])
    wrong = table["outcome"] == _WRONG
    parts = table[~wrong], table[wrong].drop(columns="outcome")
    return parts[0].reset_index(drop=True), parts[1].reset_index(drop=True)


_interval = lru_cache(maxsize=4096)(binomial_interval)


def _guesses(
    answers: Answers, truth: pd.DataFrame, seed: int
) -> tuple[dict[str, Agreement], pd.DataFrame]:
    found, lost = {}, [pd.DataFrame(columns=_OUT)]
    first = answers.guesses[answers.guesses["reading"] == 1]
    for measure, own in first.groupby("measure", sort=True):
        name, reason = str(measure), _T.not_counted["no_truth"]
        true = own["subject"].map(truth.get(name, {})).astype(float)
        pairs = (one.to_numpy() for one in (own["value"], true, own["participant"]))
        found[name] = limits_of_agreement(*pairs, seed=seed)
        lost.append(own[true.isna()].assign(what="guesses", reason=reason)[_OUT])
    return found, pd.concat(lost, ignore_index=True)


def guess_gain(
    answers: Answers, truth: pd.DataFrame, sizes: pd.DataFrame
) -> pd.DataFrame:
    """Return how much nearer second guesses are: mean absolute relative error.

    Of sizes, the share not right. The gain is the mean over participants of their own
    mean gain, each counting once; Student's t, missing for fewer than two.
    """
    guesses = answers.guesses[answers.guesses["measure"].isin(truth.columns)]
    true = [truth[m].get(s) for m, s in guesses[["measure", "subject"]].to_numpy()]
    told = guesses.assign(off=(guesses["value"] / np.array(true, float) - 1).abs())
    wrong = ~sizes["outcome"].isin(["fitting", "rightly_none"])
    chosen = sizes[sizes["source"] != "tape"]
    told = pd.concat([told, chosen.assign(measure=CHOSEN, off=wrong.astype(float))])
    rows = []
    method = "95 %, Student's t over participants, paired"
    for measure, own in told.groupby("measure", sort=True):
        both = own.pivot_table(index=_WHO, columns="reading", values="off")
        each = both.reindex(columns=[1, 2]).dropna().groupby("participant").mean()
        if n := len(each):
            gain, mean = each[1] - each[2], (each[1] - each[2]).mean()
            half = student(n - 1) * gain.std() / np.sqrt(n) if n > 1 else np.nan
            ends = mean, mean - half, mean + half, method, n
            rows.append((measure, each[1].mean(), each[2].mean(), *ends))
    names = ["measure", "before", "after", "estimate", "low", "high", "method", "n"]
    return pd.DataFrame(rows, columns=names)


def keep_course(folder: str | Path, room: RoomResult, on: date) -> Path:
    """The same room of the same day is kept once: it would count twice."""
    wrong = room.wrong[room.wrong["participant"] == TOGETHER]
    tape = room.error.table[room.error.table["kind"] == "between"]
    figures = (
        wrong.assign(figure="wrong_" + wrong["source"], measure=""),
        room.gain.assign(figure="gain"),
        tape.assign(figure="tape_error", estimate=tape["tem"]),
    )
    people, own = len(room.answers.participants), _T.course_files
    table = pd.concat(figures, ignore_index=True)
    table = table.assign(date=on.isoformat(), chart=room.chart, participants=people)
    if table.empty:
        raise SizingError(own["nothing"], action=own["nothing_action"])
    content = csv_bytes(rounded(table[COLUMNS]))
    make_folder(folder)
    for number in count(1):
        again = f" ({number})" if number > 1 else ""
        path = Path(folder) / f"{_FILE}{on.isoformat()}{again}.csv"
        if path.is_file() and path.read_bytes() == content:
            return path
        with suppress(FileExistsError):
            return write_bytes(path, content, fresh=True)
    raise AssertionError


def kept_courses(folder: str | Path) -> pd.DataFrame:
    """Return the courses kept, the earliest first: course, then ``COLUMNS``."""
    frames, problems, own = [], [], _T.course_files
    for path in sorted(Path(folder).glob("*")):
        if not path.name.lower().startswith(_FILE):
            continue
        if path.suffix.lower() != ".csv":
            # Nothing that looks like a course is passed over.
            what = own["kind"], "courses as .csv", own["kind_action"]
            problems.append(Problem(*what, path.name))
            continue
        sheet = read_rows(path, known=COLUMNS.__contains__)
        heading = [as_text(cell) for cell in sheet.heading]
        table = pd.DataFrame(sheet.body, columns=heading).map(as_text)
        table.index += sheet.first + 1
        lacking = [name for name in COLUMNS if heading.count(name) != 1]
        if lacking or table.empty:
            what = own["lacking" if lacking else "empty"].format(names=lacking[:1])
            allowed, action = ", ".join(COLUMNS), own["lacking_action"]
            problems.append(Problem(what, allowed, action, path.name, sheet.first))
            continue
        read = _read(table)
        for name, cells in read.items():
            # One participant's gain has no interval.
            empty = (table[name] == "") & (name in ("low", "high"))
            allowed = _T.allowed.get(name, _T.allowed["other"])
            for row in table.index[cells.isna() & ~empty]:
                place = path.name, int(row), str(name), table[name][row]
                problems.append(Problem(own["cell"], allowed, own["mend"], *place))
        table = table.assign(**read)
        frames.append(table[COLUMNS].assign(course=path.stem[len(_FILE) :]))
    if problems:
        raise InputProblems(problems, about=f"the courses in '{folder}'")
    if not frames:
        return pd.DataFrame(columns=["course", *COLUMNS])
    table = pd.concat(frames, ignore_index=True)[["course", *COLUMNS]]
    return table.sort_values(["date", "course"], kind="stable", ignore_index=True)


def _read(table: pd.DataFrame) -> dict[str, pd.Series]:
    """Return what can be wrong in a course, missing where it cannot be read."""
    day = pd.to_datetime(table["date"], format="%Y-%m-%d", errors="coerce")
    share = table["figure"].isin(FIGURES[:2])
    read = {
        "date": day.dt.strftime("%Y-%m-%d"),
        "figure": table["figure"].where(table["figure"].isin(FIGURES)),
    }
    for name in _NUMBERS:
        cells = pd.to_numeric(table[name], errors="coerce")
        whole = (cells >= 1) & (cells % 1 == 0)
        good = whole if name in _NUMBERS[:2] else ~share | cells.between(0, 1)
        read[name] = cells.where(good & np.isfinite(cells))
    return read
