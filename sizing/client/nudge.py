"""An edge moved, or another chart beside: what is different, at once."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, chart_from, fits_matrix
from sizing.errors import SizingError, one_of
from sizing.people.people import People, layout
from sizing.resources import invented_first
from sizing.stats.estimates import Layout, Means, group_means
from sizing.stats.formulas import Floats, difference_interval
from sizing.words.chart import fits_words
from sizing.words.numbers import points_interval, share

UNLIKE = (
    " It does not limit the same measures as {}, so neither can be said to be better: "
    "judge the chart to see what each leaves unchecked."
)


def with_edge(
    chart: SizeChart, size: str, measure: str, end: str, value: float | None
) -> SizeChart:
    """Return the chart with one edge moved, in cm or kg; None is no limit.

    >>> from sizing.charts import demo_chart
    >>> moved = with_edge(demo_chart(), "adult 1", "hip_circumference_cm", "high", 108)
    >>> moved.frame.set_index("size").loc["adult 1", "hip_circumference_cm_high"].item()
    108.0
    """
    one_of("size", size, chart.sizes)
    one_of("measure", measure, chart.measures)
    one_of("end", end, ("low", "high"))
    if value is not None and not 0 <= value < 1000:
        raise SizingError("an edge must be a number", allowed="0 to 999", value=value)
    frame = chart.frame.copy()
    row = frame.index[frame["size"].astype(str) == size]
    frame.loc[row, f"{measure}_{end}"] = np.nan if value is None else float(value)
    return chart_from(frame, name=chart.name, source=chart.source, warn=False)


@dataclass(frozen=True)
class Nudge:
    """Whom a chart fits, and what is different with another, at once.

    ``table`` is one row: share_a, share_b, share_b_low, share_b_high (Wilson's score
    interval), estimate, low, high, method, n, changed (people and draws that are
    covered by one chart only). ``own`` says that the people are a list of one's own.
    """

    table: pd.DataFrame
    chart: SizeChart
    before: SizeChart | None
    people: str
    own: bool

    def summary(self) -> str:
        row, before = self.table.iloc[0], self.before
        ends = {"estimate": "share_b", "low": "share_b_low", "high": "share_b_high"}
        of = {"n": row["n"], **{name: row[end] for name, end in ends.items()}}
        told = fits_words(self.chart.name, of, self.people, own=self.own)
        made_up = self.chart.invented
        if before is not None:
            made_up = made_up or before.invented
            if set(before.measures) != set(self.chart.measures):
                told += UNLIKE.format(before.name)
            elif row["changed"] == 0:
                told += f" {before.name} fits the same people."
            else:
                told += (
                    f" {before.name} fits {share(row['share_a'])}: the difference is "
                    f"{points_interval(row, places=2)} points (95 % interval)."
                )
        return invented_first(made_up, told)


def nudge_layout(people: People, *charts: SizeChart) -> Layout:
    """Arrange people for ``nudge`` of charts: each person a sampling unit.

    The variance is then found by linearisation, without a bootstrap: quick
    enough to follow an edge while it is moved. A survey design is kept.
    """
    place = layout(people, tuple(dict.fromkeys(m for c in charts for m in c.measures)))
    if place.unit is not None:
        return place
    count = len(place.weight)
    return replace(
        place, unit=np.arange(count), stratum=np.zeros(count, dtype=np.int64)
    )


def nudge(
    people: People,
    before: SizeChart | None,
    after: SizeChart,
    place: Layout | None = None,
    *,
    among: npt.NDArray[np.bool_] | None = None,
) -> Nudge:
    """Say whom a chart fits, and compare it with another on the same people, at once.

    The difference in coverage and its interval are those of ``compare_charts``, always
    by linearisation. Where many edits follow each other, give ``nudge_layout``.
    ``among`` says which rows count, all without it.
    """
    first = after if before is None else before
    place = nudge_layout(people, first, after) if place is None else place
    a, b = (fits_matrix(people.frame, c).any(axis=1) for c in (first, after))
    both = np.column_stack([a, b, b.astype(float) - a])
    means = means_of(place, both, 50, 1, among)
    share_a, share_b, change = means.estimate[0]
    low, high = means.shares()
    least, most = difference_interval(
        change, means.variance[0, 2], np.ravel(means.df[0])[-1], means.n_effective[0]
    )
    table = pd.DataFrame(
        {
            "share_a": [share_a],
            "share_b": share_b,
            "share_b_low": low[0, 1],
            "share_b_high": high[0, 1],
            "estimate": change,
            "low": float(least),
            "high": float(most),
            "method": "95 % t interval of the paired difference; "
            f"linearisation{place.joined}",
            "n": round(means.n[0]),
            "changed": int((a != b).sum()),
        }
    )
    return Nudge(table, after, before, people.name, is_own(people))


def means_of(
    place: Layout,
    of: Floats,
    replicates: int,
    seed: int,
    among: npt.NDArray[np.bool_] | None = None,
) -> Means:
    """Return the means of columns, one row per person and draw, of everyone or some."""
    who = np.ones((len(of), 1)) if among is None else among[:, None].astype(float)
    return group_means(
        place,
        [of[rows] for rows in place.rows],
        [who[rows] for rows in place.rows],
        replicates=replicates,
        seed=seed,
    )


def is_own(people: People) -> bool:
    weighted = not people.weight.eq(people.weight.iloc[0]).all()
    return not (weighted or {"name", "margins"} & set(people.settings))
