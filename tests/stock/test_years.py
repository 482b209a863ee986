"""What a stock costs over the years: against arithmetic by hand."""

import pandas as pd
import pytest

from sizing.errors import SizingError
from sizing.people import people_from
from sizing.stock import Served, Use, Years, plan_stock
from sizing.stock.years import LAUNDERED, SINGLE, TOTAL, usual_rates, yearly_cost

from .cases import tall_and_short

ALIKE = people_from(pd.DataFrame({"stature_cm": [150.0]}))
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
ONE = {"reserve": (0.1, 0, 0.2), "life_years": (5, 4, 10), "lost": (0.04, 0.02, 0.1)}


def cost(people=PEOPLE, **more):
    years = Years(4, wash=2, examination=5, single=20, rates=ONE, **more)
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


def test_what_is_not_passed_on_is_bought_anew():
    kept, anew = (cost(one).loc[LAUNDERED, "estimate"] for one in (PEOPLE, ANEW))
    assert anew[TOTAL] - kept[TOTAL] == pytest.approx(110 * (2 * 0.4 + 10 / 4))


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
