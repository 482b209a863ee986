"""How sampled persons lie in a table: by draw, with their weights and design."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


_BY_PERSON = "linearisation by person"


class ModelError(Protocol):
    """How estimates move with the coefficients of the model that drew the people."""

    #: Whether its typical bias in other populations is counted too.
    with_bias: bool

    def gradient(self, draw: int, influence: Floats) -> Floats:
        """Derivatives of one draw's estimates from persons' influences on them."""

    def variance(self, gradient: Floats) -> Floats:
        """Variance of each estimate, from its derivatives over all draws."""


@dataclass(frozen=True)
class Layout:
    """People arranged as draws x persons.

    - ``rows`` (draws, persons): Position of each person in the table, in each draw.
    - ``weight`` (persons,).
    - ``unit, stratum``: Sampling unit (numbered through) and each unit's stratum, where
      the survey has a design.
    - ``model``: Given where what is judged was drawn from a model fitted to other
      people.
    """

    rows: npt.NDArray[np.int64]
    weight: Floats
    unit: npt.NDArray[np.int64] | None = None
    stratum: npt.NDArray[np.int64] | None = None
    model: ModelError | None = None

    @property
    def draws(self) -> int:
        return len(self.rows)

    @property
    def how(self) -> str:
        if self.unit is not None:
            return "linearisation by stratum and unit"
        return "bootstrap of persons" if self.model is None else _BY_PERSON

    @property
    def joined(self) -> str:
        """How the draws are joined, to be put after ``how``; empty for one draw."""
        number = "one draw" if self.draws == 1 else f"{self.draws} draws"
        if self.model is not None:
            bias = ", its bias counted" if self.model.with_bias else ""
            return f"; {number} of a model fitted to other people{bias}"
        return "" if self.draws == 1 else f"; {number} joined by Rubin's rules"
