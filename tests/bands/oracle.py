"""Invented people and brute force for the tests of banding."""

from itertools import combinations_with_replacement, product

import numpy as np
import pandas as pd

from sizing.measures import to_tenths
from sizing.people.people import People

MEASURES = (
    "hip_circumference_cm",
    "sitting_height_cm",
    "buttock_popliteal_length_cm",
    "body_mass_kg",
)


def make_people(values, weight=None, draws=1, **columns):
    """Return people with the given rows; consecutive rows are one's draws."""
    values = np.asarray(values, dtype=float)
    n = len(values)
    frame = pd.DataFrame(
        {
            "person": np.arange(n) // draws,
            "draw": np.arange(n) % draws,
            "sex": "female",
            "age_years": 40.0,
        }
    ).assign(**columns)
    for d in range(values.shape[1]):
        frame[MEASURES[d]] = values[:, d]
    weight = np.ones(n) if weight is None else np.asarray(weight, dtype=float)
    measures = [name for name in MEASURES if name in frame]
    evidence = pd.DataFrame("measured", index=frame.index, columns=measures)
    return People("invented", frame, pd.Series(weight), evidence)


def some_people(seed, n=14, span=4, **columns):
    """Return people of two measures on whole mm within so many cm, of any weight."""
    rng = np.random.default_rng(seed)
    values = 80 + rng.integers(0, span * 10 + 1, (n, 2)) / 10
    return make_people(values, rng.integers(1, 5, n), **columns)


def chart_fits(chart, people):
    """Say who fits each size by the edge rule, straight from the chart."""
    inside = np.ones((len(people.frame), len(chart.sizes)), dtype=bool)
    for measure in chart.measures:
        low, high = chart.edges(measure)
        x = to_tenths(people.frame[measure])[:, None]
        inside &= (x >= 0) & (x >= low) & (x <= high)
    return inside


def chart_share(chart, people):
    """Return the share of the people's weight in at least one size."""
    weight = people.weight.to_numpy()
    return weight[chart_fits(chart, people).any(axis=1)].sum() / weight.sum()


def rows_of(people, measures):
    """Return the people's measures in tenths, a column each."""
    return np.column_stack([to_tenths(people.frame[m]) for m in measures])


def share_in(people, measures):
    """Return what tells the share of the people in some boxes."""
    x, weight = rows_of(people, measures)[:, None], people.weight.to_numpy()

    def share(low, high):
        inside = ((x >= low) & (x <= high)).all(axis=2).any(axis=1)
        return weight[inside].sum() / weight.sum()

    return share


def boxes_of(people, widths, step, room=0):
    """Return every box of these widths on the grid, as (low, high) in tenths."""
    wide = np.array([round(10 * width) for width in widths.values()])
    lows = product(*low_edges(people, widths, step, room))
    return [(np.array(low), np.array(low) + wide) for low in lows]


def low_edges(people, measures, step, room=0):
    """Return every low edge worth trying, measure by measure."""
    found = []
    for measure in measures:
        x = to_tenths(people.frame[measure])
        start = (x.min() - room) // step
        found.append(np.arange(start, -(-(x.max() + room) // step) + 1) * step)
    return found


def every_chain(boxes, sizes, allowed=None):
    """Yield all chains of (low, high) boxes whose edges never fall."""
    for pick in combinations_with_replacement(range(len(boxes)), sizes):
        low = np.array([boxes[i][0] for i in pick])
        high = np.array([boxes[i][1] for i in pick])
        if (np.diff(low, axis=0) < 0).any() or (np.diff(high, axis=0) < 0).any():
            continue
        if allowed is None or allowed(low, high):
            yield low, high


def best_by_brute_force(
    people, widths, sizes, step, *, allowed=None, value=None, room=0
):
    """Return the best value over all chains with low edges on the grid."""
    value = value or share_in(people, widths)
    chains = every_chain(boxes_of(people, widths, step, room), sizes, allowed)
    return max((value(low, high) for low, high in chains), default=-np.inf)
