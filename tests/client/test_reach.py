"""What would reach most of those left out: brute force, and the bands' search."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.bands import fit_bands
from sizing.charts import chart_from, demo_chart, fits_matrix
from sizing.client.nudge import with_edge
from sizing.client.reach import FURTHEST, ONE_MORE, fullest_box, what_to_change
from sizing.people import load_people, people_from
from sizing.words.chart import change_words

from .cases import HIP, MASS, made


def held(x, weight, low, width):
    return weight[((x >= low) & (x <= low + width)).all(axis=1)].sum()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([3, 1_000]))
def test_no_box_of_these_widths_holds_more(seed, most):
    rng = np.random.default_rng(seed)
    x, weight = rng.integers(0, 90, (12, 3)), rng.random(12)
    width = rng.integers(0, 40, 3)
    low, proved = fullest_box(x, weight, width, most=most)
    grid = product(range(0, 100, 10), repeat=3)
    best = max(held(x, weight, low, width) for low in grid)
    found = held(x, weight, low, width)
    # Stopped early it gives a box that it does not call the best.
    assert found == pytest.approx(best) if proved else 0 <= found <= best + 1e-9
    assert proved or most == 3


@pytest.fixture(scope="module")
def clients():
    rng = np.random.default_rng(5)
    hip = rng.normal(105, 14, 150).round(1)
    mass = (0.9 * hip - 20 + rng.normal(0, 9, 150)).round(1)
    return people_from(pd.DataFrame({HIP: hip, MASS: mass}), name="mine")


@pytest.fixture(scope="module")
def chart():
    bands = {HIP: [(85, 97), (97, 112)], MASS: [(50, 70), (65, 90)]}
    return made(bands, load=[120, 92])


def covered(people, chart):
    return fits_matrix(people.frame, chart).any(axis=1).mean()


def test_no_edge_moved_so_far_reaches_more(clients, chart):
    found = what_to_change(clients, chart).query("change == 'edge'").iloc[0]
    now, gains = covered(clients, chart), []
    for size, name, end in product(chart.sizes, chart.measures, ("low", "high")):
        edge = chart.frame.set_index("size").loc[size, f"{name}_{end}"]
        step = FURTHEST[name[-2:]] * (1 if end == "high" else -1)
        moved = with_edge(chart, size, name, end, edge + step)
        gains.append(covered(clients, moved) - now)
    assert found["estimate"] == pytest.approx(max(gains)) and max(gains) > 0
    assert found["left_out"] == pytest.approx(1 - now) and not found["halved"]


def test_the_size_more_is_the_one_that_the_bands_search_finds(clients, chart):
    rows = what_to_change(clients, chart).query("change == 'size'")
    left = ~fits_matrix(clients.frame, chart).any(axis=1)
    rest = people_from(clients.frame.loc[left, [HIP, MASS]], name="left out")
    widths = {row["measure"]: row["to"] - row["from"] for _, row in rows.iterrows()}
    fitted = fit_bands(rest, widths=widths, sizes=1, splits=0, step_cm=1, smooth_cm=0)
    assert rows["estimate"].iloc[0] == pytest.approx(fitted.share * left.mean())


def test_the_gain_is_counted_among_those_it_was_not_chosen_among():
    people = load_people("bariatric", draws=2)
    found = what_to_change(people, demo_chart())
    assert found["halved"].all() and (found["n"] == people.n - people.n // 2).all()
    assert (found["low"] >= 0).all() and (found["estimate"] <= found["left_out"]).all()
    edge, size, how = change_words(found)
    assert edge.startswith("One edge moved") and size.startswith(
        "One size more: weight"
    )
    assert "one half" in how and "only its supplier" in how and found["proved"].all()
    assert "not proved" in change_words(found.assign(proved=False))[-1]
    assert set(found.query("change == 'size'")["size"]) == {ONE_MORE}


def test_nothing_is_promised_where_nobody_is_left_out(clients, chart):
    wide = chart.frame.assign(load_limit_kg=np.nan)
    wide[[f"{HIP}_low", f"{MASS}_low"]] = 0
    wide[[f"{HIP}_high", f"{MASS}_high"]] = 900
    found = what_to_change(clients, chart_from(wide, warn=False))
    assert found.empty and change_words(found) == []
