"""How far readings of a tape err, and how often one must measure."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import SizingError, check_columns, check_number, check_seed
from sizing.lesson import choosing
from sizing.lesson.choosing import Bools, edge_margins, reading_errors
from sizing.measures import vocabulary
from sizing.people import People
from sizing.people.people import layout
from sizing.resources import source_table, texts
from sizing.stats.formulas import LEVEL

_T = texts("lesson")
_COLUMNS = [
    *("measure", "kind", "tem", "low", "high", "method", "df", "n", "subjects"),
    *("participants", "mean", "relative_tem", "sd", "reliability", "icc"),
    *("target_relative_tem", "target_reliability", "target_source", "meets_target"),
]
_NEEDED = ("participant", "subject", "measure", "reading", "value")


@dataclass(frozen=True)
class MeasuringError:
    """Of a room: ``measurers``: bias of their first readings, n (subjects)."""

    table: pd.DataFrame
    measurers: pd.DataFrame
    left_out: pd.DataFrame

    def worst(self) -> str:
        rows = self.table[self.table["kind"] == "between"]
        ratio = (rows["relative_tem"] / rows["target_relative_tem"]).astype(float)
        if not (ratio > 1).any():
            return ""
        measure = str(rows["measure"].iloc[int(ratio.fillna(0.0).argmax())])
        words: str = _T.room["worst"]
        return words.format_map(vocabulary().set_index("name").loc[measure].to_dict())


def measuring_error(readings: pd.DataFrame) -> MeasuringError:
    """Estimate the technical error of measurement (TEM, cm or kg) from readings.

    ``sqrt(sum (x - group mean)^2 / sum (k - 1))`` over groups of k readings: ``within``
    one participant's of one subject, ``between`` participants' first ones. Interval:
    ``df TEM^2 / sigma^2`` taken as chi-squared; between, somewhat too narrow: a habit
    recurs in every subject. Reliability (``1 - TEM^2 / SD^2``) and ICC need 3 subjects.
    Ulijaszek and Kerr, Br J Nutr 1999;82:165-177.
    """
    check_columns(readings, _NEEDED, "the readings")
    used = readings.loc[readings["value"].notna(), list(_NEEDED)].reset_index(drop=True)
    keys = ["participant", "subject", "measure"]
    for row in used[used.duplicated([*keys, "reading"])].to_dict("records"):
        raise SizingError(_T.room["reading_twice"].format_map(row))
    rows, out = [], [pd.DataFrame(columns=[*keys, "kind", "reason"])]
    habits = [pd.DataFrame()]
    for measure, own in used.groupby("measure", sort=False):
        first = own.sort_values("reading", kind="stable").drop_duplicates(keys)
        kinds = ("within", own, keys[:2]), ("between", first, ["subject"])
        for kind, part, group in kinds:
            alone = part.groupby(group)["value"].transform("size") < 2
            reason = _T.not_counted[kind]
            out.append(part.loc[alone, keys].assign(kind=kind, reason=reason))
            if len(part := part[~alone]):
                rows.append({"measure": measure, "kind": kind} | _error(part, group))
        # How far each participant reads from the others.
        each = first.groupby("subject")["value"]
        gap = (first["value"] - each.transform("mean"))[each.transform("size") > 1]
        by = [first["measure"], first["participant"]]
        found = gap.groupby(by, sort=False).agg(["mean", "size"])
        habits.append(found.set_axis(["bias", "n"], axis=1).reset_index())
    order = ["kind", "measure", "participant", "subject", "reason"]
    return MeasuringError(
        _with_targets(pd.DataFrame(rows)),
        pd.concat(habits[1:] or habits, ignore_index=True),
        pd.concat(out[1:] or out)[order].reset_index(drop=True),
    )


def _error(part: pd.DataFrame, group: list[str]) -> dict[str, object]:
    value = part["value"].to_numpy(dtype=float)
    tem, df = pooled_error(value, part.groupby(group, sort=False).ngroup().to_numpy())
    least, most = (float(stats.chi2.ppf((1 + s * LEVEL) / 2, df)) for s in (1, -1))
    subjects, sd = part["subject"].nunique(), float(value.std(ddof=1))
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
    """Return ICC(1,1), ``(MSB - MSW) / (MSB + (k0 - 1) MSW)``, subjects as groups.

    ``k0 = (N - sum k^2 / N) / (g - 1)``. Shrout and Fleiss, Psychol Bull
    1979;86:420-428.
    """
    x = np.asarray(value, dtype=float)
    code, names = pd.factorize(np.asarray(subject))
    tem, _ = pooled_error(x, code)
    count = np.bincount(code)
    n, g, mean = len(x), len(names), np.bincount(code, x) / count
    between = float((count * (mean - x.mean()) ** 2).sum() / (g - 1))
    k0 = (n - (count**2).sum() / n) / (g - 1)
    return float((between - tem**2) / (between + (k0 - 1) * tem**2))


def _with_targets(table: pd.DataFrame) -> pd.DataFrame:
    """Add the targets published of beginners; they are for tapes, not for scales."""
    if table.empty:
        return pd.DataFrame(columns=_COLUMNS)
    target = source_table("measurement_error_targets.csv")
    target = target.query("measurer == 'beginner'").set_index("kind")
    taped = table["measure"] != "body_mass_kg"
    for name in ("relative_tem", "reliability", "source"):
        found = table["kind"].map(target[name])
        table[f"target_{name}"] = found.where(taped, "" if name == "source" else np.nan)
    met = table["relative_tem"] <= table["target_relative_tem"]
    table["meets_target"] = met.astype(object).where(taped, None)
    return table[_COLUMNS]


def error_parts(error: MeasuringError | None, chart: SizeChart) -> pd.DataFrame:
    """Split each measure's error into what repeats even out and what stays."""
    rows = []
    for measure in limits(chart):
        own = pd.DataFrame() if error is None else error.table
        own = own[own["measure"] == measure] if len(own) else own
        row = reading_errors()[measure], 0.0, choosing.ERROR_SPREAD
        if len(own):
            tem = dict(zip(own["kind"], own["tem"].astype(float), strict=True))
            within = tem.get("within", own["tem"].iloc[0])
            lasting = np.sqrt(max(tem.get("between", within) ** 2 - within**2, 0.0))
            row = within, lasting, 1 / np.sqrt(2 * own["df"].min())
        rows.append((measure, *row))
    return pd.DataFrame(rows, columns=["measure", "within", "lasting", "spread"])


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

    Of people who fit some size. A mean of k readings errs with ``within^2 / k +
    lasting^2`` by one measurer, ``(within^2 + lasting^2) / k`` by a new one each time;
    the same deviates serve every row. Intervals carry what is not known of the errors,
    by the delta method: of a room's TEM ``1 / sqrt(2 df)``, else ``ERROR_SPREAD``.
    """
    if not times:
        raise SizingError("times must be one or more numbers of readings.")
    for k in times:
        check_number("a number of readings", k, least=1, whole=True)
    check_seed(seed)
    parts = error_parts(error, chart)
    within, lasting = parts["within"].to_numpy(), parts["lasting"].to_numpy()
    place = layout(people, chart.measures)
    fits = edge_margins(people.frame, chart) >= 0
    labels: list[tuple[int, str, str]] = []
    # As readings err now, and with more of an error by one SD of what is not known.
    flat: tuple[list[Bools], list[Bools]] = ([], [])
    for by, k in product(("one measurer", "a new measurer each time"), times):
        stays = lasting if by == "one measurer" else lasting / np.sqrt(k)
        spread = np.hypot(within / np.sqrt(k), stays)
        labels += [(k, by, name) for name in ("wrong_size", "missed", "either")]
        for found, more in zip(flat, (0.0, 1.0), strict=True):
            erring = spread * np.exp(more * parts["spread"].to_numpy())
            sd = dict(zip(parts["measure"], erring, strict=True))
            codes = choosing.chosen_by_tape(people.frame, chart, sd, seed)
            came = choosing.outcome_of_choice(codes, fits)
            wrong = np.isin(came, choosing.PUT_WRONG_OUTCOMES)
            missed = came == choosing.NOT_FOUND
            found += [wrong, missed, wrong | missed]
    some = np.asarray(fits.any(axis=1), dtype=float)[place.rows, None]
    now, then = (np.stack(each, axis=1).astype(float) for each in flat)
    drawing: Any = {"replicates": replicates, "seed": seed}
    means = choosing.doubted_means(place, now, then, list(some), **drawing)
    low, high = means.shares()
    return pd.DataFrame(labels, columns=["times", "by", "outcome"]).assign(
        estimate=means.estimate[0],
        low=low[0],
        high=high[0],
        method=f"{100 * LEVEL:.0f} % score interval; how far readings err counted; "
        f"{place.how}{place.joined}",
        n=round(means.n[0]),
    )
