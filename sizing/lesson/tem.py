"""Technical error of measurement within and between measurers."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from sizing.errors import SizingError, one_of
from sizing.measures import vocabulary
from sizing.resources import source_table

LEVEL = 0.95
KINDS: tuple[str, ...] = ("within", "between")
_COLUMNS = [
    *("measure", "kind", "tem", "low", "high", "method", "df", "n", "subjects"),
    *("participants", "mean", "relative_tem", "sd", "reliability", "icc"),
    *("target_relative_tem", "target_reliability", "target_source", "meets_target"),
]
_NEEDED = ("participant", "subject", "measure", "reading", "value")


@dataclass(frozen=True)
class MeasuringError:
    """Technical errors of measurement of a room.

    Attributes
    ----------
    table : DataFrame
        See ``measuring_error``.
    measurers : DataFrame
        measure, participant, bias (mean of the first readings minus the
        subjects' means over all measurers), n (subjects).
    left_out : DataFrame
        kind, measure, participant, subject, reason: readings that could not be
        used.
    """

    table: pd.DataFrame
    measurers: pd.DataFrame
    left_out: pd.DataFrame

    def worst(self) -> pd.Series | None:
        """Return the row of the measure farthest above its target, if any is."""
        rows = self.table[self.table["kind"] == "between"]
        ratio = rows["relative_tem"] / rows["target_relative_tem"]
        if not len(rows) or not (ratio > 1).any():
            return None
        return rows.iloc[int(ratio.to_numpy(dtype=float, na_value=0.0).argmax())]

    def summary(self) -> str:
        """Return each error in plain words, and which landmark went wrong."""
        words = vocabulary().set_index("name").to_dict("index")
        lines = []
        for row in self.table.to_dict("records"):
            unit = words[row["measure"]]["unit"]
            lines.append(
                f"{words[row['measure']]['label']}, {row['kind']} measurers: "
                f"{row['tem']:.2f} {unit} ({row['low']:.2f} to {row['high']:.2f}), "
                f"{100 * row['relative_tem']:.1f} % of the mean."
            )
        worst = self.worst()
        if worst is not None:
            measure = str(worst["measure"])
            lines.append(
                f"{words[measure]['label']} went wrong most: look again at its "
                f"landmarks. {words[measure]['landmarks']}"
            )
        if len(self.left_out):
            lines.append(f"{len(self.left_out)} left out of these sums.")
        return "\n".join(lines) or "Nobody measured the same person twice."


def error_targets() -> pd.DataFrame:
    """Return published targets: kind, measurer, relative_tem, reliability, source."""
    return source_table("measurement_error_targets.csv")


def measuring_error(
    readings: pd.DataFrame, *, measurer: str = "beginner"
) -> MeasuringError:
    """Estimate the technical error of measurement (TEM) from repeated readings.

    Parameters
    ----------
    readings : DataFrame
        One row per reading: participant, subject (the volunteer), measure,
        reading (1, 2, ...), value in cm or kg.
    measurer : str
        Whose published targets are set beside it: ``beginner`` or ``skilled``.

    Returns
    -------
    MeasuringError
        ``.table``, one row per measure and kind (``within``: one participant's
        readings of one subject; ``between``: the participants' first readings
        of one subject): tem (in cm or kg), low, high, method, df, n (readings),
        subjects, participants, mean, relative_tem (TEM / mean), sd (of all these
        readings), reliability (1 - TEM^2 / sd^2; missing with fewer than 3
        subjects, whose SD says nothing), icc (one-way intraclass correlation),
        target_relative_tem, target_reliability, target_source, meets_target.

    Raises
    ------
    SizingError
        If a column is missing, or a reading is given twice.

    Notes
    -----
    ``TEM = sqrt(sum (x - group mean)^2 / sum (k - 1))`` over groups of k
    readings; with pairs this is ``sqrt(sum d^2 / 2n)``. It is the square root of
    the mean square within groups of a one-way analysis of variance. Interval:
    ``df TEM^2 / sigma^2`` taken as chi-squared; between measurers a person's own
    habit recurs in every subject, so that interval is somewhat too narrow.
    ``icc = (MSB - MSW) / (MSB + (k0 - 1) MSW)``, subjects as groups.

    References
    ----------
    Ulijaszek and Kerr, Br J Nutr 1999;82:165-177; Shrout and Fleiss, Psychol
    Bull 1979;86:420-428.

    Examples
    --------
    >>> readings = pd.DataFrame({
    ...     "participant": ["1"] * 4, "subject": ["A", "A", "B", "B"],
    ...     "measure": "hip_circumference_cm", "reading": [1, 2, 1, 2],
    ...     "value": [100.0, 102.0, 90.0, 90.0]})
    >>> measuring_error(readings).table.loc[0, "tem"]   # sqrt((4 + 0) / 4)
    np.float64(1.0)
    """
    one_of("measurer", measurer, sorted(set(error_targets()["measurer"])))
    lacking = [name for name in _NEEDED if name not in readings]
    if lacking:
        raise SizingError(f"The readings lack the column {', '.join(lacking)}.")
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

    Shrout and Fleiss's ICC(1,1), with ``k0 = (N - sum k^2 / N) / (g - 1)``
    readings per subject where their numbers differ. At least two subjects, one of
    them with two readings.
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
