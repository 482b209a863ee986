"""How a client's measures change, over visits or growing, and when a size ends."""

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtr

from sizing.charts import SizeChart
from sizing.client.client import GROWN
from sizing.client.outcomes import (
    Edges,
    allowance_table,
    edges_of,
    in_body_terms,
    load_table_of,
)
from sizing.client.posterior import Bodies
from sizing.client.readings import MASS, TAKEN
from sizing.client.visits import Visit
from sizing.measures import MEASURES, NO_HIGH, to_tenths
from sizing.people.body.model import model_age, moments
from sizing.people.classes import value_at, z_score
from sizing.stats.formulas import Floats

#: Half-width of a 90 % interval of a normal estimate.
_Z = 1.6449
#: Visits nearer together than this say nothing of change (our choice, no source).
LEAST_DAYS = 56
_YEAR, _TINY = 365.25, 1e-6
_METHOD = "straight line through the visits, each weighed by its error; 90 %"
#: The growth reference of body mass holds from here.
YOUNGEST = 2.0417
#: Steps of the projection, and the longest time between two measurings of a
#: child (common practice, no source).
_STEP_YEARS, LONGEST_YEARS = 0.5, 1.0
#: Bodies carried forward.
_BODIES = 200
COLUMNS = [
    *("measure", "visits", "first_on", "last_on", "first", "last"),
    *("estimate", "low", "high", "edge", "next_sizes"),
    *("edge_on", "edge_on_low", "edge_on_high", "why_not", "method", "n"),
]


def readings_of(visits: Sequence[Visit]) -> pd.DataFrame:
    """Return what was read at each visit: measure, on, value, sd (cm or kg)."""
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
    body_chart = in_body_terms(chart, allowance_table(visit.allowances))
    return edges_of(body_chart, load_table_of(chart, visit.loads)[1])


def over_visits(readings: pd.DataFrame, chart: Edges, size: str = "") -> pd.DataFrame:
    """Say how each measure read changes a year, and when it passes an edge of a size.

    ``edge``: where the size in use ends in the way it changes, load limit included;
    ``edge_on``: the day it is passed; ``why_not``: why it is not said. Intervals 90 %.
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
    """Weighted least squares on time, from the weighted mean day: level a, slope b.

    The days are the roots of ``(a + b t - edge)^2 = z^2 (var a + t^2 var b)`` (Fieller,
    J R Stat Soc B 1954;16:175-185, from memory).
    """
    days = np.array([day.toordinal() for day in mine["on"]], dtype=float)
    y, sd = mine["value"].to_numpy(float), mine["sd"].to_numpy(float)
    row: dict[str, Any] = dict.fromkeys(COLUMNS, np.nan)
    row |= dict.fromkeys(("edge_on", "edge_on_low", "edge_on_high"), None)
    row |= {"measure": measure, "visits": len(y), "n": len(y), "method": _METHOD}
    row |= {"first_on": mine["on"].iloc[0], "last_on": mine["on"].iloc[-1]}
    row |= {"first": y[0], "last": y[-1], "next_sizes": "", "why_not": ""}
    reach = days[-1] - days[0]
    if len(y) < 2:
        return row | {"why_not": "one visit says nothing of change"}
    if reach < LEAST_DAYS:
        return row | {"why_not": f"{reach:.0f} days are too short a time"}
    level, slope, start, a, b = _line(days, y, sd)
    half = _Z * np.sqrt(b)
    ends = {"estimate": slope, "low": slope - half, "high": slope + half}
    row |= {name: end * _YEAR for name, end in ends.items()}
    if abs(slope) <= half:
        return row | {"why_not": "the measuring error is larger than the change"}
    if size not in chart.sizes:
        return row | {"why_not": "no size of this chart is in use"}
    bands = chart.bands(measure).set_index("size")
    edge = float(bands["high" if slope > 0 else "low"][size])
    row["edge"] = edge
    if np.isnan(edge):
        return row | {"why_not": f"{size} has no edge that way"}
    beyond = edge + (0.1 if slope > 0 else -0.1)
    holds = ~(bands["low"] > beyond + _TINY) & ~(bands["high"] < beyond - _TINY)
    row["next_sizes"] = ";".join(bands.index[holds])
    if (y[-1] - edge) * slope > 0:
        return row | {"why_not": f"the last reading is past the edge of {size} already"}
    gap, z2 = level - edge, _Z**2
    spread = [slope**2 - z2 * b, 2 * slope * gap, gap**2 - z2 * a]
    low, high = start + np.sort(np.roots(spread).real)
    # No day further ahead than the visits reach back: nobody grows in a straight line
    # for long.
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
    # From three visits on: chi-square over its degrees of freedom, where above 1.
    chi2 = float(weight @ np.square(y - level - slope * t))
    wider = max(1.0, chi2 / (len(y) - 2)) if len(y) > 2 else 1.0
    return level, slope, start, wider / weight.sum(), wider / spread


# When a growing child leaves a size, at her present centiles


def outgrows(bodies: Bodies, chart: Edges, size: str, *, seed: int = 1) -> pd.DataFrame:
    """Say at what age each measure of a child leaves a size, load limit included.

    Stature and body mass stay at their ``centile`` of CDC 2000, the others keep their
    distance in SDs from the body model. 90 % of what her body may be.
    """
    rng = np.random.default_rng(seed)
    rows = rng.choice(len(bodies.weight), size=_BODIES, p=bodies.weight)
    now = max(float(model_age(bodies.age_years[0])), YOUNGEST)
    sex, values = bodies.sex[rows], bodies.values[rows]
    at = np.append(np.arange(now, GROWN, _STEP_YEARS), GROWN)
    z = np.empty((_BODIES, 2))
    path = np.empty((_BODIES, len(at), len(MEASURES)))
    for one in np.unique(sex.astype(str)):
        mine = np.flatnonzero(sex == one)
        for j, name in enumerate(MEASURES[:2]):
            z[mine, j] = z_score(name, one, now, values[mine, j])
            path[mine, :, j] = value_at(name, one, at[None, :], z[mine, j][:, None])
    start = moments(sex, values[:, 0], values[:, 1], np.full(_BODIES, now))
    apart = (np.log(values[:, 2:]) - start.mean) / start.sd
    flat = path[:, :, :2].reshape(-1, 2)
    # A whole year would be read as completed years: step a little past it.
    ages = np.tile(at + 1e-6, _BODIES)
    later = moments(np.repeat(sex, len(at)), flat[:, 0], flat[:, 1], ages)
    spread = np.repeat(apart, len(at), axis=0) * later.sd
    path[:, :, 2:] = np.exp(later.mean + spread).reshape(_BODIES, len(at), -1)
    path[:, 0] = values
    return _leaving(path, at, chart, size, z)


def _leaving(
    path: Floats, at: Floats, chart: Edges, size: str, z: Floats
) -> pd.DataFrame:
    i, mass = chart.sizes.index(size), MEASURES[0]
    edges = {name: int(chart.high[name][i]) for name in chart.measures}
    edges[mass] = min(edges.get(mass, NO_HIGH), int(chart.load[i]))
    rows = []
    for name, edge in edges.items():
        if edge >= NO_HIGH:
            continue
        j = MEASURES.index(name)
        over = to_tenths(path[:, :, j]) > edge
        passes = over.any(axis=1)
        first = over.argmax(axis=1)
        age = np.where(passes, at[first], np.inf)
        rest = np.flatnonzero(passes & (first > 0))
        # Between two steps the measure grows evenly.
        then = first[rest]
        a, b = path[rest, then - 1, j], path[rest, then, j]
        part = np.clip((edge / 10 - a) / np.maximum(b - a, 1e-9), 0, 1)
        age[rest] = at[then] - (1 - part) * (at[then] - at[then - 1])
        ends = np.quantile(age, [0.5, 0.05, 0.95], method="inverted_cdf")
        centile = float(ndtr(np.median(z[:, j]))) if j < 2 else np.nan
        ages = np.where(np.isfinite(ends), ends, np.nan)
        rows.append((name, edge / 10, centile, *ages, float(1 - passes.mean())))
    columns = ["measure", "high_edge", "centile", "estimate", "low", "high"]
    method = "present centile of CDC 2000 kept; 90 % of such bodies"
    table = pd.DataFrame(rows, columns=[*columns, "beyond_20"])
    table = table.assign(method=method, n=len(path))
    return table.sort_values(["low", "estimate"], ignore_index=True)


def measure_again_in(table: pd.DataFrame, age_years: float) -> float:
    """Half the years that are surely left, at most (common practice, no source)."""
    if table.empty or table["low"].isna().all():
        return LONGEST_YEARS
    left = max(float(table["low"].min()) - float(model_age(age_years)), 0.0)
    return min(left / 2, LONGEST_YEARS)
