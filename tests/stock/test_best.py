"""Whether the order kept is the best there is, found by trying every order."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sizing.stock import Served, Use, plan_stock
from sizing.stock.budget import fewest_waiting
from sizing.stock.cheapest import least_cost
from sizing.stock.days import draw_days, group_from
from sizing.stock.offers import offer_from
from sizing.stock.programme import programme_from
from sizing.stock.service import Needs

from .cases import chart_of, four_hundred, offer_of, orders, people_of, programme_of

SIZES = 4


def four_sizes(prices):
    return chart_of([140, 155, 165, 175], [158, 168, 178, 200], price=prices)


@pytest.fixture(scope="module", params=[(95, 140, 105, 180)])
def every_order(request):
    """Eight residents, four sizes: what every order does on very many days."""
    chart = four_sizes(request.param)
    home = Served(four_hundred(), 8, name="home")
    offer = offer_from(chart)
    days = draw_days(
        [group_from(home, offer)], Use(), sizes=SIZES, days=20_000, seed=[99]
    )
    counts, number = np.unique(days.needs[:, 1:], axis=0, return_counts=True)
    needs = Needs(counts, days.masks[1:], SIZES)
    tried = orders([8] * SIZES)
    cost = tried @ np.array(request.param)
    tried, cost = tried[cost < 1800], cost[cost < 1800]
    waiting = [needs.shortage(one).waiting for one in tried]
    nobody = np.array([number[one == 0].sum() / 20_000 for one in waiting])
    mean = np.array([number @ one / 20_000 for one in waiting])
    met = 1 - mean / (number @ needs.counts.sum(axis=1) / 20_000)
    return chart, home, cost, nobody, mean, met


@pytest.mark.parametrize(("aim", "target"), [("days", 0.92), ("needs", 0.97)])
def test_the_order_is_within_a_hair_of_the_best_over_ten_seeds(
    every_order, aim, target
):
    """Three seeds' "proved" orders cost 4 to 10 % more than the best."""
    chart, home, cost, nobody, _, met = every_order
    best = cost[(nobody if aim == "days" else met) >= target].min()
    plans = [
        plan_stock(home, chart, target=target, aim=aim, seed=seed, scenarios=400)
        # A target of needs takes longer to plan: fewer seeds are tried each time.
        for seed in range(10 if aim == "days" else 3)
    ]
    assert max(plan.cost for plan in plans) <= 1.015 * best
    for plan in plans:
        reached = plan.service["estimate"][0 if aim == "days" else 1]
        assert reached > target - 0.015 and plan.gap < 0.1
        # One margin: in the order, beside the other targets and the other people.
        assert plan.robustness["cost"][0] == plan.cost
        assert plan.curve.set_index("plan").loc[True, "target"] == target
        assert (
            plan.curve.loc[plan.curve["target"] == target, "cost"].item() == plan.cost
        )
        assert len(plan.again) == 10
        assert plan.again["estimate"].between(target - 0.05, 1).all()


def test_a_budget_is_spent_as_well_as_can_be_over_five_seeds(every_order):
    chart, home, cost, _, mean, _ = every_order
    best = mean[cost <= 800].min()
    plans = [
        plan_stock(home, chart, budget=800, seed=seed, scenarios=400)
        for seed in range(5)
    ]
    for plan in plans:
        assert plan.cost <= 800
        assert plan.service["estimate"][2] <= best * 1.015 + 0.05


# The order: against quantiles, the newsvendor, and brute force


def one_size_days(use, *, count, number="fixed", days=20_000, seed=3):
    people = people_of(110.0)
    offer = offer_of([100.0])
    group = group_from(Served(people, count, number=number), offer)
    drawn = draw_days([group], use, sizes=1, days=days, seed=(seed, 0))
    return programme_from(offer, drawn, use.spares)


def test_one_size_is_the_binomial_or_the_poisson_quantile():
    pool = one_size_days(Use("shared", at_once=0.3), count=40)
    order = least_cost(pool, 0.95)
    assert order.packs.tolist() == [stats.binom.ppf(0.95, 40, 0.3)] and order.gap == 0
    varying = one_size_days(Use(), count=12, number="poisson")
    assert least_cost(varying, 0.9).packs.tolist() == [stats.poisson.ppf(0.9, 12)]


@pytest.mark.parametrize("out", [(1, 7), (1, 3)])
def test_slings_out_of_use_are_the_binomial_of_the_slings_held(out):
    use = Use(out={"laundry": out})
    programme = one_size_days(use, count=20)
    share = out[0] / out[1]
    held = np.arange(20, 60)
    enough = stats.binom.sf(19, held, 1 - share) >= 0.95
    assert least_cost(programme, 0.95).packs[0] == held[enough][0]


def test_newsvendor_ratio_on_a_published_worked_example():
    # Cachon and Terwiesch, Matching Supply with Demand, 3rd ed., ch. 12, Q12.1 d:
    # demand normal, mean 200, SD 80, underage 8, overage 4: z = 0.44 by table,
    # order 235.2.
    grid = (np.arange(4001) + 0.5) / 4001
    demand = np.rint(stats.norm.ppf(grid, 200, 80)).clip(0).astype(int)
    programme = programme_of(demand[:, None], [1], [4.0])
    order = least_cost(programme, 8 / (8 + 4))
    assert order.packs[0] == np.rint(stats.norm.ppf(2 / 3, 200, 80))
    assert abs(order.packs[0] - 235.2) < 1.3  # z rounded to two places, whole slings


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_more_budget_never_serves_fewer(seed):
    rng = np.random.default_rng(seed)
    counts = rng.poisson([2.0, 1.0, 1.5, 1.0], (30, 4))
    programme = programme_of(counts, [1, 3, 6, 4], [100.0, 120.0, 90.0])
    found = [
        programme.short(fewest_waiting(programme, b).packs).waiting.mean()
        for b in (0.0, 200.0, 350.0, 500.0, 900.0)
    ]
    assert all(a >= b - 1e-9 for a, b in itertools.pairwise(found))
    assert found[0] == counts.sum(axis=1).mean()


@pytest.mark.parametrize(
    ("columns", "spares", "most"),
    [
        ({}, 0, [5]),
        ({}, 2, [7]),
        ({"owned": [2]}, 0, [3]),
        ({"owned": [6]}, 0, [0]),
        ({"pack": [2]}, 0, [3]),
        ({"most": [3]}, 0, [3]),
        ({"most": [2], "owned": [2]}, 0, [0]),
        ({"most": [1], "owned": [2]}, 0, [0]),
        ({"most": [5], "owned": [2], "pack": [2]}, 0, [1]),
    ],
)
def test_no_more_packs_than_help_or_may_be_had(columns, spares, most):
    """Five at most need the size on one day; packs are not opened."""
    programme = programme_of([[3], [5]], [1], [10.0], spares=spares, **columns)
    assert programme.most_packs.tolist() == most
    held = programme.stock(programme.most_packs)[0]
    assert held <= max(programme.offer.column("most")[0], programme.owned[0])
