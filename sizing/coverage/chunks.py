"""Coverage of more people than memory holds: chunk by chunk, exact counts."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sizing.cautions import cautions
from sizing.charts import OUTCOMES, SizeChart
from sizing.charts.fits import judge, limits, tenths, unpack
from sizing.coverage.coverage import EVERYONE, percent
from sizing.coverage.groups import NOT_KNOWN, by_list, grouping
from sizing.errors import SizingError
from sizing.people.people import People
from sizing.stats.intervals import LEVEL, wilson
from sizing.stats.layout import Floats
from sizing.stats.shares import SMALL_GROUP

_METHOD = f"{100 * LEVEL:.0f} % score interval on the effective number; counted"


@dataclass(frozen=True)
class Counts:
    """How many people of each group came to what; counts of chunks add up.

    Attributes
    ----------
    groups : dict of (grouping, level) to ndarray, shape (outcomes, 3)
        Of the people with each outcome: their number, the sum of their weights
        and that of their squares. Whole numbers are exact up to 2^53.
    sizes : ndarray, shape (2, sizes, 3)
        The same of those who fit a size, and of those who fit no other.
    levels : dict of grouping to list of str
        Levels in their order.
    """

    groups: dict[tuple[str, str], Floats]
    sizes: Floats
    levels: dict[str, list[str]]

    def __add__(self, other: "Counts") -> "Counts":
        """Return the counts of both; the order of adding does not matter."""
        groups = dict(self.groups)
        for group, sums in other.groups.items():
            groups[group] = groups[group] + sums if group in groups else sums
        levels = {}
        for by, own in self.levels.items():
            others = other.levels[by]
            joint = sorted({*own, *others} - {NOT_KNOWN})
            levels[by] = own if own == others else [*joint, NOT_KNOWN]
        return Counts(groups, self.sizes + other.sizes, levels)


@dataclass(frozen=True)
class CountedCoverage:
    """Shares of counted people by outcome, each with its interval.

    Attributes
    ----------
    table, by_size : DataFrame
        See ``coverage_in_chunks``.
    chart : str
        Name of the chart.
    """

    table: pd.DataFrame
    by_size: pd.DataFrame
    chart: str

    def summary(self) -> str:
        """Return the result in plain words, with the usual cautions."""
        row = self.table.iloc[0]
        told = (
            f"{self.chart} covers {percent(row)} of {row['n']:,} people counted "
            f"({row['method']})."
        )
        return "\n".join([told, " ".join(cautions())])


def coverage_in_chunks(
    chunks: Iterable[pd.DataFrame | People],
    chart: SizeChart,
    *,
    by: str | Sequence[str] | None = None,
    progress: Callable[[int], None] = lambda _: None,
) -> CountedCoverage:
    """Estimate what share the chart covers of people who come in chunks.

    Only one chunk is in memory at a time. The counts are whole numbers and are
    the same for every way of cutting the people into chunks, one chunk of all
    included.

    Parameters
    ----------
    chunks : iterable of DataFrame or People
        Measures in cm and kg, one row per person, each person in one chunk and
        with one draw; a column ``weight`` if people do not count the same
        (People bring theirs). A generator will do.
    chart : SizeChart
        The size chart, in cm and kg.
    by : str or sequence of str, optional
        Groupings as in ``coverage``.
    progress : callable, optional
        Called with the number of people counted so far.

    Returns
    -------
    CountedCoverage
        ``.table``: by, level, outcome (``covered``, then each of
        ``sizing.charts.OUTCOMES``), people (how many, whole number), estimate, low,
        high (shares), method, n (people in the group), n_effective (Kish),
        standard_error, small_group. ``.by_size``: size, share (``fits``,
        ``only_size``), people, estimate, low, high, method, n, n_effective,
        standard_error.

    Raises
    ------
    SizingError
        If there are no people, a weight cannot be used, a grouping does not
        exist, or a person has several draws.

    Notes
    -----
    People count as drawn one by one: the variance of a weighted share p is
    ``sum w^2 (y - p)^2 / (sum w)^2``, its interval as in ``coverage``. There is
    no survey design and no draws here; for a survey use ``coverage``. Where
    weights are not whole numbers, their sums can differ in the last digits by
    the way of cutting. Time grows with the number of people, memory with the
    largest chunk.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["one"], "stature_cm_low": [150], "stature_cm_high": [170]}),
    ...     warn=False)
    >>> parts = (pd.DataFrame({"stature_cm": [160.0, 165, top]}) for top in (169, 190))
    >>> found = coverage_in_chunks(parts, chart)
    >>> print(found.table.loc[0, "people"], found.table.loc[0, "n"])
    5 6
    """
    groupings = by_list(by)
    total: Counts | None = None
    done = 0
    for chunk in chunks:
        counts = count_chunk(chunk, chart, groupings)
        total = counts if total is None else total + counts
        done += len(chunk.frame) if isinstance(chunk, People) else len(chunk)
        progress(done)
    return coverage_of_counts(total, chart)


def coverage_of_counts(total: Counts | None, chart: SizeChart) -> CountedCoverage:
    """Turn the counts of all chunks (None: there was none) into shares."""
    everyone = (EVERYONE, EVERYONE)
    if total is None or total.groups[everyone][:, 1].sum() <= 0:
        raise SizingError(
            "nobody was counted",
            allowed="at least one person with a weight over 0",
            action="look whether the chunks are empty",
        )
    whole = total.groups[everyone].sum(axis=0)
    order = [everyone]
    order += [(by, level) for by, own in total.levels.items() for level in own]
    blocks = []
    for by, level in order:
        each = total.groups.get((by, level), np.zeros((1, 3)))
        if each[:, 1].sum() == 0:
            continue
        block = _shares(np.vstack([each[0] + each[1], each]), each.sum(axis=0))
        block.insert(0, "outcome", ["covered", *OUTCOMES])
        block.insert(0, "level", level)
        block.insert(0, "by", by)
        block["small_group"] = block["n"] < SMALL_GROUP
        blocks.append(block)
    by_size = _shares(total.sizes.reshape(-1, 3), whole)
    by_size.insert(0, "share", np.repeat(["fits", "only_size"], len(chart.sizes)))
    by_size.insert(0, "size", np.tile(chart.sizes, 2))
    return CountedCoverage(pd.concat(blocks, ignore_index=True), by_size, chart.name)


def count_chunk(
    chunk: pd.DataFrame | People, chart: SizeChart, groupings: Sequence[str]
) -> Counts:
    """Count what comes of the people of one chunk."""
    frame, weight = _frame_and_weight(chunk)
    rows = len(frame)
    _check_measures(frame, chart)
    found = judge(tenths(frame, chart), chart, rows)
    parts = [(EVERYONE, [EVERYONE], np.zeros(rows, dtype=np.intp))]
    for by in groupings:
        level = grouping(frame, by)
        names = [str(label) for label in level.categories]
        parts.append((by, names, level.codes.astype(np.intp)))
    groups: dict[tuple[str, str], Floats] = {}
    for by, names, codes in parts:
        cells = len(names) * len(OUTCOMES)
        place = codes * len(OUTCOMES) + found.code
        sums = [np.bincount(place, w, cells) for w in (None, *_powers(weight))]
        table = np.stack(sums, axis=-1).astype(float).reshape(len(names), -1, 3)
        groups |= {(by, name): own for name, own in zip(names, table, strict=True)}
    fits = unpack(found.fitting, len(chart.sizes))
    only = fits & (found.count == 1)[:, None]
    sizes = [
        each.sum(axis=0) if w is None else w @ each
        for each in (fits, only)
        for w in (None, *_powers(weight))
    ]
    levels = {by: names for by, names, _ in parts[1:]}
    shaped = np.array(sizes, dtype=float).reshape(2, 3, -1).transpose(0, 2, 1)
    return Counts(groups, shaped, levels)


def _powers(weight: Floats | None) -> tuple[Floats | None, Floats | None]:
    """Return weights and their squares; None where everybody counts once."""
    return (None, None) if weight is None else (weight, weight**2)


def _shares(some: Floats, whole: Floats) -> pd.DataFrame:
    """Return shares of a whole with their intervals, one row per row of ``some``."""
    people, weight, square = some.T
    share = weight / whole[1]
    variance = square * (1 - share) ** 2 + (whole[2] - square) * share**2
    variance = variance / whole[1] ** 2
    n_effective = whole[1] ** 2 / whole[2]
    df = np.full(len(share), max(n_effective - 1, 1.0))
    low, high = wilson(share, variance, df, np.full(len(share), n_effective))
    return pd.DataFrame(
        {
            "people": people.astype(np.int64),
            "estimate": share,
            "low": low,
            "high": high,
            "method": _METHOD,
            "n": int(whole[0]),
            "n_effective": n_effective,
            "standard_error": np.sqrt(variance),
        }
    )


def _frame_and_weight(
    chunk: pd.DataFrame | People,
) -> tuple[pd.DataFrame, Floats | None]:
    if isinstance(chunk, People):
        if chunk.draws > 1:
            _refuse(
                f"{chunk.name} has {chunk.draws} draws of each person",
                "one draw each",
                "use estimate_coverage, which joins draws",
            )
        frame, given = chunk.frame, chunk.weight
    else:
        frame = chunk
        if "weight" not in frame:
            return frame, None
        given = frame["weight"]
    weight = given.to_numpy(dtype=float, na_value=np.nan)
    if not (np.isfinite(weight).all() and (weight >= 0).all()):
        _refuse("a weight cannot be used", "weights of 0 or more", "correct it")
    return frame, weight


def _check_measures(frame: pd.DataFrame, chart: SizeChart) -> None:
    needed = list(limits(chart))
    if needed and not set(needed) & set(frame.columns):
        _refuse(
            f"a chunk has none of the measures that the chart '{chart.name}' limits",
            ", ".join(needed),
            "name the columns so",
        )


def _refuse(what: str, allowed: str, to_do: str = "") -> None:
    raise SizingError(what, allowed=allowed, action=to_do or "correct the people given")
