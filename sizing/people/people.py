"""People: one row per person and draw, their weights, evidence and limits."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from sizing.measures import EVIDENCE, MEASURES
from sizing.people.body.error import Drawn
from sizing.stats.weighted import kish_design_effect


@dataclass(frozen=True)
class People:
    """The people a chart is judged on.

    Attributes
    ----------
    name : str
        What the population is called.
    frame : DataFrame
        One row per person and draw. Columns: ``person`` (whole number, the
        same in each draw), ``draw`` (0, 1, ...), ``sex``, ``age_years``, the
        measures of ``sizing.measures.MEASURES`` that are present, and any
        further columns. Where the survey has a design, ``stratum`` and
        ``unit``. The index is 0, 1, ....
    weight : Series
        One weight per row of ``frame``. A person's weight is repeated in each
        of her draws, so the weights of one draw add up to the population.
    evidence : DataFrame
        Same index, one column per measure: measured, predicted, extrapolated,
        unsupported or missing.
    sources, limits : tuple of str
        Where the figures come from, and where the evidence stops.
    settings : mapping
        How the people were made (seed, margins, threshold).
    drawn : Drawn, optional
        Given where the draws come from the kit's body model, which was fitted to
        other people, each person's draws independent of the others' given the
        coefficients. Intervals then count the drawing once, and the coefficients'
        error by the delta method; other draws are joined by Rubin's rules, which
        are right for a model fitted to these people and safe for others.
    """

    name: str
    frame: pd.DataFrame
    weight: pd.Series
    evidence: pd.DataFrame
    sources: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)
    drawn: Drawn | None = None

    @property
    def measures(self) -> tuple[str, ...]:
        """The measures present, in the kit's order."""
        return tuple(name for name in MEASURES if name in self.frame.columns)

    @property
    def draws(self) -> int:
        """Number of draws per person."""
        return int(self.frame["draw"].nunique())

    @property
    def n(self) -> int:
        """Number of persons (not of rows)."""
        return int(self.frame["person"].nunique())

    @property
    def design_effect(self) -> float:
        """Kish's design effect of the persons' weights."""
        first = (self.frame["draw"] == self.frame["draw"].iloc[0]).to_numpy()
        return kish_design_effect(self.weight.to_numpy(dtype=float)[first])

    @property
    def effective_n(self) -> float:
        """Persons of equal weight that would tell as much: n / design effect."""
        return self.n / self.design_effect

    @property
    def table(self) -> pd.DataFrame:
        """How well each measure is founded: weighted shares of the evidence.

        Columns ``measure``, ``evidence``, ``share``, ``rows``.
        """
        w = self.weight.to_numpy(dtype=float)
        parts = []
        for name in self.measures:
            for kind in EVIDENCE:
                here = (self.evidence[name] == kind).to_numpy(dtype=bool)
                if here.any():
                    parts.append((name, kind, w[here].sum() / w.sum(), int(here.sum())))
        return pd.DataFrame(parts, columns=["measure", "evidence", "share", "rows"])

    def summary(self) -> str:
        """Return in plain words who these people are and where evidence stops."""
        drawn = f", each drawn {self.draws} times" if self.draws > 1 else ""
        head = (
            f"{self.name}: {self.n} people{drawn}, saying as much as "
            f"{self.effective_n:.0f} equally weighted ones "
            f"(design effect {self.design_effect:.2f})."
        )
        return "\n".join([head, *self.limits])
