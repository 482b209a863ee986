"""A size chart as a table: one row per size."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.errors import one_of
from sizing.measures import MEASURES, NO_HIGH, NO_LOW, to_tenths

Ints = npt.NDArray[np.int64]
#: The three groups a chart's sizes may belong to.
GROUPS: tuple[str, ...] = ("paediatric", "adult", "bariatric")


@dataclass(frozen=True)
class SizeChart:
    """A valid size chart, in cm and kg, as ``read_chart`` or ``chart_from`` checked it.

    - ``frame``: One row per size, smallest first within its group: ``size``,
      ``group``, ``load_limit_kg`` (NaN: none stated), for each measure it limits
      ``<measure>_low`` and ``<measure>_high`` (NaN: no limit), and the user's own.
    - ``source``: Where it comes from; says "invented" for a demo.
    """

    frame: pd.DataFrame
    name: str = "chart"
    source: str = ""

    @property
    def invented(self) -> tuple[str, ...]:
        """``("chart",)`` for a demo, wherever it went since; else nothing."""
        parts = self.source.lower().split(";")
        made_up = any(part.strip().startswith("invented") for part in parts)
        return ("chart",) if made_up else ()

    @property
    def sizes(self) -> tuple[str, ...]:
        return tuple(self.frame["size"].astype(str))

    @property
    def measures(self) -> tuple[str, ...]:
        """Measures that at least one size limits, in the kit's order."""
        filled = {str(name) for name in self.frame.columns[self.frame.notna().any()]}
        return tuple(m for m in MEASURES if filled & {f"{m}_low", f"{m}_high"})

    def edges(self, measure: str) -> tuple[Ints, Ints]:
        """Return a measure's edges in tenths; no limit: ``NO_LOW``, ``NO_HIGH``."""
        one_of("measure", measure, MEASURES)
        low = to_tenths(self._column(f"{measure}_low"))
        high = to_tenths(self._column(f"{measure}_high"))
        return np.where(low < 0, NO_LOW, low), np.where(high < 0, NO_HIGH, high)

    def load_limits(self) -> Ints:
        """Return each size's load limit in 0.1 kg; ``NO_HIGH`` if none stated."""
        limit = to_tenths(self._column("load_limit_kg"))
        return np.where(limit < 0, NO_HIGH, limit)

    def _column(self, name: str) -> npt.NDArray[np.float64]:
        cells = self.frame.get(name, pd.Series(np.nan, self.frame.index))
        return np.asarray(cells.to_numpy(dtype=float, na_value=np.nan))
