"""Why people without a size have none: which measure, which way, by how much."""

import numpy as np
import pandas as pd

from sizing.charts import DIRECTIONS, SizeChart, assign
from sizing.coverage.coverage import figures
from sizing.measures import MEASURES
from sizing.people.layout import layout
from sizing.people.people import People
from sizing.stats.layout import Floats
from sizing.stats.shares import group_means
from sizing.stats.weighted import weighted_quantile

COLUMNS = ["measure", "direction", "estimate", "low", "high", "method", "n"]
COLUMNS += ["miss_median", "miss_most"]


def why_none(
    people: People, chart: SizeChart, *, replicates: int = 400, seed: int = 1
) -> pd.DataFrame:
    """Estimate which measure keeps people from their nearest size.

    Parameters
    ----------
    people : People
        The people judged, one row per person and draw.
    chart : SizeChart
        The size chart, in cm and kg.
    replicates : int
        Bootstrap replicates, where the people have no survey design.
    seed : int
        Of the bootstrap.

    Returns
    -------
    DataFrame
        One row per measure and direction that occurs, in the order of the
        measures: measure (the one that fails most at the nearest size),
        direction (one of ``sizing.charts.DIRECTIONS``); estimate, low, high
        (share of all people); method; n (all persons); miss_median and
        miss_most (in the measure's unit, weighted median and 95th percentile
        of the miss over those concerned; NaN where it was not measured). Empty
        where everyone has a size.

    Raises
    ------
    SizingError
        As ``sizing.coverage.estimate_coverage``.

    Notes
    -----
    Interval and method as in ``sizing.coverage.estimate_coverage``. A person counts
    once, under her worst measure, so the shares add up to the share without
    a size.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> chart = chart_from(pd.DataFrame({
    ...     "size": ["one", "two"], "stature_cm_low": [150, 172],
    ...     "stature_cm_high": [168, 190]}), warn=False)
    >>> frame = pd.DataFrame({
    ...     "person": range(4), "draw": 0, "stature_cm": [160.0, 169, 180, 149.5]})
    >>> people = People("four", frame, pd.Series(np.ones(4)),
    ...                 pd.DataFrame({"stature_cm": ["measured"] * 4}))
    >>> why_none(people, chart)[["direction", "estimate", "miss_median"]]
           direction  estimate  miss_median
    0  too_small_for      0.25          1.0
    1  too_large_for      0.25          0.5
    """
    place = layout(people)
    found = assign(people, chart).table
    # As columns: of a frame of two rows, two lists would be taken for its keys.
    pairs = (
        found.assign(
            failing_measure=pd.Categorical(found["failing_measure"], MEASURES),
            direction=pd.Categorical(found["direction"], DIRECTIONS),
        )
        .groupby(["failing_measure", "direction"], observed=True)
        .indices
    )
    if not pairs:
        return pd.DataFrame(columns=COLUMNS)
    each = np.zeros((len(found), len(pairs)), dtype=bool)
    for own, rows in zip(each.T, pairs.values(), strict=True):
        own[rows] = True
    columns = list(each[place.rows].astype(float))
    everyone = [np.ones((place.rows.shape[1], 1))] * len(columns)
    means = group_means(place, columns, everyone, replicates=replicates, seed=seed)
    miss = found["miss"].to_numpy(dtype=float)
    weight = people.weight.to_numpy(dtype=float)
    table = pd.DataFrame(list(pairs), columns=COLUMNS[:2])
    table = table.join(figures(means, means.shares(), place).iloc[:, :5])
    middles = [_middle_and_most(miss[own], weight[own]) for own in each.T]
    return table.join(pd.DataFrame(middles, columns=COLUMNS[-2:]))


def _middle_and_most(miss: Floats, weight: Floats) -> tuple[float, float]:
    """Return median and 95th percentile; NaN where no miss is known."""
    if not (np.isfinite(miss) & (weight > 0)).any():
        return np.nan, np.nan
    middle, most = weighted_quantile(miss, [0.5, 0.95], weights=weight)
    return float(middle), float(most)
