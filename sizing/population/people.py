"""People: one row per person and draw, their weights, evidence and limits."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from sizing.measures import MEASURES


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
    """

    name: str
    frame: pd.DataFrame
    weight: pd.Series
    evidence: pd.DataFrame
    sources: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)

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
        """Kish's 1 + CV^2 of the persons' weights (Kish 1965, from memory)."""
        first = (self.frame["draw"] == self.frame["draw"].iloc[0]).to_numpy()
        w = self.weight.to_numpy(dtype=float)[first]
        return float(len(w) * np.square(w).sum() / w.sum() ** 2)
