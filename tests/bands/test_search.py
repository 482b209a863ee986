"""The search's nets, bounds and climbs against trying everything on small tasks."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.bands import graph as graphs
from sizing.bands import search
from sizing.bands.graph import TIE, Graph
from sizing.bands.search import (
    best_chart,
    first_graph,
    loosest,
    paces,
    upper_bound,
)

from .small import Small, every_box

SEEDS = st.integers(0, 10**6)


def members(nodes):
    """The candidates that nodes hold, each as often as it is held."""
    return sorted(
        at
        for node in nodes
        for at in product(*(range(first, last + 1) for first, last in node))
    )


def links(graph):
    """A graph's pairs as ranges of candidates rather than numbers."""
    return [
        sorted(
            (graph.nodes[k - 1][i].tolist(), graph.nodes[k][j].tolist())
            for i, j in zip(a, b, strict=True)
        )
        for k, (a, b) in enumerate(graph.pairs)
    ]


@settings(max_examples=25, deadline=None)
@given(SEEDS, st.sampled_from([(1, 1), (2, 1), (1, 3), (2, 2), (4, 4)]))
def test_nets_hold_every_chart_and_only_pairs_that_may_follow(seed, parts):
    small = Small(seed)
    graph = Graph.whole(small.task, parts)
    everything = [members(every_box(small.axes, k)) for k in range(3)]
    for _ in range(5):
        assert [members(nodes) for nodes in graph.nodes] == everything
        assert len(graph.pairs[0][0]) == 0
        assert graph.count == sum(len(found) for found in links(graph))
        for k in (1, 2):
            allowed = [
                (a.tolist(), b.tolist())
                for a, b in product(graph.nodes[k - 1], graph.nodes[k])
                if small.may_follow(k, a, b)
            ]
            assert links(graph)[k] == sorted(allowed)
        spreads = [
            max(p[n[d, 1]] - p[n[d, 0]] for nodes in graph.nodes for n in nodes)
            for d, p in enumerate(small.task.passed)
        ]
        assert graph.spreads() == pytest.approx(spreads)
        ordered = graph.in_order()
        assert links(ordered) == links(graph)
        for nodes in ordered.nodes:
            first = nodes[:, :, 0].tolist()
            assert first == sorted(first)
        d = loosest(graph, [1.0, 1.0])
        if d is None:
            assert max(spreads) == 0 and parts is not None
            break
        assert spreads[d] == max(spreads)
        passed, halves = small.task.passed[d], graph.halved(d)
        for old, new in zip(graph.nodes, halves.nodes, strict=True):
            told = {tuple(map(tuple, node)) for node in new.tolist()}
            for node in old.tolist():
                first, last = node[d]
                middle = (passed[first] + passed[last]) / 2
                under = [i for i in range(first, last) if passed[i] < middle]
                cut = under[-1] if under else first
                for part in ([first, cut], [cut + 1, last])[: 1 + (last > first)]:
                    assert tuple(map(tuple, [*node[:d], part, *node[d + 1 :]])) in told
        graph = halves
    assert loosest(graph, [0.0, 0.0]) is None and not graph.empty


@settings(max_examples=25, deadline=None)
@given(SEEDS, st.booleans(), st.booleans())
def test_nodes_and_pairs_are_weighed_as_people_are_counted(seed, limited, aim):
    small = Small(seed, limited=limited, aim=aim)
    graph = Graph.whole(small.task, (2, 2))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(graphs, "BLOCK", 3)
        weighed = graph.weighed()
    best = [small.alone(0, node) for node in graph.nodes[0]]
    assert weighed.up[0] == pytest.approx(best, rel=1e-12)
    for k in (1, 2):
        before, best = best, [-np.inf] * len(graph.nodes[k])
        for place, (a, b) in enumerate(zip(*graph.pairs[k], strict=True)):
            gain = small.gain(k, graph.nodes[k - 1][a], graph.nodes[k][b])
            assert weighed.gains[k][place] == pytest.approx(gain, rel=1e-12)
            best[b] = max(best[b], before[a] + gain)
        assert weighed.up[k] == pytest.approx(best, rel=1e-12)
    assert weighed.top == max(best)


@settings(max_examples=40, deadline=None)
@given(SEEDS, st.booleans(), st.integers(-1, 8))
def test_what_is_dropped_is_what_no_good_chain_needs(seed, limited, under):
    small = Small(seed, limited=limited)
    graph = Graph.whole(small.task, (2, 2))
    paths = {p: v for p, v in small.paths(graph).items() if v > -np.inf}
    weighed = graph.weighed()
    if not paths:
        assert weighed.top == -np.inf
        assert weighed.best_path(0.0) == (-np.inf, [0, 0, 0])
        assert weighed.pruned(-np.inf)[0].empty
        return
    top = max(paths.values())
    floor = -np.inf if under < 0 else top - under
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(graphs, "BLOCK", 3)
        left, dropped = weighed.pruned(floor)
    good = [path for path, value in paths.items() if value >= floor]
    used = [sorted({path[k] for path in good}) for k in range(3)]
    for k, numbers in enumerate(used):
        assert left.nodes[k].tolist() == graph.nodes[k][numbers].tolist()
    for k in (1, 2):
        kept = {(path[k - 1], path[k]) for path in good}
        ends = [
            (graph.nodes[k - 1][a].tolist(), graph.nodes[k][b].tolist())
            for a, b in kept
        ]
        assert links(left)[k] == sorted(ends)
    out = [
        value
        for path, value in paths.items()
        if path[2] not in used[2]
        or any(
            path[k - 1 : k + 1] not in {p[k - 1 : k + 1] for p in good} for k in (1, 2)
        )
    ]
    assert dropped == max(out, default=-np.inf)
    nothing, below = weighed.pruned(top + 0.5)
    assert nothing.empty and below == top
    # Of equal chains, the lowest nodes from the largest size downwards.
    value, path = weighed.best_path(0.25)
    equal = [p[::-1] for p, v in paths.items() if v == top]
    assert value == top and tuple(path)[::-1] == min(equal)
    ends = weighed.up[2] >= top - 2
    assert weighed.best_path(2.0)[1][2] == np.flatnonzero(ends)[0]


@settings(max_examples=25, deadline=None)
@given(SEEDS, st.integers(0, 2))
def test_a_net_keeps_only_the_chosen_nodes_of_one_size(seed, size):
    small = Small(seed)
    graph = Graph.whole(small.task, (2, 2))
    chosen = np.random.default_rng(seed).random(len(graph.nodes[size])) < 0.5
    left = graph.only(size, chosen)
    for k in range(3):
        kept = chosen if k == size else np.ones(len(graph.nodes[k]), dtype=bool)
        assert left.nodes[k].tolist() == graph.nodes[k][kept].tolist()
    assert links(left) == links(Graph.of(small.task, left.nodes))
    assert left.empty == (not chosen.any())


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.booleans(), st.sampled_from([1, 4, 200]))
def test_the_best_chart_is_found_and_bounded_however_it_is_looked_for(seed, aim, nodes):
    small = Small(seed, sizes=2, aim=aim)
    charts = small.charts()
    top = max(charts.values(), default=-np.inf)
    start = np.random.default_rng(seed).integers(-1, 5, (2, 2))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "FIRST_NODES", nodes)
        found = best_chart(small.task, start)
        patch.setattr(search, "MOST_PAIRS", 6)
        patch.setattr(search, "MANY_PAIRS", 2)
        parts = best_chart(small.task, start)
        if charts:
            # Above the floor alone is of interest, and nothing above what is best.
            over = best_chart(small.task, start, top + 0.5)
            assert over == (top + 0.5, None)
            assert best_chart(small.task, start, top - 0.5)[0] == pytest.approx(top)
    if not charts:
        assert found == (-np.inf, None) == parts
        return
    for value, index in (found, parts):
        assert value == pytest.approx(top, rel=1e-12)
        assert charts[tuple(map(tuple, index))] == pytest.approx(top, rel=1e-12)
        if not aim:
            best = [c[::-1] for c, v in charts.items() if v == top]
            assert tuple(map(tuple, index))[::-1] == min(best)


def test_the_search_for_a_bound_stops_at_the_pairs_allowed(monkeypatch):
    """Nets are halved while twice their pairs are allowed, and no longer."""
    left, halved = [], []
    pruned, in_halves = graphs.Weighed.pruned, Graph.halved

    def listening(self, floor):
        left.append(pruned(self, floor)[0])
        return pruned(self, floor)

    def heard(self, d):
        halved.append(self.count)
        return in_halves(self, d)

    monkeypatch.setattr(graphs.Weighed, "pruned", listening)
    monkeypatch.setattr(Graph, "halved", heard)
    monkeypatch.setattr(search, "FIRST_NODES", 1)
    stopped = 0
    for seed, most in product(range(6), (2, 8, 20, 60, 2 * 81)):
        left.clear()
        small = Small(seed)
        upper_bound(small.task, np.zeros((3, 2), int), -np.inf, most_pairs=most)
        last = left[-1]
        if not last.empty and loosest(last, [1.0, 1.0]) is not None:
            assert 2 * last.count > most
            stopped += 1
        assert all(2 * graph.count <= most for graph in left[:-1])
    assert stopped > 5 and halved


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.booleans())
def test_a_bound_holds_wherever_the_search_stops(seed, limited):
    small = Small(seed, sizes=2, limited=limited)
    charts = small.charts()
    if not charts:
        return
    top = max(charts.values())
    start = np.array(next(iter(charts)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "FIRST_NODES", 2)
        bound = upper_bound(small.task, start, -np.inf, most_pairs=10**6)
        assert bound == pytest.approx(top)
        first = first_graph(small.task, paces(small.task, start)).weighed().top
        at_once = upper_bound(small.task, start, -np.inf, most_pairs=0)
        assert at_once == pytest.approx(first) and at_once >= top
        for most in (4, 10, 30):
            some = upper_bound(small.task, start, -np.inf, most_pairs=most)
            assert top <= some <= first
        # What breaks ties between charts is no part of a bound.
        aimed = replace(small.task, aim=np.full((2, 2), 10**4))
        told = upper_bound(aimed, start, -np.inf, most_pairs=10**6)
        assert told == pytest.approx(top, rel=1e-12)
        for floor in (top + 0.5, top + 3.5):
            near = upper_bound(small.task, start, floor, most_pairs=10**6)
            assert top - TIE <= near < floor
