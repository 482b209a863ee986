"""Days drawn: who is there, who needs a sling, which slings are out."""

import tracemalloc
from dataclasses import asdict, replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.people import people_from
from sizing.stock import Served, Use, offer_from
from sizing.stock.days import draw_days, group_from

from .cases import drawn, people_of, tall_and_short


def test_admissions_replace_a_caseload_at_a_constant_rate():
    """The caseload is one of each kind; who comes is like them all."""
    served = Served(people_of(150.0, 180.0), admissions=4)
    *_, days = drawn(served, days=20_000, seed=(2, 0))
    both = (needs_of(days, 1) == 1) & (needs_of(days, 2) == 1)
    # Each has left by chance p = 1 - exp(-2 t), t uniform on 0 to 1: of two new ones,
    # and of an old and a new one, half are one of each: 1 - E[p] + E[p^2] / 2.
    left = 1 - (1 - np.exp(-2)) / 2
    square = 1 - (1 - np.exp(-2)) + (1 - np.exp(-4)) / 4
    assert both.mean() == pytest.approx(1 - left + square / 2, abs=0.012)


def test_a_caseload_is_whole_on_each_day_whichever_draw_stands_for_a_client():
    """One client is short in one of two draws, the other tall in both."""
    rows = {"person": [0, 1, 0, 1], "draw": [0, 0, 1, 1]}
    own = people_from(pd.DataFrame(rows | {"stature_cm": [150.0, 180, 180, 180]}))
    group = group_from(Served(own), offer_from(tall_and_short()))
    days = draw_days([group], Use(), sizes=2, days=4000, seed=(3, 0))
    assert (days.needs.sum(axis=1) == 2).all()
    short = days.needs[:, days.masks == 1].sum(axis=1)
    assert set(short) == {0, 1} and short.mean() == pytest.approx(0.5, abs=0.04)


@pytest.mark.parametrize("at_most", [None, 6])
def test_who_is_lifted_at_the_busiest_moment_is_anyone(people, at_most):
    """Light and heavy alike: who needs a sling has nothing to do with her body."""
    use = Use("shared", at_once=0.3, at_most=at_most)
    _, group, some = drawn(Served(people, 30), use, days=4000, seed=(1, 0))
    w = np.bincount(np.searchsorted(some.masks, group.masks), minlength=4)
    found = some.needs.sum(axis=0) / some.needs.sum()
    np.testing.assert_allclose(found, w / w.sum(), atol=0.01)


def needs_of(days, mask):
    """Return the needs of one set of sizes, day by day."""
    return days.needs[:, days.masks == mask].sum(axis=1)


@pytest.mark.parametrize(
    ("number", "passed_on", "mean", "variance"),
    [
        ("fixed", True, 10, 0),
        ("fixed", False, 16, 6),
        ("listed", True, 10, 0),
        ("listed", False, 16, 6),
        ("poisson", True, 10, 10),
        ("poisson", False, 16, 16),
    ],
)
def test_how_many_are_there_varies_as_it_is_said_to(
    people, number, passed_on, mean, variance
):
    """A caseload's ten clients stay; newcomers are like the caseload itself."""
    served = Served(people_of(*[150.0] * 10), admissions=6)
    if number != "listed":
        served = Served(people, 10, number=number, admissions=6)
    *_, days = drawn(served, Use(passed_on=passed_on), days=8000, seed=(4, 1))
    total = days.needs.sum(axis=1)
    assert total.mean() == pytest.approx(mean, abs=0.15)
    assert total.var() == pytest.approx(variance, abs=0.8)
    # A pool needs no more slings for who comes after someone who left.
    *_, pooled = drawn(served, Use("shared", passed_on=passed_on), days=4000)
    assert pooled.needs.sum(axis=1).mean() == pytest.approx(10, abs=0.2)


def test_who_has_no_weight_is_never_drawn_and_others_by_theirs():
    frame = people_of(150.0, 167, 180, 150, body_mass_kg=[80, np.nan, 60, 40]).frame
    some = people_from(frame, weight=np.array([1.0, 3.0, 4.0, 0.0]))
    _, group, days = drawn(Served(some, 5), days=4000)
    # From light to heavy, whose mass is not known first.
    assert group.sets.tolist() == [1, 2, 3]
    parts = np.repeat([[0, 0, 1], [0, 1, 0], [1, 0, 0]], [6, 8, 2], axis=0)
    np.testing.assert_allclose(group.shares, parts, atol=1e-9)
    other = np.array([0.0, 1.0, 0.0, 1.0])
    *_, again = drawn(Served(some, 5), days=4000, weight=other)
    for one, masks, shares in (
        (days, [0, 1, 2, 3], [0, 1 / 8, 4 / 8, 3 / 8]),
        (again, [0, 1, 3], [0, 0.5, 0.5]),
    ):
        assert one.masks.tolist() == masks
        share = one.needs.sum(axis=0) / one.needs.sum()
        np.testing.assert_allclose(share, shares, atol=0.01)


def test_the_same_luck_means_a_like_body_under_other_weights(people):
    """Heavier people on each day alike, not other people altogether."""
    offer = offer_from(tall_and_short())
    mass = people.frame["body_mass_kg"].to_numpy()
    like = people_from(people.frame[["body_mass_kg"]].assign(stature_cm=mass + 92))
    groups = [
        group_from(Served(like, 20), offer, weight)
        for weight in (None, np.exp((mass - 75) / 200))
    ]
    light = [
        needs_of(draw_days([g], Use(), sizes=2, days=2000, seed=(1, seed)), 1)
        for g, seed in ((groups[0], 1), (groups[1], 1), (groups[1], 2))
    ]
    assert np.corrcoef(light[0], light[1])[0, 1] > 0.5
    assert abs(np.corrcoef(light[0], light[2])[0, 1]) < 0.1
    for group in groups:
        np.testing.assert_allclose(group.shares.sum(axis=1), 1)


def test_counting_by_sets_is_drawing_clients_one_by_one(people):
    """Mean, variance and covariance of a multinomial of the people's own sets."""
    weight = np.linspace(1, 3, people.n)
    _, group, days = drawn(Served(people, 50), days=20_000, weight=weight)
    sets = np.searchsorted(days.masks, group.masks)
    share = np.bincount(sets, weight, minlength=4) / weight.sum()
    np.testing.assert_allclose(days.needs.mean(axis=0), 50 * share, atol=0.1)
    want = 50 * (np.diag(share) - np.outer(share, share))
    np.testing.assert_allclose(np.cov(days.needs.T, ddof=0), want, atol=0.4)
    assert set(days.needs.sum(axis=1)) == {50}


def test_the_memory_for_days_does_not_grow_with_the_clients(people):
    """A hundred thousand clients took more memory than a laptop has."""
    group = group_from(Served(people, 100_000), offer_from(tall_and_short()))
    tracemalloc.start()
    try:
        draw_days([group], Use(), sizes=2, days=1000, seed=(1, 1))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 20e6


@pytest.mark.parametrize("each", [1, 2])
def test_slings_taken_until_enough_are_free_are_negative_binomial(people, each):
    use = Use(each=each, out={"laundry": (1, 5), "repair": (1, 20)})
    assert use.share_out == pytest.approx(0.25)
    *_, days = drawn(Served(people, 10), use, days=6000)
    taken = days.slings.sum(axis=1)
    assert (days.needs.sum(axis=1) == 10 * each).all()
    law = stats.nbinom(10 * each, 0.75)
    assert taken.mean() == pytest.approx(10 * each + law.mean(), abs=0.1)
    assert taken.var() == pytest.approx(law.var(), rel=0.08)
    assert (days.slings >= days.needs).all()


@settings(max_examples=30)
@given(
    st.integers(0, 30),
    st.floats(0.01, 0.85),
    st.lists(st.floats(0, 1, exclude_max=True), min_size=1, max_size=8),
)
def test_how_many_are_free_is_the_quantile_at_the_days_luck(number, out, luck):
    *_, days = drawn(Served(people_of(150.0), 1), days=len(luck))
    luck = np.array(luck)
    days = replace(days, luck=luck[:, None], share_out=np.array([out]))
    free = days.free(np.array([number]))[:, 0]
    near = 1e-12
    assert (stats.binom.cdf(free, number, 1 - out) >= luck - near).all()
    assert (stats.binom.cdf(free - 1, number, 1 - out) < luck + near).all()
    assert (free <= number).all()


def test_the_same_seed_gives_the_same_days_and_another_others(people):
    offer = offer_from(tall_and_short())
    groups = [group_from(Served(people, 6), offer) for _ in range(2)]
    use = Use("shared", at_once=0.5, out={"laundry": (1, 7)})
    first, again, other = (
        asdict(draw_days(groups, use, sizes=2, days=60, seed=seed))
        for seed in ((1, 1), (1, 1), (1, 2))
    )
    for name, held in first.items():
        assert np.array_equal(held, again[name]), name
        fixed = name in ("masks", "share_out")
        assert np.array_equal(held, other[name]) == fixed
    # Groups alike are not the same people.
    assert not np.array_equal(*first["by_group"])
