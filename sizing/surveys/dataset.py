"""A survey as the readers hand it over, and the notes they keep on the way."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.measures import MEASURES

REPORT_COLUMNS = ["rule", "column", "count", "action"]


@dataclass(frozen=True)
class Survey:
    """People who were measured, with their weights and what was left out.

    - ``name``: What the survey is called.
    - ``frame``: One row per person. Columns: ``person``, ``sex`` (female/male),
      ``age_years``, the measures of ``sizing.measures.MEASURES`` the survey holds,
      further columns by survey, and ``stratum`` and ``unit`` where it has a design. The
      index is 0, 1, ....
    - ``weight``: Persons of the population each row stands for; 1 where the survey has
      no weights.
    - ``report``: One row per rule that met at least one value: ``rule``, ``column``,
      ``count``, ``action`` (dropped, blanked, kept or converted).
    - ``sources, limits``: Where the figures come from, and where the evidence stops.
    """

    name: str
    frame: pd.DataFrame
    weight: pd.Series
    report: pd.DataFrame
    sources: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()

    @property
    def n(self) -> int:
        """Number of persons."""
        return len(self.frame)

    @property
    def measures(self) -> tuple[str, ...]:
        """The measures present, in the kit's order."""
        return tuple(name for name in MEASURES if name in self.frame.columns)

    @property
    def table(self) -> pd.DataFrame:
        """What was left out or changed, by rule: the frame ``report``."""
        return self.report

    def summary(self) -> str:
        """Return who is in the survey and what was left out, in plain words."""
        lines = [f"{self.name}: {self.n} people."]
        columns = (self.report[name] for name in REPORT_COLUMNS)
        lines += [
            f"{count} x {column}: {rule} ({action})."
            for rule, column, count, action in zip(*columns, strict=True)
        ]
        return "\n".join([*lines, *self.limits])


@dataclass
class Notes:
    """What a reader drops, blanks, keeps or converts: rule, column, count, action."""

    rows: list[tuple[str, str, int, str]] = field(default_factory=list)

    def add(self, rule: str, column: str, count: int, action: str) -> None:
        """Note a rule, unless it met nothing."""
        if count:
            self.rows.append((rule, column, int(count), action))

    def blank(
        self, frame: pd.DataFrame, column: str, where: npt.ArrayLike, rule: str
    ) -> None:
        """Set the values of a column to missing where a rule says so; note it."""
        found = np.asarray(where, dtype=bool) & frame[column].notna().to_numpy()
        self.add(rule, column, int(found.sum()), "blanked")
        frame[column] = frame[column].mask(found)

    def drop(
        self, frame: pd.DataFrame, where: npt.ArrayLike, rule: str
    ) -> pd.DataFrame:
        found = np.asarray(where, dtype=bool)
        self.add(rule, "(whole row)", int(found.sum()), "dropped")
        return frame.loc[~found].reset_index(drop=True)

    @property
    def table(self) -> pd.DataFrame:
        return pd.DataFrame(self.rows, columns=REPORT_COLUMNS)


def in_order(frame: pd.DataFrame, extra: Iterable[str] = ()) -> pd.DataFrame:
    """The kit's order: person, sex, age, the measures, then the ``extra`` present."""
    # A name given twice keeps its first place.
    wanted = dict.fromkeys(("person", "sex", "age_years", *MEASURES, *extra))
    return frame[[name for name in wanted if name in frame.columns]].reset_index(
        drop=True
    )
