"""What no chart exceeds, wherever the search stops, and what a tie rule may cost."""

import numpy as np
import pytest

from sizing.bands import fit_bands, search
from sizing.bands.fitter import Fitter, has_valley
from sizing.bands.graph import NUDGE, TIE
from sizing.bands.search import best_chart, upper_bound

from .oracle import MEASURES, make_people

HIP, SIT = MEASURES[:2]


@pytest.mark.parametrize("seed", range(5))
def test_a_bound_holds_wherever_the_search_stops(seed, monkeypatch):
    """What was dropped below a floor counts too: the best chart may be among it."""
    monkeypatch.setattr(search, "FIRST_NODES", 2)
    values = 80 + np.random.default_rng(seed).integers(0, 60, (25, 2)) / 10
    how = {"widths": {HIP: 1.0, SIT: 1.2}, "sizes": 2, "step_cm": 0.5, "smooth_cm": 0}
    fitter = Fitter.of(make_people(values), **how)
    task = fitter.tasks(fitter.measured.weight, aim=False)[0]
    start = np.zeros((2, 2), dtype=int)
    top, _ = best_chart(task, start)
    bounds = [upper_bound(task, start, -np.inf, most_pairs=m) for m in (0, 99, 10**6)]
    assert bounds[0] > bounds[-1] == pytest.approx(top)
    assert min(bounds) >= top - TIE
    for floor in (top + 0.5, top + 3.5):
        near = upper_bound(task, start, floor, most_pairs=10**6)
        assert top - TIE <= near < floor


def test_what_the_tie_rule_may_cost_is_in_the_bound():
    """By hand: 20 candidates' range over bands of 11 values, for two sizes."""
    values = np.array([[80.0], [81.3], [82.2], [83.0]])
    most = NUDGE * 2 * 20 / 11
    for weight, cost in (
        ([1.0, 1.5, 1.0, 1.0], most),
        # Shares of whole multiples of one weight differ by more than the rule costs.
        ([2.0, 6.0, 2.0, 2.0], 0),
        ([1.0, 1e9, 1.0, 1.0], most),
    ):
        how = {"widths": {HIP: 1.0}, "sizes": 2, "step_cm": 0.1}
        fitter = Fitter.of(make_people(values, weight), **how)
        assert fitter._nudged == pytest.approx(cost)
    people = make_people(values, [1.0, 1.5, 1.0, 0.7])
    found = fit_bands(people, widths={HIP: 0.9}, sizes=2, splits=0, step_cm=0.1)
    assert found.share < 1
    assert found.gap == pytest.approx(NUDGE * 2 * 21 / 10, rel=1e-6)


def test_a_valley_is_only_where_both_sides_lift_more():
    for limits in ([5, 4, 5], [5, 4, 4, 5], [9, 3, 7], [1, 5, 4, 6]):
        assert has_valley(np.array(limits))
    for limits in ([5, 5], [4, 5, 5], [5, 4, 4], [1, 2, 3], [3, 2, 1], [2, 3, 1]):
        assert not has_valley(np.array(limits))
