"""Populations piece by piece: small numbers by hand, refusals, rows and columns."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from sizing.errors import InputProblems, SizingError
from sizing.measures.tables import CASELOAD
from sizing.people import load_people
from sizing.people.body import draw_measures
from sizing.people.classes import age_band, bmi_class, value_at, z_score
from sizing.people.files import read_table
from sizing.people.margins import (
    MARGIN_COLUMNS,
    STANDINGS,
    margins_from,
    named_margins,
    read_margins,
    to_margins,
)
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


def test_who_has_no_class_of_body_mass_index():
    known = {"sex": "male", "age_years": 9.25, "stature_cm": 130.0}
    known |= {"body_mass_kg": 27.0}
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
    share = norm.cdf(z_score("bmi", "male", row["age_years"], found[0]))
    assert share == pytest.approx(norm.cdf(z[0]))


def test_a_column_with_nothing_in_it_not_even_a_heading_is_none(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text(" sex ,,x,,y\nf,,2,3,4\n")
    assert read_table(path, CASELOAD).columns.tolist() == ["sex", "x", "", "y"]


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


@pytest.mark.parametrize("many", [1, 12])
def test_rows_of_own_people_are_named_up_to_ten_of_a_kind(many):
    frame = pd.DataFrame({"person": [1.0, *[1.0] * many, *[np.nan] * many]})
    told = problems_of(people_from, frame.assign(stature_cm=160.0))
    gone = told[told["what"] == "this row has no person"]["row"].tolist()
    twice = told[told["what"].str.contains("twice")]
    few = min(many, 10)
    assert gone == [2 + many + i for i in range(1, 1 + few)]
    assert twice["row"].tolist() == [3 + i for i in range(few)]
    assert twice["value"].iloc[0] == 1.0


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
    assert "x: 2 people, each drawn 2 times, saying as much as 2" in people.summary()


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
    told = problems_of(margins_from, pd.DataFrame([sound | {"target": 64.2}]))
    assert "0.33 for 33 %" in str(told["allowed"][0])


def draw_once(frame):
    return draw_measures(frame, draws=1, seed=1)


BODIES = pd.DataFrame({"person": range(8), "sex": "male", "age_years": 40.0})
BODIES = BODIES.assign(stature_cm=175.0, body_mass_kg=80.0)


@pytest.mark.parametrize(
    ("column", "values", "rows"),
    [
        ("age_years", [1.99, 120.1, 40.0], [2, 3]),
        ("stature_cm", [0.0, np.inf, 175.0], [2, 3]),
        ("sex", ["x", None, "male"], [2, 3]),
        ("age_years", 1.0, [2, 3, 4, 5, 6]),
        ("stature_cm", -1.0, [2, 3, 4, 5, 6]),
        ("sex", "x", [2, 3, 4, 5, 6]),
        ("person", 4, [3, 4, 5, 6, 7]),
    ],
)
def test_what_the_model_refuses_is_told_by_row_and_five_of_a_kind(column, values, rows):
    many = np.ndim(values) == 1
    frame = BODIES.head(3) if many else BODIES
    told = problems_of(draw_once, frame.assign(**{column: values}))
    assert told["row"].tolist() == rows and set(told["column"]) == {column}
    assert many or set(told["value"]) == {values}


def test_ages_at_the_ends_are_drawn_and_what_is_lacking_is_told():
    for ages in ([2.0, 120.0], [2.01, 119.9]):
        drawn, _ = draw_once(BODIES.head(2).assign(age_years=ages))
        assert drawn["age_years"].tolist() == ages
    for lacking in ("sex", "person"):
        told = problems_of(draw_once, BODIES.drop(columns=lacking))
        assert told["column"].tolist() == [lacking]
    told = problems_of(draw_once, BODIES.assign(stature_cm="tall"))
    assert told["what"].tolist() == ["not a number somewhere"]
    with pytest.raises(SizingError, match="draws"):
        draw_measures(BODIES, draws=0, seed=1)
    assert "no people" in problems_of(draw_once, BODIES.head(0))["what"][0]


# Margins as a table: what is read, what is refused, what ships


GOOD = """variable,statistic,level,low,high,within,target,source
sex,share,female,,,,0.6,our own register 2026
age_years,share,,80,,sex=female,0.5,
bmi,mean,,,,sex=male;age_years>=65,24.5,
walking_difficulty,share,yes,,,,0.4,
"""


def one(**row):
    (margin,) = to_margins(margins_from(pd.DataFrame([row])))
    return margin


def test_a_margin_knows_whom_it_speaks_of(tmp_path):
    frame = pd.DataFrame(
        {
            "sex": ["female", "male", "male", "female"],
            "age_years": [82.0, 70.0, 40.0, 79.9],
            "body_mass_kg": [50.0, 80.0, 90.0, np.nan],
            "stature_cm": [155.0, 175.0, 180.0, 160.0],
            "walking_difficulty": pd.array([True, False, pd.NA, True], dtype="boolean"),
        }
    )
    file = tmp_path / "ours.csv"
    file.write_text(GOOD)
    table = read_margins(file)
    assert list(table.columns) == list(MARGIN_COLUMNS)
    assert table["target"].tolist() == [0.6, 0.5, 24.5, 0.4]
    assert table.loc[0, "source"] == "our own register 2026"
    assert set(table["standing"]) == {"the user's own"}
    margins = to_margins(table)
    groups = [margin.group(frame).tolist() for margin in margins]
    assert groups == [
        [True] * 4,
        [True, False, False, True],
        [False, True, False, False],
        [True, True, False, True],
    ]
    assert margins[1].value(frame).tolist() == [1.0, 0.0, 0.0, 0.0]
    assert margins[2].value(frame)[1] == pytest.approx(80 / 1.75**2)
    assert margins[3].value(frame).tolist() == [1.0, 0.0, 0.0, 1.0]
    assert str(margins[1]) == "share with age_years>=80 within sex=female"


@pytest.mark.parametrize(
    ("column", "level"),
    [
        (pd.array(["north", None, "south"], dtype="string"), "north"),
        (pd.array([1, None, 2], dtype="Int64"), "1"),
        (pd.array([True, None, False], dtype="boolean"), "yes"),
        (["north", None, "south"], "north"),
        (pd.Categorical(["north", None, "south"]), "north"),
    ],
    ids=lambda part: str(getattr(part, "dtype", part)),
)
def test_whose_group_is_not_known_is_not_in_it(column, level):
    people = pd.DataFrame({"where": column, "bmi": [20.0, 25.0, 30.0]})
    within = f"where={level}"
    margin = one(variable="bmi", statistic="mean", target=20.0, within=within)
    assert margin.group(people).tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("within", "inside"),
    [
        ("age_years>=65", [False, True, True, False]),
        ("age_years>65", [False, False, True, False]),
        ("age_years<65", [True, False, False, False]),
        ("age_years<=65", [True, True, False, False]),
        ("age_years=65", [False, True, False, False]),
        ("age_years>64.95;age_years<70", [False, True, False, False]),
    ],
)
def test_conditions_mean_what_they_say(within, inside):
    people = pd.DataFrame({"bmi": 25.0, "age_years": [64.9, 65.0, 80.0, np.nan]})
    margin = one(variable="bmi", statistic="mean", target=25.0, within=within)
    assert margin.group(people).tolist() == inside


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"statistic": "mean", "target": 25.0}, "mean bmi"),
        ({"variable": "sex", "level": "male"}, "share with sex=male"),
        ({"low": 30}, "share with bmi>=30"),
        ({"high": 18.5}, "share with bmi<18.5"),
        (
            {"low": 18.5, "high": 25, "within": "sex=male"},
            "share with 18.5<=bmi<25 within sex=male",
        ),
    ],
)
def test_a_margin_is_named_as_it_was_meant(row, words):
    row = {"variable": "bmi", "statistic": "share", "target": 0.5} | row
    assert str(one(**row)) == words


def test_what_ships_is_sourced_and_published_unless_it_says_so():
    table = source_table("margins.csv")
    assert table["source"].str.len().min() > 20
    assert set(table["standing"]) <= set(STANDINGS)
    assert (table["standing"] == "published").mean() > 0.9
    assert set(table["basis"]) == {"measured", "self-reported", "recorded"}
    built = table["variable"].isin(["bmi", "stature_cm"])
    built &= ~table["population"].eq("care_home_us")
    assert set(table.loc[built, "basis"]) == {"measured"}
    assert named_margins("everyone").empty


def test_care_home_ages_follow_from_the_published_mean_and_sd():
    """Mean 84.3, SD 7.6: BMC Nutrition 2023;9, doi 10.1186/s40795-023-00710-3."""
    age = norm(84.3, 7.6)
    table = named_margins("care_home_nordic")
    shares = table.query("variable == 'age_years'")["target"]
    expected = [age.sf(80) / age.sf(65), (age.cdf(75) - age.cdf(65)) / age.sf(65)]
    np.testing.assert_allclose(shares, expected, atol=5e-5)


def test_figures_for_england_are_those_published():
    """Obese 30 % in 2024; 14, 36, 35 % by age in 2022; 175.5, 161.7 cm in 2019."""
    table = named_margins("england_adults").set_index(["variable", "within"])["target"]
    assert table["bmi", ""].tolist() == [0.66, 0.30]
    by_age = ["age_years<25", "age_years>=55;age_years<65"]
    by_age.append("age_years>=65;age_years<75")
    assert [table["bmi", who].item() for who in by_age] == [0.14, 0.36, 0.35]
    heights = [table["stature_cm", f"sex={sex}"].item() for sex in ("male", "female")]
    assert heights == [175.5, 161.7]


def test_wheelchair_users_are_those_published_by_sex_and_age():
    """Men 20.5 and 19.8 %, women 21.6 and 38.1 %, under 65 and over: Access Board."""
    people = load_people("wheelchair_users", draws=1)
    cell = [people.frame["sex"], people.frame["age_years"] >= 65]
    found = people.weight.groupby(cell).sum() / people.weight.sum()
    expected = [0.216, 0.381, 0.205, 0.198]
    np.testing.assert_allclose(found, expected, atol=1e-4)
