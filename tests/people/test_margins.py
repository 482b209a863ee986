"""Margins as a table: what is read, what is refused, what ships."""

import io

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from sizing.errors import InputProblems, SizingError
from sizing.people import load_people
from sizing.people.margins import (
    MARGIN_COLUMNS,
    STANDINGS,
    margins_from,
    named_margins,
    read_margins,
    to_margins,
)
from sizing.resources import source_table

GOOD = """variable,statistic,level,low,high,within,target,source
sex,share,female,,,,0.6,our own register 2026
age_years,share,,80,,sex=female,0.5,
bmi,mean,,,,sex=male;age_years>=65,24.5,
walking_difficulty,share,yes,,,,0.4,
"""


@pytest.fixture
def frame():
    return pd.DataFrame(
        {
            "sex": ["female", "male", "male", "female"],
            "age_years": [82.0, 70.0, 40.0, 79.9],
            "body_mass_kg": [50.0, 80.0, 90.0, np.nan],
            "stature_cm": [155.0, 175.0, 180.0, 160.0],
            "walking_difficulty": pd.array([True, False, pd.NA, True], dtype="boolean"),
        }
    )


def test_a_file_is_read_whole(tmp_path):
    file = tmp_path / "ours.csv"
    file.write_text(GOOD)
    table = read_margins(file)
    assert list(table.columns) == list(MARGIN_COLUMNS)
    assert table["target"].tolist() == [0.6, 0.5, 24.5, 0.4]
    assert table.loc[0, "source"] == "our own register 2026"
    assert set(table["standing"]) == {"the user's own"}


def test_a_margin_knows_whom_it_speaks_of(frame):
    margins = to_margins(margins_from(pd.read_csv(io.StringIO(GOOD))))
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
    row = {"variable": "bmi", "statistic": "mean", "target": 20.0}
    row |= {"within": f"where={level}"}
    (margin,) = to_margins(margins_from(pd.DataFrame([row])))
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
    row = {"variable": "bmi", "statistic": "mean", "target": 25.0, "within": within}
    (margin,) = to_margins(margins_from(pd.DataFrame([row])))
    assert margin.group(people).tolist() == inside


def test_a_margin_is_named_as_it_was_meant():
    rows = [
        {"variable": "bmi", "statistic": "mean", "target": 25.0},
        {"variable": "sex", "statistic": "share", "level": "male", "target": 0.5},
        {"variable": "bmi", "statistic": "share", "low": 30, "target": 0.2},
        {"variable": "bmi", "statistic": "share", "high": 18.5, "target": 0.1},
        {"variable": "bmi", "statistic": "share", "low": 18.5, "high": 25}
        | {"target": 0.4, "within": "sex=male"},
    ]
    margins = to_margins(margins_from(pd.DataFrame(rows)))
    assert [str(margin) for margin in margins] == [
        "mean bmi",
        "share with sex=male",
        "share with bmi>=30",
        "share with bmi<18.5",
        "share with 18.5<=bmi<25 within sex=male",
    ]


def test_every_problem_of_a_file_is_named_at_once(tmp_path):
    file = tmp_path / "bad.csv"
    file.write_text(
        "variable,statistic,level,low,high,within,target,standing\n"
        "sex,share,female,,,,64.2,\n"
        "bmi,median,,,,,25,\n"
        "bmi,share,,30,25,,0.1,\n"
        "sex,share,,,,,0.5,hearsay\n"
        "stature_cm,mean,,,,sex is female,many,\n"
        ",mean,,,,age_years>=old,3,\n"
    )
    with pytest.raises(InputProblems) as told:
        read_margins(file)
    table = told.value.table
    assert set(zip(table["row"], table["column"], strict=True)) == {
        (2, "target"),
        (3, "statistic"),
        (4, "low"),
        (5, "level"),
        (5, "standing"),
        (6, "target"),
        (6, "within"),
        (7, "variable"),
        (7, "within"),
    }
    assert "0.33 for 33 %" in str(told.value)
    assert (table["file"] == "bad.csv").all()


def test_what_ships_is_sourced_and_published_unless_it_says_so():
    table = source_table("margins.csv")
    assert table["source"].str.len().min() > 20
    assert set(table["standing"]) <= set(STANDINGS)
    assert (table["standing"] == "published").mean() > 0.9
    with pytest.raises(SizingError, match="care_home_us, england_adults"):
        named_margins("atlantis")


def test_care_home_ages_follow_from_the_published_mean_and_sd():
    """Mean 84.3, SD 7.6: BMC Nutrition 2023;9, doi 10.1186/s40795-023-00710-3."""
    age = norm(84.3, 7.6)
    shares = named_margins("care_home_nordic").query("variable == 'age_years'")[
        "target"
    ]
    expected = [age.sf(80) / age.sf(65), (age.cdf(75) - age.cdf(65)) / age.sf(65)]
    np.testing.assert_allclose(shares, expected, atol=5e-5)


def test_figures_for_england_are_those_published():
    """Obese 30 % in 2024; 14, 36, 35 % by age in 2022; 175.5, 161.7 cm in 2019."""
    table = named_margins("england_adults").set_index(["variable", "within"])["target"]
    assert table["bmi", ""].tolist() == [0.66, 0.30]
    by_age = [
        "age_years<25",
        "age_years>=55;age_years<65",
        "age_years>=65;age_years<75",
    ]
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


def test_each_margin_that_ships_says_whether_it_was_measured():
    table = source_table("margins.csv")
    assert set(table["basis"]) == {"measured", "self-reported", "recorded"}
    built = table["variable"].isin(["bmi", "stature_cm"])
    assert set(table.loc[built & ~table["population"].eq("care_home_us"), "basis"]) == {
        "measured"
    }
