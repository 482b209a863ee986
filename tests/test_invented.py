"""What rests on a demo says so first, in every output; what it owns is nobody's."""

import json

import openpyxl
import pandas as pd
import pytest

from sizing.app.client_form import answer_html
from sizing.app.stock_form import StockForm
from sizing.charts import demo_chart, read_chart, write_chart
from sizing.cli.main import main
from sizing.client import check_client, judge_chart
from sizing.client.nudge import with_edge
from sizing.coverage import compare_charts
from sizing.lesson import compare_ways, practice_clients
from sizing.pages.client_note import client_note
from sizing.pages.stock import stock_page
from sizing.people import load_people
from sizing.resources import invented_words
from sizing.stock import Served, demo_scenario, plan_stock
from sizing.words.lesson import ways_answer

CHART = invented_words("chart")
WOMAN = {"sex": "female", "age_years": 74, "body_mass_kg": 68, "stature_cm": 160}


@pytest.fixture(scope="module")
def own(tmp_path_factory):
    """The demo's numbers as a chart of somebody's own."""
    path = tmp_path_factory.mktemp("own") / "own.csv"
    frame = demo_chart().frame.drop(
        columns=["chart_name", "chart_source"], errors="ignore"
    )
    frame.to_csv(path, index=False)
    return path


def test_an_invented_chart_says_so_wherever_it_went(tmp_path, own):
    write_chart(demo_chart(), tmp_path / "renamed.xlsx")
    moved = with_edge(demo_chart(), "adult 1", "hip_circumference_cm", "high", 104.0)
    for chart in (demo_chart(), read_chart(tmp_path / "renamed.xlsx"), moved):
        assert chart.invented == ("chart",)
    assert read_chart(own, warn=False).invented == ()


def test_one_client_in_text_page_note_and_json(own):
    found = check_client(demo_chart(), WOMAN)
    assert found.answer().startswith(CHART) and found.summary().startswith(CHART)
    assert found.to_dict()["answer"].startswith(CHART)
    assert answer_html(found).split("</p>")[0].endswith(CHART)
    note = client_note(found)
    assert f"**{CHART}**" in note.markdown() and CHART in note.html()
    mine = check_client(read_chart(own, warn=False), WOMAN)
    assert "Invented for" not in mine.summary() + client_note(mine).html()


def test_chart_study_lesson_and_cards():
    chart, people = demo_chart(), load_people("bariatric", draws=1)
    assert judge_chart(people, chart).answer().startswith(CHART)
    assert judge_chart(people, chart).summary().startswith(CHART)
    ways = compare_ways(people, chart, replicates=20)
    assert ways_answer(ways).startswith(CHART) and ways.summary().startswith(CHART)
    assert practice_clients(people, chart, n=3).summary().startswith(CHART)


def test_a_comparison_of_charts_begins_with_it_too(own):
    few, own = load_people("bariatric", draws=1), read_chart(own)
    for pair in ((demo_chart(), own), (own, demo_chart())):
        said = compare_charts(few, *pair, replicates=20).summary()
        assert said.startswith(invented_words("chart"))
    assert "nvented" not in compare_charts(few, own, own, replicates=20).summary()


def plan_of(capsys, *words):
    small = ["--scenarios", "50", "--target", "0.6"]
    assert main(["stock", *small, *words]) == 0
    return capsys.readouterr().out


def test_a_stock_in_text_order_workbook_page_and_json(tmp_path, capsys):
    files = [tmp_path / name for name in ("order.csv", "order.xlsx", "page.html")]
    told = plan_of(
        capsys,
        "--order",
        str(files[0]),
        "--order",
        str(files[1]),
        "--report",
        str(files[2]),
    )
    first = invented_words("chart", "prices", "owned", "people")
    assert told.startswith(first)
    assert files[0].read_text(encoding="utf-8").splitlines()[1].startswith(f'"{first}"')
    book = openpyxl.load_workbook(files[1])
    assert book["Order"]["A2"].value == first
    assert str(book["Notes"]["A2"].value).startswith(first)
    assert first in files[2].read_text(encoding="utf-8")


def test_people_of_ones_own_own_no_invented_slings(tmp_path, capsys):
    """Before, the 11 slings of the invented store were taken off the order."""
    for words in (
        ["--people", "care_home_nordic=10"],
        ["--groups", str(tmp_path / "g.csv")],
    ):
        (tmp_path / "g.csv").write_text("people,count\ncare_home_us,10\n")
        made = json.loads(plan_of(capsys, *words, "--json"))
        assert made["answer"].startswith(invented_words("chart", "prices"))
        order = pd.DataFrame(made["order"])
        assert (order["owned"] == 0).all()
        assert (order["order"] == order["stock"]).all()
    scenario = json.loads(plan_of(capsys, "--json"))
    assert pd.DataFrame(scenario["order"])["owned"].sum() > 0


def test_prices_of_ones_own_are_not_called_invented():
    chart = demo_chart()
    prices = pd.DataFrame({"size": chart.sizes, "price": 101.0, "owned": 9})
    home = Served(load_people("care_home_nordic", draws=1), 5)
    plan = plan_stock(home, chart, prices=prices, scenarios=50)
    assert plan.invented == ("chart",) and plan.answer().startswith(CHART)
    assert CHART in stock_page(plan)


def test_the_purchasers_page_takes_the_invented_slings_out_with_other_people():
    form = StockForm()
    owned = form.offer.table.frame["owned"]
    demo = demo_scenario()[1]
    assert pd.to_numeric(owned).sum() == demo["owned"].sum() > 0
    mine = form.offer.table.frame.copy()
    mine.loc[0, "owned"], mine.loc[0, "price"] = 77, 99
    form.offer.table.set(mine)
    form.people._changed()
    left = form.offer.table.frame
    assert pd.to_numeric(left["owned"]).sum() == 77
    assert pd.to_numeric(left["price"])[0] == 99
    assert "was taken out" in form.offer.about.value
