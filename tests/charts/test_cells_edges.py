"""Charts piece by piece: each cell, row, edge and finding by hand."""

from datetime import datetime
from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import SizeChart, chart_from, read_chart, review_chart, write_chart
from sizing.charts.build import as_number, as_text, is_empty
from sizing.errors import InputProblems, Problem
from sizing.measures import MEASURES, NO_HIGH, NO_LOW
from sizing.people.people import People
from tests.charts.cases import HIGH, LOW, good, problems
from tests.hostile.files import workbook

# Cells and rows


@given(st.floats(0, 1e6))
def test_a_number_is_read_as_it_is_written(number):
    where = {"file": None, "row": 2, "column": "x"}
    text = f"{number:.6f}"
    for cell in (float(text), text, f" +{text} ", np.float64(text)):
        assert as_number(cell, **where) == float(text)
    assert as_number(text.replace(".", ","), **where) == float(text)
    told = as_number("1,234", **where)
    assert isinstance(told, Problem) and (told.row, told.column) == (2, "x")


@pytest.mark.parametrize("cell", ["", "  ", None, np.nan, pd.NA, pd.NaT])
def test_cells_without_anything_are_empty(cell):
    assert is_empty(cell) and as_text(cell) == ""
    assert np.isnan(as_number(cell, file=None, row=2, column="x"))
    assert not is_empty([1]) and not is_empty("x") and not is_empty(0.0)
    assert [as_text(x) for x in (3.0, 3.5, 3, "3.0 ")] == ["3", "3.5", "3", "3.0"]


def test_rows_are_numbered_as_in_a_spreadsheet_with_empty_ones_left_out():
    frame = good(**{LOW: [70, None], HIGH: [90, None]})
    blank = pd.DataFrame([[None] * 5], columns=frame.columns)
    gone = frame.iloc[[1]].assign(size=None, load_limit_kg=None)
    table = pd.concat([blank, frame.iloc[[0]], blank, gone], ignore_index=True)
    told = problems(table)
    assert told["row"].tolist() == [5, 5]
    words = ["a size without a name", "this size has no limits at all"]
    assert told["what"].tolist() == words
    assert chart_from(table.iloc[:3]).sizes == ("one",)


def test_a_table_that_lacks_what_it_needs_is_told_where_to_write_it():
    told = problems(pd.DataFrame({"group": ["adult"]}))
    assert told["row"].tolist() == [1, 1]
    assert told["action"][1].endswith(", ".join(MEASURES))
    assert problems(good().iloc[:0])["row"].tolist() == [2]
    # One end of one measure is enough for the table and for each size.
    frame = pd.DataFrame({"size": ["one"], "stature_in_high": [70]})
    chart = chart_from(frame, warn=False)
    ends = ["stature_cm_low", "stature_cm_high"]
    assert chart.frame.columns.tolist() == ["size", "group", "load_limit_kg", *ends]
    assert [e.tolist() for e in chart.edges("stature_cm")] == [[NO_LOW], [1778]]
    assert chart.load_limits().tolist() == [NO_HIGH]


def test_limits_out_of_order_are_told_in_the_users_unit():
    frame = good(load_limit_kg=[120.05, 160], body_mass_kg_low=[120.1, 160.15])
    frame["body_mass_kg_high"] = [130, 160.05]
    told = problems(frame)
    assert told["row"].tolist() == [3, 3]
    assert told["column"].tolist() == ["body_mass_kg_low", "load_limit_kg"]
    assert told["value"].tolist() == [160.15, 160]
    assert "above the high limit, 160.05" in told["what"][0]
    # Each number comes back as it was written, to a millionth.
    fine = {"load_limit_lb": [200.123456], "body_mass_lb_low": [220.654321]}
    told = problems(pd.DataFrame({"size": ["one"], **fine, "body_mass_lb_high": [210]}))
    assert told["value"].tolist() == [220.654321, 200.123456]
    assert f"begins at {220.654321 * 0.45359237:.2f} kg" in told["what"][1]


def test_names_are_long_up_to_a_hundred_letters_and_each_size_stands_once():
    told = problems(good(size=["x" * 100, "a\x07b"]))
    assert told["what"].tolist() == ["an unseen letter in a name (U+0007)"]
    row = problems(good(size=["one", "y" * 101])).loc[0]
    assert row["value"] == "y" * 40 and row["row"] == 3
    told = problems(good(chart_name=["", "z" * 101]))
    assert told["what"].tolist() == ["a name of 101 letters"]
    assert told["row"].isna().all() and told["column"][0] == "chart_name"
    # The third time a size stands the first is named.
    told = problems(pd.concat([good(size=["one", "two"])] * 3))
    assert told["row"].tolist() == [4, 5, 6, 7]
    assert [words.rsplit(" ", 1)[1] for words in told["what"]] == ["2", "3", "2", "3"]


def test_the_charts_own_words_go_before_those_of_the_call():
    frame = good(chart_name=[" ", "ours"], chart_source=[None, "a ward"])
    chart = chart_from(frame, name="x", source="y", warn=False)
    assert (chart.name, chart.source) == ("ours", "a ward")
    chart = chart_from(good(chart_name=""), name="x", source="y", warn=False)
    assert (chart.name, chart.source) == ("x", "y")
    assert (chart_from(good()).name, chart_from(good()).source) == ("chart", "")


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_file_holds_two_hundred_sizes_and_no_more(tmp_path, kind):
    path = tmp_path / f"mine.{kind}"
    for count in (200, 201):
        frame = pd.DataFrame({"size": [f"s{i}" for i in range(count)]})
        frame["load_limit_kg"], frame["stature_cm_low"] = 200, np.arange(count) + 1.0
        write_chart(SizeChart(frame), path)
        if count == 200:
            assert len(read_chart(path, warn=False).sizes) == 200
        else:
            with pytest.raises(InputProblems, match="200"):
                read_chart(path)


def test_own_columns_are_numbers_only_where_all_that_is_filled_is(tmp_path):
    path = tmp_path / "mine.csv"
    path.write_text(
        "size,load_limit_kg,stature_cm_low,price,code,mixed,blank,count\n"
        "one,99,150,12.50,007,1,,3\ntwo,99,160,,8,x, ,-4\n"
    )
    frame = read_chart(path, warn=False).frame
    assert frame["price"].tolist()[0] == 12.5 and np.isnan(frame["price"][1])
    assert frame["code"].tolist() == ["007", "8"]
    assert frame["mixed"].tolist() == ["1", "x"]
    assert frame["count"].tolist() == [3, -4] and frame["count"].dtype.kind == "i"
    assert frame["price"].dtype.kind == "f"
    assert frame["blank"][1] == " "
    path.write_text("size,stature_cm_low\none,150\n\ntwo,x\n")
    with pytest.raises(InputProblems, match="row 4, column 'stature_cm_low'"):
        read_chart(path)


def test_dates_and_yes_of_a_workbook_are_no_numbers(tmp_path):
    day, head = datetime(2026, 3, 1), ["size", "load_limit_kg", "stature_cm_low"]
    head += ["seen", "owned", "price"]
    rows = [["one", 99, 150, "5", "5", "2.50"], ["two", 120, 160, day, True, 3]]
    (tmp_path / "mine.xlsx").write_bytes(workbook([head, *rows]))
    frame = read_chart(tmp_path / "mine.xlsx", warn=False).frame
    assert frame["seen"].tolist() == ["5", day]
    assert frame["owned"].tolist() == ["5", True]
    assert frame["price"].tolist() == [2.5, 3.0]


# Edges and findings


box = st.tuples(st.integers(60, 70), st.integers(0, 9), st.integers(1, 4))


@settings(max_examples=30)
@given(st.lists(st.tuples(box, box), min_size=1, max_size=5))
def test_sizes_inside_others_against_counting_bodies(sizes):
    """Every whole centimetre and kilogram a body of this range can have."""
    rows = []
    for (a, wide, load), (b, long, _) in sizes:
        rows.append([a, a + wide, b, b + long, 60 + 4 * load])
    names = [LOW, HIGH, "stature_cm_low", "stature_cm_high", "load_limit_kg"]
    frame = pd.DataFrame(rows, columns=names, dtype=float)
    frame.insert(0, "size", [f"s{i}" for i in range(len(rows))])
    chart = chart_from(frame, warn=False)
    got = review_chart(chart).query("kind == 'inside_another'")

    def bodies(i):
        a, b, c, d, load = rows[i]
        masses = [z for z in (60, 64, 68, 72, 76) if z <= load]
        return set(product(range(a, b + 1), range(c, d + 1), masses))

    held = [bodies(i) for i in range(len(rows))]
    expected = {}
    for i, j in product(range(len(rows)), repeat=2):
        twin = held[i] == held[j] and i < j
        if i != j and held[i] <= held[j] and not twin:
            expected.setdefault(f"s{i}", f"s{j}")
    found = dict(zip(got["size"], got["other_size"], strict=True))
    assert found == expected and [*found] == [*expected]
    told = [
        f"whoever fits '{a}' also fits '{b}', by the measures" for a, b in found.items()
    ]
    assert all(w.startswith(t) for w, t in zip(got["words"], told, strict=True))


@pytest.mark.parametrize(
    ("groups", "told"),
    [
        (["paediatric", "adult", "bariatric"], []),
        (["paediatric", "bariatric", "adult"], ["c"]),
        (["adult", "paediatric", "bariatric"], ["b"]),
        (["bariatric", "adult", "paediatric"], ["b", "c"]),
        (["adult", "", "paediatric"], []),
        (["", "adult", "adult"], []),
        (["adult", "adult", ""], []),
    ],
)
def test_groups_rise_from_paediatric_to_bariatric(groups, told):
    frame = pd.DataFrame({"size": list("abc"), "group": groups, "load_limit_kg": 99})
    frame["stature_cm_low"], frame["stature_cm_high"] = [100, 120, 140], [120, 140, 160]
    found = review_chart(chart_from(frame, warn=False)).query("kind == 'out_of_order'")
    assert found["size"].tolist() == told
    words = "list paediatric, adult, bariatric in this order"
    assert found["words"].str.contains(words).all()


@settings(max_examples=30)
@given(
    st.lists(st.floats(68, 112).map(lambda x: round(x, 1)) | st.none(), min_size=1),
    st.lists(st.floats(110, 170).map(lambda x: round(x, 1)) | st.none(), min_size=1),
    st.lists(st.sampled_from([0.0, 0.5, 2.0]), min_size=1),
)
def test_sizes_that_nobody_fits_against_trying_everyone(hips, masses, weights):
    n = min(len(hips), len(masses), len(weights))
    people = pd.DataFrame({"person": range(n), "draw": 0})
    for name, values in (("hip_circumference_cm", hips), ("body_mass_kg", masses)):
        people[name] = pd.Series(values[:n], dtype=float)
    evidence = pd.DataFrame(index=people.index)
    given_people = People("some", people, pd.Series(weights[:n]), evidence)
    chart = chart_from(good(), warn=False)
    told = review_chart(chart, people=given_people)
    bands = {"one": (70, 90, 120), "two": (88, 110, 160)}
    expected = [
        size
        for size, (low, high, load) in bands.items()
        if not any(
            (hip is None or low <= hip <= high)
            and (mass is None or mass <= load)
            and weight > 0
            for hip, mass, weight in zip(hips[:n], masses[:n], weights[:n], strict=True)
        )
    ]
    assert told["size"].tolist() == expected
    assert all(f"none of the {n} people of 'some' fits" in w for w in told["words"])
