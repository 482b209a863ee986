"""How hard a bound is pressed, what it may cost, and where a search begins."""

import numpy as np
import pytest

from sizing.bands import fit_bands
from sizing.bands.fitter import (
    NEAR,
    Fitter,
    has_valley,
)
from sizing.bands.graph import NUDGE

from .oracle import MEASURES, make_people

HIP, SIT = MEASURES[:2]


ALL = [("quick", 0.0), ("thorough", NEAR), ("fewer", None)]


def fitter_of(values, weight=None, *, widths=(1.0,), sizes=1, **more):
    people = make_people(values, weight)
    wide = dict(zip(MEASURES, widths, strict=False))
    return Fitter.of(people, widths=wide, sizes=sizes, **more)


def test_what_the_tie_rule_may_cost_is_in_the_bound():
    """By hand: 20 candidates' range over bands of 11 values, for two sizes."""
    values = np.array([[80.0], [81.3], [82.2], [83.0]])
    asked = {"widths": (1.0,), "sizes": 2, "step_cm": 0.1}
    most = NUDGE * 2 * 20 / 11
    uneven = fitter_of(values, [1.0, 1.5, 1.0, 1.0], **asked)
    assert uneven._nudged == pytest.approx(most)
    # Shares of whole multiples of one weight differ by more than the rule costs.
    assert fitter_of(values, [2.0, 6.0, 2.0, 2.0], **asked)._nudged == 0
    heavy = fitter_of(values, [1.0, 1e9, 1.0, 1.0], **asked)
    assert heavy._nudged == pytest.approx(most)
    for judged in (
        {"objective": "judged", "errors": {HIP: 0.0}},
        {"objective": "loss"},
    ):
        other = fitter_of(values, **asked, **judged)
        assert other._nudged == pytest.approx(NUDGE * 2 * 20 / 11, rel=1e-9)
    found = fit_bands(
        make_people(values, [1.0, 1.5, 1.0, 0.7]),
        widths={HIP: 0.9},
        sizes=2,
        splits=0,
        step_cm=0.1,
    )
    assert found.share < 1
    assert found.gap == pytest.approx(NUDGE * 2 * 21 / 10, rel=1e-6)


def test_a_valley_is_only_where_both_sides_lift_more():
    for limits in ([5, 4, 5], [5, 4, 4, 5], [9, 3, 7], [1, 5, 4, 6]):
        assert has_valley(np.array(limits))
    for limits in ([5, 5], [4, 5, 5], [5, 4, 4], [1, 2, 3], [3, 2, 1], [2, 3, 1]):
        assert not has_valley(np.array(limits))
