"""A chart's bands in one measure over people: gaps, overlaps and the axis."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.measures import unit_of
from sizing.measures.typed import understood
from sizing.people.people import People

#: Steps of a measure in which people are counted for a picture.
_BINS = 80


def density(people: People, measure: str) -> pd.DataFrame:
    """Return the share of people in each of 80 steps of a measure."""
    known = people.frame[measure].notna().to_numpy()
    x = people.frame[measure].to_numpy(dtype=float)[known]
    w = people.weight.to_numpy(dtype=float)[known]
    if len(x) == 0 or w.sum() == 0:
        return pd.DataFrame({"value": [0.0], "share": [0.0]})
    count, edges = np.histogram(x, bins=_BINS, weights=w)
    return pd.DataFrame(
        {"value": (edges[1:] + edges[:-1]) / 2, "share": count / count.sum()}
    )


@dataclass(frozen=True)
class Bands:
    """One measure's bands over people, to be drawn in the units of a page.

    - ``sizes``: One row per size: ``size``, its edges ``low`` and ``high`` (NaN: no
      limit), ``words`` (both as written), ``start`` and ``stop`` (where it is drawn),
      ``from`` and ``to`` (the span it shares with the size before it, NaN if none).
    - ``gaps``: Spans between the first and the last band that no band holds.
    - ``density``: ``value`` and ``share`` of the people.
    - ``before``: ``low`` and ``high`` in another chart of the size of the same name.
    - ``left, right``: The axis: all edges, and nearly all people.
    """

    sizes: pd.DataFrame
    gaps: list[tuple[float, float]]
    density: pd.DataFrame
    before: pd.DataFrame
    left: float
    right: float


def bands_of(
    chart: SizeChart,
    spread: pd.DataFrame,
    measure: str,
    *,
    before: SizeChart | None = None,
    units: str = "metric",
) -> Bands:
    """Lay one measure's bands over people, whose ``density`` is given in cm or kg."""
    factor = understood(f"1 {unit_of(measure, units)}", measure)

    def edges(frame: pd.DataFrame) -> pd.DataFrame:
        kept = {end: frame.get(f"{measure}_{end}", np.nan) for end in ("low", "high")}
        found = pd.DataFrame(kept, index=range(len(frame)), dtype=float)
        return (found / factor).round(1)

    sizes = edges(chart.frame)
    density = spread.assign(value=spread["value"] / factor)
    total = density["share"].cumsum() / density["share"].sum()
    body = density.loc[(total > 0.001) & (total < 0.999), "value"]
    values = pd.concat([sizes["low"], sizes["high"], body]).dropna()
    room = 0.04 * (values.max() - values.min())
    left, right = max(values.min() - room, 0.0), values.max() + room
    sizes.insert(0, "size", list(chart.sizes))
    sizes["words"] = [_span(*ends) for ends in sizes[["low", "high"]].to_numpy()]
    sizes["start"] = sizes["low"].fillna(left)
    sizes["stop"] = sizes["high"].fillna(right)
    shared = pd.DataFrame(
        {
            "from": np.maximum(sizes["start"], sizes["start"].shift()),
            "to": np.minimum(sizes["stop"], sizes["stop"].shift()),
        }
    )
    sizes = sizes.join(shared.where(shared["to"] > shared["from"]))
    then = edges(chart.frame[:0] if before is None else before.frame)
    then = then.set_axis([] if before is None else before.sizes).reindex(chart.sizes)
    ends = sizes[["start", "stop"]].itertuples(index=False, name=None)
    return Bands(sizes, gaps_of(ends), density, then, float(left), float(right))


def _span(low: float, high: float) -> str:
    if pd.isna(low) or pd.isna(high):
        ends = ("from", low), ("to", high)
        told = [f"{end} {v:g}" for end, v in ends if pd.notna(v)]
        return " ".join(told) or "no limit"
    return f"{low:g} to {high:g}"


def gaps_of(ends: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    gaps, reach = [], math.inf
    for a, b in sorted(ends):
        # Edges that follow each other by a tenth leave no gap between whole tenths.
        if a > reach + 0.1001:
            gaps.append((reach, a))
        reach = b if math.isinf(reach) else max(reach, b)
    return gaps
