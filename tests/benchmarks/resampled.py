"""People drawn from a population by weight, as many as wanted, chunk by chunk."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import Problem, SizingError
from sizing.people.people import People
from sizing.stats.layout import Floats


@dataclass(frozen=True)
class Resampled(Sequence[pd.DataFrame]):
    """People drawn from a population by weight, chunk by chunk; see ``resampled``."""

    people: People
    size: int
    seed: int
    rows: int
    columns: tuple[str, ...]
    _reach: Floats = field(repr=False)

    def __len__(self) -> int:
        """Return the number of chunks."""
        return -(-self.size // self.rows)

    def __getitem__(self, chunk: Any) -> Any:
        """Make one chunk; the same each time it is asked for."""
        if isinstance(chunk, slice):
            return [self[i] for i in range(*chunk.indices(len(self)))]
        place = range(len(self))[chunk]
        rows = min(self.rows, self.size - place * self.rows)
        rng = np.random.default_rng((self.seed, place))
        picked = np.searchsorted(self._reach, rng.random(rows), side="right")
        picked = np.minimum(picked, len(self._reach) - 1)
        return self.people.frame[list(self.columns)].take(picked).reset_index(drop=True)

    def __iter__(self) -> Iterator[pd.DataFrame]:
        """Make one chunk after the other."""
        return (self[place] for place in range(len(self)))


def resampled(
    people: People,
    size: int,
    *,
    seed: int = 1,
    rows: int = 500_000,
    columns: Sequence[str] | None = None,
) -> Resampled:
    """Draw people from a population by weight, to be counted chunk by chunk.

    Parameters
    ----------
    people : People
        Any draw of a person may be drawn.
    size : int
        How many people in all.
    seed : int
        Same population, size, seed and rows: the same people.
    rows : int
        People in a chunk.
    columns : sequence of str, optional
        Columns wanted; the measures, sex and age without it.

    Returns
    -------
    sequence of DataFrame
        A chunk is made when it is asked for, depends on the seed and its place
        alone, and can thus be made again anywhere.

    Examples
    --------
    >>> from sizing.people.people import People
    >>> two = People("two", pd.DataFrame({"person": [0, 1], "draw": 0,
    ...     "stature_cm": [160.0, 180.0]}), pd.Series([3.0, 1.0]), pd.DataFrame())
    >>> chunks = resampled(two, 2500, rows=1000)
    >>> [len(chunk) for chunk in chunks]
    [1000, 1000, 500]
    >>> chunks[1].equals(chunks[1])
    True
    """
    if size < 1 or rows < 1:
        raise SizingError(
            str(Problem("there is nobody to draw", "a size and rows of 1 or more"))
        )
    known = people.frame.columns
    wanted = columns or (
        *people.measures,
        *(c for c in ("sex", "age_years") if c in known),
    )
    lacking = [column for column in wanted if column not in known]
    if lacking:
        raise SizingError(
            str(
                Problem(
                    f"{people.name} has no column {lacking[0]}",
                    ", ".join(map(str, known)),
                    "name one of these",
                )
            )
        )
    reach = np.cumsum(people.weight.to_numpy(dtype=float))
    return Resampled(people, size, seed, rows, tuple(wanted), reach / reach[-1])
