"""The people as the banding reads them: whole tenths, weights, persons."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sizing.banding.axis import Ints
from sizing.banding.counts import Floats
from sizing.chart.size_chart import SizeChart
from sizing.errors import Problem, SizingError
from sizing.measures import to_tenths
from sizing.population.people import People


@dataclass(frozen=True)
class Bodies:
    """People's measures in tenths, with their weights.

    Attributes
    ----------
    measures : tuple of str
        The measures to band by.
    values : ndarray of int64, shape (rows, measures)
        In mm or 0.1 kg; only rows that have every measure.
    weight : ndarray of float
        Weight of each of these rows.
    coverable : ndarray of bool
        False for those heavier than the load limit: no size may lift them.
    person : ndarray of int64
        0, 1, ...; the same for every draw of a person.
    row : ndarray of int64
        Which row of ``people.frame`` each is.
    total : float
        Weight of all rows of the people, those not measured included.
    not_measured : float
        Share of the weight that lacks one of the measures.
    """

    measures: tuple[str, ...]
    values: Ints
    weight: Floats
    coverable: np.ndarray
    person: Ints
    row: Ints
    total: float
    not_measured: float

    @property
    def persons(self) -> int:
        """Number of persons with every measure."""
        return int(self.person.max()) + 1

    @property
    def counted(self) -> Floats:
        """Weights with those over the load limit set to nought."""
        return np.where(self.coverable, self.weight, 0.0)


def read_bodies(
    people: People, measures: Sequence[str], *, load_limit_kg: float | None = None
) -> Bodies:
    """Read the measures to band by from the people.

    A row that lacks one of the measures fits no size. It counts among all
    people, as in ``sizing.coverage``, and its share is told.

    Raises
    ------
    SizingError
        If a measure is absent, nobody has every measure, or no weight is
        above nought.
    """
    frame = people.frame
    if len(frame) == 0:
        raise SizingError(
            str(Problem(f"there is nobody in '{people.name}'", "at least one person"))
        )
    absent = [m for m in measures if m not in frame]
    if absent:
        raise SizingError(
            str(
                Problem(
                    "the people lack a measure to band by",
                    ", ".join(people.measures),
                    "choose among these, or add the measure to the people",
                    column=absent[0],
                )
            )
        )
    weight = people.weight.to_numpy(dtype=float)
    if not np.isfinite(weight).all() or (weight < 0).any() or weight.sum() <= 0:
        raise SizingError(
            str(
                Problem(
                    "the weights of the people make no sense",
                    "no weight missing or below nought, and not all nought",
                    column="weight",
                )
            )
        )
    values = np.column_stack([to_tenths(frame[m].to_numpy(float)) for m in measures])
    known = (values >= 0).all(axis=1) & (weight > 0)
    if not known.any():
        raise SizingError(
            str(
                Problem(
                    f"nobody in '{people.name}' has all of {', '.join(measures)}",
                    "at least one person with every measure",
                    "draw the missing measures, or band by fewer",
                )
            )
        )
    coverable = np.ones(len(frame), dtype=bool)
    if load_limit_kg is not None:
        mass = to_tenths(frame["body_mass_kg"].to_numpy(float))
        coverable = (mass >= 0) & (mass <= to_tenths([load_limit_kg])[0])
    _, person = np.unique(pd.factorize(frame["person"])[0][known], return_inverse=True)
    total = float(weight.sum())
    return Bodies(
        tuple(measures),
        values[known],
        weight[known],
        coverable[known],
        person.astype(np.int64),
        np.flatnonzero(known),
        total,
        1.0 - float(weight[known].sum()) / total,
    )


def covered(bodies: Bodies, low: Ints, high: Ints) -> np.ndarray:
    """Return who fits at least one box.

    Parameters
    ----------
    bodies : Bodies
        The people.
    low, high : ndarray of int64, shape (sizes, measures)
        Edges in tenths, both included.

    Returns
    -------
    ndarray of bool, one per row
    """
    found = np.zeros(len(bodies.values), dtype=bool)
    for bottom, top in zip(low, high, strict=True):
        fits = np.ones(len(found), dtype=bool)
        for d in range(bodies.values.shape[1]):
            column = bodies.values[:, d]
            fits &= (column >= bottom[d]) & (column <= top[d])
        found |= fits
    return found & bodies.coverable


def share_covered(bodies: Bodies, low: Ints, high: Ints) -> float:
    """Return the share of all people's weight that fits at least one box."""
    return float(bodies.weight[covered(bodies, low, high)].sum()) / bodies.total


def chart_of(
    bodies: Bodies,
    low: Ints,
    high: Ints,
    *,
    group: str,
    name: str,
    source: str,
    load_limit_kg: float | None = None,
) -> SizeChart:
    """Write boxes as a size chart, sizes numbered from the smallest."""
    columns: dict[str, object] = {
        "size": [f"{group} {k + 1}" for k in range(len(low))],
        "group": group,
        "load_limit_kg": np.nan if load_limit_kg is None else float(load_limit_kg),
    }
    for d, measure in enumerate(bodies.measures):
        columns[f"{measure}_low"] = low[:, d] / 10
        columns[f"{measure}_high"] = high[:, d] / 10
    return SizeChart(pd.DataFrame(columns), name=name, source=source)
