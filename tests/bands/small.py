"""A small task for the search, with everything that can be said of it by counting."""

from itertools import pairwise, product

import numpy as np

from sizing.bands.axis import Axis
from sizing.bands.goal import Counter, Goal
from sizing.bands.graph import NUDGE, Graph, Task
from sizing.bands.measured import read_measured
from sizing.measures.edges import NO_HIGH

from .oracle import MEASURES, make_people


class Small:
    """A task of few people and few candidates, and all that can be said of it."""

    def __init__(self, seed, *, limited=False, measures=2, sizes=3, aim=False):
        rng = np.random.default_rng(seed)
        self.x = rng.integers(0, 14, (25, measures))
        self.weight = rng.integers(1, 4, 25).astype(float)
        self.limits = np.full(sizes, NO_HIGH)
        self.mass = np.zeros(25)
        if limited:
            self.limits = rng.integers(60, 70, sizes) * 10
            self.mass = rng.integers(600, 700, 25)
        people = make_people(self.x / 10, self.weight, body_mass_kg=self.mass / 10)
        measured = read_measured(people, MEASURES[:measures], limits=self.limits)
        self.axes = []
        for d in range(measures):
            low = [np.sort(rng.choice(10, 3, False)) for _ in range(sizes)]
            high = [e + 2 + np.sort(rng.choice(4, 3)) for e in low]
            self.axes.append(
                Axis(
                    MEASURES[d],
                    *(tuple(low), tuple(low), tuple(high), tuple(high)),
                    least_step=int(rng.integers(0, 2)),
                    least_overlap=[None, None, 0, 1][rng.integers(4)],
                )
            )
        counter = Counter(Goal(), measured, self.axes, self.limits)
        self.task = Task(
            self.axes,
            counter.terms(self.weight),
            counter.passed,
            self.weight.sum(),
            self.limits,
            rng.integers(0, 10, (sizes, measures)) if aim else None,
        )

    def box(self, size, node):
        """The outer box of a node."""
        return (
            np.array([a.low[size][n[0]] for a, n in zip(self.axes, node, strict=True)]),
            np.array(
                [a.high[size][n[1]] for a, n in zip(self.axes, node, strict=True)]
            ),
        )

    def within(self, size, node):
        low, high = self.box(size, node)
        return ((self.x >= low) & (self.x <= high)).all(axis=1)

    def alone(self, size, node):
        """What a node is worth by itself."""
        able = self.mass <= self.limits[size]
        found = self.weight[self.within(size, node) & able].sum()
        if self.task.aim is None:
            return found
        far = 0.0
        for d, (axis, (first, last)) in enumerate(zip(self.axes, node, strict=True)):
            low, aim = axis.low[size], self.task.aim[size, d]
            near = min(abs(e - aim) for e in range(low[first], low[last] + 1))
            far += near / (axis.high[size][0] - low[0] + 1)
        return found - NUDGE * self.weight.sum() * far

    def gain(self, size, below, above):
        """What a node adds to one below it."""
        able = self.mass <= min(self.limits[size - 1 : size + 1])
        both = self.within(size, above) & self.within(size - 1, below) & able
        return self.alone(size, above) - self.weight[both].sum()

    def paths(self, graph):
        """Every chain of nodes, with its worth."""
        numbers = [range(len(n)) for n in graph.nodes]
        linked = [set(zip(a.tolist(), b.tolist(), strict=True)) for a, b in graph.pairs]
        found = {}
        for path in product(*numbers):
            steps = list(pairwise(path))
            if all(step in linked[k] for k, step in enumerate(steps, 1)):
                total = self.alone(0, graph.nodes[0][path[0]])
                for k, (a, b) in enumerate(steps, 1):
                    total += self.gain(k, graph.nodes[k - 1][a], graph.nodes[k][b])
                found[path] = total
        return found

    def charts(self):
        """Every chart that is allowed, with its worth."""
        return {
            tuple(map(tuple, index)): total
            for index, total in self._charts()
            if total > -np.inf
        }

    def _charts(self):
        graph = Graph.of(
            self.task, [every_box(self.axes, k) for k in range(len(self.limits))]
        )
        for path, total in self.paths(graph).items():
            yield [n[i, :, 0] for n, i in zip(graph.nodes, path, strict=True)], total


def every_box(axes, size):
    """One node for each candidate box of a size."""
    index = np.array(list(product(*(range(axis.n(size)) for axis in axes))))
    return np.stack([index, index], axis=2)
