"""The answer for one client: tables, and what they say in plain words."""

import json
from dataclasses import dataclass
from typing import Any

from sizing.cautions import cautions
from sizing.client.judged import JudgedClient
from sizing.client.loads import not_entered, not_entered_lines
from sizing.client.opening import chart_lines, opening_lines
from sizing.client.words import answer_words, summary_lines


@dataclass(frozen=True)
class ClientAnswer(JudgedClient):
    """A judged client that can say what is known of her; see ``JudgedClient``."""

    def answer(self) -> str:
        """Return the answer in a few sentences, with its uncertainty."""
        return " ".join([*opening_lines(self), answer_words(self)])

    def summary(self) -> str:
        """Return the whole answer in plain words, with the cautions."""
        lines = [*opening_lines(self), *summary_lines(self)]
        lines += [*not_entered_lines(self), *chart_lines(self)]
        return "\n".join([*lines, " ".join(cautions())])

    def to_dict(self) -> dict[str, Any]:
        """Return every figure as plain data, for JSON."""
        frames = {
            name: json.loads(getattr(self, name).to_json(orient="records"))
            for name in (
                "sizes",
                "margins",
                "measures",
                "outcomes",
                "next_measure",
                "loads",
                "allowances",
                "growth",
            )
        }
        return {
            "chart": self.chart.name,
            "sex": self.client.sex,
            "age_years": self.client.age_years,
            "conditions": list(self.client.conditions),
            "status": self.status,
            "answer": self.answer(),
            "in_play": self.in_play,
            "limiting": list(self.limiting),
            "cautious": self.cautious,
            "nearest": dict(self.nearest),
            "opening": opening_lines(self),
            "chart_findings": list(self.findings["words"]),
            "load_limits_not_entered": not_entered(self),
            **frames,
            "notes": list(self.notes),
            "doubts": list(self.doubts),
            "limits": list(self.limits),
            "cautions": list(cautions()),
            "sources": list(self.sources),
        }
