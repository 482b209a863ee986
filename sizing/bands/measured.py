"""The people as the banding reads them, and the boxes they fit."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sizing.bands.axis import Axis, Ints
from sizing.bands.cells import Floats
from sizing.charts import SizeChart
from sizing.errors import SizingError
from sizing.measures import NO_HIGH, plain, to_tenths
from sizing.people.people import People


@dataclass(frozen=True)
class Measured:
    """People's measures in tenths (mm, 0.1 kg), with their weights.

    Rows of ``values`` are those of ``people.frame`` (``row``) that have every measure.
    ``mass`` is ``NO_HIGH`` where not known: no size with a load limit may then be
    counted on; all are 0 if no size has a limit. ``coverable`` is False for those
    heavier than every load limit. ``person`` counts 0, 1, ... and is the same for every
    draw of a person. ``total`` is the weight of all rows, those not measured included,
    whose share is ``not_measured``.
    """

    measures: tuple[str, ...]
    values: Ints
    weight: Floats
    mass: Ints
    coverable: np.ndarray
    person: Ints
    row: Ints
    total: float
    not_measured: float

    @property
    def persons(self) -> int:
        return int(self.person.max()) + 1

    @property
    def counted(self) -> Floats:
        """Weights with those over the load limit set to zero."""
        return np.where(self.coverable, self.weight, 0.0)


def read_measured(
    people: People, measures: Sequence[str], *, limits: Sequence[int] = (NO_HIGH,)
) -> Measured:
    """Read the measures to band by from the people.

    A row that lacks one of the measures fits no size. It counts among all
    people, as in ``sizing.coverage``, and its share is told. ``limits`` are the
    sizes' load limits in 0.1 kg, ``NO_HIGH`` for none.
    """
    frame = people.frame
    limited = min(limits) < NO_HIGH
    weight = _checked_weight(people, measures, limited)
    values = np.column_stack([to_tenths(frame[m].to_numpy(float)) for m in measures])
    known = (values >= 0).all(axis=1) & (weight > 0)
    if not known.any():
        raise SizingError(
            f"nobody in '{people.name}' has all of {', '.join(map(plain, measures))}",
            allowed="at least one person with every measure",
            action="draw the missing measures, or band by fewer",
        )
    mass = np.zeros(len(frame), dtype=np.int64)
    if limited:
        mass = to_tenths(frame["body_mass_kg"].to_numpy(float))
        mass = np.where(mass < 0, NO_HIGH, mass)
    _, person = np.unique(pd.factorize(frame["person"])[0][known], return_inverse=True)
    total = float(weight.sum())
    return Measured(
        tuple(measures),
        values[known],
        weight[known],
        mass[known],
        mass[known] <= max(limits),
        person.astype(np.int64),
        np.flatnonzero(known),
        total,
        1.0 - float(weight[known].sum()) / total,
    )


def _checked_weight(people: People, measures: Sequence[str], limited: bool) -> Floats:
    frame = people.frame
    if len(frame) == 0:
        raise SizingError(
            f"there is nobody in '{people.name}'", allowed="at least one person"
        )
    needed = [*measures, "body_mass_kg"] if limited else measures
    if absent := [m for m in needed if m not in frame]:
        what = "the people lack a measure to band by"
        action = "choose among these, or add the measure to the people"
        if absent[0] not in measures:
            what = "no load limit can be kept without the people's weight"
            action = "add weight to the people, or state no load limit"
        allowed = ", ".join(people.measures)
        raise SizingError(what, allowed=allowed, action=action, column=absent[0])
    weight = people.weight.to_numpy(dtype=float)
    if not np.isfinite(weight).all() or (weight < 0).any() or weight.sum() <= 0:
        raise SizingError(
            "the weights of the people make no sense",
            allowed="no weight missing or below zero, and not all zero",
            column="weight",
        )
    return weight


def covered(measured: Measured, low: Ints, high: Ints, limits: Ints) -> np.ndarray:
    """Return who fits at least one box that may lift her."""
    found = np.zeros(len(measured.values), dtype=bool)
    for bottom, top, limit in zip(low, high, limits, strict=True):
        fits = measured.mass <= limit
        for d in range(measured.values.shape[1]):
            column = measured.values[:, d]
            fits &= (column >= bottom[d]) & (column <= top[d])
        found |= fits
    return found


def share_covered(measured: Measured, low: Ints, high: Ints, limits: Ints) -> float:
    """Return the share of all people's weight that fits at least one box."""
    fits = covered(measured, low, high, limits)
    return float(measured.weight[fits].sum()) / measured.total


def chart_of(
    measured: Measured,
    low: Ints,
    high: Ints,
    limits: Ints,
    *,
    group: str,
    name: str,
    source: str,
) -> SizeChart:
    """Sizes numbered from the smallest; named "size 1", ... without a group."""
    columns: dict[str, object] = {
        "size": [f"{group or 'size'} {k + 1}" for k in range(len(low))],
        "group": group,
        "load_limit_kg": np.where(limits < NO_HIGH, limits / 10, np.nan),
    }
    for d, measure in enumerate(measured.measures):
        columns[f"{measure}_low"] = low[:, d] / 10
        columns[f"{measure}_high"] = high[:, d] / 10
    return SizeChart(pd.DataFrame(columns), name=name, source=source)


def quantile_boxes(
    values: Ints, weight: Floats, axes: Sequence[Axis], sizes: int
) -> tuple[Ints, Ints]:
    """Centre each size's band on its own quantile of each measure.

    Size k of K is centred, in each measure, on the weighted quantile at
    (k - 1/2) / K, with the width the fitted chart has. This is what a careful
    person does without a fit (common practice, no source).
    """
    at = (np.arange(sizes) + 0.5) / sizes
    low = np.zeros((sizes, len(axes)), dtype=np.int64)
    high = np.zeros_like(low)
    for d, axis in enumerate(axes):
        # Whole tenths: counting them is faster than sorting people.
        reached = np.cumsum(np.bincount(values[:, d], weights=weight))
        centre = np.searchsorted(reached, at * reached[-1] * (1 - 1e-12))
        for k in range(sizes):
            # The candidate whose middle is nearest gives the width to use.
            middle = (axis.low[k] + axis.high[k]) / 2
            near = int(np.argmin(np.abs(middle - centre[k])))
            width = int(axis.high[k][near] - axis.low[k][near])
            low[k, d] = max(int(centre[k]) - width // 2, 0)
            high[k, d] = low[k, d] + width
    return low, high
