"""How often must one measure: the chance of a wrong size by number of readings."""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.charts.fits import limits
from sizing.errors import SizingError, check_number, check_replicates, check_seed
from sizing.lesson.choosing import (
    edge_margins,
    innermost,
    outcome_of_choice,
    read_by_tape,
    reading_errors,
)
from sizing.lesson.tem import MeasuringError
from sizing.people import People
from sizing.people.layout import layout
from sizing.stats.intervals import LEVEL
from sizing.stats.shares import group_means

#: Outcomes in which the tape's answer is not the right one.
_WRONG = (1, 2, 3, 5)
_MISSED = 4


def error_parts(error: MeasuringError | None, chart: SizeChart) -> pd.DataFrame:
    """Split each measure's error into what repeats even out and what stays."""
    usual = reading_errors()
    rows = []
    for measure in limits(chart):
        within, lasting, source = usual[measure], 0.0, "the kit's table of measures"
        if error is not None and len(error.table):
            own = error.table[error.table["measure"] == measure]
            tem = dict(zip(own["kind"], own["tem"].astype(float), strict=True))
            if "within" in tem and "between" in tem:
                within = tem["within"]
                lasting = float(np.sqrt(max(tem["between"] ** 2 - within**2, 0.0)))
                source = "this room, within and between measurers"
            elif tem:
                within = next(iter(tem.values()))
                source = f"this room, {next(iter(tem))} measurers only"
        rows.append(
            {"measure": measure, "within": within, "lasting": lasting, "source": source}
        )
    return pd.DataFrame(rows)


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

    Parameters
    ----------
    people : People
        On whom the room's errors are tried.
    chart : SizeChart
    error : MeasuringError, optional
        The room's; without it the errors of the kit's table of measures.
    times : sequence of int
        Readings that are averaged.
    replicates, seed : int

    Returns
    -------
    DataFrame
        times, by (``one measurer``: the same person reads again; ``a new
        measurer each time``), outcome (``wrong_size``: put in a size that does
        not fit; ``missed``: no size found though one fits; ``either``),
        estimate, low, high, method, n.

    Raises
    ------
    SizingError
        If ``times`` holds anything but whole numbers of 1 or more.

    Notes
    -----
    A mean of k readings errs with ``within^2 / k + lasting^2`` by one measurer,
    ``(within^2 + lasting^2) / k`` by a new one each time; normal, independent
    between measures. The same normal deviates serve every row, so that rows
    differ by the number of readings alone. The error of the room's own TEM is
    not in the interval.

    Examples
    --------
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
    sd = reading_errors()
    place = layout(people)
    fits = edge_margins(people.frame, chart, sd) >= 0
    labels, columns = [], []
    for by in ("one measurer", "a new measurer each time"):
        for k in times:
            stays = lasting if by == "one measurer" else lasting / np.sqrt(k)
            spread = np.hypot(within / np.sqrt(k), stays)
            rng = np.random.default_rng([seed, 77])
            read = read_by_tape(
                people.frame, chart, dict(zip(names, spread, strict=True)), rng
            )
            code = outcome_of_choice(innermost(edge_margins(read, chart, sd)), fits)
            wrong, missed = np.isin(code, _WRONG), code == _MISSED
            for name, column in (
                ("wrong_size", wrong),
                ("missed", missed),
                ("either", wrong | missed),
            ):
                labels.append((k, by, name))
                columns.append(column.astype(float))
    flat = np.stack(columns, axis=1)[place.rows]
    ones = [np.ones((place.rows.shape[1], 1)) for _ in range(place.rows.shape[0])]
    means = group_means(place, list(flat), ones, replicates=replicates, seed=seed)
    low, high = means.shares()
    return pd.DataFrame(labels, columns=["times", "by", "outcome"]).assign(
        estimate=means.estimate[0],
        low=low[0],
        high=high[0],
        method=f"{100 * LEVEL:.0f} % score interval; {place.how}{place.joined}",
        n=round(means.n[0]),
    )
