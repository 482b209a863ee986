"""People: one row per person and draw, their weights, evidence, limits and layout."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import SizingError
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS
from sizing.people.body import BUILD, CoefficientError, Drawn
from sizing.resources import texts
from sizing.stats.estimates import Layout
from sizing.stats.formulas import kish_design_effect

_T = texts("people")
#: Where the evidence stops: each limit in plain words, by its name.
LIMITS: dict[str, str] = _T.limits
MODEL_SOURCES: tuple[str, ...] = tuple(_T.model_sources)


def limits_said(*names: str) -> tuple[str, ...]:
    """Return limits in words; the name of a kind of people stands for all of theirs."""
    of: dict[str, list[str]] = _T.limits_of
    return tuple(LIMITS[one] for name in names for one in of.get(name, [name]))


def model_limits(youngest: float, oldest: float) -> tuple[str, ...]:
    """Return the limits of drawn measures for people of these ages."""
    young = ("children",) if youngest < 18 else ("seam",) if youngest < 20 else ()
    return limits_said(*(("adults",) if oldest >= 16 else ()), *young, "back")


@dataclass(frozen=True)
class People:
    """The people a chart is judged on.

    ``frame`` has one row per person and draw: ``person`` (the same in each draw),
    ``draw`` (0, 1, ...), ``sex``, ``age_years``, the measures present, any further
    columns, and ``stratum`` and ``unit`` of a survey's design; its index is 0, 1, ....
    ``weight`` is one per row, so that those of one draw add up to the population;
    ``evidence`` one column per measure: measured, predicted, extrapolated, unsupported
    or missing; ``settings`` how the people were made.

    ``drawn`` is given where the draws come from the kit's body model, which was fitted
    to other people: intervals then count the drawing once, and the coefficients' error
    by the delta method. Other draws are joined by Rubin's rules, which are right for a
    model fitted to these people and safe for others.
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
        """Persons of equal weight that would say as much: n / design effect."""
        return self.n / self.design_effect

    @property
    def table(self) -> pd.DataFrame:
        """How well each measure is founded: weighted share and rows by evidence."""
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


def layout(
    people: People, judged: tuple[str, ...] | None = None, *, bias: bool = True
) -> Layout:
    """Arrange people by draw and person; ``judged``: what the estimates rest on."""
    frame = people.frame
    if not len(frame):
        _refuse("there are no people", "at least one person")
    order = np.lexsort((frame["person"].to_numpy(), frame["draw"].to_numpy()))
    if len(order) % people.draws:
        _refuse("some draw lacks some person", "each person in every draw")
    rows = order.reshape(people.draws, -1)
    person = frame["person"].to_numpy()[rows]
    if (person != person[0]).any() or len(np.unique(person[0])) < person.shape[1]:
        _refuse("some draw lacks some person", "each person once in every draw")
    weight = people.weight.to_numpy(dtype=float, na_value=np.nan)[rows]
    if not np.isfinite(weight).all() or (weight < 0).any() or weight[0].sum() <= 0:
        _refuse("a weight cannot be used", "weights of 0 or more, not all 0")
    if not np.allclose(weight, weight[0]):
        _refuse("a person's weight differs between draws", "one weight per person")
    model = None
    # Of people whose rows were changed since, the draws are no longer known.
    known = {"sex", *BUILD, *SEATED_AND_GIRTHS} <= set(frame.columns)
    if people.drawn is not None and known and len(people.drawn.draw) == len(frame):
        # Kept with the people, who are never changed in place: a study asks a dozen
        # times, and scoring ten draws takes a third of a second.
        kept = vars(people).setdefault("_coefficient_errors", {})
        key = judged, bias
        if key not in kept:
            about = frame, people.evidence, people.drawn, rows, weight[0]
            kept[key] = CoefficientError(*about, judged, bias=bias)
        model = kept[key]
    unit = of_unit = None
    if {"stratum", "unit"} <= set(frame.columns):
        first = frame.iloc[rows[0]]
        unit = first.groupby(["stratum", "unit"], dropna=False).ngroup().to_numpy()
        stratum = first.groupby("stratum", dropna=False).ngroup().to_numpy()
        if len(np.unique(unit)) <= len(np.unique(stratum)):
            # One unit in each stratum says nothing about sampling error.
            return Layout(rows, weight[0], model=model)
        of_unit = np.zeros(unit.max() + 1, dtype=np.int64)
        of_unit[unit] = stratum
    return Layout(rows, weight[0], unit, of_unit, model)


def _refuse(what: str, allowed: str) -> None:
    raise SizingError(what, allowed=allowed, action="correct the people given")
