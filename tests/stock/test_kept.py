"""A plan kept in its workbook, opened again, and set beside others."""

from dataclasses import replace

import pandas as pd
import pytest

from sizing.charts import chart_from
from sizing.cli.main import main
from sizing.errors import SizingError
from sizing.files.writing import write_bytes
from sizing.pages.stock_kept import kept_sheets, reopened, side_by_side
from sizing.pages.stock_order import order_book
from sizing.people import load_people
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
    frame = tall_and_short(owned=[2, 1], most=[50, None]).frame
    charts = [chart_from(frame, name=name, warn=False) for name in ("tall", "wide")]
    plan = plan_stock(
        groups, charts, use=USE, years=YEARS, target=0.9, aim="needs", scenarios=50
    )
    path = tmp_path_factory.mktemp("kept") / "plan.xlsx"
    return plan, write_bytes(path, order_book(plan))


def test_what_was_entered_comes_back_whole(kept):
    plan, path = kept
    back = reopened(path)
    assert (back.use, back.years, back.missing) == (USE, YEARS, ())
    assert back.goal == {"target": 0.9, "aim": "needs"}
    assert [chart.name for chart in back.charts] == ["tall", "wide"]
    again = plan_stock(
        back.serves,
        back.charts,
        prices=back.prices,
        use=back.use,
        years=back.years,
        scenarios=50,
        **back.goal,
    )
    for sheet, before in kept_sheets(plan).items():
        pd.testing.assert_frame_equal(
            kept_sheets(again)[sheet], before, check_dtype=False, check_like=True
        )
    pd.testing.assert_frame_equal(again.offer.table, plan.offer.table)


def test_what_was_held_is_owned_a_year_on(kept):
    plan, path = kept
    later = reopened(path, bought=True)
    assert later.prices["owned"].tolist() == plan.order["stock"].tolist()
    assert reopened(path).prices["owned"].tolist() == plan.order["owned"].tolist()


def test_plans_stand_side_by_side(kept):
    plan, _ = kept
    shown = side_by_side({"one": plan, "two": replace(plan, target=None, budget=50.0)})
    assert shown["Plan"].tolist() == ["one", "two"]
    assert shown["Goal"].tolist() == ["90 % of needs", "a budget of 50"]
    assert (
        shown["Cost"][0] == shown["Cost"][1] and "tall and wide" in shown["Charts"][0]
    )


def test_a_list_of_clients_is_in_no_workbook_and_said_to_be_missing(people, tmp_path):
    plan = plan_stock(Served(people, name="mine"), tall_and_short(), scenarios=50)
    path = write_bytes(tmp_path / "own.xlsx", order_book(plan))
    back = reopened(path)
    assert back.missing == ("mine",) and back.serves.empty
    assert main(["stock", "--open", str(path)]) == 2


def test_the_command_goes_on_from_a_plan_and_sets_it_beside(kept, capsys):
    _, path = kept
    words = ["stock", "--open", str(path), "--bought", "--beside", str(path)]
    assert main([*words, "--scenarios", "50"]) == 0
    said = capsys.readouterr().out
    assert "this plan" in said and "plan.xlsx" in said and "90 % of needs" in said
    assert "Kept for 3 years" in said


def test_a_workbook_that_is_no_plan_or_was_spoilt_is_refused(kept, tmp_path):
    _, path = kept
    other = tmp_path / "other.xlsx"
    pd.DataFrame({"size": ["a"], "price": [1]}).to_excel(other, index=False)
    with pytest.raises(SizingError, match="no sheet called 'Order'"):
        reopened(other)
    with pd.ExcelWriter(other) as book:
        for name, frame in pd.read_excel(path, sheet_name=None).items():
            spoilt = frame.replace("0.9", "much").replace(0.9, "much")
            spoilt.to_excel(book, sheet_name=name, index=False)
    with pytest.raises(SizingError, match="'Entries' was changed so that it cannot"):
        reopened(other)
