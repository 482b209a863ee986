"""Populations piece by piece: small numbers by hand, refusals, rows and columns."""

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook
from scipy.stats import norm

from sizing.errors import InputProblems, SizingError
from sizing.measures.tables import CASELOAD, GROUPS, take
from sizing.people.body import draw_measures
from sizing.people.caseload import read_caseload
from sizing.people.classes import age_band, bmi_class
from sizing.people.files import read_table
from sizing.people.growth import centile, value_at, z_score
from sizing.people.margins import margins_from
from sizing.people.own import people_from
from sizing.people.people import People
from sizing.resources import source_table


def problems_of(call, *arguments, **named):
    with pytest.raises(InputProblems) as told:
        call(*arguments, **named)
    return told.value.table


def test_classes_of_adults_begin_where_the_health_organisation_says():
    """18.5, 25, 30, 35, 40 kg/m^2 (WHO TRS 894, from memory)."""
    bmi = [0.1, 18.49, 18.5, 24.99, 25, 29.99, 30, 34.99, 35, 39.99, 40]
    words = ["underweight"] * 2 + ["healthy weight"] * 2 + ["overweight"] * 2
    words += ["obesity class 1"] * 2 + ["obesity class 2"] * 2 + ["obesity class 3"]
    frame = pd.DataFrame(
        {"sex": "male", "age_years": 18.0, "stature_cm": 100.0, "body_mass_kg": bmi}
    )
    assert bmi_class(frame).tolist() == words


def test_classes_of_children_begin_where_the_reference_says():
    """5, 85 and 95 per cent (US CDC about child BMI, from memory)."""
    shares = [0.001, 0.0499, 0.0501, 0.8499, 0.8501, 0.9499, 0.9501]
    words = ["underweight"] * 2 + ["healthy weight"] * 2 + ["overweight"] * 2
    mass = value_at("bmi", "female", 9.25, norm.ppf(shares))
    frame = pd.DataFrame(
        {"sex": "female", "age_years": 9.25, "stature_cm": 100.0, "body_mass_kg": mass}
    )
    assert bmi_class(frame).tolist() == [*words, "obesity"]


def test_who_has_no_class_of_body_mass_index():
    known = {
        "sex": "male",
        "age_years": 9.25,
        "stature_cm": 130.0,
        "body_mass_kg": 27.0,
    }
    gaps = [{"age_years": 1.99}, {"age_years": np.nan}, {"stature_cm": np.nan}]
    gaps += [{"body_mass_kg": np.nan}, {"sex": None}, {}, {"age_years": 2.0}]
    frame = pd.DataFrame([known | gap for gap in gaps])
    assert bmi_class(frame).isna().tolist() == [True] * 5 + [False] * 2
    grown = pd.DataFrame([known | {"sex": None, "age_years": 18.0}])
    assert bmi_class(grown).notna().all()
    infinite = pd.DataFrame([known | {"age_years": 40.0, "stature_cm": 0.0}])
    assert bmi_class(infinite).isna().all()
    assert age_band([np.inf, -np.inf]).isna().all()


def test_the_reference_ends_at_its_first_and_last_age():
    for measure, first in (("stature_cm", 2), ("bmi", 2), ("body_mass_kg", 2.0417)):
        for age in (first + 1e-4, 20.0):
            assert np.isfinite(z_score(measure, "female", age, 15.0))
        for age in (first - 0.01, 20.01):
            with pytest.raises(SizingError, match=f"{first} to 20 years"):
                z_score(measure, "female", age, 15.0)
    assert np.isfinite(z_score("bmi", "male", 2.0, 0.5))


def test_beyond_the_last_value_of_the_reference_there_is_none():
    """1 + L S z below 0: for a negative power there is no such body mass index."""
    table = source_table("cdc_2000_lms.csv")
    row = table[(table["measure"] == "bmi") & (table["sex"] == "male")].iloc[60]
    z = np.array([0.5, 0.999, 1.001, 1.5, 3.0]) * -1 / (row["L"] * row["S"])
    found = value_at("bmi", "male", row["age_years"], z)
    inside = 1 + row["L"] * row["S"] * z[:2]
    assert found[:2] == pytest.approx(row["M"] * inside ** (1 / row["L"]))
    assert np.isnan(found[2:]).all()
    share = centile("bmi", "male", row["age_years"], found[0])
    assert share == pytest.approx(norm.cdf(z[0]))


def test_columns_without_a_heading_are_numbered(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text(" sex ,,x,,y\nf,1,2,3,4\n")
    table = read_table(path, CASELOAD)
    assert table.columns.tolist() == ["sex", "", "x", "", "y"]
    with pytest.raises(InputProblems, match="column 2 has no heading") as told:
        take(table, CASELOAD)
    assert "column 4 has no heading" in str(told.value)
    # A column with nothing in it, not even a heading, is none.
    path.write_text("sex,,x\nf,,2\n")
    assert read_table(path, CASELOAD).columns.tolist() == ["sex", "x"]
    path.write_text("sex,b,a,c,C\nf,2,3,4,5\n")
    with pytest.raises(InputProblems, match="two columns, also as 'c'"):
        take(read_table(path, CASELOAD), CASELOAD)


def test_numbers_of_two_meanings_are_named_by_cell_and_at_most_twenty(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("key;mass\nk;1\nk;1,250\n" + "k;2,500\n" * 30)
    told = problems_of(read_table, path, CASELOAD)
    assert told["row"].tolist() == list(range(3, 23))
    assert set(told["column"]) == {"mass"} and told["value"][0] == "1,250"
    # A heading is no number, whatever it looks like.
    path.write_text("key;1,250;x\nk;2,5;1\n")
    assert read_table(path, CASELOAD).iloc[0, 1] == 2.5


def test_a_number_of_endless_digits_is_left_as_words(tmp_path):
    path = tmp_path / "t.csv"
    for digits, kind in ((399, float), (400, str)):
        path.write_text(f"key,column\nk,{'1' * digits}\nk,1.5\n")
        assert isinstance(read_table(path, CASELOAD)["column"].iloc[0], kind)


def test_yes_and_no_of_a_workbook_stay_words_and_its_numbers_numbers(tmp_path):
    book = Workbook()
    for row in (["flag", "mass", "name"], [True, 1.5, 1], [False, 2, " x "]):
        book.active.append(row)
    book.save(tmp_path / "t.xlsx")
    table = read_table(tmp_path / "t.xlsx", GROUPS)
    assert table["flag"].tolist() == ["TRUE", "FALSE"]
    assert table["mass"].tolist() == [1.5, 2.0]
    assert table["name"].tolist() == ["1", "x"]


def test_rows_of_a_caseload_are_named_as_a_spreadsheet_numbers_them(tmp_path):
    path = tmp_path / "clients.csv"
    path.write_text("sex,body_mass_kg\nf,60\n,70\n,\nm,80\n")
    told = problems_of(read_caseload, path)
    assert told["row"].tolist() == [3, 4]
    assert told["column"].fillna("").tolist() == ["sex", ""]
    path.write_text(
        "sex,age_years,body_mass_kg,person,draw\nf,40,60,9,3\nm,50,70,9,4\n"
    )
    people = read_caseload(path, draws=1)
    assert people.frame["person"].tolist() == [2, 3]
    assert people.frame["draw"].tolist() == [0, 0]
    assert people.settings == {"draws": 1, "seed": 1}
    assert read_caseload(path).draws == 5


@pytest.mark.parametrize("many", [1, 12])
def test_rows_of_own_people_are_named_up_to_ten_of_a_kind(many):
    frame = pd.DataFrame({"person": [1.0, *[1.0] * many, *[np.nan] * many]})
    told = problems_of(people_from, frame.assign(stature_cm=160.0))
    gone = told[told["what"] == "this row has no person"]["row"].tolist()
    twice = told[told["what"].str.contains("twice")]
    assert gone == [2 + many + i for i in range(1, 1 + min(many, 10))]
    assert twice["row"].tolist()[: min(many, 10)] == [
        3 + i for i in range(min(many, 10))
    ]
    assert len(twice) == (1 if many == 1 else 10)
    assert twice["value"].iloc[0] == 1.0


def test_own_people_say_how_they_were_made():
    body = pd.DataFrame(
        {"ward": ["n"], "sex": ["f"], "age_years": [40], "stature_cm": 160}
    )
    plain, drawn = people_from(body, seed=3), people_from(body, draws=2, seed=3)
    assert plain.frame.columns.tolist() == ["person", "draw", *body.columns]
    assert plain.frame[["person", "draw"]].values.tolist() == [[0, 0]]
    assert plain.drawn is None and drawn.drawn.seed == 3
    assert plain.settings == {"draws": None, "seed": 3}
    assert drawn.settings == {"draws": 2, "seed": 3}
    assert plain.sources == ("The user's own table.",) and len(drawn.sources) == 3
    assert len(drawn.limits) > len(plain.limits) == 2
    one_draw = people_from(body.assign(person=5, draw=4), draws=2)
    assert one_draw.frame["draw"].tolist() == [0, 1]
    assert people_from(body, draws=np.int64(1), seed=0).draws == 1
    for options, words in (
        ({"draws": 1, "seed": -1}, "seed makes no sense .* from 0 to"),
        ({"draws": True}, "draws makes no sense .found: True"),
    ):
        with pytest.raises(SizingError, match=words):
            people_from(body, **options)


def test_people_of_unequal_weight_tell_as_much_as_fewer():
    frame = pd.DataFrame(
        {"person": [1, 2, 1, 2], "draw": [0, 0, 1, 1], "stature_cm": 1.0}
    )
    evidence = pd.DataFrame({"stature_cm": ["measured", "missing"] * 2})
    people = People("x", frame, pd.Series([1.0, 3.0] * 2), evidence)
    # 2 (1 + 9) / 16
    assert people.design_effect == 1.25 and people.effective_n == 1.6
    assert people.table.values.tolist() == [
        ["stature_cm", "measured", 0.25, 2],
        ["stature_cm", "missing", 0.75, 2],
    ]
    assert people.drawn is None
    head = "x: 2 people, each drawn 2 times, saying as much as 2 equally"
    assert people.summary().startswith(head)


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ({"target": 0.0}, "target"),
        ({"target": 1.0}, "target"),
        ({"target": 0.001}, None),
        ({"target": 0.999}, None),
        ({"low": 3.0}, "level"),
        ({"low": 3.0, "level": ""}, None),
        ({"high": 3.0, "level": ""}, None),
        ({"low": 3.0, "high": 3.0, "level": ""}, "low"),
        ({"low": 3.0, "high": 3.1, "level": ""}, None),
        ({"statistic": "mean"}, "level"),
        ({"statistic": "mean", "level": "", "high": 2.0}, "level"),
        ({"statistic": "mean", "level": "", "target": 25.0}, None),
        ({"target": np.inf}, "target"),
        ({"target": "0,5 or so"}, "target"),
        ({"within": "bmi>=many"}, "within"),
        ({"within": "sex=many; bmi<3"}, None),
        ({"within": "sex=female; between"}, "within"),
        ({"standing": "published"}, None),
    ],
)
def test_each_fault_of_a_margin_is_told_by_row_and_column(row, column):
    sound = {"variable": "sex", "statistic": "share", "level": "f", "target": 0.5}
    table = pd.DataFrame([sound, sound | row]).astype({"target": object})
    table.index = [7, 7]
    if column is None:
        assert len(margins_from(table)) == 2
        return
    table.attrs = {"file": "ours.csv"}
    told = problems_of(margins_from, table)
    assert set(told["row"]) == {3} and set(told["column"]) == {column}
    assert set(told["file"]) == {"ours.csv"}
    # What is empty was not found.
    assert "" not in set(told["value"])


def draw_once(frame):
    return draw_measures(frame, draws=1, seed=1)


def test_what_the_model_refuses_is_told_by_row_and_five_of_a_kind():
    sound = {
        "sex": "male",
        "age_years": 40.0,
        "stature_cm": 175.0,
        "body_mass_kg": 80.0,
    }
    frame = pd.DataFrame([{"person": i} | sound for i in range(8)])
    for ages in ([2.0, 120.0], [2.01, 119.9]):
        drawn, _ = draw_measures(frame.head(2).assign(age_years=ages), draws=1, seed=1)
        assert drawn["age_years"].tolist() == ages
    bad = {"age_years": [1.99, 120.1], "stature_cm": [0.0, np.inf], "sex": ["x", None]}
    for column, values in bad.items():
        told = problems_of(
            draw_once, frame.head(3).assign(**{column: [*values, sound[column]]})
        )
        assert told["row"].tolist() == [2, 3] and set(told["column"]) == {column}
    for column, value in (("age_years", 1.0), ("stature_cm", -1.0), ("sex", "x")):
        told = problems_of(draw_once, frame.assign(**{column: value}))
        assert told["row"].tolist() == [2, 3, 4, 5, 6]
        assert set(told["value"]) == {value}
    for lacking in ("sex", "person"):
        told = problems_of(draw_once, frame.drop(columns=lacking))
        assert told["column"].tolist() == [lacking]
    told = problems_of(draw_once, frame.assign(person=4))
    assert told["row"].tolist() == [3, 4, 5, 6, 7] and set(told["value"]) == {4}
    told = problems_of(draw_once, frame.assign(stature_cm="tall"))
    assert told["what"].tolist() == ["not a number somewhere"]
    with pytest.raises(SizingError, match="draws"):
        draw_measures(frame, draws=0, seed=1)
    assert "no people" in problems_of(draw_once, frame.head(0))["what"][0]
