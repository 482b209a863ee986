"""One client judged against one chart: the tables, and what follows from them."""

import json
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from sizing.charts import SizeChart, review_chart
from sizing.client.change import measure_again_in
from sizing.client.client import Client
from sizing.client.outcomes import in_use, is_far
from sizing.client.posterior import Bodies
from sizing.client.readings import MASS, STATURE, TAKEN
from sizing.errors import Problem
from sizing.measures import MEASURES, Say, plain, written
from sizing.people.people import MODEL_SOURCES, limits_said, model_limits
from sizing.resources import cautions, closing
from sizing.words import client as words
from sizing.words.client_notes import notes, summary_lines

#: Every frame of an answer, in the order in which it is written out.
FRAMES = (
    *("sizes", "margins", "measures", "outcomes", "next_measure", "loads"),
    *("allowances", "growth", "borderline"),
)
#: A size is in play from this chance on; a runner-up from this chance on, or
#: wherever the first is below SURE, is always named (our choice, no source).
IN_PLAY, RUNNER_UP, SURE = 0.05, 0.10, 0.90


@dataclass(frozen=True)
class ClientAnswer:
    """What is known of one client against one chart; its frames as in ``check_client``.

    ``nearest``, where probably none fits: ``size``, ``measure``, ``direction``,
    ``miss``. ``limiting``: what a size limits and nobody took; ``cautious``: why no
    chance above 95 %.
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
    borderline: pd.DataFrame
    nearest: dict[str, Any]
    doubts: tuple[Problem, ...]
    limits: tuple[str, ...]
    sources: tuple[str, ...]
    bodies: Bodies
    limiting: tuple[str, ...] = ()
    cautious: str = ""

    @cached_property
    def findings(self) -> pd.DataFrame:
        return review_chart(self.chart)

    @property
    def table(self) -> pd.DataFrame:
        return self.sizes

    @property
    def status(self) -> str:
        """``fits`` (a chance of one half or more), or what keeps her from a size."""
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
    def both(self) -> list[str]:
        """Sizes that probably fit: no rivals, each may be tried."""
        kept = self.sizes["broken_by"] == ""
        return list(self.sizes.loc[kept & (self.sizes["estimate"] >= 0.5), "size"])

    @property
    def outranked(self) -> pd.Series | None:
        """A size likelier than the first of which a reading breaks an edge, if any."""
        rows = self.sizes[self.sizes["broken_by"] != ""]
        rows = rows[rows["estimate"] > self.first["estimate"]]
        return None if self.broken or rows.empty else rows.iloc[0]

    @property
    def in_play(self) -> list[str]:
        at_most = self.sizes["estimate"].fillna(self.sizes["high"])
        return list(self.sizes.loc[at_most >= IN_PLAY, "size"])

    @property
    def unjudged(self) -> list[str]:
        """What sizes in play limit and nobody knows: to be taken first."""
        rows = self.sizes[self.sizes["size"].isin(self.in_play)]
        names = {name for each in rows["not_judged"] for name in each.split(";")}
        return [name for name in MEASURES if name in names]

    @property
    def to_measure(self) -> list[str]:
        """What the chart limits and nobody measured, what settles most first."""
        ranked = list(self.next_measure["measure"])
        known = {STATURE} if self.client.stature is not None else set()
        names = [name for name in self.limiting if name not in known]
        return sorted(names, key=lambda n: ([*ranked, n]).index(n))

    @property
    def weight(self) -> dict[str, Any]:
        """The weight: value (kg), error (SD, kg), how ("" if predicted), taken."""
        one = self.client.known.get(MASS)
        if one is None:
            row = self.measures.iloc[0]
            error = (row["high"] - row["estimate"]) / 1.645
            return {"value": row["estimate"], "error": error, "how": "", "taken": False}
        taken = one.how in TAKEN
        return {"value": one.value, "error": one.sd, "how": one.how, "taken": taken}

    @cached_property
    def _parts(self) -> pd.DataFrame:
        return in_use(self.loads, self.margins, self.sizes, self.in_play, IN_PLAY)

    @property
    def near_load(self) -> pd.DataFrame:
        parts, mass = self._parts, self.weight
        limit = parts["load_limit_kg"].to_numpy(dtype=float)
        return parts[~is_far(limit, mass["value"], mass["error"])]

    @property
    def not_entered(self) -> list[str]:
        return list(self._parts.loc[self._parts["load_limit_kg"].isna(), "part"])

    @property
    def again_in_months(self) -> float:
        age = self.client.age_years
        return 12 * measure_again_in(self.growth, 20.0 if age is None else age)

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

    @property
    def notes(self) -> tuple[str, ...]:
        return tuple(notes(self))

    def lines(self, *, say: Say = written) -> list[str]:
        """Return the answer: what leads it, what fits, how sure, what to do now."""
        opening = words.opening_lines(self, say=say)
        return [*opening, *words.answer_lines(self, say=say)]

    def answer(self) -> str:
        return " ".join(self.lines())

    def summary(self) -> str:
        lines = [*words.opening_lines(self), *summary_lines(self)]
        lines += [*words.not_entered_lines(self), *words.chart_lines(self)]
        return "\n".join([*lines, closing()])

    def to_dict(self) -> dict[str, Any]:
        frames = {
            name: json.loads(getattr(self, name).to_json(orient="records"))
            for name in FRAMES
        }
        return {
            "chart": self.chart.name,
            "sex": self.client.sex,
            "age_years": self.client.age_years,
            "conditions": list(self.client.conditions),
            "status": self.status,
            "answer": self.answer(),
            "what, how sure, now": list(words.answer_lines(self)),
            "fits": self.both,
            "in_play": self.in_play,
            "limiting": list(self.limiting),
            "cautious": self.cautious,
            "nearest": dict(self.nearest),
            "opening": words.opening_lines(self),
            "chart_findings": list(self.findings["words"]),
            "load_limits_not_entered": self.not_entered,
            **frames,
            "notes": list(self.notes),
            "doubts": [str(doubt) for doubt in self.doubts],
            "limits": list(self.limits),
            "cautions": list(cautions()),
            "sources": list(self.sources),
        }


def evidence_limits(client: Client) -> tuple[str, ...]:
    age = client.age_years
    span = (2.0, 80.0) if age is None else (age, age)
    return (*model_limits(*span), *limits_said("at_home", "no_posture"))


def sources(client: Client) -> tuple[str, ...]:
    found = [*MODEL_SOURCES]
    for one in client.readings:
        name = plain(one.measure)
        found.append(f"{name[:1].upper()}{name[1:]}: {one.source}")
    return tuple(dict.fromkeys(found))
