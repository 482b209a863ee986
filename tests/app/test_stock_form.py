"""The purchaser's form, without a browser: fields, files, answers, stopping."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from sizing.app import stock_form
from sizing.app.entry import UnitSwitch
from sizing.app.stock_form import OfferFields, StockForm
from sizing.app.stock_form_people import PeopleFields, UseFields
from sizing.charts import demo_chart, write_chart
from sizing.errors import SizingError
from sizing.pages.stock_order import order_book
from sizing.people import population_titles
from sizing.stock import Years, demo_scenario, offer_from, plan_stock
from tests.conftest import spaced, taken


def nothing() -> None:
    """Stand in for a page that does not listen."""


def took(name: str, text: str) -> tuple[dict, ...]:
    return taken(name, text.encode())


@pytest.fixture
def small_form():
    """A form for six people, on few days."""
    form = StockForm()
    form.scenarios = 60
    form.people.groups.set(
        pd.DataFrame(
            {
                "name": ["our home"],
                "people": ["care-home residents (Nordic)"],
                "count": [6],
                "number": ["is the same each day"],
                "admissions": [0],
            }
        )
    )
    return form


def test_a_form_plans_saves_and_takes_its_answer_back(small_form, tmp_path):
    form = small_form
    with pytest.raises(SizingError, match="nothing to save"):
        form.results()
    form.work.run()
    plan = form.answer
    assert plan is not None and plan.groups["group"].tolist() == ["our home"]
    assert plan.groups["people"].tolist() == [population_titles()["care_home_nordic"]]
    for line in plan.answer().split("\n"):
        assert line in spaced(form.answered.words.value)
    parts = ("words", "pictures", "limits", "sources")
    shown = "".join(getattr(form.answered, part).value for part in parts)
    assert "Invented" in shown and "<img" in shown and 'alt=""' not in shown
    # No name of the code is shown.
    assert "_" not in re.sub(r'src="[^"]*"', "", shown).replace("_blank", "")
    kinds = {type(value).__name__ for value in form.results().values()}
    assert {"DataFrame", "Axes", "str"} <= kinds
    assert form.results()["stock_order"]["order"].sum() == plan.order["order"].sum()
    # Heavy and light in the reader's own units, and the plan is the same.
    form.switch.view.value = "pounds"
    assert " lb" in form.answered.words.value and form.answer is plan
    form.use.target.value = 90
    assert form.answer is None and "press" in form.answered.words.value
    assert form.answered.pictures.value == ""


def test_a_plan_saved_is_opened_again_with_what_it_held_as_owned(small_form):
    form = small_form
    form.people.ruled.value = True
    form.people.rules.set(
        pd.DataFrame({"name": ["our home"], "laundry": [1], "target": [80]}).reindex(
            columns=list(form.people.rules.frame)
        )
    )
    form.use.goal.value, form.use.needs.value = "needs", 90
    form.years.wash.value, form.years.period.value = "£2.50", 3
    form.offer.table.cell(0, "code").value = "007"
    plan = form.run()
    assert (plan.aim, plan.target, plan.years.wash) == ("needs", 0.9, 2.5)
    assert plan.served[0].use.out == {"laundry": (1, 7)}
    assert plan.order["code"][0] == "007"
    book = form.results()["stock_workbook"]
    again = StockForm()
    again.scenarios, again.bought.value = 60, True
    item = took("plan.xlsx", "")[0] | {"content": memoryview(book), "size": len(book)}
    again.upload.box.value = (item,)
    assert "entries of that plan are filled in" in again.opened.value
    later = again.run()
    assert later.order["owned"].tolist() == plan.order["stock"].tolist()
    assert later.served[0].use == plan.served[0].use and later.years == plan.years
    assert (later.aim, later.target) == ("needs", 0.9) and later.cost == 0
    again.use.needs.value = 95
    again.run()
    assert list(again.plans) == ["plan 1", "plan 2"]
    assert "plan 2" in again.answered.pictures.value
    again.upload.box.value = took("plan.xlsx", "no workbook")
    assert "workbook" in again.opened.value


def test_rules_and_rates_that_cannot_be_are_said_beside_them(small_form):
    form = small_form
    form.people.ruled.value = True
    with pytest.raises(SizingError, match="no group is called so"):
        form.people.served()
    form.years.rates.cell(0, "low").value = "9"
    with pytest.raises(SizingError, match="does not lie from 9 to 6"):
        form.years.years()
    form.years.wash.value = "dear"
    form.years.rates.cell(0, "low").value = "2"
    with pytest.raises(SizingError, match="Price of washing"):
        form.years.years()


def test_the_first_look_says_that_it_is_invented_and_quick(monkeypatch):
    monkeypatch.setattr(stock_form, "FIRST", 50)
    form = StockForm()
    form.people.groups.remove_row(2)
    form.first_look()
    assert form.answer.settings["scenarios"] == 50
    assert (
        "Invented for demonstration: the size chart, the prices, the"
        in form.answered.words.value
    )
    assert "first look draws only 50 days" in form.answered.words.value


def test_an_entry_changed_while_planning_takes_the_answer_back(small_form, monkeypatch):
    def slowly(*given, **settings):
        plan = plan_stock(*given, **settings)
        small_form.use.target.value = 80
        return plan

    monkeypatch.setattr(stock_form, "plan_stock", slowly)
    small_form.work.run()
    assert small_form.answer is None
    assert "Something was changed" in small_form.answered.words.value


def test_planning_stops_at_its_next_step(small_form):
    heard = []

    def asked_to_stop(words, share):
        heard.append((words, share))
        if len(heard) == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        small_form.work_out(asked_to_stop)
    assert len(heard) == 4 and small_form.answer is None
    shares = [share for _, share in heard]
    assert shares == sorted(shares) and 0 <= shares[-1] <= 1


def test_groups_left_empty_are_named():
    people = PeopleFields(UnitSwitch(), nothing)
    people.groups.cell(0, "number").value = "varies by chance"
    people.groups.cell(1, "number").value = ""
    numbers = [group.number for group in people.served()]
    assert numbers == ["poisson", "fixed", "fixed"]
    people.groups.cell(1, "count").value = ""
    with pytest.raises(SizingError) as found:
        people.served()
    people.tell(found.value)
    assert "Row 2, how many on one day" in people.told.value.replace("H", "h")
    for row in (2, 1, 0):
        people.groups.remove_row(row)
    with pytest.raises(SizingError, match="fill in a group"):
        people.served()


def test_a_caseload_is_taken_from_a_file_or_typed():
    people = PeopleFields(UnitSwitch(), nothing)
    for row in (2, 1, 0):
        people.groups.remove_row(row)
    people.own.value = True
    people.upload.box.value = took("mine.csv", "sex,body_mass_kg\nf,-5\n")
    assert "weight" in people.told.value.lower()
    people.upload.box.value = took("mine.csv", "sex,body_mass_kg\nf,51.5\nm,90\n")
    assert people.told.value == ""
    people.coming.value = 3
    (group,) = people.served()
    assert group.people.n == 2 and group.admissions == 3
    people.upload.clear()
    people.clients.table.cell(0, "sex").value = "female"
    people.clients.table.cell(0, "body_mass_kg").value = "70"
    assert people.served()[0].people.n == 1


def test_a_list_of_clients_of_a_plan_kept_is_served_until_another_is_given(small_form):
    form = small_form
    form.people.own.value = True
    form.people.upload.box.value = took("a.csv", "sex,body_mass_kg\nf,51.5\nm,90\n")
    form.run()
    book = form.results()["stock_workbook"]
    again = StockForm()
    item = took("plan.xlsx", "")[0] | {"content": memoryview(book), "size": len(book)}
    again.upload.box.value = (item,)
    assert "list of 2 clients" in again.opened.value
    assert [one.present for one in again.people.served()] == [6, 2]
    again.people.clients.table.cell(0, "sex").value = "female"
    again.people.clients.table.cell(0, "body_mass_kg").value = "70"
    assert [one.present for one in again.people.served()] == [6, 1]
    again.people.own.value = False
    assert [one.present for one in again.people.served()] == [6]


def test_wrong_prices_are_told_beside_the_table_and_good_ones_fill_it():
    offer = OfferFields(UnitSwitch(), nothing)
    before = offer.table.frame
    offer.prices.box.value = took("p.csv", "size,price\nadult 1,-4\nhuge,3\n")
    assert "adult 1" in offer.told.value and "huge" in offer.told.value
    pd.testing.assert_frame_equal(offer.table.frame, before)
    good = demo_scenario()[1].assign(price=77, owned=5)
    offer.prices.box.value = took("p.csv", good.to_csv(index=False))
    assert offer.told.value == ""
    assert offer.table.frame["price"].tolist() == [77] * 9
    offer.table.cell(0, "owned").value = "-2"
    with pytest.raises(SizingError) as found:
        offer.offer()
    offer.tell(found.value)
    assert "paediatric 1" in offer.told.value
    assert "number owned" in offer.told.value


def test_charts_bring_rows_of_their_own_and_bad_ones_are_told(tmp_path):
    offer = OfferFields(UnitSwitch(), nothing)
    offer.upload.box.value = took("bad.csv", "size,group\n")
    assert "bad.csv" in offer.chart_told.value or "row" in offer.chart_told.value
    with pytest.raises(SizingError, match="cannot be used"):
        offer.offer()
    path = tmp_path / "ours.csv"
    write_chart(demo_chart(), path)
    text = path.read_text(encoding="utf-8")
    other = text.replace("invented demo chart", "the other")
    offer.upload.box.value = took("a.csv", text) + took("b.csv", other)
    assert offer.chart_told.value == "" and len(offer.table.frame) == 18
    with pytest.raises(SizingError, match="has no price"):
        offer.offer()
    offer.upload.clear()
    assert offer.invented and len(offer.offer()[1]) == 9


def test_fields_of_a_pool_and_of_a_budget_show_when_they_count():
    changes = []
    use = UseFields(UnitSwitch(), lambda: changes.append(1))
    assert use.at_once.layout.display == "none" == use.budget.layout.display
    use.sharing.value = "shared"
    use.goal.value = "budget"
    assert use.at_once.layout.display is None is use.budget.layout.display
    use.at_once.value, use.at_most.value, use.laundry.value = 40, 8, 1
    made = use.use()
    assert (made.at_once, made.at_most) == (0.4, 8) and made.out == {"laundry": (1, 7)}
    assert use.aim() == {"budget": 8000.0} and changes


def test_what_the_fields_cannot_hold_of_a_plan_kept_is_said(small_form):
    form = small_form
    form.people.groups.cell(0, "name").value = "007"
    table = form.offer.table
    for row in range(len(table.frame)):
        table.cell(row, "price").value = f"£{100 + row}"
    form.use.sharing.value = "shared"
    plan = form.run()
    assert plan.groups["group"].tolist() == ["007"] and plan.currency == "£"
    use = replace(plan.use, at_once=1 / 3)
    other = replace(plan, use=use, target=0.955, budget=9e6, years=Years(2.5))
    again = StockForm()
    again.scenarios = 60
    book = order_book(other)
    item = took("plan.xlsx", "")[0] | {"content": memoryview(book), "size": len(book)}
    again.upload.box.value = (item,)
    said = spaced(again.opened.value)
    for words in ("33.33 % of clients", "95.5 % of days and a budget", "2.5. Now: 2"):
        assert words in said
    assert again.offer.table.frame["price"][0] == "£100"
    # A cell that is emptied is empty, whatever the chart of the workbook says.
    again.offer.table.set(again.offer.table.cells.assign(owned=4))
    assert again.run().order["owned"].tolist() == [4] * 9
    again.offer.table.set(again.offer.table.cells.assign(owned=None))
    later = again.run()
    assert later.order["owned"].sum() == 0 and later.currency == "£"


def test_prices_from_a_file_keep_their_currency():
    fields = OfferFields(UnitSwitch(), nothing)
    sizes = demo_chart().sizes
    text = "size,price\n" + "".join(f"{size},€120.50\n" for size in sizes)
    fields.prices.box.value = took("prices.csv", text)
    charts, prices = fields.offer()
    assert offer_from(charts, prices).currency == "€"
    assert fields.table.frame["price"][0] == "€120.5"
