"""How far readings of a tape err, and how often one must measure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import (
    SizingError,
    check_number,
    check_replicates,
    check_seed,
    one_of,
)
from sizing.kinds import check_columns
from sizing.lesson.choosing import (
    ERROR_SPREAD,
    NOT_FOUND,
    PUT_WRONG_OUTCOMES,
    Bools,
    Floats,
    chosen_by_tape,
    edge_margins,
    outcome_of_choice,
    reading_errors,
)
from sizing.measures import vocabulary
from sizing.people import People
from sizing.people.layout import layout
from sizing.resources import source_table
from sizing.stats.intervals import LEVEL
from sizing.stats.shares import group_means

_COLUMNS = [
    *("measure", "kind", "tem", "low", "high", "method", "df", "n", "subjects"),
    *("participants", "mean", "relative_tem", "sd", "reliability", "icc"),
    *("target_relative_tem", "target_reliability", "target_source", "meets_target"),
]
_NEEDED = ("participant", "subject", "measure", "reading", "value")


@dataclass(frozen=True)
class MeasuringError:
    """Technical errors of measurement of a room.

    ``table``: see ``measuring_error``; ``measurers``: measure, participant, bias (mean
    of the first readings minus the subjects' means over all measurers), n (subjects);
    ``left_out``: kind, measure, participant, subject, reason.
    """

    table: pd.DataFrame
    measurers: pd.DataFrame
    left_out: pd.DataFrame

    def worst(self) -> str:
        """Say which measure is farthest above its target, if any is."""
        rows = self.table[self.table["kind"] == "between"]
        ratio = (rows["relative_tem"] / rows["target_relative_tem"]).astype(float)
        if not (ratio > 1).any():
            return ""
        measure = str(rows["measure"].iloc[int(ratio.fillna(0.0).argmax())])
        row = vocabulary().set_index("name").loc[measure]
        return (
            f"{row['label']} went wrong most: look again at its landmarks. "
            f"{row['landmarks']}"
        )


def error_targets() -> pd.DataFrame:
    """Return published targets: kind, measurer, relative_tem, reliability, source."""
    return source_table("measurement_error_targets.csv")


def measuring_error(
    readings: pd.DataFrame, *, measurer: str = "beginner"
) -> MeasuringError:
    """Estimate the technical error of measurement (TEM) from repeated readings.

    ``readings``: one row per participant, subject (the volunteer), measure and reading
    (1, 2, ...), with its value in cm or kg; ``measurer`` is whose published targets are
    set beside it.

    ``.table``, one row per measure and kind (``within``: one participant's readings of
    one subject; ``between``: the participants' first readings of one subject): tem (in
    cm or kg), low, high, method, df, n (readings), subjects, participants, mean,
    relative_tem (TEM / mean), sd (of all these readings), reliability (1 - TEM^2 /
    sd^2; missing with fewer than 3 subjects, whose SD says nothing), icc (one-way
    intraclass correlation), target_relative_tem, target_reliability, target_source,
    meets_target.

    ``TEM = sqrt(sum (x - group mean)^2 / sum (k - 1))`` over groups of k
    readings; with pairs this is ``sqrt(sum d^2 / 2n)``. It is the square root of
    the mean square within groups of a one-way analysis of variance. Interval:
    ``df TEM^2 / sigma^2`` taken as chi-squared; between measurers a person's own
    habit recurs in every subject, so that interval is somewhat too narrow.
    ``icc = (MSB - MSW) / (MSB + (k0 - 1) MSW)``, subjects as groups.

    Ulijaszek and Kerr, Br J Nutr 1999;82:165-177; Shrout and Fleiss, Psychol
    Bull 1979;86:420-428.

    >>> readings = pd.DataFrame({
    ...     "participant": ["1"] * 4, "subject": ["A", "A", "B", "B"],
    ...     "measure": "hip_circumference_cm", "reading": [1, 2, 1, 2],
    ...     "value": [100.0, 102.0, 90.0, 90.0]})
    >>> measuring_error(readings).table.loc[0, "tem"]   # sqrt((4 + 0) / 4)
    np.float64(1.0)
    """
    one_of("measurer", measurer, sorted(set(error_targets()["measurer"])))
    check_columns(readings, _NEEDED, "the readings")
    used = readings.loc[readings["value"].notna(), list(_NEEDED)]
    keys = ["participant", "subject", "measure"]
    if used.duplicated([*keys, "reading"]).any():
        row = used[used.duplicated([*keys, "reading"])].iloc[0]
        raise SizingError(
            f"{row['participant']} has reading {row['reading']} of {row['subject']}, "
            f"{row['measure']}, twice: number the readings 1, 2, ...."
        )
    rows, out, habits = [], [], []
    for measure, own in used.groupby("measure", sort=False):
        first = own.sort_values("reading", kind="stable").drop_duplicates(keys)
        for kind, part, group in (
            ("within", own, ["participant", "subject"]),
            ("between", first, ["subject"]),
        ):
            size = part.groupby(group)["value"].transform("size")
            alone = part[size < 2]
            reason = (
                "only one reading of this volunteer by this participant"
                if kind == "within"
                else "only one participant measured this volunteer"
            )
            out.append(alone[keys].assign(kind=kind, reason=reason))
            part = part[size >= 2]
            if len(part):
                rows.append({"measure": measure, "kind": kind} | _error(part, group))
        habits.append(
            _habits(first[first.groupby("subject")["value"].transform("size") > 1])
        )
    table = _with_targets(pd.DataFrame(rows), measurer)
    left_out = (
        pd.concat(out) if out else pd.DataFrame(columns=[*keys, "kind", "reason"])
    )
    order = ["kind", "measure", "participant", "subject", "reason"]
    measurers = pd.concat(habits, ignore_index=True) if habits else pd.DataFrame()
    return MeasuringError(table, measurers, left_out[order].reset_index(drop=True))


def _error(part: pd.DataFrame, group: list[str]) -> dict[str, object]:
    """Return the TEM of one measure, its interval and reliability."""
    value = part["value"].to_numpy(dtype=float)
    tem, df = pooled_error(value, part.groupby(group, sort=False).ngroup().to_numpy())
    least, most = (float(stats.chi2.ppf((1 + s * LEVEL) / 2, df)) for s in (1, -1))
    subjects = part["subject"].nunique()
    sd = float(value.std(ddof=1))
    known = subjects >= 3 and sd > 0
    return {
        "tem": tem,
        "low": tem * np.sqrt(df / least),
        "high": tem * np.sqrt(df / most),
        "method": "95 %, chi-squared",
        "df": df,
        "n": len(value),
        "subjects": subjects,
        "participants": part["participant"].nunique(),
        "mean": float(value.mean()),
        "relative_tem": tem / float(value.mean()),
        "sd": sd,
        "reliability": 1 - tem**2 / sd**2 if known else np.nan,
        "icc": intraclass_correlation(value, part["subject"]) if known else np.nan,
    }


def pooled_error(
    value: npt.NDArray[np.float64], group: npt.NDArray[np.integer]
) -> tuple[float, int]:
    """Return the SD within groups, pooled, and its degrees of freedom."""
    count = np.bincount(group)
    mean = np.bincount(group, value) / np.maximum(count, 1)
    df = int((count[count > 0] - 1).sum())
    return float(np.sqrt(np.square(value - mean[group]).sum() / df)), df


def intraclass_correlation(value: npt.ArrayLike, subject: npt.ArrayLike) -> float:
    """Return the one-way intraclass correlation of single readings.

    Shrout and Fleiss's ICC(1,1), with ``k0 = (N - sum k^2 / N) / (g - 1)`` readings per
    subject where their numbers differ.
    """
    x = np.asarray(value, dtype=float)
    code, names = pd.factorize(np.asarray(subject))
    tem, _ = pooled_error(x, code)
    count = np.bincount(code)
    mean = np.bincount(code, x) / count
    n, g = len(x), len(names)
    between = float((count * (mean - x.mean()) ** 2).sum() / (g - 1))
    k0 = (n - (count**2).sum() / n) / (g - 1)
    return float((between - tem**2) / (between + (k0 - 1) * tem**2))


def _habits(first: pd.DataFrame) -> pd.DataFrame:
    """Return how far each participant reads from the others, per measure."""
    gap = first["value"] - first.groupby("subject")["value"].transform("mean")
    found = gap.groupby([first["measure"], first["participant"]], sort=False).agg(
        ["mean", "size"]
    )
    return found.set_axis(["bias", "n"], axis=1).reset_index()


def _with_targets(table: pd.DataFrame, measurer: str) -> pd.DataFrame:
    if table.empty:
        return pd.DataFrame(columns=_COLUMNS)
    target = error_targets()
    target = target[target["measurer"] == measurer].set_index("kind")
    # Published targets are for tapes and rules, not for scales.
    taped = table["measure"] != "body_mass_kg"
    kind = table["kind"]
    table["target_relative_tem"] = kind.map(target["relative_tem"]).where(taped)
    table["target_reliability"] = kind.map(target["reliability"]).where(taped)
    table["target_source"] = kind.map(target["source"]).where(taped, "")
    met = table["relative_tem"] <= table["target_relative_tem"]
    table["meets_target"] = met.astype(object).where(taped, None)
    return table[_COLUMNS]


def error_parts(error: MeasuringError | None, chart: SizeChart) -> pd.DataFrame:
    """Split each measure's error into what repeats even out and what stays."""
    usual = reading_errors()
    rows = []
    for measure in limits(chart):
        within, lasting, source = usual[measure], 0.0, "the kit's table of measures"
        spread = ERROR_SPREAD
        if error is not None and len(error.table):
            own = error.table[error.table["measure"] == measure]
            tem = dict(zip(own["kind"], own["tem"].astype(float), strict=True))
            if tem:
                spread = float(1 / np.sqrt(2 * own["df"].min()))
            if "within" in tem and "between" in tem:
                within = tem["within"]
                lasting = float(np.sqrt(max(tem["between"] ** 2 - within**2, 0.0)))
                source = "this room, within and between measurers"
            elif tem:
                within = next(iter(tem.values()))
                source = f"this room, {next(iter(tem))} measurers only"
        rows.append((measure, within, lasting, spread, source))
    names = ["measure", "within", "lasting", "spread", "source"]
    return pd.DataFrame(rows, columns=names)


def _came(
    people: People, chart: SizeChart, sd: dict[str, float], fits: Bools, seed: int
) -> list[Floats]:
    """Return who is put in a wrong size by the tape, who in none, and either."""
    came = outcome_of_choice(chosen_by_tape(people.frame, chart, sd, seed), fits)
    wrong, missed = np.isin(came, PUT_WRONG_OUTCOMES), came == NOT_FOUND
    return [one.astype(float) for one in (wrong, missed, wrong | missed)]


def chance_of_wrong_size(
    people: People,
    chart: SizeChart,
    error: MeasuringError | None = None,
    *,
    times: Sequence[int] = (1, 2, 3),
    replicates: int = 200,
    seed: int = 1,
) -> pd.DataFrame:
    """Estimate the chance of a wrong size when measuring once, twice, or more.

    Of people who fit at least one size; without a room's ``error``, one and two
    readings give the figures of ``compare_ways``. Returned: times, by (``one
    measurer``: the same person reads again; ``a new measurer each time``), outcome
    (``wrong_size``: put in a size that does not fit; ``missed``: no size found;
    ``either``), estimate, low, high, method, n.

    A mean of k readings errs with ``within^2 / k + lasting^2`` by one measurer,
    ``(within^2 + lasting^2) / k`` by a new one each time; normal, independent
    between measures. The same normal deviates serve every row, so that rows
    differ by the number of readings alone. Intervals carry what is not known of the
    errors, by the delta method: a room's TEM its own chi-squared interval (SD of its
    logarithm ``1 / sqrt(2 df)``), the kit's ``ERROR_SPREAD``.

    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> found = chance_of_wrong_size(load_people("bariatric", draws=1), demo_chart(),
    ...     times=(1, 4), replicates=50).query("by == 'one measurer'")
    >>> wrong = found.query("outcome == 'either'")["estimate"].tolist()
    >>> wrong[0] > wrong[1]
    True
    """
    if not times:
        raise SizingError("times must be one or more numbers of readings.")
    for k in times:
        check_number("a number of readings", k, least=1, whole=True)
    check_replicates(replicates)
    check_seed(seed)
    parts = error_parts(error, chart)
    names = parts["measure"].tolist()
    within, lasting = parts["within"].to_numpy(), parts["lasting"].to_numpy()
    place = layout(people, chart.measures)
    fits = edge_margins(people.frame, chart, reading_errors()) >= 0
    labels, columns, moved = [], [], []
    for by in ("one measurer", "a new measurer each time"):
        for k in times:
            stays = lasting if by == "one measurer" else lasting / np.sqrt(k)
            spread = np.hypot(within / np.sqrt(k), stays)
            now, more = (
                _came(people, chart, dict(zip(names, errors, strict=True)), fits, seed)
                for errors in (spread, spread * np.exp(parts["spread"].to_numpy()))
            )
            labels += [(k, by, name) for name in ("wrong_size", "missed", "either")]
            columns += now
            moved += [a - b for a, b in zip(more, now, strict=True)]
    flat = np.stack(columns, axis=1)[place.rows]
    some = np.asarray(fits.any(axis=1))[place.rows].astype(float)
    gaps = zip(np.stack(moved, axis=1)[place.rows], some, strict=True)
    beyond = np.mean([np.average(d, 0, place.weight * s) for d, s in gaps], axis=0)
    group = list(some[:, :, None])
    means = group_means(place, list(flat), group, replicates=replicates, seed=seed)
    means = replace(means, variance=means.variance + beyond**2)
    low, high = means.shares()
    return pd.DataFrame(labels, columns=["times", "by", "outcome"]).assign(
        estimate=means.estimate[0],
        low=low[0],
        high=high[0],
        method=f"{100 * LEVEL:.0f} % score interval; how far readings err counted; "
        f"{place.how}{place.joined}",
        n=round(means.n[0]),
    )
