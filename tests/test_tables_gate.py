"""One gate for every table: each column used or named, and nothing read unsaid."""

import base64
import warnings
from functools import partial

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.entry import UploadBox
from sizing.charts import chart_from, demo_chart, read_chart
from sizing.cli.main import main
from sizing.errors import InputProblems, ReadingNote, SizingWarning
from sizing.lesson.answers import read_answers
from sizing.measures.tables import GROUPS, MARGINS, PRICES, TABLES, TRIALS, blank, take
from sizing.measures.typed import amount
from sizing.people import read_caseload, read_margins
from sizing.people.files import read_table
from sizing.stock import offer_from, serves_from
from tests.conftest import taken

CLIENTS = "Sex,Age,Weight (kg),Height (cm),Hips (cm)\nf,82,51.5,158,92\nm,47,88,181,\n"
CHART = (
    "Size,Load limit (kg),Hip girth from (cm),Hip girth to (cm)\n"
    "small,150,80,95\nlarge,200,95,115\n"
)


def said(read):
    """What reading says, with what it returns."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        found = read()
    return found, [str(item.message) for item in caught]


def saved(folder, text, name="mine.csv"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def book(folder, cells, change=None):
    made = openpyxl.Workbook()
    for row in cells:
        made.active.append(row)
    if change is not None:
        change(made)
    made.save(folder / "mine.xlsx")
    return folder / "mine.xlsx"


def shows(cell, look, it):
    """Let a workbook show a cell with a sign or a unit."""
    it.active[cell].number_format = look


# What changed an order without a word


def test_a_caseload_is_read_under_the_words_people_write(tmp_path):
    """`hips` was passed over, and its girth predicted."""
    people, told = said(lambda: read_caseload(saved(tmp_path, CLIENTS), draws=1))
    first = people.frame.iloc[0]
    names = ["age_years", "body_mass_kg", "stature_cm", "hip_circumference_cm"]
    assert first[names].tolist() == [82, 51.5, 158, 92]
    assert people.evidence["hip_circumference_cm"].iloc[0] == "measured"
    assert "2 clients read" in told[0] and "hip girth for 1" in told[0]


def test_hips_without_a_unit_are_asked_for(tmp_path):
    path = saved(tmp_path, CLIENTS.replace("Hips (cm)", "hips"))
    with pytest.raises(InputProblems, match=r"column 'hips'.*no unit"):
        read_caseload(path)


def test_owned_in_capitals_is_owned(tmp_path):
    sizes = demo_chart().sizes
    rows = "".join(f"{size},100,{i}\n" for i, size in enumerate(sizes))
    for heading in ("Owned", "OWNED NOW", " owned "):
        path = saved(tmp_path, f"Size,Price of one,{heading}\n{rows}")
        offer = offer_from(demo_chart(), read_table(path, PRICES))
        assert offer.table["owned"].tolist() == list(range(9))
    frame = pd.DataFrame({"size": sizes, "price": 100, "Owned": range(9)})
    assert offer_from(demo_chart(), frame).table["owned"].tolist() == list(range(9))


def test_admissions_in_capitals_are_admissions():
    for heading in ("Admissions", "Admitted over the period"):
        table = pd.DataFrame({"People": ["bariatric"], "Count": [6], heading: [2.5]})
        assert serves_from(table)[0].admissions == 2.5


def test_the_words_of_the_pages_read_back_in_answers():
    row = {"Participant's number": "1", "Volunteer or card": "card 1"}
    row |= {"Size chosen": demo_chart().sizes[0], "Guess: body mass, kg": 70}
    row |= {"Hip girth, cm": 101, "Shoes": 41}
    found = read_answers(pd.DataFrame([row]), demo_chart())
    assert found.guesses["value"].tolist() == [70]
    assert found.readings["value"].tolist() == [101]
    assert found.left_out["column"].tolist() == ["Shoes"]


def test_margins_under_any_headings(tmp_path):
    path = saved(tmp_path, "VARIABLE, Statistic ,Level,Target\nsex,share,female,0.6\n")
    assert read_margins(path)["target"].tolist() == [0.6]


# What is not used is named


def test_columns_that_are_not_used_are_named_with_what_was_meant(tmp_path):
    path = saved(tmp_path, CLIENTS.replace("Hips (cm)", "Notes"))
    _, told = said(lambda: read_caseload(path, draws=1))
    assert told[0].endswith("not used: column 'Notes'")
    with pytest.warns(ReadingNote, match=r"'owned stock' \(did you mean 'owned'\?\)"):
        take(pd.DataFrame({"size": ["a"], "owned stock": [1]}), PRICES)
    with pytest.warns(ReadingNote, match="not used: columns 'ward', 'floor'"):
        take(pd.DataFrame({"size": ["a"], "ward": 1, "floor": 2}), PRICES)


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
@settings(max_examples=40)
@given(words=st.lists(st.text(st.characters(categories=["L", "Nd", "Zs"]), min_size=1)))
def test_every_column_is_used_or_listed_or_refused(table, words):
    headings = [*blank(table).columns, *words]
    found, problems = table.read(headings)
    understood = [one.given for one in found] + [one.column for one in problems]
    nameless = sum("no heading" in one.what for one in problems)
    assert len(understood) >= len(headings)
    assert {h.strip() for h in headings if h.strip()} <= set(understood)
    assert nameless == sum(not h.strip() for h in headings)


def test_two_columns_that_come_to_the_same_are_refused():
    frame = pd.DataFrame({"size": ["a"], "Owned": [1], "owned now": [2]})
    with pytest.raises(InputProblems, match="two columns, also as 'Owned'"):
        take(frame, PRICES)


def test_a_command_says_what_was_read_and_what_not(tmp_path, capsys):
    path = saved(tmp_path, CHART.replace("\n", ",x\n").replace("(cm),x", "(cm),Fabric"))
    assert main(["client", "sex=f", "age_years=70", "--chart", str(path)]) == 0
    assert "hip girth for 2; not used: column 'Fabric'" in capsys.readouterr().err


# Where things stand in the file


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_titles_are_passed_over_and_rows_stay_those_of_the_file(tmp_path, mark):
    title = f"Our clients, 2026{mark}\n\n"
    text = title + CLIENTS.replace(",", mark)
    people, told = said(lambda: read_caseload(saved(tmp_path, text), draws=1))
    assert people.frame["person"].tolist() == [4, 5]
    assert "rows 1 to 2 stand above the heading ('Our clients" in told[0]
    with pytest.raises(InputProblems, match=r"row 5, column 'Height .cm.'"):
        read_caseload(saved(tmp_path, text.replace("181", "tall")))
    chart = saved(tmp_path, "Our slings\n" + CHART.replace("115", "wide"))
    with (
        pytest.warns(ReadingNote, match=r"row 1 stands above"),
        pytest.raises(InputProblems, match=r"row 4, column 'Hip girth to .cm.'"),
    ):
        read_chart(chart)


def test_rows_of_prices_and_groups_are_those_of_the_file(tmp_path):
    path = saved(tmp_path, "Prices\nsize,price\nnobody's,1\n")
    with (
        pytest.warns(ReadingNote),
        pytest.raises(InputProblems, match=r"mine.csv, row 3, column 'size'"),
    ):
        offer_from(demo_chart(), read_table(path, PRICES))
    cells = [["Our groups"], [], ["People", "Count"], ["martians", 3]]
    with (
        pytest.warns(ReadingNote),
        pytest.raises(InputProblems, match=r"mine.xlsx, row 4: Unknown people"),
    ):
        serves_from(read_table(book(tmp_path, cells), GROUPS))


# What a workbook holds beside its cells

CELLS = [line.split(",") for line in CLIENTS.splitlines()]
CELLS = [CELLS[0], ["f", 82, 51.5, 158, 92], ["m", 47, 88, 181, None]]


def test_hidden_rows_columns_and_further_sheets_are_said(tmp_path):
    def change(it):
        it.active.row_dimensions[3].hidden = True
        it.active.column_dimensions["D"].hidden = True
        it.create_sheet("older")

    path = book(tmp_path, CELLS, change)
    people, told = said(lambda: read_caseload(path, draws=1))
    assert people.n == 2
    assert "the first sheet is read, not the sheet 'older'" in told[0]
    assert any("hidden in the workbook, yet read: row 3." in one for one in told)
    assert any("hidden in the workbook, yet read: column D." in one for one in told)
    with pytest.warns(SizingWarning, match="hidden in the workbook"):
        read_caseload(path, draws=1)


@pytest.mark.parametrize("shown", ["0%", "0.0 %", '0.0" in"', '0"mm"', "0\\ \\m"])
def test_signs_in_a_cells_format_are_not_read_over(tmp_path, shown):
    with pytest.raises(InputProblems, match=r"row 2, column 'Hips \(cm\)'.*shown with"):
        read_caseload(book(tmp_path, CELLS, partial(shows, "E2", shown)))


def test_the_unit_of_the_heading_and_shares_in_per_cent_are_read(tmp_path):
    path = book(tmp_path, CELLS, partial(shows, "E2", '0.0" cm"'))
    people, _ = said(lambda: read_caseload(path, draws=1))
    assert people.frame["hip_circumference_cm"].iloc[0] == 92
    cells = [["variable", "statistic", "level", "target"], ["sex", "share", "f", 0.6]]
    path = book(tmp_path, cells, partial(shows, "D2", "0%"))
    assert read_margins(path)["target"].tolist() == [0.6]
    groups = [["people", "count"], ["bariatric", 0.6]]
    with pytest.raises(InputProblems, match=r"column 'count'.*'%'"):
        read_table(book(tmp_path, groups, partial(shows, "B2", "0%")), GROUPS)


@pytest.mark.parametrize(
    ("shown", "sign"),
    [("[$£-809]#,##0.00", "£"), ("$#,##0", "$"), ('0.00 "EUR"', "EUR"), ("0.00", "")],
)
def test_a_currency_that_a_workbook_shows_is_read_with_the_price(tmp_path, shown, sign):
    cells = [["size", "price"], ["small", 120.5]]
    look = partial(shows, "B2", shown)
    (price,) = read_table(book(tmp_path, cells, look), PRICES)["price"]
    assert amount(price, money=True) == (120.5, sign)


# Names and ranges


@pytest.mark.parametrize(
    ("one", "two"),
    [("Adult A", "adult  a"), ("Adult A", "Аdult A"), ("OX", "ΟΧ"), ("A1", "Ａ1")],
)
def test_names_that_look_alike_are_refused(one, two):
    frame = pd.DataFrame({"size": [one, two], "stature_cm_low": [150, 160]})
    with pytest.raises(InputProblems, match="stands twice but for case"):
        chart_from(frame)


@pytest.mark.parametrize("mark", ["-", " - ", "–", " to ", "—", "−"])
def test_a_range_in_one_cell_is_both_ends(mark):
    frame = pd.DataFrame({"Size": ["s", "l", "any"], "Height (ft) from": [1, 2, 3]})
    frame["Weight (kg)"] = [f"20{mark}40", f"40{mark}90.5", None]
    made = chart_from(frame, warn=False).frame
    assert made["body_mass_kg_low"].tolist()[:2] == [20, 40]
    assert made["body_mass_kg_high"].tolist()[:2] == [40, 90.5]
    assert made["body_mass_kg_low"].isna().tolist() == [False, False, True]
    frame.loc[2, "Weight (kg)"] = "heavy"
    with pytest.raises(InputProblems, match=r"row 4, column 'Weight \(kg\)'.*heavy"):
        chart_from(frame)


def test_what_is_found_stands_beside_what_is_expected(tmp_path):
    path = saved(tmp_path, "Style,Belastung\nS,200\n")
    with pytest.raises(InputProblems) as told:
        read_chart(path)
    assert "there is no column 'size'" in str(told.value)
    assert str(told.value).count("found are 'Style', 'Belastung'") == 2


# Blank tables

ROWS = {
    "chart": {"size": "a", "load_limit_kg": 100, "stature_cm_low": 100},
    "caseload": {"sex": "f", "stature_cm": 160},
    "prices": {"size": demo_chart().sizes[0], "price": 1},
    "groups": {"people": "bariatric", "count": 2},
    "margins": {"variable": "sex", "statistic": "share", "level": "f", "target": 0.5},
    "answers": {"participant": 1, "subject": "card 1", "guessed_body_mass_kg": 70},
    "trials": {"size": "a", "hip_circumference_cm": 100, "outcome": "fits"},
}
READERS = {
    "chart": lambda path: len(read_chart(path, warn=False).sizes),
    "caseload": lambda path: read_caseload(path, draws=1).n,
    "prices": lambda path: len(take(read_table(path, PRICES), PRICES).frame),
    "groups": lambda path: len(serves_from(read_table(path, GROUPS))),
    "margins": lambda path: len(take(read_table(path, MARGINS), MARGINS).frame),
    "answers": lambda path: len(read_answers(path, demo_chart()).guesses),
    "trials": lambda path: len(take(read_table(path, TRIALS), TRIALS).frame),
}


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
@pytest.mark.parametrize("kind", TABLES)
def test_a_blank_table_is_saved_and_reads_back(kind, ending, tmp_path):
    path = tmp_path / f"blank{ending}"
    assert main(["blank", kind, str(path)]) == 0
    reader = pd.read_csv if ending == ".csv" else pd.read_excel
    frame = pd.concat([reader(path), pd.DataFrame([ROWS[kind]])])
    frame.to_csv(tmp_path / "filled.csv", index=False)
    found, told = said(lambda: READERS[kind](tmp_path / "filled.csv"))
    assert found == 1
    assert not any("not used" in one for one in told)


# The pages


def test_a_page_says_how_a_file_was_read_and_saves_a_blank_one():
    box = UploadBox("My prices", table=PRICES)
    content = b"Prices 2026\nSize,Price,Colour\na,1,red\n"
    box.box.value = taken("mine.csv", content)
    found = box.read(lambda path: take(read_table(path, PRICES), PRICES).frame)
    assert found["price"].tolist() == [1]
    assert "row 1 stands above" in box.said.value
    assert "not used: column &#x27;Colour&#x27;" in box.said.value
    link = next(c.value for c in box.view.children[1:] if "download" in c.value)
    saved_as = base64.b64decode(link.partition("base64,")[2].partition('"')[0])
    assert saved_as.decode().strip().split(",") == blank(PRICES).columns.tolist()
    box.clear()
    assert box.said.value == ""


# One number reader for every table


def test_prices_are_read_as_people_write_them(tmp_path):
    """Currency signs were refused, a size in capitals unknown, rows not named."""
    sizes = demo_chart().sizes
    cells = ['"£1,250.00"', "£99", "£ 1.5"] + ["£100"] * (len(sizes) - 3)
    rows = [f"{s.upper()} ,{c}" for s, c in zip(sizes, cells, strict=True)]
    path = saved(tmp_path, "\n".join(["size,price", *rows]))
    offer, told = said(lambda: offer_from(demo_chart(), read_table(path, PRICES)))
    assert offer.table["price"].tolist()[:3] == [1250, 99, 1.5]
    assert offer.currency == "£"
    assert told == [f"mine.csv: {len(sizes)} sizes read: price for {len(sizes)}"]
    rows[4] = f"{sizes[4]},dear"
    path = saved(tmp_path, "\n".join(["size,price", *rows]))
    with pytest.raises(InputProblems, match=r"mine.csv, row 6, column 'price'.*'dear'"):
        offer_from(demo_chart(), read_table(path, PRICES))
    rows[4] = f"{sizes[4]},€ 90"
    path = saved(tmp_path, "\n".join(["size,price", *rows]))
    with pytest.raises(InputProblems, match=r"several currencies \(£, €\)"):
        offer_from(demo_chart(), read_table(path, PRICES))


def test_numbers_of_groups_and_margins_are_read_alike(tmp_path):
    path = saved(tmp_path, 'people,count,admissions\nbariatric,6,"2,5"\n')
    served, told = said(lambda: serves_from(read_table(path, GROUPS)))
    assert served[0].admissions == 2.5
    assert told == ["mine.csv: 1 group read: count for 1, admissions for 1"]
    path = saved(tmp_path, "people,count\nbariatric,many\n")
    with pytest.raises(InputProblems, match=r"row 2, column 'count'.*'many'"):
        serves_from(read_table(path, GROUPS))
    path = saved(tmp_path, 'variable,statistic,level,target\nsex,share,female,"0,6"\n')
    assert read_margins(path)["target"].tolist() == [0.6]
