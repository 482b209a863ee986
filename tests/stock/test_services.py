"""Services with rules of their own: each its own store, and one store for all."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from sizing.charts import chart_from
from sizing.errors import InputProblems, SizingError
from sizing.pages.stock import own_order_list, pooling_words, stock_report
from sizing.pages.stock_order import order_book
from sizing.stock import Served, Use, Years, plan_stock, serves_from
from sizing.stock.alternatives import ONE, OWN
from sizing.stock.days import draw_days, group_from
from sizing.stock.offers import (
    LAUNDERED,
    SINGLE,
    TOTAL,
    offer_from,
    usual_rates,
    yearly_cost,
)

from .cases import people_of, tall_and_short

#: Everybody fits the one size of 140 to 170 cm, and no other.
ALIKE = people_of(150.0)
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


# What a stock costs over the years: against arithmetic by hand


ORDER = pd.DataFrame({"stock": [8, 2], "price": [100.0, 150.0], "cost": [500.0, 300.0]})
PEOPLE = pd.DataFrame(
    {
        "count": [9, 2],
        "admissions": [10.0, 0.0],
        "children": [0, 2],
        "each": 1,
        "bought_anew": False,
    }
)
ANEW = PEOPLE.assign(bought_anew=True)
RATES = {"reserve": (0.1, 0, 0.2), "life_years": (5, 4, 10), "lost": (0.04, 0.02, 0.1)}


def cost(people=PEOPLE, **more):
    years = Years(4, wash=2, examination=5, single=20, rates=RATES, **more)
    made = yearly_cost(ORDER, people, 1.0, years)
    return made.set_index(["way", "item"])


def test_a_year_by_hand():
    """1,100 of slings, a tenth of them in reserve; 26 washes, 2 examinations."""
    laundered = cost().loc[LAUNDERED, "estimate"]
    by_hand = {
        "the purchase, spread": 800 / 4,
        "a reserve for infection control": 110 / 4,
        "worn out": 1210 / 5,
        "condemned at the thorough examination": 1210 * 2 * 0.02,
        "lost": 1210 * 0.04,
        "thorough examinations": 11 * 2 * 5,
        "laundry": 10 * 26 * 2,
    }
    assert laundered.drop(TOTAL).to_dict() == pytest.approx(by_hand)
    assert laundered[TOTAL] == pytest.approx(sum(by_hand.values()))
    single = cost().loc[SINGLE, "estimate"]
    # Ten people who fit, a sling in eight weeks each; ten newcomers in four years.
    assert single[TOTAL] == pytest.approx(10 * 52 / 8 * 20 + 10 / 4 * 20)


def test_each_service_costs_by_its_own_rules():
    """The first has two slings each, passed on; the second one each, bought anew."""
    people = PEOPLE.assign(each=[2, 1], bought_anew=[False, True], admissions=[10, 4])
    made = cost(people)["estimate"]
    assert made[LAUNDERED, "residents who come and go"] == pytest.approx(110 * 4 / 4)
    outgrown = made[LAUNDERED, "children who outgrow their size"]
    assert outgrown == pytest.approx(110 * 2 * 0.4)
    # Of eleven people one fits nothing: ten elevenths of twenty slings.
    single = (9 * 2 + 2) * 10 / 11 * 52 / 8 * 20 + (10 * 2 + 4) / 4 * 20
    assert made[SINGLE, TOTAL] == pytest.approx(single)
    one, two = Served(ALIKE, 3, use=Use(each=2)), Served(ALIKE, 2, admissions=4)
    plan = plan_stock([one, two], tall_and_short(), use=Use(passed_on=False))
    assert plan.groups["each"].tolist() == [2, 1]
    assert plan.groups["bought_anew"].tolist() == [False, True]


def test_every_range_holds_its_estimate_and_names_where_it_is_from():
    made = cost(ANEW).reset_index()
    assert (made["low"] <= made["estimate"]).all()
    assert (made["estimate"] <= made["high"]).all()
    assert (made["source"].str.len() > 5).all()
    assert made.query("item == 'worn out'")["source"].item() == "as entered"
    rates = usual_rates()
    assert (rates["low"] <= rates["estimate"]).all()
    assert rates["source"].str.contains("no source|LOLER").all()
    law = rates.set_index("rate").loc["examinations"]
    # SI 1998/2307, regulation 9(3): at least every 6 months.
    assert law["estimate"] == law["low"] == 12 / 6


def test_nothing_is_counted_without_a_price():
    made = yearly_cost(ORDER, PEOPLE, 0.0, Years())
    assert set(made["way"]) == {LAUNDERED}
    assert not made["item"].isin(["laundry", "thorough examinations"]).any()
    none = yearly_cost(ORDER.assign(stock=0, cost=0.0), PEOPLE, 0.0, Years())
    assert none["estimate"].sum() == 0


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"years": 0}, "number of years"),
        ({"wash": -1}, "price of a wash"),
        ({"rates": {"speed": (1, 1, 1)}}, "Unknown rate 'speed'"),
        ({"rates": {"lost": (0.5, 0.6, 0.7)}}, "does not lie from 0.6 to 0.7"),
        ({"rates": {"life_years": (0, 0, 1)}}, "laundered sling lasts"),
    ],
)
def test_rates_and_prices_that_cannot_be_are_refused(wrong, words):
    with pytest.raises(SizingError, match=words):
        Years(**wrong)
