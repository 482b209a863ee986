"""The fit against brute force over every chart on a small grid."""

import numpy as np
import pandas as pd
import pytest
from banding_oracle import best_by_brute_force, chart_share, make_people
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.banding import fit_bands
from sizing.coverage import coverage
from sizing.errors import SizingError

SMALL = {
    1: ({"hip_circumference_cm": 2.0}, 8),
    2: ({"hip_circumference_cm": 2.0, "sitting_height_cm": 1.5}, 5),
    3: (
        {
            "hip_circumference_cm": 1.3,
            "sitting_height_cm": 1.0,
            "buttock_popliteal_length_cm": 2.0,
        },
        3,
    ),
}


@pytest.mark.parametrize("measures", [1, 2, 3])
@pytest.mark.parametrize("seed", range(6))
def test_share_against_best_by_brute_force(measures, seed):
    rng = np.random.default_rng(seed)
    widths, span = SMALL[measures]
    values = 80 + rng.integers(0, span * 10 + 1, (14, measures)) / 10
    people = make_people(values, rng.integers(1, 5, 14))
    sizes = 2 if measures == 3 else 3
    fit = fit_bands(people, widths=widths, sizes=sizes, splits=0)
    assert fit.share == pytest.approx(
        best_by_brute_force(people, widths, sizes, 10), abs=1e-12
    )
    assert fit.share == pytest.approx(chart_share(fit.chart, people), abs=1e-12)
    assert fit.upper_bound >= fit.share


@pytest.mark.parametrize("seed", range(4))
def test_certificate_never_below_the_finest_optimum(seed):
    rng = np.random.default_rng(seed)
    people = make_people(80 + rng.integers(0, 14, (10, 2)) / 10)
    widths = {"hip_circumference_cm": 0.3, "sitting_height_cm": 0.4}
    coarse = fit_bands(people, widths=widths, sizes=2, step_cm=0.5, splits=0)
    finest = best_by_brute_force(people, widths, 2, 1)
    assert coarse.share <= finest + 1e-12
    assert coarse.upper_bound >= finest - 1e-12
    exact = fit_bands(
        people, widths=widths, sizes=2, step_cm=0.1, splits=0, tolerance=0
    )
    assert exact.share == pytest.approx(finest, abs=1e-12)
    assert exact.gap == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    "constraint",
    [
        {},
        {"least_step": {"hip_circumference_cm": 0.3}},
        {"least_overlap": {"hip_circumference_cm": 0.1}},
        {"rounding": "half"},
        {"least_share": 0.05},
    ],
)
@pytest.mark.parametrize("seed", [8, 44, 98])
def test_levels_agree_with_the_search_and_bound_the_finest(
    constraint, seed, monkeypatch
):
    rng = np.random.default_rng(seed)
    steps = rng.normal(0, (6, 4, 8), (25, 3)).cumsum(axis=1)
    people = make_people(80 + np.round(steps) / 10, rng.integers(1, 5, 25))
    widths = dict(zip(people.measures, (0.5, 0.4, 0.8), strict=True))
    request = {"widths": widths, "sizes": 3, "splits": 0, **constraint}
    levels = fit_bands(people, step_cm=0.1, **request)
    coarse = fit_bands(people, step_cm=0.5, **request)
    for module in ("solve", "fitter"):
        monkeypatch.setattr(
            f"sizing.banding.{module}.can_be_grouped", lambda task: False
        )
    search = fit_bands(people, step_cm=0.1, **request)
    pd.testing.assert_frame_equal(levels.chart.frame, search.chart.frame)
    assert min(levels.upper_bound, coarse.upper_bound) >= search.share - 1e-12


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(700, 900), st.integers(700, 800)), min_size=6, max_size=30
    ),
    st.integers(1, 3),
    st.integers(1, 40),
    st.integers(1, 40),
)
def test_more_or_wider_never_covers_less(points, sizes, width_a, width_b):
    points = list(dict.fromkeys(points))
    if len(points) < sizes + 1:
        return
    people = make_people(np.array(points) / 10)

    def share(count, a, b):
        fit = fit_bands(
            people,
            widths={"hip_circumference_cm": a / 10, "sitting_height_cm": b / 10},
            sizes=count,
            splits=0,
        )
        assert fit.share == pytest.approx(chart_share(fit.chart, people), abs=1e-12)
        assert fit.upper_bound >= fit.share
        return fit.share

    base = share(sizes, width_a, width_b)
    assert share(sizes + 1, width_a, width_b) >= base - 1e-12
    assert share(sizes, width_a + 7, width_b) >= base - 1e-12
    assert share(sizes, width_a, width_b + 3) >= base - 1e-12


def test_order_and_repeats_change_nothing():
    rng = np.random.default_rng(5)
    values = 80 + rng.integers(0, 300, (60, 2)) / 10
    weight = rng.integers(1, 4, 60)
    widths = {"hip_circumference_cm": 5.0, "sitting_height_cm": 6.0}
    one = fit_bands(make_people(values, weight), widths=widths, sizes=3, splits=0)
    turn = rng.permutation(60)
    two = fit_bands(
        make_people(values[turn], weight[turn]), widths=widths, sizes=3, splits=0
    )
    three = fit_bands(
        make_people(np.repeat(values, weight, axis=0)), widths=widths, sizes=3, splits=0
    )
    for other in (two, three):
        pd.testing.assert_frame_equal(one.chart.frame, other.chart.frame)
        assert one.share == pytest.approx(other.share, abs=1e-12)


def test_share_is_what_coverage_finds():
    rng = np.random.default_rng(8)
    values = np.round(rng.normal((100, 90), (9, 4), (300, 2)), 1)
    values[::17, 1] = np.nan
    people = make_people(values, rng.uniform(0.2, 3, 300))
    fit = fit_bands(
        people,
        widths={"hip_circumference_cm": 12.0, "sitting_height_cm": 6.0},
        sizes=3,
        splits=0,
    )
    table = coverage(people, fit.chart, replicates=50).table
    found = table.loc[table["outcome"] == "covered", "estimate"].item()
    assert fit.share == pytest.approx(found, abs=1e-12)
    assert fit.value == pytest.approx(found, abs=1e-12)


def test_four_measures_against_every_chart():
    rng = np.random.default_rng(4)
    people = make_people(80 + rng.integers(0, 21, (12, 4)) / 10, rng.integers(1, 5, 12))
    widths = dict.fromkeys(people.measures, 1.0)
    fit = fit_bands(people, widths=widths, sizes=2, splits=0)
    assert fit.share == pytest.approx(
        best_by_brute_force(people, widths, 2, 10), abs=1e-12
    )


@pytest.mark.parametrize("seed", range(3))
def test_every_box_agrees_with_the_search(seed, monkeypatch):
    rng = np.random.default_rng(seed)
    values = np.round(rng.normal((100, 90, 48), (7, 3, 2), (250, 3)), 1)
    people = make_people(values, rng.integers(1, 4, 250))
    widths = {
        "hip_circumference_cm": 9.0,
        "sitting_height_cm": 5.5,
        "buttock_popliteal_length_cm": 4.0,
    }

    def fit():
        return fit_bands(people, widths=widths, sizes=4, splits=0).chart.frame

    search = fit()
    monkeypatch.setattr("sizing.banding.solve.MANY_PAIRS", 0)
    monkeypatch.setattr("sizing.banding.solve.WORK_PER_PAIR", 10**12)
    pd.testing.assert_frame_equal(search, fit())
    monkeypatch.setattr("sizing.banding.solve.MANY_PAIRS", 10**9)
    monkeypatch.setattr("sizing.banding.solve.MOST_PAIRS", 5_000)
    pd.testing.assert_frame_equal(search, fit())


def test_held_out_persons_keep_their_draws_together():
    # Every person alone: a fit that saw a person covers all her draws.
    values = np.repeat(np.linspace(60, 160, 20)[:, None], 5, axis=0)
    people = make_people(values, draws=5)
    fit = fit_bands(
        people, widths={"hip_circumference_cm": 0.1}, sizes=10, step_cm=0.1, splits=6
    )
    assert fit.share == pytest.approx(0.5)
    assert fit.held_out == 0.0


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"widths": {"hip_circumference_cm": 0}}, "width"),
        ({"widths": {"hip_circumference_cm": float("nan")}}, "width"),
        ({"widths": {}}, "no measure"),
        ({"widths": {"hip_circumference_cm": [5, 6]}}, "per size"),
        ({"widths": {"chest_circumference_cm": 5}}, "lack"),
        ({"sizes": 0}, "number of sizes"),
        ({"sizes": 99}, "more than"),
        ({"step_cm": 0}, "step"),
        ({"least_share": 1.5}, "share"),
        ({"least_share": 0.9}, "no chart"),
        ({"group": "teenage"}, "group"),
        ({"rounding": "furlong"}, "rounding"),
        ({"width_rule": "any"}, "width rule"),
    ],
)
def test_settings_without_sense_are_refused(change, word):
    people = make_people(np.linspace(80, 120, 20)[:, None])
    given_settings = {"widths": {"hip_circumference_cm": 5}, "sizes": 3, "splits": 0}
    with pytest.raises(SizingError, match=word):
        fit_bands(people, **{**given_settings, **change})


def test_people_without_sense_are_refused():
    widths = {"hip_circumference_cm": 5}
    values = np.linspace(80, 120, 20)[:, None]
    with pytest.raises(SizingError, match="weights"):
        fit_bands(make_people(values, np.zeros(20)), widths=widths, sizes=2)
    with pytest.raises(SizingError, match="nobody"):
        fit_bands(make_people(values[:0]), widths=widths, sizes=2)
    with pytest.raises(SizingError, match="nobody"):
        fit_bands(make_people(values * np.nan), widths=widths, sizes=2)
