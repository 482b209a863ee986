"""Coverage of more people than memory holds: chunk by chunk, exact counts."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np
import pandas as pd

from sizing.charts import OUTCOMES, SizeChart, fits
from sizing.coverage.coverage import EVERYONE, INTERVAL, NOT_KNOWN, by_list, grouping
from sizing.errors import SizingError
from sizing.stats.estimates import SMALL_GROUP
from sizing.stats.formulas import Floats, wilson

#: Number of people, sums of their weights and of their squares, by outcome.
Sums = dict[tuple[str, str], Floats]


def coverage_in_chunks(
    chunks: Iterable[pd.DataFrame],
    chart: SizeChart,
    *,
    by: str | Sequence[str] | None = None,
    progress: Callable[[int], None] = lambda _: None,
) -> pd.DataFrame:
    """Estimate what share the chart covers of people who come in chunks.

    Only one chunk is in memory at a time. The counts are whole numbers and the same for
    every way of cutting the people into chunks.

    Parameters
    ----------
    chunks : iterable of DataFrame
        Measures in cm and kg, one row per person, each person in one chunk; a
        column ``weight`` if people do not count the same. A generator will do.
    chart : SizeChart
        The size chart, in cm and kg.
    by : str or sequence of str, optional
        Groupings as in ``estimate_coverage``.
    progress : callable, optional
        Called with the number of people counted so far.

    Returns
    -------
    DataFrame
        by, level, outcome, estimate, low, high, method, n, n_effective, standard_error,
        small_group as in ``estimate_coverage``; people (how many, whole number).

    Raises
    ------
    SizingError
        If there are no people, a weight cannot be used, or a grouping does not exist.

    Notes
    -----
    People count as drawn one by one, without design or draws: the variance of a
    weighted share p is ``sum w^2 (y - p)^2 / (sum w)^2``. Where weights are not whole
    numbers, their sums can differ in the last digits by the way of cutting.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> parts = (pd.DataFrame({"hip_circumference_cm": [99.0]}) for _ in range(2))
    >>> coverage_in_chunks(parts, demo_chart())["n"].unique().tolist()
    [2]
    """
    everyone, groupings, done = (EVERYONE, EVERYONE), by_list(by), 0
    total: Sums = {}
    for chunk in chunks:
        for group, sums in _count(chunk, chart, groupings).items():
            total[group] = total.get(group, 0.0) + sums
        done += len(chunk)
        progress(done)
    if not total or total[everyone][:, 1].sum() <= 0:
        raise SizingError(
            "nobody was counted",
            allowed="at least one person with a weight over 0",
            action="look whether the chunks are empty",
        )
    order = [everyone]
    for own in groupings:
        levels = [level for name, level in total if name == own]
        if levels[-1] != NOT_KNOWN:
            # A later chunk brought a level that the first one lacked.
            levels = [*sorted(set(levels) - {NOT_KNOWN}), NOT_KNOWN]
        order += [(own, level) for level in levels]
    blocks = [_counted(*key, total[key]) for key in order if total[key][:, 1].sum() > 0]
    return pd.concat(blocks, ignore_index=True)


def _count(frame: pd.DataFrame, chart: SizeChart, groupings: Sequence[str]) -> Sums:
    needed = fits.limits(chart)
    if needed and not set(needed) & set(frame.columns):
        raise SizingError(
            f"a chunk has none of the measures that the chart '{chart.name}' limits",
            allowed=", ".join(needed),
            action="name the columns so",
        )
    powers: list[Floats | None] = [None, None, None]
    if "weight" in frame:
        weight = frame["weight"].to_numpy(dtype=float, na_value=np.nan)
        if not (np.isfinite(weight) & (weight >= 0)).all():
            raise SizingError(
                "a weight cannot be used",
                allowed="weights of 0 or more",
                action="correct the people given",
            )
        powers = [None, weight, weight**2]
    outcome = fits.judge(fits.tenths(frame, chart), chart, len(frame)).code
    found: Sums = {}
    for by in (EVERYONE, *groupings):
        names, place = [EVERYONE], outcome.astype(np.intp)
        if by != EVERYONE:
            level = grouping(frame, by)
            names = [str(label) for label in level.categories]
            place = place + level.codes.astype(np.intp) * len(OUTCOMES)
        cells = len(names) * len(OUTCOMES)
        sums = [np.bincount(place, w, cells).astype(float) for w in powers]
        each = np.stack(sums, axis=-1).reshape(len(names), len(OUTCOMES), 3)
        found |= {(by, name): own for name, own in zip(names, each, strict=True)}
    return found


def _counted(by: str, level: str, sums: Floats) -> pd.DataFrame:
    whole = sums.sum(axis=0)
    people, weight, square = np.vstack([sums[0] + sums[1], sums]).T
    share = weight / whole[1]
    variance = square * (1 - share) ** 2 + (whole[2] - square) * share**2
    variance = variance / whole[1] ** 2
    n_effective = whole[1] ** 2 / whole[2]
    df = np.full(len(share), max(n_effective - 1, 1.0))
    low, high = wilson(share, variance, df, np.full(len(share), n_effective))
    return pd.DataFrame(
        {
            "by": by,
            "level": level,
            "outcome": ["covered", *OUTCOMES],
            "people": people.astype(np.int64),
            "estimate": share,
            "low": low,
            "high": high,
            "method": f"{INTERVAL}; counted",
            "n": int(whole[0]),
            "n_effective": n_effective,
            "standard_error": np.sqrt(variance),
            "small_group": whole[0] < SMALL_GROUP,
        }
    )
