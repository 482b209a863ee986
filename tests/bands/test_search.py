"""The search's nets, bounds and climbs against trying everything on small tasks."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.bands import search
from sizing.bands.graph import TIE
from sizing.bands.search import (
    best_chart,
    first_graph,
    paces,
    upper_bound,
)

from .small import Small

SEEDS = st.integers(0, 10**6)


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
