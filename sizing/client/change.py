"""How a client's measures change over visits, and when the next size comes."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.client.how import MASS, TAKEN
from sizing.client.loads_allowances import allowance_table, in_body_terms, load_table_of
from sizing.client.outcomes import Edges, edges_of
from sizing.client.visit import Visit
from sizing.measures import MEASURES

#: Half-width of a 90 % interval of a normal estimate.
_Z = 1.6449
#: Visits nearer together than this say nothing of change (our choice, no source).
LEAST_DAYS = 56
_YEAR, _TINY = 365.25, 1e-6
_METHOD = "straight line through the visits, each weighed by its error; 90 %"
COLUMNS = [
    *("measure", "visits", "first_on", "last_on", "first", "last"),
    *("estimate", "low", "high", "edge", "next_sizes"),
    *("edge_on", "edge_on_low", "edge_on_high", "why_not", "method", "n"),
]


def readings_of(visits: Sequence[Visit]) -> pd.DataFrame:
    """Return what tape and scale read at each visit.

    One row per reading: ``measure``, ``on``, ``value`` and ``sd`` (cm or kg). What
    was reported, guessed or estimated is no reading.
    """
    rows = [
        (one.measure, visit.on, one.value, one.sd)
        for visit in visits
        for one in visit.client.readings
        if one.how in TAKEN
    ]
    return pd.DataFrame(rows, columns=["measure", "on", "value", "sd"])


def size_at(chart: SizeChart, visit: Visit) -> str:
    """Return the size chosen at a visit, "" where it is another chart's."""
    return visit.decision.size if visit.chart in ("", chart.name) else ""


def edges_at(chart: SizeChart, visit: Visit) -> Edges:
    """Return a chart's edges as body measures, with the load limits of that visit."""
    allowed = allowance_table(visit.allowances)
    load = load_table_of(chart, visit.loads)[1]
    return edges_of(in_body_terms(chart, allowed), load)


def over_visits(readings: pd.DataFrame, chart: Edges, size: str = "") -> pd.DataFrame:
    """Say how each measure changes a year, and when it passes an edge of a size.

    - ``readings``: As ``readings_of`` returns.
    - ``chart``: See ``edges_at``.
    - ``size``: The size in use; "" or one the chart lacks: change is given, no edge.

    Returns
    -------
    DataFrame
        One row per measure read that the chart limits, and weight: ``measure``,
        ``visits``, ``first_on``, ``last_on``, ``first``, ``last`` (as read);
        ``estimate``, ``low``, ``high`` (change a year, cm or kg, 90 %); ``edge``
        (where the size ends in the way it changes, load limit included),
        ``next_sizes`` (those that take over there, parted by ";"); ``edge_on``,
        ``edge_on_low``, ``edge_on_high`` (the day it is passed, 90 %); ``why_not``
        (why no change or no day is given, else ""); ``method``, ``n``.

    Weighted least squares on time from the weighted mean day, where level ``a`` and
    slope ``b`` are independent with variances ``A`` and ``B``; from three visits on
    both are widened by chi-square over its degrees of freedom, where that is above
    1. The days are the roots of ``(a + b t - edge)^2 = z^2 (A + B t^2)`` (Fieller,
    J R Stat Soc B 1954;16:175-185, from memory). None is given further ahead than
    the visits reach back, be it the earliest alone that is not: nobody grows in a
    straight line for long.
    """
    limited = [m for m in MEASURES if m in (*chart.measures, MASS)]
    rows = []
    for measure in limited:
        mine = readings[readings["measure"] == measure].sort_values("on")
        if len(mine):
            rows.append(_of_one(measure, mine, chart, size))
    return pd.DataFrame(rows, columns=COLUMNS)


def _of_one(
    measure: str, mine: pd.DataFrame, chart: Edges, size: str
) -> dict[str, Any]:
    days = np.array([day.toordinal() for day in mine["on"]], dtype=float)
    y, sd = mine["value"].to_numpy(float), mine["sd"].to_numpy(float)
    row: dict[str, Any] = dict.fromkeys(COLUMNS, np.nan)
    row |= {"measure": measure, "visits": len(y), "n": len(y), "method": _METHOD}
    row |= {"first_on": mine["on"].iloc[0], "last_on": mine["on"].iloc[-1]}
    row |= {"first": y[0], "last": y[-1], "next_sizes": "", "why_not": ""}
    row |= dict.fromkeys(("edge_on", "edge_on_low", "edge_on_high"), None)
    reach = days[-1] - days[0]
    if len(y) < 2:
        return row | {"why_not": "one visit says nothing of change"}
    if reach < LEAST_DAYS:
        return row | {"why_not": f"{reach:.0f} days are too short a time"}
    level, slope, start, a, b = _line(days, y, sd)
    half = _Z * np.sqrt(b)
    row |= {"estimate": slope * _YEAR, "low": (slope - half) * _YEAR}
    row["high"] = (slope + half) * _YEAR
    if abs(slope) <= half:
        return row | {"why_not": "the measuring error is larger than the change"}
    if size not in chart.sizes:
        return row | {"why_not": "no size of this chart is in use"}
    edge, following = _edge(measure, chart, size, up=slope > 0)
    row |= {"edge": edge, "next_sizes": ";".join(following)}
    if np.isnan(edge):
        return row | {"why_not": f"{size} has no edge that way"}
    if (y[-1] - edge) * slope > 0:
        return row | {"why_not": f"the last reading is past the edge of {size} already"}
    gap, z2 = level - edge, _Z**2
    spread = [slope**2 - z2 * b, 2 * slope * gap, gap**2 - z2 * a]
    low, high = start + np.sort(np.roots(spread).real)
    furthest = days[-1] + reach
    if low > furthest:
        why = f"at this rate it stays within {size} for as long as the visits reach "
        return row | {"why_not": f"{why}back"}
    ahead = {"edge_on": start - gap / slope, "edge_on_low": low, "edge_on_high": high}
    return row | {
        name: date.fromordinal(int(max(t, days[-1])))
        for name, t in ahead.items()
        if t <= furthest
    }


def _line(
    days: np.ndarray, y: np.ndarray, sd: np.ndarray
) -> tuple[float, float, float, float, float]:
    """Return level, slope a day, mean day, and the variances of level and slope."""
    weight = 1.0 / np.square(sd)
    start = float(np.average(days, weights=weight))
    t = days - start
    level, spread = float(np.average(y, weights=weight)), float(weight @ t**2)
    slope = float(weight @ (t * y)) / spread
    wider = 1.0
    if len(y) > 2:
        chi2 = float(weight @ np.square(y - level - slope * t))
        wider = max(1.0, chi2 / (len(y) - 2))
    return level, slope, start, wider / weight.sum(), wider / spread


def _edge(
    measure: str, chart: Edges, size: str, *, up: bool
) -> tuple[float, list[str]]:
    """Return where a size ends upwards or downwards, and which sizes hold there."""
    bands = chart.bands(measure).set_index("size")
    edge = float(bands["high" if up else "low"][size])
    if np.isnan(edge):
        return edge, []
    beyond = edge + (0.1 if up else -0.1)
    holds = ~(bands["low"] > beyond + _TINY) & ~(bands["high"] < beyond - _TINY)
    return edge, list(bands.index[holds])
