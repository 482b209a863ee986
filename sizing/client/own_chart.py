"""An adviser's own chart on the people she serves."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from sizing.charts import SizeChart, fits_matrix, review_chart
from sizing.client.caseload import judge_clients
from sizing.client.nudge import is_own, means_of, what_to_change
from sizing.coverage import Coverage, estimate_coverage, who_falls_between, why_none
from sizing.measures import NO_HIGH, to_tenths
from sizing.people.people import People, layout
from sizing.resources import closing, invented_first, texts
from sizing.stats.formulas import Floats
from sizing.words.client import (
    change_words,
    finding_words,
    fits_words,
    load_first_words,
    why_words,
)
from sizing.words.numbers import share

#: A size whose loss would cost less than this share is one nobody needs (ours).
NOBODY = 0.005
REPLICATES = 400
#: Whom a chart is judged for where nothing else is said, in command and page.
SERVED = "walking_difficulty"
#: More clients than this are not judged one by one here: 1,000 take seconds (ours).
MOST_CLIENTS = 1000
_ENDS = {"estimate": "", "low": "_low", "high": "_high"}
_T: dict[str, str] = texts("own_chart").found


@dataclass(frozen=True)
class ChartJudgement:
    """What an own chart does; ``own``: for a list of people, not weighted to others."""

    chart: SizeChart
    people: str
    coverage: Coverage
    findings: pd.DataFrame
    why: pd.DataFrame
    between: pd.DataFrame
    sizes: pd.DataFrame
    #: What would reach most of those left out: see ``what_to_change``.
    changes: pd.DataFrame
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    #: Whether the people are a list of one's own, not weighted to others.
    own: bool = False

    @property
    def table(self) -> pd.DataFrame:
        return self.sizes

    @property
    def unneeded(self) -> list[str]:
        return list(self.sizes.loc[self.sizes["unneeded"], "size"])

    def answer(self) -> str:
        row = self.coverage.table.iloc[0]
        words = fits_words(self.chart.name, row, self.people, own=self.own)
        return invented_first(self.chart.invented, words)

    @property
    def intervals(self) -> list[str]:
        row, lines = self.coverage.table.iloc[0], []
        if self.own:
            ends = {end: share(row[end]) for end in ("low", "high")}
            lines.append(_T["of_others"].format(**ends))
        if str(row["method"]).endswith("its bias counted"):
            lines.append(_T["with_bias"])
        return lines

    def summary(self) -> str:
        lines = [self.answer(), *self.intervals]
        found = finding_words(self.findings)
        lines += [_T["of_chart"].format(words=words) for words in found]
        lines += [why_words(row) for _, row in self.why.iterrows()]
        if self.unneeded:
            most = self.sizes.loc[self.sizes["unneeded"], "needs_high"].max()
            given = {"least": 100 * NOBODY, "most": share(most, places=1)}
            sizes = ", ".join(self.unneeded)
            lines.append(_T["unneeded"].format(sizes=sizes, **given))
        lines += [*load_first_words(self.sizes), *change_words(self.changes)]
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
    people, chart : People, SizeChart
        Who is judged, one row per person and draw, and by what, in cm and kg.
    by : tuple of str, optional
        Groupings, as in ``coverage``; without it sex and age band, where the people
        have them.
    replicates, seed : int
        Of the bootstrap, where the people have no survey design.

    Returns
    -------
    ChartJudgement
        ``sizes``: size, group, load_limit_kg; shares of people with ``_low`` and
        ``_high``: fits, needs (whom no other size fits: what dropping it would cost),
        load_first (whom its measures other than the body mass fit, but who are over its
        load limit); unneeded (``needs`` under 0.5 %); method; n.

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
    drawn = {"replicates": replicates, "seed": seed}
    found = estimate_coverage(people, chart, by=list(by) or None, **drawn)
    table, limit = chart.frame[["size", "group"]].astype(object), chart.load_limits()
    table["load_limit_kg"] = np.where(limit == NO_HIGH, np.nan, limit / 10)
    by_size = found.by_size.set_index(["share", "size"])
    for kind, name in (("fits", "fits"), ("only_size", "needs")):
        for column, end in _ENDS.items():
            table[name + end] = by_size[column].loc[kind].loc[[*chart.sizes]].array
    place, heavy = layout(people, chart.measures), _load_first(people, chart)
    means = means_of(place, heavy, replicates, seed)
    shares = (means.estimate, *means.shares())
    for end, (share_of, *_) in zip(_ENDS.values(), shares, strict=True):
        table[f"load_first{end}"] = share_of
    table["unneeded"] = table["needs"] < NOBODY
    table["method"] = found.by_size["method"].iloc[0]
    table["n"] = people.n
    return ChartJudgement(
        chart=chart,
        people=people.name,
        coverage=found,
        findings=review_chart(chart, people=people),
        why=why_none(people, chart, **drawn),
        between=_between(people, chart),
        sizes=table,
        changes=what_to_change(people, chart, seed=seed),
        limits=people.limits,
        sources=people.sources,
        own=is_own(people),
    )


def clients_served(people: People, chart: SizeChart) -> pd.DataFrame | None:
    """As ``judge_clients``, by ``row`` of the file; None: other people, or too many."""
    if "name" in people.settings or too_many(people):
        return None
    first = people.frame["draw"] == people.frame["draw"].iloc[0]
    clients = people.frame[first].rename(columns={"person": "row"})
    measured = people.evidence[first] == "measured"
    names = list(measured)
    clients[names] = clients[names].where(measured)
    return judge_clients(chart, clients)


def too_many(people: People) -> bool:
    return "name" not in people.settings and people.n > MOST_CLIENTS


def _between(people: People, chart: SizeChart) -> pd.DataFrame:
    needed = {
        "sex": ["sex"],
        "age_band": ["age_years"],
        "bmi_class": ["sex", "age_years", "body_mass_kg", "stature_cm"],
    }
    have = set(people.frame)
    terms = [t for t, columns in needed.items() if t in have or set(columns) <= have]
    if not terms or "age_years" not in have:
        return pd.DataFrame()
    return who_falls_between(people, chart, terms=terms)


def _load_first(people: People, chart: SizeChart) -> Floats:
    mass = ["load_limit_kg", "body_mass_kg_low", "body_mass_kg_high"]
    fabric = SizeChart(chart.frame.drop(columns=mass, errors="ignore"))
    if not fabric.measures or "body_mass_kg" not in people.frame:
        return np.zeros((len(people.frame), len(chart.sizes)))
    heavy = to_tenths(people.frame["body_mass_kg"])[:, None] > chart.load_limits()
    return (fits_matrix(people.frame, fabric) & heavy).astype(float)
