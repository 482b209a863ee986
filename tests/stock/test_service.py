"""Who waits: Hall's condition against maximum flows of two libraries."""

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.stock import service
from sizing.stock.service import Needs, flow_shortage


def random_days(seed, sizes, kinds, days, most=5):
    rng = np.random.default_rng(seed)
    kinds = min(kinds, 2**sizes - 1)
    masks = rng.choice(np.arange(1, 2**sizes), kinds, replace=False)
    counts = rng.integers(0, most, (days, kinds))
    free = rng.integers(0, most + 2, (days, sizes))
    return counts, masks, free


def fits_of(masks, sizes):
    return ((masks[:, None] >> np.arange(sizes)) & 1).astype(bool)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 7), st.integers(1, 12))
def test_listing_agrees_with_scipys_maximum_flow(seed, sizes, kinds):
    counts, masks, free = random_days(seed, sizes, kinds, days=7)
    found = Needs(counts, masks, sizes).shortage(free)
    waiting, small, large = flow_shortage(counts, fits_of(masks, sizes), free)
    assert found.waiting.tolist() == waiting.tolist()
    assert found.sets.tolist() == small.tolist()
    # A size that nobody fits is not in a group of linked sizes with stock to give.
    needed = np.bitwise_or.reduce(masks)
    assert (found.tight & needed).tolist() == (large & needed).tolist()


def agree(counts, masks, free, sizes):
    """Hold handing out in turn to listing; of sizes nobody fits nothing is said."""
    listed, turned = (
        way(counts, masks, np.arange(sizes)).shortage(free)
        for way in (service._Listed, service._Flows)
    )
    needed = np.bitwise_or.reduce(masks)
    for one, other in zip(listed, turned, strict=True):
        assert (one & needed).tolist() == (other & needed).tolist()
    assert listed[0].tolist() == turned[0].tolist()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 7), st.integers(2, 14))
def test_handing_out_in_turn_agrees_with_listing(seed, sizes, kinds):
    counts, masks, free = random_days(seed, sizes, kinds, days=20, most=4)
    agree(counts, masks, free, sizes)


@pytest.mark.parametrize("seed", range(5))
def test_waiting_against_networkx(seed):
    counts, masks, free = random_days(seed, sizes=5, kinds=9, days=3)
    found = Needs(counts, masks, 5).shortage(free)
    for day in range(3):
        graph = nx.DiGraph()
        graph.add_node("clients")
        graph.add_node("slings")
        for kind, mask in enumerate(masks):
            graph.add_edge("clients", ("k", kind), capacity=int(counts[day, kind]))
            for size in range(5):
                if mask >> size & 1:
                    graph.add_edge(("k", kind), ("s", size))
        for size in range(5):
            graph.add_edge(("s", size), "slings", capacity=int(free[day, size]))
        served = nx.maximum_flow_value(graph, "clients", "slings")
        assert found.waiting[day] == counts[day].sum() - served


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_one_sling_more_or_less_changes_what_the_sets_say(seed):
    counts, masks, free = random_days(seed, sizes=5, kinds=8, days=10)
    needs = Needs(counts, masks, 5)
    found = needs.shortage(free)
    for size in range(5):
        step = np.eye(5, dtype=int)[size]
        more = needs.shortage(free + step).waiting
        assert (found.waiting - more).tolist() == (found.sets >> size & 1).tolist()
        some = free[:, size] > 0
        less = needs.shortage(np.maximum(free - step, 0)).waiting
        tight = found.tight >> size & 1
        assert (less - found.waiting)[some].tolist() == tight[some].tolist()


def test_days_left_open_go_through_the_flow_some_at_a_time(monkeypatch):
    """More days than one flow takes, each settled as on its own."""
    days = [random_days(5 + i, sizes=7, kinds=14, days=200, most=4) for i in range(9)]
    monkeypatch.setattr(service, "_BATCH", 1)
    taken = []

    def counted(needs, fits, free):
        taken.append(len(needs))
        return flow_shortage(needs, fits, free)

    monkeypatch.setattr(service, "flow_shortage", counted)
    for counts, masks, free in days:
        agree(counts, masks, free, 7)
    # Few days of the 1,800 need it, but some do, one at a time.
    assert set(taken) == {1} and 9 < len(taken) < 300


def test_no_sizes_serve_nobody():
    found = Needs(np.zeros((3, 0), dtype=int), np.zeros(0, dtype=int), 0)
    assert found.shortage(np.zeros(0, dtype=int)).waiting.tolist() == [0, 0, 0]
