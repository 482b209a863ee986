"""The answer for one client: tables, and what they say in plain words."""

import json
from dataclasses import dataclass
from typing import Any

from sizing.client.judged import JudgedClient
from sizing.measures import Say, written
from sizing.resources import cautions, closing
from sizing.words.client import (
    answer_lines,
    chart_lines,
    not_entered_lines,
    opening_lines,
)
from sizing.words.client_notes import notes, summary_lines

#: Every frame of an answer, in the order in which it is written out.
FRAMES = (
    "sizes",
    "margins",
    "measures",
    "outcomes",
    "next_measure",
    "loads",
    "allowances",
    "growth",
    "borderline",
)


@dataclass(frozen=True)
class ClientAnswer(JudgedClient):
    """A judged client that can say what is known of them; see ``JudgedClient``."""

    @property
    def notes(self) -> tuple[str, ...]:
        return tuple(notes(self))

    def lines(self, *, say: Say = written) -> list[str]:
        """Return the answer: what leads it, what fits, how sure, what to do now."""
        return [*opening_lines(self, say=say), *answer_lines(self, say=say)]

    def answer(self) -> str:
        return " ".join(self.lines())

    def summary(self) -> str:
        """Return the whole answer in plain words, with the cautions."""
        lines = [*opening_lines(self), *summary_lines(self)]
        lines += [*not_entered_lines(self), *chart_lines(self)]
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
            "what, how sure, now": list(answer_lines(self)),
            "fits": self.both,
            "in_play": self.in_play,
            "limiting": list(self.limiting),
            "cautious": self.cautious,
            "nearest": dict(self.nearest),
            "opening": opening_lines(self),
            "chart_findings": list(self.findings["words"]),
            "load_limits_not_entered": self.not_entered,
            **frames,
            "notes": list(self.notes),
            "doubts": [str(doubt) for doubt in self.doubts],
            "limits": list(self.limits),
            "cautions": list(cautions()),
            "sources": list(self.sources),
        }
