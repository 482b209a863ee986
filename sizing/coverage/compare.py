"""Compare two charts on the same people."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sizing.cautions import cautions, invented_first
from sizing.charts import OUTCOMES, SizeChart, assign
from sizing.coverage.coverage import EVERYONE, memberships, outcome_columns
from sizing.coverage.groups import by_list
from sizing.people.layout import layout
from sizing.people.people import People
from sizing.stats.intervals import LEVEL, difference_interval
from sizing.stats.shares import SMALL_GROUP, group_means


@dataclass(frozen=True)
class Comparison:
    """The difference that a chart makes, person by person.

    Attributes
    ----------
    table : DataFrame
        See ``compare_charts``.
    chart_a, chart_b, people : str
        Names of the charts and the population.
    invented : tuple of str
        ``chart`` where one of the two is invented; the summary begins with it.
    """

    table: pd.DataFrame
    chart_a: str
    chart_b: str
    people: str
    invented: tuple[str, ...] = ()

    def summary(self) -> str:
        """Return the difference in coverage in plain words, with the cautions."""
        row = next(
            row
            for _, row in self.table.iterrows()
            if row["level"] == EVERYONE and row["outcome"] == "covered"
        )
        points = [f"{100 * row[c]:+.1f}" for c in ("estimate", "low", "high")]
        told = (
            f"{self.chart_b} covers {100 * row['share_b']:.1f} % of {self.people}, "
            f"{self.chart_a} {100 * row['share_a']:.1f} %: a difference of "
            f"{points[0]} points ({points[1]} to {points[2]}; n = {row['n']:,}; "
            f"{row['method']})."
        )
        if row["low"] <= 0 <= row["high"]:
            told += " These people do not show that either covers more."
        told = invented_first(self.invented, told)
        return "\n".join([told, " ".join(cautions())])


def compare_charts(
    people: People,
    chart_a: SizeChart,
    chart_b: SizeChart,
    *,
    by: str | Sequence[str] | None = None,
    replicates: int = 400,
    seed: int = 1,
) -> Comparison:
    """Estimate how the shares differ between two charts.

    Parameters
    ----------
    people : People
        The people judged, one row per person and draw.
    chart_a, chart_b : SizeChart
        The two charts.
    by : str or list of str, optional
        Groups, as in ``coverage``.
    replicates, seed : int
        As in ``coverage``.

    Returns
    -------
    Comparison
        ``.table``: by, level, outcome (covered, then each outcome); share_a,
        share_b; estimate, low, high (share_b - share_a); method; n;
        n_effective; standard_error; df; small_group.

    Notes
    -----
    Both charts meet the same persons and the same draws, so the difference is
    taken person by person (-1, 0 or 1) and its mean estimated as in
    ``coverage``: people whom both charts treat alike add no error. Interval:
    estimate -+ t standard errors, within -1 and 1. Where no person differs,
    the ends are ``t^2 / (n_effective + t^2)`` either way, the score interval's
    end for a share of 0.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> narrow, wide = (chart_from(pd.DataFrame({
    ...     "size": ["one"], "stature_cm_low": [150], "stature_cm_high": [high]}),
    ...     warn=False) for high in (170, 180))
    >>> frame = pd.DataFrame({"person": range(100), "draw": 0,
    ...     "sex": "female", "age_years": 40.0,
    ...     "stature_cm": np.linspace(140, 190, 100)})
    >>> people = People("a hundred", frame, pd.Series(np.ones(100)),
    ...                 pd.DataFrame({"stature_cm": ["measured"] * 100}))
    >>> row = compare_charts(people, narrow, wide).table.iloc[0]
    >>> print(row["outcome"], round(row["estimate"], 2))
    covered 0.2
    """
    place = layout(people)
    labels, members = memberships(people, by_list(by), place)
    a = outcome_columns(assign(people, chart_a), place)
    b = outcome_columns(assign(people, chart_b), place)
    columns = [y - x for x, y in zip(a, b, strict=True)]
    means = group_means(place, columns, members, replicates=replicates, seed=seed)
    shares = []
    for parts in (a, b):
        each = [
            (m * place.weight[:, None]).T @ x / (m.T @ place.weight)[:, None]
            for x, m in zip(parts, members, strict=True)
        ]
        shares.append(np.mean(each, axis=0).ravel())

    low, high = difference_interval(
        means.estimate, means.variance, means.df, means.n_effective[:, None]
    )
    count, width = means.estimate.shape
    n = np.round(means.n).astype(np.int64)
    method = f"{100 * LEVEL:.0f} % t interval of the paired difference; {place.how}"
    method += place.joined
    table = pd.DataFrame(
        {
            "by": np.repeat([label[0] for label in labels], width),
            "level": np.repeat([label[1] for label in labels], width),
            "outcome": np.tile(["covered", *OUTCOMES], count),
            "share_a": shares[0],
            "share_b": shares[1],
            "estimate": means.estimate.ravel(),
            "low": low.ravel(),
            "high": high.ravel(),
            "method": method,
            "n": np.repeat(n, width),
            "n_effective": np.repeat(means.n_effective, width),
            "standard_error": np.sqrt(means.variance).ravel(),
            "df": means.df.ravel(),
            "small_group": np.repeat(n < SMALL_GROUP, width),
        }
    )
    invented = chart_a.invented or chart_b.invented
    return Comparison(table, chart_a.name, chart_b.name, people.name, invented)
