"""One client judged against one chart: the tables, and what follows from them."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from sizing.charts import SizeChart, review_chart
from sizing.client.client import Client
from sizing.client.posterior import Bodies
from sizing.measures import MEASURES

#: A size is in play from this chance on; a runner-up from this chance on, or
#: wherever the first is below SURE, is always named (our choice, no source).
IN_PLAY, RUNNER_UP, SURE = 0.05, 0.10, 0.90


@dataclass(frozen=True)
class JudgedClient:
    """What is known of one client against one chart.

    Attributes
    ----------
    chart : SizeChart
    client : Client
    sizes, margins, measures, outcomes, next_measure, loads, allowances, growth
        Frames; see ``check_client``.
    nearest : dict
        For a client whom probably none fits: ``size``, ``measure``,
        ``direction`` and ``miss`` (cm or kg), by the likeliest body.
    notes, doubts : tuple of str
        What to know of these entries, and what looked wrong but was confirmed.
    limits, sources : tuple of str
    bodies : Bodies
        The draws behind every figure.
    limiting : tuple of str
        Measures that a size limits and no tape or scale read.
    cautious : str
        Why no chance above 95 % is given while those are predicted; "" where any is.
    """

    chart: SizeChart
    client: Client
    sizes: pd.DataFrame
    margins: pd.DataFrame
    measures: pd.DataFrame
    outcomes: pd.DataFrame
    next_measure: pd.DataFrame
    loads: pd.DataFrame
    allowances: pd.DataFrame
    growth: pd.DataFrame
    nearest: dict[str, Any]
    notes: tuple[str, ...]
    doubts: tuple[str, ...]
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    bodies: Bodies
    limiting: tuple[str, ...] = ()
    cautious: str = ""

    @cached_property
    def findings(self) -> pd.DataFrame:
        """What is doubtful in the chart: see ``sizing.charts.review_chart``."""
        return review_chart(self.chart)

    @property
    def table(self) -> pd.DataFrame:
        """The sizes, likeliest first."""
        return self.sizes

    @property
    def status(self) -> str:
        """``fits``, ``not_settled`` or the outcome that keeps her from a size.

        ``fits`` where some size fits with a chance of one half or more; else
        ``not_measured`` where a size in play cannot be judged; else the likeliest
        outcome without a size, if no size fits with a chance of one half or more;
        else ``not_settled``.
        """
        if self.sizes["estimate"].iloc[0] >= 0.5 and not self.broken:
            return "fits"
        if self.unjudged:
            return "not_measured"
        table = self.outcomes.set_index("outcome")["estimate"]
        none = table.drop(["one", "choice"])
        return str(none.idxmax()) if none.sum() >= 0.5 else "not_settled"

    @property
    def first(self) -> pd.Series:
        """The likeliest size of which no reading breaks an edge, if there is one."""
        return self.sizes.iloc[0]

    @property
    def broken(self) -> bool:
        """Whether readings break an edge of every size by more than their error."""
        return bool((self.sizes["broken_by"] != "").all())

    @property
    def outranked(self) -> pd.Series | None:
        """A size likelier than the first of which a reading breaks an edge, if any."""
        rows = self.sizes[self.sizes["broken_by"] != ""]
        rows = rows[rows["estimate"] > self.first["estimate"]]
        return None if self.broken or rows.empty else rows.iloc[0]

    @property
    def in_play(self) -> list[str]:
        """Sizes with a chance of at least 5 %, or of which at most that is known."""
        at_most = self.sizes["estimate"].fillna(self.sizes["high"])
        return list(self.sizes.loc[at_most >= IN_PLAY, "size"])

    @property
    def unjudged(self) -> list[str]:
        """What sizes in play limit and nobody knows: to be taken first."""
        rows = self.sizes[self.sizes["size"].isin(self.in_play)]
        names = {name for each in rows["not_judged"] for name in each.split(";")}
        return [name for name in MEASURES if name in names]

    @property
    def runner_up(self) -> pd.Series | None:
        """The second likeliest size, where it is close enough to be named."""
        if len(self.sizes) < 2 or self.sizes["broken_by"].iloc[1]:
            return None
        second = self.sizes.iloc[1]
        near = self.first["estimate"] < SURE and second["estimate"] >= IN_PLAY
        return second if near or second["estimate"] >= RUNNER_UP else None

    @property
    def nothing_bears(self) -> bool:
        """Whether the body mass as stated is over the load limit with every size."""
        return bool(self.sizes["over_load"].all())
