"""Whom a stock serves, how slings are used, what can be bought: read and refused."""

import numpy as np
import pandas as pd
import pytest

from sizing.charts import chart_from, fits_matrix
from sizing.errors import InputProblems, SizingError
from sizing.stock import Served, Use, offer_from, serves_from

from .cases import chart_of, people_of, tall_and_short


@pytest.mark.parametrize(
    ("use", "words"),
    [
        (Use(), "Each person has a sling of their own; out of use: never."),
        (
            Use(each=2, passed_on=False, spares=1, out={"laundry": (1, 7)}),
            "Each person has 2 slings of their own, not passed on when they leave; out "
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


def test_every_wrong_row_is_named_and_the_good_one_between_is_kept():
    bare = bare_chart()
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


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"count": -4, "name": "the home"}, "^the home: the number .* not -4"),
        ({"count": 2.5}, "whole number of 0 or more, not 2.5"),
        ({"count": True}, "whole number of 0 or more, not True"),
        ({"count": 1_000_001}, "not 1000001, and at most 1,000,000"),
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
    rows = [
        ("bariatric", 6.0, np.nan, None, ""),
        (" care_home_nordic ", 8.0, 2.5, "poisson", "the home"),
        ("ours.csv", np.nan, 1.0, "", None),
    ]
    columns = ["people", "count", "admissions", "number", "name"]
    table = pd.DataFrame(rows, columns=columns)
    groups = serves_from(table, folder=tmp_path)
    assert [(group.count, group.admissions, group.number) for group in groups] == [
        (6, 0, "fixed"),
        (8, 2.5, "poisson"),
        (None, 1, "fixed"),
    ]
    assert groups[1].title == "the home" and groups[2].present == 2
    assert groups[0].title == "adults of high body mass index"
    who = ["care_home_nordic", "martians", "../ours.csv"]
    wrong = pd.DataFrame({"people": who, "count": [None, 3, 2.5]})
    with pytest.raises(InputProblems) as found:
        serves_from(wrong, folder=tmp_path)
    told = found.value.table
    assert told["row"].tolist() == [2, 3, 4]
    known = "How many|Unknown people|is not in the folder"
    assert told["what"].str.contains(known).all()
    for empty, words in (
        (table.iloc[:0], "there is no group"),
        (table[["people"]], "no column 'count'"),
        (table[["count"]], "no column 'people'"),
    ):
        with pytest.raises(InputProblems, match=words):
            serves_from(empty)
    with pytest.raises(SizingError, match="Say who the stock serves"):
        serves_from([])


def test_shares_of_days_out_add_up_and_may_not_be_nearly_all():
    assert Use().share_out == 0
    use = Use(out={"laundry": (1, 7), "inspection": (2, 100)})
    assert use.share_out == pytest.approx(1 / 7 + 0.02)
    assert "laundry 1 day in 7, inspection 2 days in 100" in use.summary()
    for out in ({"laundry": (7, 7)}, {"a": (1, 2), "b": (2, 5)}):
        with pytest.raises(InputProblems, match="nine days in ten"):
            Use(out=out)
    for pair in ((8, 7), (0, 0), (1, -7), (1,), "17", (True, 7)):
        with pytest.raises(InputProblems, match="days out of days"):
            Use(out={"laundry": pair})
    with pytest.raises(InputProblems, match="for a shared pool"):
        Use(at_most=3)
    with pytest.raises(InputProblems) as found:
        Use(each=0, spares=-1, at_once=2, at_most=0, out={"laundry": (8, 7)})
    told = [problem.what for problem in found.value.problems]
    assert told[:5] == [
        "'each' is no number of slings",
        "'at_once' is no chance",
        "'at_most' is no number of clients",
        "'spares' is no number of slings",
        "'laundry' is no number of days out of days",
    ]
    with pytest.raises(SizingError, match="personal, shared"):
        Use("lent")


@pytest.mark.parametrize("name", ["a\0b.csv", "loop/mine.csv", "../mine.csv", "/x.csv"])
def test_a_caseload_is_read_from_the_tables_folder_alone(tmp_path, name):
    """Names that are no path, links that go round, and ways out of the folder."""
    folder = tmp_path / "ours"
    folder.mkdir()
    (folder / "loop").symlink_to(folder / "loop")
    (tmp_path / "mine.csv").write_text("sex\nf\n")
    table = pd.DataFrame({"people": [name], "count": [2]})
    with pytest.raises(InputProblems) as found:
        serves_from(table, folder=folder)
    (problem,) = found.value.problems
    # Newer Pythons follow such a link no further, and the reader finds nothing there.
    told = "is not in the folder" in problem.what and problem.row == 2
    assert told or "it cannot be opened" in problem.what


def test_a_link_may_lead_within_the_folder(tmp_path):
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub" / "mine.csv").write_text("sex,stature_cm\nf,160\n")
    (tmp_path / "here.csv").symlink_to(tmp_path / "sub" / "mine.csv")
    table = pd.DataFrame({"people": ["here.csv", "sub/mine.csv"], "count": [None, 4]})
    groups = serves_from(table, folder=tmp_path)
    assert [group.present for group in groups] == [1, 4]
    assert groups[0].count is None and groups[1].count == 4


def bare_chart():
    chart = tall_and_short()
    return chart_from(chart.frame.drop(columns="price"), name="bare", warn=False)


def test_an_empty_cell_means_what_it_says_and_numbers_may_be_words():
    prices = pd.DataFrame(
        {
            "size": [" short ", "tall"],
            "price": ["12.5", 120],
            "owned": [None, 3.0],
            "pack": [np.nan, 2],
            "most": ["", None],
            "last_year": [None, 4],
        }
    ).replace("", None)
    table = offer_from(bare_chart(), prices).table
    assert table["price"].tolist() == [12.5, 120]
    assert table["owned"].tolist() == [0, 3]
    assert table["pack"].tolist() == [1, 2]
    assert table["most"].tolist() == [np.inf, np.inf]
    assert table["last_year"].isna().tolist() == [True, False]
    assert table["owned"].dtype.kind == table["pack"].dtype.kind == "i"
    # What the prices say goes before what the chart says.
    own = tall_and_short(owned=[7, 8])
    mixed = offer_from(own, prices[["size", "owned"]]).table
    assert mixed["owned"].tolist() == [7, 3]
    assert mixed["price"].tolist() == [100.0, 120.0]


@pytest.mark.parametrize(
    ("column", "good", "bad"),
    [
        ("price", [0, 0.01, 1_000_000_000], [-0.01, 1_000_000_001, "dear", "nan"]),
        ("owned", [0, 1_000_000], [-1, 0.5, 1_000_001]),
        ("pack", [1, 12], [0, 1.5, -1]),
        ("most", [0, 2.5], [-1, "many"]),
        ("last_year", [0, 3.5], [-2]),
    ],
)
def test_numbers_of_an_offer_have_their_limits(column, good, bad):
    for value in good:
        prices = pd.DataFrame({"size": ["short", "tall"], "price": [1.0, 2.0]})
        prices[column] = pd.Series([value, 1], dtype=object)
        assert offer_from(bare_chart(), prices).table[column].iloc[0] == value
    for value in bad:
        prices[column] = pd.Series([value, 1], dtype=object)
        with pytest.raises(InputProblems) as found:
            offer_from(bare_chart(), prices)
        (problem,) = found.value.problems
        named = {"owned": "number owned", "last_year": "use"}.get(column, column)
        assert problem.what == f"the size 'short' has no such {named}"
        assert problem.column == column and problem.value == value
        least = 1 if column == "pack" else 0
        kind = "a whole number" if column in ("owned", "pack") else "a number"
        assert problem.allowed.startswith(f"{kind} of {least} or more, up to")


def test_sizes_of_two_charts_are_told_apart():
    one, two = bare_chart(), tall_and_short()
    prices = pd.DataFrame({"size": ["short", "tall"], "price": [10.0, 20.0]})
    with pytest.raises(InputProblems) as found:
        offer_from([one, two], prices)
    told = [problem.what for problem in found.value.problems]
    assert told[:2] == ["several charts have this size: add a column 'chart'"] * 2
    assert [problem.row for problem in found.value.problems[:2]] == [2, 3]
    offer = offer_from([one, two], prices.assign(chart=" bare "))
    assert offer.keys[:2] == ("bare: short", "bare: tall")
    assert offer.table["price"].tolist() == [10, 20, 100, 120]
    assert list(offer.chart.sizes) == list(offer.keys)
    assert offer.chart.name == f"bare and {two.name}"
    # A size can be named by its key as well.
    named = pd.DataFrame({"size": ["bare: tall", "bare: short"], "price": [2.0, 1.0]})
    assert offer_from([one, two], named).table["price"].tolist() == [1, 2, 100, 120]
    with pytest.raises(SizingError, match=r"called the same \(bare, bare\)"):
        offer_from([one, one], prices)
    for nothing in ([], ["chart.csv"]):
        with pytest.raises(SizingError, match="at least one size chart"):
            offer_from(nothing)
    with pytest.raises(InputProblems, match="no column 'size'"):
        offer_from(one, prices.drop(columns="size"))


def test_up_to_sixty_two_sizes_are_planned_together():
    def many(number):
        low, limit = 100 + np.arange(number), [100.0, *[np.nan] * (number - 1)]
        return chart_of(low, low + 3, price=1.0, load_limit_kg=limit)

    offer = offer_from(many(62))
    assert offer.table["load_limit_kg"].isna().sum() == 61
    with pytest.raises(SizingError, match="63 sizes are too many"):
        offer_from(many(63))
    some = people_of(100.0, 130.5, 161.0, 164.0, 90.0)
    fits = fits_matrix(some.frame, offer.chart)
    bits = [sum(1 << i for i in np.flatnonzero(row).tolist()) for row in fits]
    assert offer.masks(some).tolist() == bits
    assert bits[4] == 0 and bits[3] >= 1 << 61
