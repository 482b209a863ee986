"""The plan at other prices and with fewer sizes, against plans made anew."""

import pytest

from sizing.charts import chart_from
from sizing.stock import Served, Use, plan_stock

from .cases import four_hundred, tall_and_short


@pytest.mark.parametrize("goal", [{"target": 0.9}, {"budget": 1500.0}])
def test_a_size_fewer_is_what_planning_without_it_gives(goal):
    """The shorter size is left out, as fewer need it; the days drawn are others."""
    home = Served(four_hundred(), 20)
    plan = plan_stock(home, tall_and_short(), scenarios=300, **goal)
    row = plan.variants.query("sizes == 1").iloc[0]
    gone = row["scenario"].removeprefix("without ")
    frame = tall_and_short().frame
    chart = chart_from(frame[frame["size"] != gone], warn=False)
    alone = plan_stock(home, chart, scenarios=300, seed=2, **goal)
    told = alone.service.set_index("measure")["estimate"]
    fitted, money = 20 - row["not_fitted"], f"{row['cost']:,.0f}"
    some = f" 1 of them fits about {fitted:,.0f} of 20 people, with {row['slings']:.0f}"
    assert f"{some} slings for {money}." in plan.sizes_words()
    assert f"slings for {plan.cost:,.0f}. 1 of them" in plan.summary()
    assert row["cost"] == pytest.approx(alone.cost, rel=0.08)
    assert row["not_fitted"] == pytest.approx(told["not_fitted"], rel=0.05)
    assert row["needs_met"] == pytest.approx(told["needs_met"], abs=0.03)


def test_of_a_pool_those_count_who_need_a_sling_at_one_time():
    """Before, this failed: those whom nothing fits at one time were taken from all."""
    home, use = Served(four_hundred(), 40), Use(sharing="shared", at_once=0.25)
    plan = plan_stock(home, tall_and_short(), use=use, target=0.9, scenarios=100)
    told = plan.service.set_index("measure")["estimate"]
    assert plan.people == pytest.approx(10, abs=0.3)
    assert told["not_fitted"] == pytest.approx(
        plan.people * told["not_fitted_share"], rel=1e-6
    )
    assert f"of {plan.people:.0f} people" in plan.sizes_words()
    assert f" of {plan.people:.0f} people who need a sling at one time " in (
        plan.answer()
    )


def test_prices_move_the_cost_of_a_target_and_the_order_of_a_budget():
    home = Served(four_hundred(), 20)
    plan = plan_stock(home, tall_and_short(), target=0.9, scenarios=100)
    up, down = plan.variants["cost"][:2]
    assert (up, down) == pytest.approx((1.2 * plan.cost, 0.8 * plan.cost))
    spent = plan_stock(home, tall_and_short(), budget=1500, scenarios=100)
    rows = spent.variants.head(2)
    assert rows["cost"].between(1200, 1500 + 1e-6).all()
    assert rows["slings"].is_monotonic_increasing
    assert rows["needs_met"].is_monotonic_increasing
