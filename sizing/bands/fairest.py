"""The chart whose worst-served subgroup is served best, exactly or with a bound.

Maximising the smallest of several groups' coverages is no longest-path problem,
but any weighting of the groups bounds it: for weights m_g >= 0 that add up to 1,

    max over charts of min_g c_g  <=  max over charts of sum_g m_g c_g.

The weighting with the lowest bound is found by cutting planes. Then all charts
whose weighted coverage reaches the best smallest coverage known are gone
through, best first; when none is left, the chart is proved the fairest.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Any

import numpy as np
import pandas as pd

from sizing.bands.cells import Floats, Ints, Width
from sizing.bands.fit import at_most, fitted_to
from sizing.bands.fitter import Fitter
from sizing.bands.goal import Boxes, Measured, covered
from sizing.bands.graph import TIE, Task
from sizing.bands.search import climb, first_graph, loosest, lows, paces
from sizing.charts import SizeChart
from sizing.coverage.coverage import grouping
from sizing.errors import SizingError, check_number
from sizing.people.people import People
from sizing.resources import texts
from sizing.words.numbers import share

_T = texts("bands")
#: Charts and pairs of nodes gone through before the bound is left as it is.
MOST_CHARTS, MOST_PAIRS = 20_000, 300_000
#: Weightings of the groups that are tried (our choice, no source).
ROUNDS = 40
BEST = "best on average"


@dataclass(frozen=True)
class FairestFit:
    """The fairest chart; ``table``: chart (it, best on average), level, estimate, n."""

    chart: SizeChart
    by: str
    worst_share: float
    upper_bound: float
    table: pd.DataFrame
    average: float
    best_average: float

    def summary(self) -> str:
        other = self.table.loc[self.table["chart"] == BEST, "estimate"].min()
        shares = {"worst": self.worst_share, "other": other}
        shares |= {"best": self.best_average, "average": self.average}
        told = {name: share(one, places=1) for name, one in shares.items()}
        bound = at_most(self.upper_bound)
        return str(_T.said["fairest"].format(by=self.by, bound=bound, **told))


def fit_fairest(
    people: People,
    *,
    by: str,
    widths: Mapping[str, Width],
    sizes: int,
    smallest: int = 30,
    **settings: Any,
) -> FairestFit:
    """Find the chart under which the worst-served subgroup is served best."""
    check_number("the smallest subgroup", smallest, least=1, whole=True)
    fitter = Fitter.of(people, widths=widths, sizes=sizes, **settings)
    measured = fitter.measured
    levels, inside = _levels(people, measured, by, smallest)
    totals = inside @ measured.weight

    def shares(boxes: Boxes) -> Floats:
        fits = inside * covered(measured, boxes)
        return np.asarray(fits @ measured.weight / totals)

    def weights(mix: Floats) -> Floats:
        return np.asarray(measured.weight * ((mix / totals) @ inside))

    average = fitter.fit()
    charts = [average]
    cover = [shares(average)]
    mix, bound = np.full(len(levels), 1 / len(levels)), 1.0
    best_mix = mix
    for _ in range(ROUNDS):
        boxes = fitter.fit(weights(mix))
        charts.append(boxes)
        cover.append(shares(boxes))
        reach = float(mix @ cover[-1])
        if reach < bound:
            bound, best_mix = reach, mix
        lower, mix = _lowest_mix(np.array(cover))
        if bound - lower < 1e-9:
            break
    worst = [float(c.min()) for c in cover]
    best = int(np.argmax(worst))
    chosen, value = charts[best], worst[best]
    if bound > value + 1e-9:
        chosen, value, bound = _go_through(
            fitter, weights(best_mix), shares, chosen, value, bound
        )
    overall = measured.weight / measured.weight.sum()
    table = pd.DataFrame(
        [
            {"chart": label, "level": name, "estimate": share, "n": n}
            for label, boxes in (("fairest", chosen), (BEST, average))
            for share, (name, n) in zip(shares(boxes), levels, strict=True)
        ]
    )
    chart = fitted_to(people, measured, chosen, f"fairest chart by {by}", None)
    reached, most = (
        float(overall @ covered(measured, boxes)) for boxes in (chosen, average)
    )
    return FairestFit(chart, by, value, max(bound, value), table, reached, most)


def _levels(
    people: People, measured: Measured, by: str, smallest: int
) -> tuple[list[tuple[str, int]], np.ndarray]:
    """Return each subgroup's name and persons, and which rows are in it."""
    labels = grouping(people.frame, by)
    codes = np.asarray(labels.codes)[measured.row]
    levels, inside = [], []
    for code, name in enumerate(labels.categories):
        rows = codes == code
        persons = len(np.unique(measured.person[rows]))
        if persons >= smallest and measured.weight[rows].sum() > 0:
            levels.append((str(name), persons))
            inside.append(rows)
    if not levels:
        raise SizingError(
            f"no subgroup by '{by}' has {smallest} persons",
            allowed="subgroups of some size",
            action="choose another grouping, or lower smallest",
        )
    return levels, np.stack(inside)


def _lowest_mix(cover: Floats) -> tuple[float, Floats]:
    """Return the weighting under which the best of the known charts is worst."""
    # Takes a tenth of the time that all else takes to load; only this needs it.
    from scipy.optimize import linprog

    charts, groups = cover.shape
    result = linprog(
        np.r_[np.zeros(groups), 1.0],
        A_ub=np.column_stack([cover, -np.ones(charts)]),
        b_ub=np.zeros(charts),
        A_eq=np.r_[np.ones(groups), 0.0][None, :],
        b_eq=[1.0],
        bounds=[(0, 1)] * groups + [(None, None)],
    )
    # Always feasible and bounded, so that there is a solution.
    solution = np.asarray(result.x, dtype=float)
    mix = np.clip(solution[:groups], 0, None)
    return float(solution[-1]), mix / mix.sum()


def _go_through(
    fitter: Fitter,
    weight: Floats,
    shares: Callable[[Boxes], Floats],
    chosen: Boxes,
    value: float,
    bound: float,
) -> tuple[Boxes, float, float]:
    """Go through the charts whose weighted coverage exceeds the best known."""
    left = 0.0
    for task in fitter.tasks(weight, aim=False):
        floor = [value * task.total]
        for index in _charts(task, floor):
            if index is None:
                left = bound
                break
            boxes = fitter.edges(task, index)
            found = float(shares(boxes).min())
            if found > value + TIE:
                chosen, value = boxes, found
                floor[0] = value * task.total
    return chosen, value, max(value, left)


def _charts(task: Task, floor: list[float]) -> Iterator[Ints | None]:
    """Yield charts, best first, down to ``floor``, which may rise; None: too many."""
    pace = paces(task, climb(task, (task.last + 1) // 2)[1])
    graph = first_graph(task, pace)
    while True:
        graph, _ = graph.weighed().pruned(floor[0])
        if graph.empty:
            return
        measure = loosest(graph, pace)
        if measure is None:
            break
        if graph.count > MOST_PAIRS:
            yield None
            return
        graph = graph.halved(measure)
    weights = graph.weighed()
    nodes, pairs, up = graph.nodes, graph.pairs, weights.up
    into: list[dict[int, Ints]] = [{}]
    for _, b in pairs[1:]:
        order = np.argsort(b, kind="stable")
        ends, starts = np.unique(b[order], return_index=True)
        parts = np.split(order, starts[1:])
        into.append(dict(zip(ends.tolist(), parts, strict=True)))
    last = task.sizes - 1
    heap: list[tuple[float, int, float, tuple[int, ...]]] = []
    for i, total in enumerate(up[last]):
        heappush(heap, (-float(total), last, 0.0, (i,)))
    tried = 0
    while heap and -heap[0][0] > floor[0]:
        total, size, after, path = heappop(heap)
        if size == 0:
            tried += 1
            yield lows(nodes, path)
            if tried >= MOST_CHARTS:
                yield None
                return
            continue
        for pair in into[size].get(path[0], ()):
            a = int(pairs[size][0][pair])
            gain = after + float(weights.gains[size][pair])
            most = float(up[size - 1][a]) + gain
            heappush(heap, (-most, size - 1, gain, (a, *path)))
