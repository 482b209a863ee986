"""Whom a stock serves, how slings are used, what can be bought: read and refused."""

import numpy as np
import pandas as pd
import pytest
from stock_cases import four_hundred, tall_and_short

from sizing.chart import chart_from
from sizing.errors import InputProblems, SizingError
from sizing.population import People
from sizing.stock import (
    Served,
    Use,
    offer_from,
    serves_from,
)


@pytest.fixture(scope="module")
def people() -> People:
    return four_hundred()


@pytest.mark.parametrize(
    ("use", "words"),
    [
        (Use(), "Each client has a sling of her own; out of use: never."),
        (
            Use(each=2, passed_on=False, spares=1, out={"laundry": (1, 7)}),
            "Each client has 2 slings of her own, not passed on when she leaves; out "
            "of use: laundry 1 day in 7; 1 spare of each size stocked.",
        ),
        (
            Use("shared", at_once=0.3, at_most=4),
            "Slings come from a shared pool; at the busiest moment 30 % of clients "
            "need a sling, at most 4 clients at once; out of use: never.",
        ),
    ],
)
def test_use_is_said_as_it_is(use, words):
    assert use.summary() == words


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"price": [100.0, None]}, "the size 'tall' has no price"),
        ({"price": [100.0, -5.0]}, "the size 'tall' has no such price"),
        ({"owned": [-1, 0]}, "the size 'short' has no such owned"),
        ({"pack": [0, 1]}, "the size 'short' has no such pack"),
        ({"size": ["short", "huge"]}, "unknown size (found: 'huge')"),
    ],
)
def test_wrong_prices_are_named(change, words):
    prices = pd.DataFrame({"size": ["short", "tall"], "price": [100.0, 120.0]})
    bare = tall_and_short()
    bare = chart_from(bare.frame.drop(columns="price"), name="bare", warn=False)
    with pytest.raises(InputProblems) as found:
        offer_from(bare, prices.assign(**change))
    assert words in str(found.value)


def test_every_wrong_row_is_named_and_the_good_one_between_is_kept():
    bare = tall_and_short()
    bare = chart_from(bare.frame.drop(columns="price"), name="bare", warn=False)
    sizes = ["huge", "short", "tiny", "short"]
    prices = pd.DataFrame({"size": sizes, "price": [1.0, 2.0, 3.0, 4.0]})
    with pytest.raises(InputProblems) as found:
        offer_from(bare, prices)
    table = found.value.table
    named = table[table["column"] == "size"]
    assert named["row"].tolist() == [2, 4, 5]
    # Of the two sizes only that without a row is said to lack its price.
    assert table["what"].str.contains("has no price").sum() == 1
    with pytest.raises(InputProblems) as found:
        offer_from(tall_and_short(price=[None, None], most=[-1, None]))
    told = [problem.what for problem in found.value.problems]
    assert told == [
        "the size 'short' has no price",
        "the size 'tall' has no price",
        "the size 'short' has no such most",
    ]


def test_wrong_groups_and_uses_are_named(people):
    with pytest.raises(SizingError, match="whole number of 0 or more, not -4"):
        Served(people, -4)
    table = pd.DataFrame({"people": ["care_home", "nobody"], "count": [-1, 3]})
    with pytest.raises(InputProblems) as found:
        serves_from(table)
    assert "row 2" in str(found.value) and "nobody" in str(found.value)
    for pair in ((8, 7), (0, 0), (1, -7), (1,), "17", (True, 7)):
        with pytest.raises(InputProblems, match="days out of days"):
            Use(out={"laundry": pair})
    with pytest.raises(InputProblems, match="for a shared pool"):
        Use(at_most=3)


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"count": 2.5}, "whole number of 0 or more, not 2.5"),
        ({"count": True}, "whole number of 0 or more, not True"),
        ({"admissions": -0.1}, "admissions must be a number of 0 or more"),
        ({"admissions": np.inf}, "admissions must be a number of 0 or more"),
        ({"count": 4, "number": "many"}, "fixed, poisson"),
        ({"number": "poisson"}, "a caseload is a fixed list"),
    ],
)
def test_groups_that_cannot_be_are_refused(people, settings, words):
    with pytest.raises(SizingError, match=words):
        Served(people, **settings)
    assert Served(people, 0).present == 0
    assert Served(people).present == people.n
    assert Served(people, 7, admissions=0.5, number="poisson").present == 7


def test_a_table_of_groups_is_read_row_by_row(tmp_path):
    (tmp_path / "ours.csv").write_text("sex,stature_cm\nf,160\nm,175\n")
    table = pd.DataFrame(
        {
            "people": ["bariatric", " care_home ", "ours.csv"],
            "count": [6.0, 8.0, np.nan],
            "admissions": [np.nan, 2.5, 1.0],
            "number": [None, "poisson", ""],
            "name": ["", "the home", None],
        }
    )
    groups = serves_from(table, folder=tmp_path)
    assert [group.count for group in groups] == [6, 8, None]
    assert [group.admissions for group in groups] == [0, 2.5, 1]
    assert [group.number for group in groups] == ["fixed", "poisson", "fixed"]
    assert groups[1].title == "the home" and groups[2].present == 2
    assert groups[0].title == "adults of high body mass index"
    wrong = pd.DataFrame(
        {"people": ["care_home", "martians", "../ours.csv"], "count": [None, 3, 2.5]}
    )
    with pytest.raises(InputProblems) as found:
        serves_from(wrong, folder=tmp_path)
    told = found.value.table
    assert told["row"].tolist() == [2, 3, 4]
    assert (
        told["what"].str.contains("How many|Unknown people|is not in the folder").all()
    )
    for empty in (table.iloc[:0], table[["people"]], table[["count"]]):
        with pytest.raises(SizingError, match="needs a row per group"):
            serves_from(empty)
    with pytest.raises(SizingError, match="Say whom the stock serves"):
        serves_from([])
