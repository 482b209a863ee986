"""How sampled persons lie in a table: by draw, with their weights and design."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Layout:
    """People arranged as draws x persons.

    Attributes
    ----------
    rows : ndarray of int, shape (draws, persons)
        Position of each person in the table, in each draw.
    weight : ndarray of float, shape (persons,)
    unit, stratum : ndarray of int, shape (persons,), or None
        Sampling unit (numbered through) and each unit's stratum, where the
        survey has a design.
    outside : bool
        Whether there are several draws, all of a model fitted to other people
        (``People.outside_model`` of ``sizing.people``).
    """

    rows: npt.NDArray[np.int64]
    weight: Floats
    unit: npt.NDArray[np.int64] | None = None
    stratum: npt.NDArray[np.int64] | None = None
    outside: bool = False

    @property
    def draws(self) -> int:
        """Number of draws per person."""
        return len(self.rows)

    @property
    def how(self) -> str:
        """How the sampling error is found."""
        if self.unit is not None:
            return "linearisation by stratum and unit"
        return "linearisation by person" if self.outside else "bootstrap of persons"

    @property
    def joined(self) -> str:
        """How the draws are joined, to be put after ``how``; empty for one draw."""
        if self.draws == 1:
            return ""
        if self.outside:
            return f"; {self.draws} draws of a model fitted to other people"
        return f"; {self.draws} draws joined by Rubin's rules"
