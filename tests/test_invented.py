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
    naming = ["chart_name", "chart_source"]
    demo_chart().frame.drop(columns=naming, errors="ignore").to_csv(path, index=False)
    return read_chart(path, warn=False)


def test_an_invented_chart_and_client_say_so_wherever_they_went(tmp_path, own):
    write_chart(demo_chart(), tmp_path / "renamed.xlsx")
    moved = with_edge(demo_chart(), "adult 1", "hip_circumference_cm", "high", 104.0)
    for chart in (demo_chart(), read_chart(tmp_path / "renamed.xlsx"), moved):
        assert chart.invented == ("chart",)
    assert own.invented == ()
    found = check_client(demo_chart(), WOMAN)
    for said in (found.answer(), found.summary(), found.to_dict()["answer"]):
        assert said.startswith(CHART)
    assert answer_html(found).split("</p>")[0].endswith(CHART)
    note = client_note(found)
    assert f"**{CHART}**" in note.markdown() and CHART in note.html()
    mine = check_client(own, WOMAN)
    assert "Invented for" not in mine.summary() + client_note(mine).html()


def test_a_judgement_a_comparison_a_lesson_and_cards_begin_with_it(own):
    chart, people = demo_chart(), load_people("bariatric", draws=1)
    ways = compare_ways(people, chart, replicates=20)
    judged = judge_chart(people, chart)
    said = [judged.answer(), judged.summary(), ways_answer(ways), ways.summary()]
    said.append(practice_clients(people, chart, n=3).summary())
    for pair in ((chart, own), (own, chart)):
        said.append(compare_charts(people, *pair, replicates=20).summary())
    assert all(words.startswith(CHART) for words in said)
    assert "nvented" not in compare_charts(people, own, own, replicates=20).summary()


def plan_of(capsys, *words):
    small = ["--scenarios", "50", "--target", "0.6"]
    assert main(["stock", *small, *map(str, words)]) == 0
    return capsys.readouterr().out


def test_a_stock_in_text_order_workbook_page_and_json(tmp_path, capsys):
    text, book, page = (
        tmp_path / f"plan.{ending}" for ending in ("csv", "xlsx", "html")
    )
    told = plan_of(capsys, "--order", text, "--order", book, "--report", page)
    first = invented_words("chart", "prices", "owned", "people")
    assert told.startswith(first)
    assert text.read_text(encoding="utf-8").splitlines()[1].startswith(f'"{first}"')
    sheets = openpyxl.load_workbook(book)
    assert sheets["Order"]["A2"].value == first
    assert str(sheets["Notes"]["A2"].value).startswith(first)
    assert first in page.read_text(encoding="utf-8")


def test_people_of_ones_own_own_no_invented_slings(tmp_path, capsys):
    """Before, the 11 slings of the invented store were taken off the order."""
    groups = tmp_path / "g.csv"
    groups.write_text("people,count\ncare_home_us,10\n")
    for words in (["--people", "care_home_nordic=10"], ["--groups", groups]):
        made = json.loads(plan_of(capsys, *words, "--json"))
        assert made["answer"].startswith(invented_words("chart", "prices"))
        order = pd.DataFrame(made["order"])
        assert (order["owned"] == 0).all() and order["order"].equals(order["stock"])
    scenario = json.loads(plan_of(capsys, "--json"))
    assert pd.DataFrame(scenario["order"])["owned"].sum() > 0
    # Prices of one's own are not called invented.
    prices = pd.DataFrame({"size": demo_chart().sizes, "price": 101.0, "owned": 9})
    home = Served(load_people("care_home_nordic", draws=1), 5)
    plan = plan_stock(home, demo_chart(), prices=prices, scenarios=50)
    assert plan.invented == ("chart",) and plan.answer().startswith(CHART)
    assert CHART in stock_page(plan)


def test_the_purchasers_page_takes_the_invented_slings_out_with_other_people():
    form = StockForm()
    mine = form.offer.table.frame.copy()
    owned = pd.to_numeric(mine["owned"]).sum()
    assert owned == demo_scenario()[1]["owned"].sum() > 0
    mine.loc[0, "owned"], mine.loc[0, "price"] = 77, 99
    form.offer.table.set(mine)
    form.people._changed()
    left = form.offer.table.frame[["owned", "price"]].apply(pd.to_numeric)
    assert left["owned"].sum() == 77 and left["price"][0] == 99
    assert "was taken out" in form.offer.about.value
