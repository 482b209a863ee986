"""Whether the order kept is the best there is, found by trying every order."""

import numpy as np
import pandas as pd
import pytest

from sizing.charts import chart_from
from sizing.stock import Served, Use, plan_stock, service
from sizing.stock.days import draw_days, group_from
from sizing.stock.offers import offer_from
from sizing.stock.service import Needs

from .cases import four_hundred, orders

SIZES = 4


def four_sizes(prices):
    return chart_from(
        pd.DataFrame(
            {
                "size": [f"size {i}" for i in range(SIZES)],
                "stature_cm_low": [140, 155, 165, 175],
                "stature_cm_high": [158, 168, 178, 200],
                "price": prices,
            }
        ),
        warn=False,
    )


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


def test_many_linked_sizes_are_planned_nearly_as_well(every_order, monkeypatch):
    chart, home, cost, nobody, *_ = every_order
    monkeypatch.setattr(service, "MOST_LISTED", 2)
    plan = plan_stock(home, chart, target=0.92, scenarios=300)
    assert plan.cost <= 1.05 * cost[nobody >= 0.92].min()
    assert plan.service["high"][0] >= 0.92 and 0 <= plan.gap < 0.2
