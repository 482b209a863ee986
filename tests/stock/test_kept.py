"""A plan kept in its workbook, opened again, and set beside others."""

import json
from dataclasses import replace

import openpyxl
import pandas as pd
import pytest

from sizing.charts import chart_from
from sizing.cli.main import main
from sizing.errors import SizingError, SizingWarning
from sizing.files.writing import write_bytes
from sizing.pages.stock_kept import kept_sheets, reopened, side_by_side
from sizing.pages.stock_order import order_book
from sizing.people import load_people, read_caseload
from sizing.stock import Served, Use, Years, plan_stock

from .cases import tall_and_short

USE = Use("shared", at_once=0.5, at_most=4, out={"laundry": (1, 7)}, spares=1)
YEARS = Years(3, wash=2.5, single=30, rates={"lost": (0.1, 0.05, 0.3)})


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A plan of two charts and two services, and the workbook it is in."""
    home = load_people("care_home_us", draws=1)
    school = load_people("children", draws=1)
    groups = [
        Served(home, 6, admissions=2, name="home", charts=("tall",)),
        Served(school, 5, number="poisson", name="school", use=Use(each=2), target=0.8),
    ]
    frame = tall_and_short(owned=[2, 1], most=[50, None], price=["£99.5", "£120"])
    frame = frame.frame
    charts = [chart_from(frame, name=name, warn=False) for name in ("tall", "wide")]
    plan = plan_stock(
        groups, charts, use=USE, years=YEARS, target=0.9, aim="needs", scenarios=50
    )
    path = tmp_path_factory.mktemp("kept") / "plan.xlsx"
    return plan, write_bytes(path, order_book(plan, pattern="bathing"))


def test_what_was_entered_comes_back_whole(kept):
    plan, path = kept
    back = reopened(path)
    assert (back.use, back.years, back.lists) == (USE, YEARS, {})
    assert back.pattern == "bathing"
    assert back.goal == {"target": 0.9, "aim": "needs"}
    assert [chart.name for chart in back.charts] == ["tall", "wide"]
    again = plan_stock(**back.asked, scenarios=50)
    for sheet, before in kept_sheets(plan).items():
        pd.testing.assert_frame_equal(
            kept_sheets(again)[sheet], before, check_dtype=False, check_like=True
        )
    pd.testing.assert_frame_equal(again.offer.table, plan.offer.table)
    assert again.currency == plan.currency == "£"


def test_plans_stand_side_by_side(kept):
    plan, _ = kept
    shown = side_by_side({"one": plan, "two": replace(plan, target=None, budget=50.0)})
    assert shown["Plan"].tolist() == ["one", "two"]
    assert shown["Goal"].tolist() == ["90 % of needs", "a budget of £50"]
    assert (
        shown["Cost"][0] == shown["Cost"][1] and "tall and wide" in shown["Charts"][0]
    )


@pytest.fixture(scope="module")
def listed(tmp_path_factory):
    """A plan of a list of clients with rules of its own, and the list as it was."""
    folder = tmp_path_factory.mktemp("listed")
    typed = "reference,sex,age_years,stature_cm,weight_kg,ward,name\n"
    typed += "A-7,female,80,150,,north,Ann\n007,male,82,190,71.5,south,Bob\n"
    file = folder / "listed.csv"
    file.write_text(typed)
    with pytest.warns(SizingWarning, match="left out 'name'"):
        mine = read_caseload(file)
    own = Served(mine, name="mine", admissions=3, use=Use(each=2), target=0.7)
    plan = plan_stock(own, tall_and_short(), scenarios=50)
    return plan, write_bytes(folder / "own.xlsx", order_book(plan)), file


def test_a_list_of_clients_comes_back_and_holds_nothing_but_measures(listed):
    plan, path, _ = listed
    sheet = pd.read_excel(path, sheet_name="Clients 1", dtype=str)
    # Neither a ward nor a name, nor what was drawn where nothing was measured.
    headings = ["Reference", "Sex", "Age (years)", "Weight (kg)", "Height (cm)"]
    assert list(sheet) == headings
    assert sheet["Reference"].tolist() == ["A-7", "007"]
    assert sheet["Weight (kg)"].isna().tolist() == [True, False]
    assert "Take them out" in openpyxl.load_workbook(path)["Notes"].cell(2, 1).value
    again = plan_stock(**reopened(path).asked, scenarios=50)
    assert again.served[0].use == Use(each=2) and again.served[0].admissions == 3
    pd.testing.assert_frame_equal(again.order, plan.order)
    pd.testing.assert_frame_equal(again.service, plan.service)


def test_a_list_may_be_called_as_a_population_is(listed):
    """Before, kept a second time, it came back as people of a survey."""
    (own,) = listed[0].served
    called = replace(own, people=replace(own.people, name="adults"), name="")
    sheets = kept_sheets(replace(listed[0], served=(called,)))
    assert sheets["People"]["people like"].tolist() == ["Clients 1"]
    assert sheets["Clients 1"]["Reference"].tolist() == ["A-7", "007"]
    assert called.title == "adults"
    drawn = replace(called, people=load_people("adults", draws=1))
    assert drawn.title == "adults aged 18 and over"


def test_a_list_taken_out_is_missed_and_another_takes_its_place(
    listed, tmp_path, capsys
):
    _, path, file = listed
    book = openpyxl.load_workbook(path)
    del book["Clients 1"]
    book.save(tmp_path / "handed on.xlsx")
    words = ["stock", "--open", str(tmp_path / "handed on.xlsx"), "--scenarios", "50"]
    assert main(words) == 2
    assert "no sheet called 'Clients 1'" in capsys.readouterr().err
    assert main([*words, "--caseload", str(file), "--admissions", "9", "--json"]) == 0
    (group,) = json.loads(capsys.readouterr().out)["groups"]
    # Served once, under its own name and rules.
    assert (group["group"], group["count"], group["target"]) == ("mine", 2, 0.7)
    assert group["admissions"] == 9 and "2 slings" in group["use"]


def test_the_command_goes_on_from_a_plan_and_sets_it_beside(kept, capsys):
    _, path = kept
    words = ["stock", "--open", str(path), "--bought", "--beside", str(path)]
    assert main([*words, "--scenarios", "50"]) == 0
    said = capsys.readouterr().out
    assert "this plan" in said and "plan.xlsx" in said and "90 % of needs" in said
    assert "Kept for 3 years" in said and "A wet sling" in said


def planned(words, capsys):
    assert main(["stock", *words, "--scenarios", "50", "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_one_option_on_the_line_leaves_the_rest_of_what_was_kept(kept, capsys):
    _, path = kept
    open_it = ["--open", str(path)]
    got = planned([*open_it, "--spares", "0", "--wash-price", "3"], capsys)
    assert got["use"] == replace(USE, spares=0).summary()
    worn = {row["item"]: row["source"] for row in got["yearly"]}
    assert worn["lost"] == "as entered" and "laundry" in worn
    got = planned([*open_it, "--budget", "0"], capsys)
    assert (got["budget"], got["target"], got["aim"]) == (0, None, "needs")
    got = planned([*open_it, "--sharing", "personal"], capsys)
    assert got["use"].startswith("Each person has a sling of their own")


def test_new_prices_do_not_forget_what_is_held(kept, tmp_path, capsys):
    plan, path = kept
    dearer = tmp_path / "dearer.csv"
    keys = plan.order[["chart", "size"]].assign(price=200)
    keys.to_csv(dearer, index=False)
    words = ["--open", str(path), "--bought", "--prices", str(dearer)]
    got = planned(words, capsys)
    assert [row["owned"] for row in got["order"]] == plan.order["stock"].tolist()
    assert {row["price"] for row in got["order"]} == {200}
    # A file of their own for each plan beside it, and none is left out.
    other = tmp_path / path.name
    other.write_bytes(path.read_bytes())
    beside = ["--open", str(path), "--beside", str(path), "--beside", str(other)]
    assert len(planned(beside, capsys)["beside"]) == 3


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ("--bought", "without --open"),
        ("--admissions 3", "without --caseload"),
        ("--sharing shared --not-passed-on", "nothing of slings from a shared pool"),
    ],
)
def test_an_option_that_would_mean_nothing_is_refused(words, why, capsys):
    assert main(["stock", *words.split(), "--scenarios", "50"]) == 2
    assert why in capsys.readouterr().err


def test_a_workbook_that_is_no_plan_is_refused(tmp_path):
    other = tmp_path / "other.xlsx"
    pd.DataFrame({"size": ["a"], "price": [1]}).to_excel(other, index=False)
    with pytest.raises(SizingError, match="no sheet called 'Order'"):
        reopened(other)


def _cell(sheet, row, column, value):
    return lambda book: setattr(book[sheet].cell(row, column), "value", value)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (_cell("Entries", 5, 2, "much"), "'Entries' was changed.*'much'"),
        (_cell("Entries", 1, 1, "What"), "no column 'Entry'"),
        (lambda book: book["Entries"].delete_rows(7), "'Spares of each size' is not"),
        (lambda book: book["Entries"].append(["Hoists", 3]), "no entry 'Hoists'"),
        (lambda book: book["Entries"].append(["Target", 0.5]), "'Target' is not"),
        (_cell("Entries", 8, 2, "yes"), "'Entries' was changed.*'yes'"),
        (_cell("Order", 1, 1, "Which"), "'Order' was changed.*no column 'Size'"),
        (_cell("Order", 2, 5, "some"), "no such number owned"),
        (lambda book: book["Order"].delete_rows(3), "has no price"),
        (_cell("Entries", 2, 2, "flying"), "unknown pattern of sling"),
        (_cell("People", 2, 1, "my friends"), "no people called 'my friends'"),
        (_cell("People", 2, 2, "six"), "not a number.*'six'"),
    ],
)
def test_a_workbook_changed_by_hand_is_refused_and_nothing_is_dropped(
    change, why, kept, tmp_path
):
    book = openpyxl.load_workbook(kept[1])
    assert [cell.value for cell in book["Order"][1]][4] == "Owned before"
    change(book)
    book.save(tmp_path / "changed.xlsx")
    with pytest.raises(SizingError, match=f"(?s){why}"):
        reopened(tmp_path / "changed.xlsx")
