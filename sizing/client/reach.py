"""What to change in a chart to reach most of those it leaves out, by exact search."""

from dataclasses import replace
from heapq import heappop, heappush
from itertools import product

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart, fits_matrix
from sizing.charts.fits import MASS, limits, tenths, yardsticks
from sizing.client.nudge import is_own, nudge, nudge_layout, with_edge
from sizing.measures import MISSING_TENTHS
from sizing.people.people import People
from sizing.stats.formulas import Floats

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


def what_to_change(people: People, chart: SizeChart, *, seed: int = 1) -> pd.DataFrame:
    """Find the one edge moved, and the one size more, that reach most people left out.

    Every edge is tried, moved outwards by 5 cm or 10 kg; a shorter move of the same
    edge cannot reach more. The size more has the chart's median width in each measure
    it limits and no load limit; every place on whole cm and kg is tried. The change is
    chosen among one half of the people and what it gains is counted among the other:
    the best of many looks better than it is where it was chosen. Lists of under 200
    people, and clients of one's own, are not halved.

    ``seed`` is of the halves. Returned: one row for the edge (``change`` is ``edge``),
    one per measure for the size (``size``), none where nobody would be reached: size,
    measure, end, from, to (cm or kg: the edge before and after, or both ends of the
    band); estimate, low, high (share of all people who would have a size and have none
    now, 95 %); left_out (share without a size now); n (people counted); halved; proved
    (whether nothing reaches more of those it was chosen among); method.

    >>> from sizing.charts import demo_chart
    >>> from sizing.people import load_people
    >>> found = what_to_change(load_people("bariatric", draws=1), demo_chart())
    >>> found.loc[found["change"] == "edge", "estimate"].gt(0).item()
    True
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
    bands = limits(chart)
    misses: dict[str, tuple[Bools, Bools]] = {
        name: (left[name][:, None] < low, left[name][:, None] > high)
        for name, (low, high) in bands.items()
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

    The edges are multiples of ``step``. A row lies in the boxes whose low edge is, in
    each column, from its value less the width to its value: the edges sought are where
    most of these ranges meet. All places are halved again and again, the part whose
    ranges weigh most first: no box in a part holds more than that, so the first single
    place reached is the best. After ``most`` parts the best seen so far is not proved.

    >>> rows = np.array([[100], [118], [160]])
    >>> fullest_box(rows, np.ones(3), np.array([20]))[0].tolist()
    [100]
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
