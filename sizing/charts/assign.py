"""Assign each person the sizes she fits, or say why none does."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts.fits import (
    OUTCOMES,
    SizeChart,
    judge,
    limits,
    misfits,
    nearest,
    tenths,
    unpack,
)
from sizing.errors import warn
from sizing.measures import EVIDENCE, MISSING_TENTHS, NO_HIGH
from sizing.people.people import People
from sizing.resources import texts
from sizing.words.numbers import share as written

_T = texts("charts")
OUTCOME_WORDS: dict[str, str] = _T.outcomes
DIRECTIONS = ("too_small_for", "too_large_for", "over_load", "not_measured")


@dataclass(frozen=True)
class Assignment:
    """Which sizes fit each person: ``table`` of ``assign``, ``fits`` (rows, sizes)."""

    table: pd.DataFrame
    fits: npt.NDArray[np.bool_]
    weight: pd.Series
    chart: SizeChart
    people: str

    def shares(self) -> pd.Series:
        total = self.weight.groupby(self.table["outcome"], observed=False).sum()
        return total / total.sum()

    def summary(self) -> str:
        """Return the shares of the outcomes as plain words, without intervals."""
        shares = self.shares()
        told = "; ".join(
            f"{OUTCOME_WORDS[str(outcome)]}: {written(share, places=1)}"
            for outcome, share in shares[shares > 0].items()
        )
        return f"{self.chart.name}, {self.people}: {told}."


def assign(people: People, chart: SizeChart) -> Assignment:
    """Say for each person and draw which sizes fit, or why none does.

    A size fits if every measure it limits holds by ``sizing.measures.EDGE_RULE``, and
    the body mass does not exceed its load limit. A size that limits a measure which was
    not taken, or states a load limit where the body mass was not taken, cannot be said
    to fit; it is ruled out only by what is known.

    Parameters
    ----------
    people, chart : People, SizeChart
        Who is judged, one row per person and draw, and by what, of up to 64 sizes.

    Returns
    -------
    Assignment
        Its table has one row per person and draw:

        outcome
            The first of these that is true. ``one``, ``choice``: one size is known to
            fit, or more. ``not_measured``: some could, depending on a measure not
            taken. ``over_load``: the body mass exceeds the load limit of every size, or
            of every size that the measures do not rule out (at least one).
            ``beyond_largest``, ``below_smallest``: some measure is above every size's
            high edge, or below every low edge. ``between``: anything else.
        size, sizes_fitting
            The first size of the chart that fits (empty if none), and how many do.
        nearest_size, failing_measure, direction, miss
            For those without a size. The nearest size has the least total miss: over
            the measures, the distance to the band divided by the chart's median band
            width in that measure (where no size has both edges: by a tenth of the
            median edge); measures not taken count nothing; of equals, the first. For
            ``over_load`` only sizes whose load limit is exceeded are compared. The
            failing measure has the largest such part (of equals, the first), ``miss``
            is its distance in its own unit. The nearest size is ``too_small_for`` the
            person, ``too_large_for`` them, or its load limit is exceeded
            (``over_load``; the measure is then the body mass). For ``not_measured`` the
            failing measure is the first missing that decides, and no size is nearest.
        too_small, too_large
            Whether the nearest size is so in some measure: two harms, which one person
            can meet at once.
        evidence
            The worst evidence among the measures that the chart limits.

    Examples
    --------
    >>> from sizing.charts import chart_from
    >>> hips = "hip_circumference_cm"
    >>> chart = chart_from(pd.DataFrame({"size": ["one", "two"], "load_limit_kg": 120,
    ...     f"{hips}_low": [70, 92], f"{hips}_high": [90, 115]}), warn=False)
    >>> frame = pd.DataFrame({"person": [0, 1, 2], "draw": 0,
    ...     "body_mass_kg": [60.0, 70.0, 130.0], hips: [90.0, 90.5, 110.0]})
    >>> people = People("three", frame, pd.Series([1.0, 1.0, 1.0]),
    ...                 pd.DataFrame(index=frame.index))
    >>> assign(people, chart).table["outcome"].tolist()
    ['one', 'between', 'over_load']
    """
    values = tenths(people.frame, chart)
    if lacking := [measure for measure in values if measure not in people.frame]:
        warn(
            f"{people.name} has no column {', '.join(lacking)}, which the chart "
            f"'{chart.name}' limits: it counts as not measured. Add the column, "
            "let the missing measures be drawn, or take the limit off the chart"
        )
    found = judge(values, chart, len(people.frame))
    count, fits = found.count, unpack(found.fitting, len(chart.sizes))
    table = people.frame[["person", "draw"]].assign(
        outcome=_labels(found.code, OUTCOMES),
        size=_labels(np.where(count > 0, fits.argmax(axis=1), -1), chart.sizes),
        sizes_fitting=count.astype(np.int64),
        **_why_not(values, chart, found.code, found.possible),
        evidence=_worst_evidence(people, values),
    )
    return Assignment(table, fits, people.weight, chart, people.name)


def _labels(
    codes: npt.NDArray[Any], names: Sequence[str], *, ordered: bool = False
) -> pd.Categorical:
    kind = pd.CategoricalDtype(list(names), ordered=ordered)
    return pd.Categorical.from_codes(codes, dtype=kind)


def _why_not(
    values: dict[str, npt.NDArray[np.int64]],
    chart: SizeChart,
    code: npt.NDArray[Any],
    possible: Sequence[npt.NDArray[Any]],
) -> dict[str, Any]:
    size, measure, direction = np.full((3, len(code)), -1)
    miss = np.full(len(code), np.nan)
    small, large = np.zeros((2, len(code)), dtype=bool)

    rows = np.flatnonzero(np.isin(code, [2, 3, 4, 5]))
    if len(rows):
        some = {name: x[rows] for name, x in values.items()}
        found = nearest(some, chart, over_load=code[rows] == 5)
        size[rows], measure[rows], direction[rows], miss[rows] = found
        harms = (each[np.arange(len(rows)), found[0]] for each in misfits(some, chart))
        small[rows], large[rows] = harms

    rows = np.flatnonzero(code == 6)
    direction[rows] = 3
    could = unpack([part[rows] for part in possible], len(chart.sizes))
    for j, (name, (low, high)) in reversed([*enumerate(limits(chart).items())]):
        limiting = could & ((low > 0) | (high < NO_HIGH))
        deciding = (values[name][rows] == MISSING_TENTHS) & limiting.any(axis=1)
        measure[rows[deciding]] = j
    return {
        "nearest_size": _labels(size, chart.sizes),
        "failing_measure": _labels(measure, list(values)),
        "direction": _labels(direction, DIRECTIONS),
        **{"miss": miss, "too_small": small, "too_large": large},
    }


def _worst_evidence(
    people: People, values: dict[str, npt.NDArray[np.int64]]
) -> pd.Categorical:
    """Return the worst level of a row's limited measures; unstated: unsupported."""
    missing, unsupported = EVIDENCE.index("missing"), EVIDENCE.index("unsupported")
    worst = np.zeros(len(people.frame), dtype=np.int64)
    for measure, x in values.items():
        given = people.evidence.get(measure, pd.Series(index=people.frame.index))
        stated = pd.Categorical(given, list(EVIDENCE)).codes
        level = np.where(stated < 0, unsupported, stated)
        worst = np.maximum(worst, np.where(x == MISSING_TENTHS, missing, level))
    return _labels(worst, EVIDENCE, ordered=True)
