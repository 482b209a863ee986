"""When a growing child leaves a size, at her present centiles."""

import numpy as np
import pandas as pd
from scipy.special import ndtr

from sizing.client.outcomes import Edges
from sizing.client.posterior import Bodies
from sizing.measures import MEASURES, NO_HIGH, to_tenths
from sizing.people.body.model import model_age, moments
from sizing.people.classes import value_at, z_score
from sizing.stats.formulas import Floats

#: The growth reference holds from here, of body mass, to here.
YOUNGEST, GROWN = 2.0417, 20.0
#: Steps of the projection, and the longest time between two measurings of a
#: child (common practice, no source).
_STEP_YEARS, LONGEST_YEARS = 0.5, 1.0
#: Bodies carried forward.
_BODIES = 200


def outgrows(bodies: Bodies, chart: Edges, size: str, *, seed: int = 1) -> pd.DataFrame:
    """Say when each measure of a child leaves a size.

    One row per measure with a high edge, load limit included, earliest first:
    ``measure``, ``high_edge``, ``centile`` (of stature and body mass now),
    ``estimate``, ``low``, ``high`` (age in years at which it passes the edge: median,
    and 90 % of what her body may be), ``beyond_20`` (share who do not before 20),
    ``method``, ``n``. Empty ages where fewer than that share pass it before 20.

    Stature and body mass stay at their present centile of CDC 2000; the other
    measures follow the body model at that build and age, and keep their
    distance from it in SDs. Children do change centile: nothing here says how.
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
    if not rows:
        return pd.DataFrame()
    columns = ["measure", "high_edge", "centile", "estimate", "low", "high"]
    table = pd.DataFrame(rows, columns=[*columns, "beyond_20"]).assign(
        method="present centile of CDC 2000 kept; 90 % of such bodies", n=len(path)
    )
    return table.sort_values(["low", "estimate"], ignore_index=True)


def measure_again_in(table: pd.DataFrame, age_years: float) -> float:
    """Return in how many years to measure again: before the first edge is passed.

    Half the time until the first measure may pass its edge (the early end of
    its interval), and never more than a year (common practice, no source).
    """
    if table.empty or table["low"].isna().all():
        return LONGEST_YEARS
    left = max(float(table["low"].min()) - float(model_age(age_years)), 0.0)
    return min(left / 2, LONGEST_YEARS)
