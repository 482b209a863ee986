"""Compare two charts on the same people."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import OUTCOMES, SizeChart, assign
from sizing.charts.fits import yardsticks
from sizing.coverage.coverage import (
    EVERYONE,
    by_list,
    figures,
    labelled,
    memberships,
    outcome_columns,
)
from sizing.measures import plain, to_tenths
from sizing.people.people import People, layout
from sizing.resources import closing, invented_first, texts
from sizing.stats.estimates import Layout, group_means
from sizing.stats.formulas import LEVEL, Floats, difference_interval
from sizing.words.numbers import interval, points_interval, share

_T = texts("study")
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Comparison:
    """The difference that a chart makes: see ``compare_charts``."""

    table: pd.DataFrame
    chart_a: str
    chart_b: str
    people: str
    invented: tuple[str, ...] = ()
    shared: tuple[str, ...] = ()
    unchecked: pd.DataFrame = field(default_factory=pd.DataFrame)

    def summary(self) -> str:
        """Return the difference in plain words; without like measures, no winner."""
        rows = self.table[self.table["level"] == EVERYONE]
        row = rows[rows["outcome"] == "covered"].iloc[0]
        # A chart that looks at fewer measures fits more people: it rules out fewer.
        told = self._unlike() or self._say(
            "difference", points=points_interval(row, places=1)
        )
        if self.unchecked.empty and row["low"] <= 0 <= row["high"]:
            told += _T.compared["none_shown"]
        return "\n".join([invented_first(self.invented, told), closing()])

    def _say(self, name: str, **told: str) -> str:
        """Fill one of the sentences with both charts, their shares and the people."""
        row = self.table.iloc[0]
        shares = {f"share_{x}": share(row[f"share_{x}"], places=1) for x in "ab"}
        given = {"chart_a": self.chart_a, "chart_b": self.chart_b, **shares, **told}
        given |= {"people": self.people, "n": row["n"], "method": row["method"]}
        return str(_T.compared[name].format(**given))

    def _unlike(self) -> str:
        """Say what charts that limit different measures leave unchecked."""
        if self.unchecked.empty:
            return ""
        named = " and ".join(map(plain, self.shared))
        told = self._say("shared" if self.shared else "nothing_shared", measures=named)
        parts = [_T.compared["unlike"].format(first=told)]
        for row in self.unchecked.to_dict("records"):
            given = {"measure": plain(row["measure"]), "share": interval(row)}
            given |= {"width": row["width"], "unit": row["measure"].rsplit("_", 1)[1]}
            parts.append(_T.compared["unchecked"].format(chart=row["chart"], **given))
        return "".join(parts)


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
        Groupings as in ``estimate_coverage``.
    replicates, seed : int
        Of the bootstrap, where the people have no survey design.

    Returns
    -------
    Comparison
        ``.table``: by, level, outcome (covered, then each outcome); share_a, share_b;
        estimate, low, high (share_b - share_a); method; n; n_effective; standard_error;
        df; small_group. Where the charts do not limit the same measures, both are
        judged by those that they share alone. ``.unchecked``: one row per chart and
        measure that only the other limits: chart; measure; width (the other's median
        band, in cm or kg); estimate, low, high (share of those whom the chart fits who
        fall outside the band of that width which holds most of the people of their
        size); method; n.

    Notes
    -----
    Both charts meet the same persons and draws, so the difference is taken person by
    person (-1, 0 or 1) and its mean estimated as in ``estimate_coverage``: people whom
    both treat alike add no error.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> found = compare_charts(people, demo_chart(), demo_chart())
    >>> found.table["estimate"].unique().tolist()
    [0.0]
    """
    judged = tuple(dict.fromkeys((*chart_a.measures, *chart_b.measures)))
    place = layout(people, judged)
    labels, members = memberships(people, by_list(by), place)
    shared = tuple(m for m in chart_a.measures if m in chart_b.measures)
    unchecked = pd.concat(
        [
            _unchecked(people, *pair, place, replicates=replicates, seed=seed)
            for pair in ((chart_a, chart_b), (chart_b, chart_a))
        ]
    )
    a, b = (
        outcome_columns(assign(people, _only(chart, shared)), place)
        for chart in (chart_a, chart_b)
    )
    columns = [y - x for x, y in zip(a, b, strict=True)]
    means = group_means(place, columns, members, replicates=replicates, seed=seed)
    shares = []
    for parts in (a, b):
        each = [
            (m * place.weight[:, None]).T @ x / (m.T @ place.weight)[:, None]
            for x, m in zip(parts, members, strict=True)
        ]
        shares.append(np.mean(each, axis=0).ravel())

    ends = difference_interval(
        means.estimate, means.variance, means.df, means.n_effective[:, None]
    )
    table = labelled(labels, ["covered", *OUTCOMES])
    table = table.assign(share_a=shares[0], share_b=shares[1])
    paired = f"{100 * LEVEL:.0f} % t interval of the paired difference"
    table = table.join(figures(means, ends, place, paired))
    invented = chart_a.invented or chart_b.invented
    names = (chart_a.name, chart_b.name, people.name)
    unchecked = unchecked.reset_index(drop=True)
    return Comparison(table, *names, invented, shared, unchecked)


def _only(chart: SizeChart, measures: Sequence[str]) -> SizeChart:
    others = [m for m in chart.measures if m not in measures]
    dropped = [f"{m}_{end}" for m in others for end in ("low", "high")]
    return replace(chart, frame=chart.frame.drop(columns=dropped, errors="ignore"))


def _unchecked(
    people: People,
    chart: SizeChart,
    other: SizeChart,
    place: Layout,
    *,
    replicates: int,
    seed: int,
) -> pd.DataFrame:
    rows: list[pd.DataFrame] = []
    lacking = [m for m in other.measures if m not in chart.measures]
    named = assign(people, chart).table["size"].cat.codes.to_numpy()
    fitted = named >= 0
    weight = people.weight.to_numpy(dtype=float)
    for measure in (m for m in lacking if m in people.frame and fitted.any()):
        width = round(yardsticks(other)[measure])
        values = to_tenths(people.frame[measure].to_numpy(float, na_value=np.nan))
        known = fitted & (values >= 0)
        inside = np.zeros(len(values), dtype=bool)
        for size in np.unique(named[known]):
            own = known & (named == size)
            low = _fullest(values[own], weight[own], width)
            inside |= own & (values >= low) & (values <= low + width)
        outside = (known & ~inside)[place.rows][:, :, None].astype(float)
        members = known[place.rows][:, :, None].astype(float)
        means = group_means(
            place, list(outside), list(members), replicates=replicates, seed=seed
        )
        told = pd.DataFrame(
            {"chart": [chart.name], "measure": measure, "width": width / 10}
        )
        rows.append(told.join(figures(means, means.shares(), place).iloc[:, :5]))
    return pd.concat(rows) if rows else pd.DataFrame()


def _fullest(values: Ints, weight: Floats, width: int) -> int:
    """Return where the band of a width begins that holds most of the weight."""
    start = int(values.min())
    below = np.concatenate([[0.0], np.cumsum(np.bincount(values - start, weight))])
    span = np.arange(len(below) - 1)
    held = below[np.minimum(span + width + 1, len(below) - 1)] - below[span]
    return start + int(held.argmax())
