"""One gate for every table: each column used or named, and nothing read unsaid."""

import base64
import warnings
from functools import partial

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.fields import UploadBox
from sizing.charts import chart_from, demo_chart, read_chart
from sizing.cli.main import main
from sizing.errors import InputProblems, ReadingNote
from sizing.lesson.answers import read_answers
from sizing.measures.tables import GROUPS, PRICES, TABLES, TRIALS, blank, take
from sizing.measures.typed import amount
from sizing.people import read_caseload, read_margins
from sizing.people.files import read_table
from sizing.stock import offer_from, serves_from
from tests.conftest import taken
from tests.hostile.files import workbook

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
    (folder / "mine.xlsx").write_bytes(workbook(cells, change))
    return folder / "mine.xlsx"


def shows(cell, look, it):
    """Let a workbook show a cell with a sign or a unit."""
    it.active[cell].number_format = look


ROWS = {
    "chart": {"size": "a", "load_limit_kg": 100, "stature_cm_low": 100},
    "caseload": {"sex": "f", "stature_cm": 160},
    "prices": {"size": demo_chart().sizes[0], "price": 1},
    "groups": {"people": "bariatric", "count": 2},
    "margins": {"variable": "sex", "statistic": "share", "level": "f", "target": 0.5},
    "answers": {"participant": 1, "subject": "card 1", "guessed_body_mass_kg": 70},
    "trials": {"size": "a", "hip_circumference_cm": 100, "outcome": "fits"},
}


def of_groups(path):
    served = serves_from(read_table(path, GROUPS))
    return pd.DataFrame([{"n": one.present, "in": one.admissions} for one in served])


READERS = {
    "chart": lambda path: read_chart(path, warn=False).frame,
    "caseload": lambda path: read_caseload(path, draws=1).frame,
    "prices": lambda path: take(read_table(path, PRICES), PRICES).frame,
    "groups": of_groups,
    "margins": read_margins,
    "answers": lambda path: read_answers(path, demo_chart()).guesses,
    "trials": lambda path: take(read_table(path, TRIALS), TRIALS).frame,
}
READERS["offer"] = lambda path: offer_from(demo_chart(), read_table(path, PRICES)).table


@pytest.mark.parametrize(
    ("kind", "text", "column", "value"),
    [
        # Owned in capitals was owned by nobody.
        ("prices", "size,price,Owned/a,1,7", "owned", 7),
        ("prices", "Size,Price of one,OWNED NOW/a,1,7", "owned", 7),
        ("prices", "Size,Price of one, owned /a,1,7", "owned", 7),
        ("groups", "People,Count,Admissions/bariatric,6,2.5", "in", 2.5),
        ("groups", "People,Count,Admitted over the period/bariatric,6,2.5", "in", 2.5),
        ("groups", 'people,count,admissions/bariatric,6,"2,5"', "in", 2.5),
        ("margins", "VARIABLE, Statistic ,Level,Target/sex,share,f,0.6", "target", 0.6),
        ("margins", 'variable,statistic,level,target/sex,share,f,"0,6"', "target", 0.6),
    ],
)
def test_headings_and_numbers_are_read_as_people_write_them(
    kind, text, column, value, tmp_path
):
    path = saved(tmp_path, text.replace("/", "\n"))
    frame, told = said(lambda: READERS[kind](path))
    assert float(frame[column].iloc[0]) == value and "not used" not in told[0]


@pytest.mark.parametrize(
    ("kind", "text", "words"),
    [
        ("caseload", "sex,hips/f,92", "column 'hips'.*no unit"),
        ("prices", "size,Owned,owned now/a,1,2", "two columns, also as 'Owned'"),
        ("offer", "size,price/adult 1,dear", "mine.csv, row 2, column 'price'.*'dear'"),
        ("groups", "people,count/bariatric,many", "row 2, column 'count'.*'many'"),
        ("chart", "Style,Belastung/S,200", "there is no column 'size'.*FOUND.*FOUND"),
        ("offer", "Prices/size,price/nobody's,1", "mine.csv, row 3, column 'size'"),
        ("groups", "Ours//People,Count/martians,3", "mine.csv, row 4: Unknown people"),
    ],
)
def test_what_cannot_be_read_is_said_with_its_place(kind, text, words, tmp_path):
    path = saved(tmp_path, text.replace("/", "\n"))
    found = "(?s)" + words.replace("FOUND", "found are 'Style', 'Belastung'")
    with pytest.raises(InputProblems, match=found):
        said(lambda: READERS[kind](path))


def test_a_caseload_is_read_under_the_words_people_write(tmp_path):
    """`hips` was passed over, and its girth predicted."""
    people, told = said(lambda: read_caseload(saved(tmp_path, CLIENTS), draws=1))
    first = people.frame.iloc[0]
    names = ["age_years", "body_mass_kg", "stature_cm", "hip_circumference_cm"]
    assert first[names].tolist() == [82, 51.5, 158, 92]
    assert people.evidence["hip_circumference_cm"].iloc[0] == "measured"
    assert "2 clients read" in told[0] and "hip girth for 1" in told[0]


def test_the_words_of_the_pages_read_back_in_answers():
    row = {"Participant's number": "1", "Volunteer or card": "card 1"}
    row |= {"Size chosen": demo_chart().sizes[0], "Guess: body mass, kg": 70}
    row |= {"Hip girth, cm": 101, "Shoes": 41}
    found = read_answers(pd.DataFrame([row]), demo_chart())
    assert found.guesses["value"].tolist() == [70]
    assert found.readings["value"].tolist() == [101]
    assert found.left_out["column"].tolist() == ["Shoes"]


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


def test_a_command_says_what_was_read_and_what_not(tmp_path, capsys):
    path = saved(tmp_path, CHART.replace("\n", ",x\n").replace("(cm),x", "(cm),Fabric"))
    assert main(["client", "sex=f", "age_years=70", "--chart", str(path)]) == 0
    assert "hip girth for 2; not used: column 'Fabric'" in capsys.readouterr().err


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_titles_are_passed_over_and_rows_stay_those_of_the_file(tmp_path, mark):
    title = f"Our clients, 2026{mark}\n\n"
    text = title + CLIENTS.replace(",", mark)
    people, told = said(lambda: read_caseload(saved(tmp_path, text), draws=1))
    assert people.frame["person"].tolist() == [4, 5]
    assert "rows 1 to 2 stand above the heading ('Our clients" in told[0]
    with pytest.raises(InputProblems, match=r"row 5, column 'Height .cm.'"):
        read_caseload(saved(tmp_path, text.replace("181", "tall")))


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


@pytest.mark.parametrize(
    ("one", "two"),
    [("Adult A", "adult  a"), ("Adult A", "Аdult A"), ("OX", "ΟΧ"), ("A1", "Ａ1")],
)
def test_names_that_look_alike_are_refused(one, two):
    frame = pd.DataFrame({"size": [one, two], "stature_cm_low": [150, 160]})
    with pytest.raises(InputProblems, match="stands twice but for case"):
        chart_from(frame)


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
@pytest.mark.parametrize("kind", TABLES)
def test_a_blank_table_is_saved_and_reads_back(kind, ending, tmp_path):
    path = tmp_path / f"blank{ending}"
    assert main(["blank", kind, str(path)]) == 0
    reader = pd.read_csv if ending == ".csv" else pd.read_excel
    frame = pd.concat([reader(path), pd.DataFrame([ROWS[kind]])])
    frame.to_csv(tmp_path / "filled.csv", index=False)
    found, told = said(lambda: READERS[kind](tmp_path / "filled.csv"))
    assert len(found) == 1
    assert not any("not used" in one for one in told)


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
    rows[4] = f"{sizes[4]},€ 90"
    path = saved(tmp_path, "\n".join(["size,price", *rows]))
    with pytest.raises(InputProblems, match=r"several currencies \(£, €\)"):
        offer_from(demo_chart(), read_table(path, PRICES))
