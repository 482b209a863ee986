"""An adviser's own chart on the people she serves."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from sizing.cautions import closing, invented_first
from sizing.charts import SizeChart, chart_from, fits_matrix, review_chart
from sizing.client.caseload import judge_clients
from sizing.coverage import (
    Coverage,
    estimate_coverage,
    who_falls_between,
    why_none,
)
from sizing.errors import SizingError, one_of
from sizing.measures import to_tenths
from sizing.measures.edges import NO_HIGH
from sizing.people.layout import layout
from sizing.people.people import People
from sizing.stats.intervals import difference_interval
from sizing.stats.layout import Floats, Layout
from sizing.stats.shares import Means, group_means
from sizing.words.chart import finding_words, load_first_words, why_words
from sizing.words.numbers import interval, points_interval, share

#: A size whose loss would cost less than this share is one nobody needs (ours).
NOBODY = 0.005
REPLICATES = 400
#: Whom a chart is judged for where nothing else is said, in command and page.
SERVED = "walking_difficulty"
#: More clients than this are not judged one by one here: 1,000 take seconds (ours).
MOST_CLIENTS = 1000
OF_OTHERS = (
    "The intervals are for people like these clients, were these a chance sample of "
    "them: of such people the chart would fit from {} to {} (95 % interval)."
)
UNLIKE = (
    " It does not limit the same measures as {}, so neither can be said to be better: "
    "judge the chart to see what each leaves unchecked."
)
WITH_BIAS = (
    "The interval counts the typical error of the body model in measures nobody took, "
    "and so may be wide."
)


@dataclass(frozen=True)
class ChartJudgement:
    """What an own chart does for some people, whose name is ``people``.

    ``findings`` are of the chart itself (``review_chart``); ``why`` says which measure
    keeps people from a size (``why_none``), ``between`` how the odds of falling between
    differ (``who_falls_between``); of ``sizes`` see ``judge_chart``.
    """

    chart: SizeChart
    people: str
    coverage: Coverage
    findings: pd.DataFrame
    why: pd.DataFrame
    between: pd.DataFrame
    sizes: pd.DataFrame
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    #: Whether the people are a list of one's own, not weighted to others.
    own: bool = False

    @property
    def table(self) -> pd.DataFrame:
        """The sizes."""
        return self.sizes

    @property
    def unneeded(self) -> list[str]:
        """Sizes whose loss would leave almost nobody without one."""
        return list(self.sizes.loc[self.sizes["unneeded"], "size"])

    def answer(self) -> str:
        """Return the coverage in one sentence."""
        row = self.coverage.table.iloc[0]
        found = f"{interval(row)} of {self.people} (95 % interval, n = {row['n']:,})."
        if self.own:
            found = of_clients(row["estimate"], row["n"], self.people)
        return invented_first(self.chart.invented, f"{self.chart.name} fits {found}")

    @property
    def intervals(self) -> list[str]:
        """What the intervals are for, where that is not plain."""
        row, lines = self.coverage.table.iloc[0], []
        if self.own:
            lines.append(OF_OTHERS.format(share(row["low"]), share(row["high"])))
        if str(row["method"]).endswith("its bias counted"):
            lines.append(WITH_BIAS)
        return lines

    def summary(self) -> str:
        """Return what matters in plain words, with the cautions."""
        lines = [self.answer(), *self.intervals]
        lines += [f"Of the chart: {words}." for words in finding_words(self.findings)]
        lines += [why_words(row) for _, row in self.why.iterrows()]
        if self.unneeded:
            most = self.sizes.loc[self.sizes["unneeded"], "needs_high"].max()
            lines.append(
                f"Sizes that almost nobody needs (under {100 * NOBODY:g} % have no "
                f"other, at most {share(most, places=1)} by the intervals): "
                f"{', '.join(self.unneeded)}."
            )
        lines += load_first_words(self.sizes)
        return "\n".join([*lines, closing(self.limits)])


def judge_chart(
    people: People,
    chart: SizeChart,
    *,
    by: tuple[str, ...] | None = None,
    replicates: int = REPLICATES,
    seed: int = 1,
) -> ChartJudgement:
    """Say whom a chart covers, who falls between and why, and what is idle.

    Parameters
    ----------
    people : People
        The people judged, one row per person and draw.
    chart : SizeChart
        The size chart, in cm and kg.
    by : tuple of str, optional
        Groupings, as in ``coverage``; without it sex and age band, where the
        people have them.
    replicates, seed : int
        Of the bootstrap, where the people have no survey design.

    Returns
    -------
    ChartJudgement
        ``sizes``: size, group, load_limit_kg; fits, fits_low, fits_high (share
        of people it fits); needs, needs_low, needs_high (share whom no other
        size fits: what dropping it would cost); load_first, load_first_low,
        load_first_high (share whom its measures other than the body mass fit,
        but whose body mass is over its load limit: the load limit bites before
        the fabric does); unneeded (``needs`` under 0.5 %); method;
        n.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> found = judge_chart(load_people("bariatric", draws=1), demo_chart(),
    ...                     by=(), replicates=50)
    >>> found.sizes["needs"].between(0, 1).all().item()
    True
    """
    if by is None:
        have = {"sex": "sex", "age_band": "age_years"}
        by = tuple(name for name, column in have.items() if column in people.frame)
    groups = list(by) or None
    found = estimate_coverage(
        people, chart, by=groups, replicates=replicates, seed=seed
    )
    ends = {"estimate": "", "low": "_low", "high": "_high"}
    by_size = found.by_size.set_index(["share", "size"])[list(ends)].rename(
        columns=ends
    )
    limit, sizes = chart.load_limits(), list(chart.sizes)
    table = pd.DataFrame(
        {
            "size": sizes,
            "group": chart.frame["group"].array,
            "load_limit_kg": np.where(limit == NO_HIGH, np.nan, limit / 10),
        }
    )
    for kind, name in (("fits", "fits"), ("only_size", "needs")):
        shares = by_size.loc[kind].loc[sizes].reset_index(drop=True)
        table = table.join(shares.add_prefix(name))
    means = _means(
        layout(people, chart.measures), _load_first(people, chart), replicates, seed
    )
    table["load_first"] = means.estimate[0]
    table["load_first_low"], table["load_first_high"] = (
        end[0] for end in means.shares()
    )
    table["unneeded"] = table["needs"] < NOBODY
    table["method"] = found.by_size["method"].iloc[0]
    table["n"] = people.n
    return ChartJudgement(
        chart=chart,
        people=people.name,
        coverage=found,
        findings=review_chart(chart, people=people),
        why=why_none(people, chart, replicates=replicates, seed=seed),
        between=_between(people, chart),
        sizes=table,
        limits=people.limits,
        sources=people.sources,
        own=is_own(people),
    )


def is_own(people: People) -> bool:
    """Say whether these are a list of one's own, who stand for nobody else."""
    weighted = not people.weight.eq(people.weight.iloc[0]).all()
    return not (weighted or {"name", "margins"} & set(people.settings))


def of_clients(fitted: float, n: int, people: str) -> str:
    """Return a share of a list of one's own: a count, and no interval."""
    whom = "this one client" if n == 1 else f"these {n:,} clients"
    return f"{share(fitted)} of {whom} ({people})."


def clients_served(people: People, chart: SizeChart) -> pd.DataFrame | None:
    """Judge each client of a list of one's own; None of other people, or of too many.

    As ``judge_clients`` does: what was measured with the error of its reading, what
    was not from the body model. ``row`` is the client's in the file.
    """
    if "name" in people.settings or too_many(people):
        return None
    first = people.frame["draw"] == people.frame["draw"].iloc[0]
    clients = people.frame[first].rename(columns={"person": "row"})
    measured = people.evidence[first] == "measured"
    names = list(measured)
    clients[names] = clients[names].where(measured)
    return judge_clients(chart, clients)


def too_many(people: People) -> bool:
    """Say whether these are a list of one's own, too long to judge one by one."""
    return "name" not in people.settings and people.n > MOST_CLIENTS


def _means(place: Layout, of: Floats, replicates: int, seed: int) -> Means:
    """Return the means of columns, one row per person and draw, of everyone."""
    everyone = np.ones((len(place.weight), 1))
    return group_means(
        place,
        [of[rows] for rows in place.rows],
        [everyone] * len(place.rows),
        replicates=replicates,
        seed=seed,
    )


def _between(people: People, chart: SizeChart) -> pd.DataFrame:
    """Return odds ratios by whatever of sex, age and build the people have."""
    needed = {
        "sex": ["sex"],
        "age_band": ["age_years"],
        "bmi_class": ["sex", "age_years", "body_mass_kg", "stature_cm"],
    }
    terms = [
        term
        for term, columns in needed.items()
        if term in people.frame or set(columns) <= set(people.frame)
    ]
    if not terms or "age_years" not in people.frame:
        return pd.DataFrame()
    return who_falls_between(people, chart, terms=terms)


def _load_first(people: People, chart: SizeChart) -> Floats:
    """Return who is over a size's load limit though its fabric would fit."""
    mass = ["load_limit_kg", "body_mass_kg_low", "body_mass_kg_high"]
    fabric = SizeChart(chart.frame.drop(columns=mass, errors="ignore"))
    if not fabric.measures or "body_mass_kg" not in people.frame:
        return np.zeros((len(people.frame), len(chart.sizes)))
    heavy = to_tenths(people.frame["body_mass_kg"])[:, None] > chart.load_limits()
    return (fits_matrix(people.frame, fabric) & heavy).astype(float)


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
        """Return whom the chart fits, and the difference if there is another."""
        row, before = self.table.iloc[0], self.before
        covered = interval(row, "share_b", "share_b_")
        told = f"{covered} of {self.people} (95 % interval, n = {row['n']:,})."
        if self.own:
            told = of_clients(row["share_b"], row["n"], self.people)
        told = f"{self.chart.name} fits {told}"
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
) -> Nudge:
    """Say whom a chart fits, and compare it with another on the same people, at once.

    The difference in coverage, person by person, with a 95 % t interval by
    linearisation, draws joined as ``coverage`` joins them. Where nobody differs the
    interval is the score interval's end for a share of 0, either way, as in
    ``compare_charts``. Where many edits follow each other, give ``nudge_layout``.
    """
    first = after if before is None else before
    place = nudge_layout(people, first, after) if place is None else place
    a, b = (fits_matrix(people.frame, c).any(axis=1) for c in (first, after))
    both = np.column_stack([a, b, b.astype(float) - a])
    means = _means(place, both, 50, 1)
    share_a, share_b, change = means.estimate[0]
    low, high = means.shares()
    least, most = difference_interval(
        change,
        means.variance[0, 2],
        np.ravel(means.df[0])[-1],
        means.n_effective[0],
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
            "n": people.n,
            "changed": int((a != b).sum()),
        }
    )
    return Nudge(table, after, before, people.name, is_own(people))
