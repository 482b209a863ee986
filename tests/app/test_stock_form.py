"""The purchaser's form, without a browser: fields, files, answers, stopping."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from sizing.app import stock_form
from sizing.app.fields import UnitSwitch
from sizing.app.stock_form import OfferFields, StockForm
from sizing.app.stock_form_people import PeopleFields
from sizing.charts import demo_chart
from sizing.errors import SizingError
from sizing.pages.stock_order import order_book
from sizing.people import population_titles
from sizing.stock import Years, demo_scenario, offer_from, plan_stock
from tests.app.cases import fill, read, take
from tests.conftest import spaced

CLIENTS = "sex,body_mass_kg\nf,51.5\nm,90\n"
HOME = {"name": "our home", "people": "care-home residents (Nordic)", "count": 6}
HOME |= {"number": "is the same each day", "admissions": 0}


def small_form():
    """A form for six people, on few days."""
    form = StockForm()
    form.scenarios = 60
    form.people.groups.set(pd.DataFrame([HOME]))
    return form


def people_alone():
    people = PeopleFields(UnitSwitch(), lambda: None)
    people.groups.set(people.groups.frame.iloc[:0])
    return people


def reopened(book):
    """Return a form into which a plan's workbook is taken, as a browser gives it."""
    form = StockForm()
    form.scenarios = 60
    take(form.upload, bytes(book), "plan.xlsx")
    item = form.upload.box.value[0]
    form.upload.clear()
    form.upload.box.value = (item | {"content": memoryview(book)},)
    return form


@pytest.fixture
def form():
    return small_form()


def test_a_form_plans_saves_and_takes_its_answer_back(form):
    with pytest.raises(SizingError, match="nothing to save"):
        form.results()
    form.work.run()
    plan, answered = form.answer, form.answered
    assert plan.groups["group"].tolist() == ["our home"]
    assert plan.groups["people"].tolist() == [population_titles()["care_home_nordic"]]
    for line in plan.answer().split("\n"):
        assert line in spaced(answered.words.value)
    parts = (answered.words, answered.pictures, answered.limits, answered.sources)
    shown = "".join(part.value for part in parts)
    assert "Invented" in shown and "<img" in shown and 'alt=""' not in shown
    # No name of the code is shown.
    assert "_" not in re.sub(r'src="[^"]*"', "", shown).replace("_blank", "")
    kinds = {type(value).__name__ for value in form.results().values()}
    assert {"DataFrame", "Axes", "str"} <= kinds
    assert form.results()["stock_order"]["order"].sum() == plan.order["order"].sum()
    # Heavy and light in the reader's own units, and the plan is the same.
    form.switch.view.value = "pounds"
    assert " lb" in answered.words.value and form.answer is plan
    form.use.target.value = 90
    assert form.answer is None and "press" in answered.words.value
    assert answered.pictures.value == ""


def test_a_plan_saved_is_opened_again_with_what_it_held_as_owned(form):
    form.people.ruled.value = True
    rules = pd.DataFrame([{"name": "our home", "laundry": 1, "target": 80}])
    form.people.rules.set(rules.reindex(columns=list(form.people.rules.frame)))
    form.use.goal.value, form.use.needs.value = "needs", 90
    form.years.wash.value, form.years.period.value = "£2.50", 3
    fill(form.offer.table, code="007")
    plan = form.run()
    assert (plan.aim, plan.target, plan.years.wash) == ("needs", 0.9, 2.5)
    assert form.use.budget.layout.display == form.use.at_once.layout.display == "none"
    assert plan.served[0].use.out == {"laundry": (1, 7)}
    assert plan.order["code"][0] == "007"
    again = StockForm()
    again.scenarios, again.bought.value = 60, True
    take(again.upload, bytes(form.results()["stock_workbook"]), "plan.xlsx")
    assert "entries of that plan are filled in" in again.opened.value
    later = again.run()
    assert later.order["owned"].tolist() == plan.order["stock"].tolist()
    assert later.served[0].use == plan.served[0].use and later.years == plan.years
    assert (later.aim, later.target) == ("needs", 0.9) and later.cost == 0
    again.use.needs.value = 95
    again.run()
    assert list(again.plans) == ["plan 1", "plan 2"]
    assert "plan 2" in again.answered.pictures.value
    take(again.upload, "no workbook", "plan.xlsx")
    assert "workbook" in again.opened.value


def test_what_the_fields_cannot_hold_of_a_plan_kept_is_said(form):
    fill(form.people.groups, name="007")
    table = form.offer.table
    for row in range(len(table.frame)):
        table.cell(row, "price").value = f"£{100 + row}"
    form.use.sharing.value = "shared"
    plan = form.run()
    assert plan.groups["group"].tolist() == ["007"] and plan.currency == "£"
    use = replace(plan.use, at_once=1 / 3)
    other = replace(plan, use=use, target=0.955, budget=9e6, years=Years(2.5))
    again = reopened(order_book(other))
    said = spaced(again.opened.value)
    for words in ("33.33 % of clients", "95.5 % of days and a budget", "2.5. Now: 2"):
        assert words in said
    assert again.offer.table.frame["price"][0] == "£100"
    # A cell that is emptied is empty, whatever the chart of the workbook says.
    for owned, stock in [(4, [4] * 9), (None, [0] * 9)]:
        again.offer.table.set(again.offer.table.cells.assign(owned=owned))
        later = again.run()
        assert later.order["owned"].tolist() == stock and later.currency == "£"


def test_a_list_of_clients_of_a_plan_kept_is_served_until_another_is_given(form):
    form.people.own.value = True
    take(form.people.upload, CLIENTS)
    form.run()
    again = reopened(form.results()["stock_workbook"])
    assert "list of 2 clients" in again.opened.value
    assert [one.present for one in again.people.served()] == [6, 2]
    fill(again.people.clients.table, sex="female", body_mass_kg="70")
    assert [one.present for one in again.people.served()] == [6, 1]
    again.people.own.value = False
    assert [one.present for one in again.people.served()] == [6]


def test_rules_and_rates_that_cannot_be_are_said_beside_them(form):
    form.people.ruled.value = True
    with pytest.raises(SizingError, match="no group is called so"):
        form.people.served()
    fill(form.years.rates, low="9")
    with pytest.raises(SizingError, match="does not lie from 9 to 6"):
        form.years.years()
    form.years.wash.value = "dear"
    fill(form.years.rates, low="2")
    with pytest.raises(SizingError, match="Price of washing"):
        form.years.years()


def test_the_first_look_says_that_it_is_invented_and_quick(monkeypatch):
    monkeypatch.setattr(stock_form, "FIRST", 50)
    form = StockForm()
    form.people.groups.remove_row(2)
    form.first_look()
    assert form.answer.settings["scenarios"] == 50
    told = form.answered.words.value
    assert "Invented for demonstration: the size chart, the prices, the" in told
    assert "first look draws only 50 days" in told


def test_planning_stops_at_its_next_step_and_takes_back_what_changed(form, monkeypatch):
    heard = []

    def asked_to_stop(words, share):
        heard.append(share)
        if len(heard) == 4:
            raise KeyboardInterrupt

    def slowly(*given, **settings):
        plan = plan_stock(*given, **settings)
        form.use.target.value = 80
        return plan

    with pytest.raises(KeyboardInterrupt):
        form.work_out(asked_to_stop)
    assert len(heard) == 4 and form.answer is None
    assert heard == sorted(heard) and 0 <= heard[-1] <= 1
    monkeypatch.setattr(stock_form, "plan_stock", slowly)
    form.work.run()
    assert form.answer is None
    assert "Something was changed" in form.answered.words.value


def test_groups_and_a_caseload_are_read_as_they_are_entered():
    people = PeopleFields(UnitSwitch(), lambda: None)
    people.groups.cell(0, "number").value = "varies by chance"
    people.groups.cell(1, "number").value = ""
    numbers = [group.number for group in people.served()]
    assert numbers == ["poisson", "fixed", "fixed"]
    people.groups.cell(1, "count").value = ""
    with pytest.raises(SizingError) as found:
        people.served()
    people.tell(found.value)
    assert "row 2, how many on one day" in read(people.told).lower()
    people = people_alone()
    with pytest.raises(SizingError, match="fill in a group"):
        people.served()
    people.own.value = True
    take(people.upload, CLIENTS.replace("51.5", "-5"))
    assert "weight" in people.told.value.lower()
    take(people.upload, CLIENTS)
    assert people.told.value == ""
    people.coming.value = 3
    (group,) = people.served()
    assert group.people.n == 2 and group.admissions == 3


def test_prices_and_charts_fill_the_table_and_bad_ones_are_told_beside_it(tmp_path):
    offer = OfferFields(UnitSwitch(), lambda: None)
    before = offer.table.frame
    take(offer.prices, "size,price\nadult 1,-4\nhuge,3\n")
    assert "adult 1" in offer.told.value and "huge" in offer.told.value
    pd.testing.assert_frame_equal(offer.table.frame, before)
    take(offer.prices, demo_scenario()[1].assign(price=77, owned=5))
    assert offer.told.value == ""
    assert offer.table.frame["price"].tolist() == [77] * 9
    fill(offer.table, owned="-2")
    with pytest.raises(SizingError) as found:
        offer.offer()
    offer.tell(found.value)
    assert "paediatric 1" in offer.told.value and "number owned" in offer.told.value
    # A price keeps its currency.
    sizes = demo_chart().sizes
    take(offer.prices, pd.DataFrame({"size": sizes, "price": "€120.50"}))
    assert offer_from(*offer.offer()).currency == "€"
    assert offer.table.frame["price"][0] == "€120.5"
    offer = OfferFields(UnitSwitch(), lambda: None)
    take(offer.upload, "size,group\n", "bad.csv")
    assert "bad.csv" in offer.chart_told.value or "row" in offer.chart_told.value
    with pytest.raises(SizingError, match="cannot be used"):
        offer.offer()
    # Each chart brings rows of its own.
    frame = demo_chart().frame
    items = ()
    for name in ("ours", "the other"):
        take(offer.upload, frame.assign(chart_name=name), f"{name}.csv")
        items += offer.upload.box.value
    offer.upload.box.value = items
    assert offer.chart_told.value == "" and len(offer.table.frame) == 18
    with pytest.raises(SizingError, match="has no price"):
        offer.offer()
    offer.upload.clear()
    assert offer.invented and len(offer.offer()[1]) == 9
