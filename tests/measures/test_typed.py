"""What people type for a length or a mass: read, or asked about; never guessed."""

import re
from fractions import Fraction

import pandas as pd
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sizing.charts import chart_from, review_chart
from sizing.cli.main import main
from sizing.client import check_client, client_from
from sizing.errors import InputProblems, Problem, SizingError, SizingWarning, UnitSaid
from sizing.measures import LENGTH_UNITS, MASS_UNITS, UNITS, to_standard_units, written
from sizing.measures.typed import Quantity, like_pounds, quantity, understood, with_unit
from sizing.people import read_caseload
from tests.charts.cases import good

#: Exact by definition: the inch of 2.54 cm and the pound of 0.45359237 kg.
INCH, POUND = Fraction(254, 100), Fraction(45359237, 10**8)
FACTORS = LENGTH_UNITS | MASS_UNITS
UNIT = st.sampled_from(list(FACTORS))
#: What hands and files hold: digits, marks, units, and anything at all.
HOSTILE = st.one_of(
    st.text(max_size=80),
    st.lists(
        st.sampled_from(
            [*"0123456789.,/-+'\"′″’”½ \u00a0\u2009e", "ft", "in", "st", "lb", "cm"]
        ),
        max_size=12,
    ).map("".join),
)


def cm(feet, inches):
    return float((12 * feet + Fraction(inches)) * INCH)


def kg(stone, pounds):
    return float((14 * stone + Fraction(pounds)) * POUND)


@pytest.mark.parametrize(
    ("texts", "unit", "expected", "said"),
    [
        ("5 ft 2 in", "cm", cm(5, 2), "feet and inches"),
        ("5'2\"|5\u20192\u201d|5'2''|5 feet, 2 inches|5ft2", "ft", cm(5, 2), ""),
        ("5' 2", "in", cm(5, 2), ""),
        ("5' 2 1/2\"", "in", cm(5, "2.5"), ""),
        ("5\u2032\u20092½\u2033", "cm", cm(5, "2.5"), "feet and inches"),
        ("5'", "ft", cm(5, 0), ""),
        ("5'-11\"", "ft", cm(5, 11), ""),
        ("5 1/2", "ft", cm(5, 6), ""),
        ("41 1/2|41-1/2", "in", cm(0, "41.5"), ""),
        ("41½", "cm", 41.5, ""),
        ("1/2 in", "cm", 1.27, "inches"),
        ("101,5", "cm", 101.5, ""),
        ("158cm|158\u00a0CM.|1 m 58 cm", "cm", 158, ""),
        ("1.58 m", "cm", 158, "metres"),
        ("1580 mm", "cm", 158, "millimetres"),
        ("62 in", "ft", cm(0, 62), "inches"),
        ("10 st 4", "kg", kg(10, 4), "stones and pounds"),
        ("10st 4lb", "st", kg(10, 4), ""),
        ("10 stone 4", "lb", kg(10, 4), ""),
        ("10 St. 4½ lbs", "st", kg(10, "4.5"), ""),
        ("10 st", "kg", kg(10, 0), "stones"),
        ("64 kg", "kg", 64, ""),
        ("64 kilos", "st", 64, "kilograms"),
        ("141 pounds", "kg", kg(0, 141), "pounds"),
        ("12.75", "st", kg(12, "10.5"), ""),
        ("5.25", "ft", cm(5, 3), ""),
        ("0,125", "m", 12.5, ""),
    ],
)
def test_lengths_and_masses_as_people_say_them(texts, unit, expected, said):
    for text in texts.split("|"):
        found = quantity(text, unit)
        assert found.standard == pytest.approx(expected, rel=1e-12)
        assert found.number == pytest.approx(expected / FACTORS[unit], rel=1e-12)
        assert found.said == said


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("5.11", "ft", ["5 ft 11 in", "5.11 ft", "5 ft 1.32 in"]),
        ("5,11", "ft", ["5 ft 11 in", "5.11 ft"]),
        ("5.11 ft", "cm", ["5 ft 11 in", "5.11 ft"]),
        ("5.1", "ft", ["5 ft 1 in", "5 ft 10 in", "5.1 ft"]),
        ("12.10", "st", ["12 st 10 lb", "12.10 st", "12 st 1.4 lb"]),
        ("9.5", "st", ["9 st 5 lb", "9.5 st", "9 st 7 lb"]),
        ("12.10 st", "kg", ["12 st 10 lb", "12.10 st"]),
        ("1,234", "kg", ["thousands or decimals", "1234 or 1.234"]),
        ("101,567", "cm", ["thousands or decimals"]),
        ("1,234.5", "cm", ["comma"]),
        ("64 kg", "cm", ["kilograms, where a length"]),
        ("158 cm", "kg", ["centimetres, where a mass"]),
        ("5 ft 12 in", "cm", ["12 in make 1 ft"]),
        ("10 st 14 lb", "kg", ["14 lb make 1 st"]),
    ],
)
def test_what_could_be_two_things_is_asked_about(text, unit, words):
    found = quantity(text, unit)
    assert isinstance(found, Problem) and found.allowed and found.action
    for word in words:
        assert word in f"{found}", found


@pytest.mark.parametrize(
    "text",
    [
        *("", "tall", "1/2", "41 5/4", "41 1/7", "3 in 5 ft", "5.5 ft 3 in", "1 2"),
        *("5 2", "80-95", "80.5.5", "1_000", "0x50", "25/11/2026", "2026-11-25"),
        *("5 ft 2 in 3", "5 ft 2 lb", "5 hands", "1e999", "9" * 5000, "٥", "5 m 4"),
        *("1\n2", "1/0 in", "5 ft 1/0 in", "<95", "~80", "£80", "80 %", "--5"),
    ],
)
def test_what_is_no_length_is_not_understood(text):
    for unit in LENGTH_UNITS:
        assert isinstance(quantity(text, unit), Problem)


@given(eighths=st.integers(1, 800), inch=st.sampled_from(['"', "in", " inches", "″"]))
def test_feet_inches_and_eighths_are_read_exactly(eighths, inch):
    """Against exact fractions: every eighth of an inch up to 100 inches."""
    feet, rest = divmod(eighths, 96)
    whole, part = divmod(rest, 8)
    inches = f"{whole} {part}/8" if part else f"{whole}"
    expected = float(Fraction(eighths, 8) * INCH)
    text = f"{feet} ft {inches}{inch}"
    assert quantity(text, "cm").standard == pytest.approx(expected, rel=1e-14)


@given(value=st.floats(3, 600), units=st.sampled_from(list(UNITS)))
def test_what_the_kit_writes_is_read_back_within_its_rounding(value, units):
    for measure, step in (("stature_cm", 2.54), ("body_mass_kg", 0.45359237)):
        slack = 0.05 * (1 if units == "metric" else step) + 1e-9
        text = written(value, measure, units, to="tenth")
        assert abs(understood(text, measure, units) - value) <= slack


@given(text=HOSTILE, unit=UNIT)
@example(text="1/0", unit="in")
@example(text="0 0/0 in", unit="cm")
@example(text="5" * 59 + "e9", unit="ft")
def test_no_text_breaks_the_reader(text, unit):
    found = quantity(text, unit)
    assert isinstance(found, Problem | Quantity)
    if isinstance(found, Quantity):
        assert re.search("[0-9½¼¾⅛⅜⅝⅞⅓⅔]", text)
        assert abs(found.number) < float("inf") > abs(found.standard)
        assert found.number * FACTORS[unit] == pytest.approx(found.standard)
    measure = "stature_cm" if unit in LENGTH_UNITS else "body_mass_kg"
    try:
        assert understood(text, measure, "stone") >= 0
    except SizingError as error:
        assert str(error)


@given(text=HOSTILE, unit=st.sampled_from(["cm", "kg", "in", "lb", "st"]))
def test_what_a_form_did_not_understand_is_read_in_no_other_unit(text, unit):
    """A form hands it on under cm or kg, with the unit it was typed in."""
    standard = "cm" if unit in LENGTH_UNITS else "kg"
    before, after = quantity(text, unit), quantity(with_unit(text, unit), standard)
    if isinstance(before, Problem):
        assert isinstance(after, Problem)
    elif isinstance(after, Quantity):
        assert after.standard == pytest.approx(before.standard)


# The places where people type


def test_a_client_is_entered_as_people_say_it_and_told_how_it_was_read():
    said = {"sex": "f", "age_years": "82", "stature_ft": "5' 2 1/2\""}
    client = client_from(said | {"body_mass_kg": "10 st 4", "hip_circumference_cm": ""})
    assert client.known["stature_cm"].value == pytest.approx(cm(5, "2.5"))
    assert client.known["body_mass_kg"].value == pytest.approx(kg(10, 4))
    assert client.read_as == (
        "body_mass_kg: '10 st 4', in stones and pounds, was read as 65.3173 kg.",
    )
    with pytest.raises(InputProblems, match=r"12 st 10 lb or 12\.10 st") as caught:
        client_from(said | {"body_mass_st": "12.10", "stature_ft": 5.11})
    assert "5 ft 11 in or 5.11 ft" in str(caught.value)


def test_a_caseload_is_read_as_people_write_it_and_each_unit_is_told(tmp_path):
    file = tmp_path / "clients.csv"
    file.write_text(
        "sex,age_years,stature_cm,body_mass_st\n"
        'f,70,"5\'2""",10 st 4\nm,80,"171,5",11\n'
    )
    with pytest.warns(UnitSaid) as told:
        people = read_caseload(file, draws=1)
    assert people.frame["stature_cm"].round(2).tolist() == [157.48, 171.5]
    assert people.frame["body_mass_kg"].round(2).tolist() == [65.32, 69.85]
    words = [str(one.message) for one in told if issubclass(one.category, UnitSaid)]
    assert words == [
        "clients.csv, row 2, column 'stature_cm': '5'2\"', in feet and inches, was "
        "read as 157.48 cm"
    ]


@pytest.mark.parametrize("number", [5.11, 5.1])
def test_numbers_of_a_workbook_under_feet_are_asked_about_too(number):
    with pytest.raises(InputProblems, match="5 ft 1"):
        to_standard_units(pd.DataFrame({"stature_ft": [5.25, number]}))


# Load limits that look like pounds


def test_a_limit_in_pounds_under_kg_is_named_however_rounded_and_no_other():
    for kg in (150, 200, 250, 300, 350, 400, 450, 500):
        pounds = kg / 0.45359237
        for number in (int(pounds), int(pounds) + 1, int(pounds / 10) * 10):
            assert like_pounds(number) == kg
    for pounds in (350, 400, 450, 500, 600, 700, 800, 1000):
        assert like_pounds(round(pounds * 0.45359237)) is None
    for kg in (100, 120, 135, 150, 160, 180, 190, 200, 205, 225, 250, 300, 325, 350):
        assert like_pounds(kg) is None


def test_limits_that_look_like_pounds_are_doubted_on_chart_and_in_an_answer():
    frame = good(load_limit_kg=[441, 200])
    with pytest.warns(SizingWarning, match=r"441 kg, looks like pounds \(200 kg\)"):
        chart = chart_from(frame)
    kinds = review_chart(chart)["kind"].tolist()
    assert kinds.count("load_limit_like_pounds") == 1
    entry = {"sex": "f", "age_years": 50, "body_mass_kg": 70}
    answer = check_client(chart, entry, loads={"hoist": 330.0, "bar": 300.0})
    told = [note for note in answer.notes if "looks like pounds" in note]
    assert len(told) == 2
    assert "load limit of the hoist, 330 kg, looks like pounds (150 kg)" in told[0]
    assert "size one, 441 kg" in told[1] and told[0] in answer.summary()


def test_amounts_of_commands_are_read_as_people_say_them(capsys):
    words = ["client", "sex=f", "age_years=50", "body_mass_kg=70", "stature_cm=160"]
    assert main([*words, "--load", "hoist=441lb"]) == 0
    _out, err = capsys.readouterr()
    assert "'441lb', in pounds, was read as 200.034 kg" in err
    assert main([*words, "--load", "hoist=441"]) == 0
    assert "441 kg, looks like pounds (200 kg)" in capsys.readouterr().out
    assert main([*words, "--load", "hoist=1,234"]) == 2
    assert "1234 or 1.234" in capsys.readouterr().err
    assert main(["bands", "--load-limit", "31.5st"]) == 2
    assert "31 st 5 lb or 31.5 st" in capsys.readouterr().err
    words = ["bands", "--sizes", "2", "--widths"]
    assert main([*words, "hip_circumference_cm=1,234"]) == 2
    assert "--widths hip_circumference_cm: a comma that may" in capsys.readouterr().err
