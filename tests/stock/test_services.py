"""Services with rules of their own: each its own store, and one store for all."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sizing.charts import chart_from
from sizing.errors import InputProblems, SizingError
from sizing.pages.stock import stock_report
from sizing.pages.stock_order import order_book
from sizing.pages.stock_tables import own_order_list, pooling_words
from sizing.people import people_from
from sizing.stock import Served, Use, plan_stock, serves_from
from sizing.stock.days import draw_days, group_from
from sizing.stock.offers import offer_from
from sizing.stock.services import ONE, OWN

from .cases import tall_and_short

#: Everybody fits the one size of 140 to 170 cm, and no other.
ALIKE = people_from(pd.DataFrame({"stature_cm": [150.0]}))
RULES = {
    "ward": Use("shared", at_once=0.3),
    "school": Use("shared", at_once=0.5, at_most=12, out={"laundry": (1, 7)}),
}


def two(**more):
    return [
        Served(ALIKE, 20, name=name, use=use, **more) for name, use in RULES.items()
    ]


@pytest.fixture(scope="module")
def plan():
    return plan_stock(two(), tall_and_short(owned=[5, 0]), target=0.9, scenarios=300)


def enough(name, slings):
    """Return the chance that so many slings are enough for one service."""
    use, lifted = RULES[name], np.arange(21)
    chance = stats.binom.pmf(lifted, 20, use.at_once)
    needed = np.minimum(lifted, use.at_most or 20)
    return float(chance @ stats.binom.sf(needed - 1, slings, 1 - use.share_out))


def test_each_service_is_planned_by_its_own_rules(plan):
    """The order of one size against the binomial of those lifted and of slings out."""
    rows = plan.services.set_index("service")
    stock = plan.own_orders.query("key == 'short'").set_index("service")["stock"]
    for name in RULES:
        reached = enough(name, stock[name])
        assert reached >= 0.9 and enough(name, stock[name] - 2) < 0.9
        assert rows.loc[name, "nobody_waits"] == pytest.approx(reached, abs=0.03)
    # What is owned is shared out and counted once.
    orders = plan.own_orders.set_index("service")
    assert (orders["stock"] - orders["order"]).sum() == 5
    own = rows.loc[list(RULES)]
    assert rows.loc[OWN, "cost"] == own["cost"].sum()
    assert rows.loc[OWN, "nobody_waits"] == pytest.approx(own["nobody_waits"].prod())


def test_one_store_does_as_much_for_less_and_says_so(plan):
    rows = plan.services.set_index("service")
    assert rows.loc[ONE, "nobody_waits"] >= rows.loc[OWN, "nobody_waits"] - 0.02
    saved = rows.loc[OWN, "cost"] - rows.loc[ONE, "cost"]
    assert saved > 0 and f"{saved:,.0f} less" in pooling_words(plan)
    assert "no interval" in pooling_words(plan)
    # It is judged on the days that the plan is, not on those it was chosen on.
    assert rows.loc[ONE, "n"] == plan.settings["checks"]
    page = stock_report(
        plan, dict.fromkeys(["comparison", "demand", "shortages", "cost_curve"])
    )
    (shown,) = (s for s in page.sections if s.heading.startswith("A store for each"))
    assert pooling_words(plan) in shown.words
    assert own_order_list(plan)["ward"].sum() == rows.loc["ward", "slings"]
    assert order_book(plan)


def test_what_is_drawn_for_all_is_what_is_drawn_for_each():
    """Needs of one store are those of its services, each by its own rules."""
    offer = offer_from(tall_and_short())
    groups = [group_from(one, offer) for one in two()]
    days = draw_days(groups, Use(), sizes=2, days=20_000, seed=[5])
    lifted = np.minimum(np.arange(21), 12) @ stats.binom.pmf(np.arange(21), 20, 0.5)
    mean = days.by_group.sum(axis=2).mean(axis=1)
    assert mean == pytest.approx([6, lifted], rel=0.02)
    assert days.share_out[0] == pytest.approx(lifted / 7 / (6 + lifted), rel=0.02)
    more = days.slings.sum() - days.needs.sum()
    assert more / 20_000 == pytest.approx(lifted / 6, rel=0.03)


def test_a_service_buys_from_its_own_chart_alone():
    frame = tall_and_short().frame
    charts = [chart_from(frame, name=name, warn=False) for name in ("ours", "theirs")]
    groups = two(charts=("theirs",))
    plan = plan_stock(groups, charts, target=0.9, scenarios=50)
    bought = plan.order.set_index("key")["order"]
    assert bought.filter(like="ours").sum() == 0 < bought["theirs: short"]
    with pytest.raises(SizingError, match="No chart is called 'mine'"):
        plan_stock(two(charts=("mine",)), charts, scenarios=50)


def test_rules_are_read_from_the_table_of_groups():
    table = pd.DataFrame(
        {
            "service": ["ward", "home"],
            "people": ["bariatric", "care_home_us"],
            "count": [6, 4],
            "slings are": ["shared", None],
            "share who need one at once": ["0.5", None],
            "days of 7 in the laundry": [1, None],
            "target of its own": [0.8, None],
            "charts bought from": ["one; two", None],
        }
    )
    base = Use(spares=2, out={"repair": (1, 365)})
    ward, home = serves_from(table, use=base)
    out = {"repair": (1, 365), "laundry": (1, 7)}
    assert ward.use == Use("shared", at_once=0.5, spares=2, out=out)
    assert (ward.target, ward.charts) == (0.8, ("one", "two"))
    assert home.use is None and home.charts == () and home.target is None
    with pytest.raises(InputProblems, match="target must be a share"):
        serves_from(table.assign(**{"target of its own": 95}))


def test_a_service_out_of_reach_is_said_to_be(people):
    groups = [Served(people, 9, name="far", target=0.99)]
    groups.append(Served(people, 1, name="near"))
    chart = tall_and_short(most=[3, 3], owned=[3, 0])
    plan = plan_stock(groups, chart, budget=0, scenarios=100)
    assert plan.cost == 0 and len(plan.services) == 4
    assert plan.services["cost"].isna().tolist() == [True, False, True, True]
    assert "Not every service" in pooling_words(plan)
