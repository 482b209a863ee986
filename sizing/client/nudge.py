"""An own chart beside people: an edge moved, what would reach most, bands drawn."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from itertools import product

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, chart_from, fits_matrix
from sizing.charts.fits import MASS, limits, tenths, yardsticks
from sizing.errors import SizingError, one_of
from sizing.measures import MISSING_TENTHS, unit_of
from sizing.measures.typed import understood
from sizing.people.people import People, layout
from sizing.resources import invented_first
from sizing.stats.estimates import Layout, Means, group_means
from sizing.stats.formulas import Floats, difference_interval
from sizing.words.client import fits_words
from sizing.words.numbers import points_interval, share

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
#: An edge is moved by so much at most, in cm or kg, and a size more lies on whole ones
#: (our choices, no source).
FURTHEST = {"cm": 5, "kg": 10}
#: The size more is called so.
ONE_MORE = "one size more"
#: Lists of fewer people are not halved: what is chosen is counted on the same people
#: (our choice, no source).
FEWEST = 200
#: So many parts of the places of a size more are looked at: some seconds (ours).
_MOST_PARTS = 40_000
COLUMNS = ["change", "size", "measure", "end", "from", "to", "estimate", "low", "high"]
COLUMNS += ["left_out", "n", "halved", "proved", "method"]
#: Steps of a measure in which people are counted for a picture.
_BINS = 80
UNLIKE = (
    " It does not limit the same measures as {}, so neither can be said to be better: "
    "judge the chart to see what each leaves unchecked."
)


def with_edge(
    chart: SizeChart, size: str, measure: str, end: str, value: float | None
) -> SizeChart:
    """Return the chart with one edge moved, in cm or kg; None is no limit."""
    one_of("size", size, chart.sizes)
    one_of("measure", measure, chart.measures)
    one_of("end", end, ("low", "high"))
    if value is not None and not 0 <= value < 1000:
        raise SizingError("an edge must be a number", allowed="0 to 999", value=value)
    frame = chart.frame.copy()
    row = frame.index[frame["size"].astype(str) == size]
    frame.loc[row, f"{measure}_{end}"] = np.nan if value is None else float(value)
    return chart_from(frame, name=chart.name, source=chart.source, warn=False)


@dataclass(frozen=True)
class Nudge:
    """Whom a chart fits, and what is different with another: a row of shares."""

    table: pd.DataFrame
    chart: SizeChart
    before: SizeChart | None
    people: str
    own: bool

    def summary(self) -> str:
        row, before = self.table.iloc[0], self.before
        ends = ("estimate", ""), ("low", "_low"), ("high", "_high")
        of = {"n": row["n"], **{name: row[f"share_b{end}"] for name, end in ends}}
        told = fits_words(self.chart.name, of, self.people, own=self.own)
        made_up = self.chart.invented
        if before is not None:
            made_up = made_up or before.invented
            if set(before.measures) != set(self.chart.measures):
                told += UNLIKE.format(before.name)
            elif row["changed"] == 0:
                told += f" {before.name} fits the same people."
            else:
                told += (
                    f" {before.name} fits {share(row['share_a'])}: the difference is "
                    f"{points_interval(row, places=2)} points (95 % interval)."
                )
        return invented_first(made_up, told)


def nudge_layout(people: People, *charts: SizeChart) -> Layout:
    """Arrange people for ``nudge``: each a sampling unit, unless a survey says more."""
    place = layout(people, tuple(dict.fromkeys(m for c in charts for m in c.measures)))
    if place.unit is not None:
        return place
    count = np.arange(len(place.weight))
    return replace(place, unit=count, stratum=np.zeros_like(count))


def nudge(
    people: People,
    before: SizeChart | None,
    after: SizeChart,
    place: Layout | None = None,
    *,
    among: npt.NDArray[np.bool_] | None = None,
) -> Nudge:
    """Say whom a chart fits, and compare it as ``compare_charts`` does, at once."""
    first = after if before is None else before
    place = nudge_layout(people, first, after) if place is None else place
    a, b = (fits_matrix(people.frame, c).any(axis=1) for c in (first, after))
    both = np.column_stack([a, b, b.astype(float) - a])
    means = means_of(place, both, 50, 1, among)
    share_a, share_b, change = means.estimate[0]
    low, high = means.shares()
    least, most = difference_interval(
        change, means.variance[0, 2], np.ravel(means.df[0])[-1], means.n_effective[0]
    )
    table = pd.DataFrame(
        {
            "share_a": [share_a],
            "share_b": share_b,
            "share_b_low": low[0, 1],
            "share_b_high": high[0, 1],
            "estimate": change,
            "low": float(least),
            "high": float(most),
            "method": "95 % t interval of the paired difference; "
            f"linearisation{place.joined}",
            "n": round(means.n[0]),
            "changed": int((a != b).sum()),
        }
    )
    return Nudge(table, after, before, people.name, is_own(people))


def means_of(
    place: Layout,
    of: Floats,
    replicates: int,
    seed: int,
    among: npt.NDArray[np.bool_] | None = None,
) -> Means:
    """Return the means of columns, one row per person and draw, of everyone or some."""
    who = np.ones((len(of), 1)) if among is None else among[:, None].astype(float)
    parts = ([each[rows] for rows in place.rows] for each in (of, who))
    return group_means(place, *parts, replicates=replicates, seed=seed)


def is_own(people: People) -> bool:
    weighted = not people.weight.eq(people.weight.iloc[0]).all()
    return not (weighted or {"name", "margins"} & set(people.settings))


# What to change in a chart to reach most of those it leaves out, by exact search


def what_to_change(people: People, chart: SizeChart, *, seed: int = 1) -> pd.DataFrame:
    """Find the one edge moved, and the one size more, that reach most people left out.

    What it gains (``estimate``, share of all) is counted among the half of the people
    it was not chosen among: the best of many looks better than it is where it was
    chosen. ``proved``: nothing reaches more of those it was chosen among.
    """
    values = tenths(people.frame, chart)
    person = people.frame["person"].to_numpy()
    each = np.unique(person)
    halved = len(each) >= FEWEST and not is_own(people)
    chosen = np.ones(len(person), dtype=bool)
    if halved:
        rng = np.random.default_rng(seed)
        chosen = np.isin(person, rng.permutation(each)[: len(each) // 2])
    weight = people.weight.to_numpy(dtype=float)
    known = np.all([x != MISSING_TENTHS for x in values.values()], axis=0)
    out = chosen & known & ~fits_matrix(people.frame, chart).any(axis=1)
    left = {name: x[out] for name, x in values.items()}
    found = [_best_edge(left, weight[out], chart), _best_size(left, weight[out], chart)]
    place, counted = nudge_layout(people, chart), ~chosen if halved else chosen
    rows = []
    for changed, told in found:
        if changed is None:
            continue
        gain = nudge(people, chart, changed, place, among=counted).table.iloc[0]
        figures = gain[["estimate", "low", "high", "n", "method"]].to_dict()
        # Nobody loses a size by it.
        figures |= {"low": max(gain["low"], 0.0), "left_out": 1 - gain["share_a"]}
        figures["halved"] = halved
        rows += [{"proved": True, **row, **figures} for row in told]
    return pd.DataFrame(rows, columns=COLUMNS)


def _best_edge(
    left: dict[str, Ints], weight: Floats, chart: SizeChart
) -> tuple[SizeChart | None, list[dict[str, object]]]:
    misses: dict[str, tuple[Bools, Bools]] = {
        name: (left[name][:, None] < low, left[name][:, None] > high)
        for name, (low, high) in limits(chart).items()
    }
    failed = np.sum(list(misses.values()), axis=(0, 1))
    best, at = 0.0, None
    for name, i, end in product(chart.measures, range(len(chart.sizes)), (0, 1)):
        edge, most = chart.edges(name)[end][i], 10 * FURTHEST[name[-2:]]
        alone = misses[name][end][:, i] & (failed[:, i] == 1)
        near = np.abs(left[name] - edge) <= most
        if name == MASS and end:
            near &= left[name] <= chart.load_limits()[i]
        reached = float(weight[alone & near].sum())
        if reached > best:
            best, at = reached, (name, i, end, edge, most)
    if at is None:
        return None, []
    name, i, end, edge, most = at
    size, which = chart.sizes[i], ("low", "high")[end]
    to = max(edge + (most if end else -most), 0) / 10
    told = {"change": "edge", "size": size, "measure": name, "end": which}
    moved = with_edge(chart, size, name, which, to)
    return moved, [{**told, "from": edge / 10, "to": to}]


def _best_size(
    left: dict[str, Ints], weight: Floats, chart: SizeChart
) -> tuple[SizeChart | None, list[dict[str, object]]]:
    if not len(weight):
        return None, []
    names = list(chart.measures)
    width = np.array([round(yardsticks(chart)[name]) for name in names])
    x = np.column_stack([left[n] for n in names])
    low, proved = fullest_box(x, weight, width)
    row: dict[str, object] = {"size": ONE_MORE, "group": ""}
    told = []
    for name, a, b in zip(names, low / 10, (low + width) / 10, strict=True):
        row |= {f"{name}_low": a, f"{name}_high": b}
        ends = {"measure": name, "from": a, "to": b, "proved": proved}
        told.append({"change": "size", "size": ONE_MORE, **ends})
    frame = pd.concat([chart.frame, pd.DataFrame([row])], ignore_index=True)
    return replace(chart, frame=frame), told


def fullest_box(
    x: Ints, weight: Floats, width: Ints, *, step: int = 10, most: int = _MOST_PARTS
) -> tuple[Ints, bool]:
    """Return the low edges of the box that holds most weight, and whether it is proved.

    Places are halved again and again, the part that may hold most first: the first
    single place is the best, unless ``most`` parts were made before.
    """
    first = np.maximum(-((width - x) // step), 0)
    last, steps = x // step, width // step + 1
    every = np.arange(len(x))
    parts = [(-weight.sum(), 0, first.min(axis=0), last.max(axis=0), every)]
    made = 1
    while True:
        _, _, low, high, rows = heappop(parts)
        if made > most:
            # From here on the fuller half alone.
            parts = []
        d = int(((high - low) / steps).argmax())
        if low[d] == high[d]:
            return low * step, made <= most
        middle = (low[d] + high[d]) // 2
        for at, ends in enumerate(((low[d], middle), (middle + 1, high[d]))):
            kept = rows[(first[rows, d] <= ends[1]) & (last[rows, d] >= ends[0])]
            least, greatest = low.copy(), high.copy()
            least[d], greatest[d] = ends
            part = (-weight[kept].sum(), made + at, least, greatest, kept)
            heappush(parts, part)
        made += 2


# A chart's bands in one measure over people: gaps, overlaps and the axis


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
    """One measure's bands over people, in the units of a page, left to right."""

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
    ends = ("" if pd.notna(high) else "from ", low), ("to ", high)
    told = [f"{end}{value:g}" for end, value in ends if pd.notna(value)]
    return " ".join(told) or "no limit"


def gaps_of(ends: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    gaps, reach = [], math.inf
    for a, b in sorted(ends):
        # Edges that follow each other by a tenth leave no gap between whole tenths.
        if a > reach + 0.1001:
            gaps.append((reach, a))
        reach = b if math.isinf(reach) else max(reach, b)
    return gaps
