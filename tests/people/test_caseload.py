"""Own people and caseloads: what goes in comes out, or is refused by name."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.design_estimate import design_estimate
from sizing.charts import chart_from
from sizing.cli.main import main
from sizing.coverage import estimate_coverage
from sizing.errors import InputProblems, SizingError, SizingWarning
from sizing.measures import MEASURES
from sizing.measures.headings import Column, Table
from sizing.measures.tables import ANY
from sizing.people import people_of_survey
from sizing.people.files import read_table
from sizing.people.own import people_from, read_caseload, unnamed
from sizing.people.people import LIMITS
from sizing.surveys import Survey, read_nhanes_folder

CLIENTS = """sex,age_years,body_mass_kg,stature_cm,hip_circumference_in,ward
f,82,51.5,,36.5,north
m,47,,181,,south
female,9,30.0,133,,north
"""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "clients.csv"
    path.write_text(CLIENTS)
    return path


def test_what_is_known_stays_and_what_is_missing_is_drawn(file):
    people = read_caseload(file, draws=4, seed=3)
    assert (people.n, people.draws, people.name) == (3, 4, "caseload clients")
    frame = people.frame.set_index(["person", "draw"])
    assert set(people.frame["person"]) == {2, 3, 4}
    assert (frame.loc[2, "body_mass_kg"] == 51.5).all()
    np.testing.assert_allclose(frame.loc[2, "hip_circumference_cm"], 36.5 * 2.54)
    assert frame.loc[3, "body_mass_kg"].nunique() == 4
    assert people.frame[list(MEASURES)].notna().all(axis=None)
    assert set(people.frame["ward"]) == {"north", "south"}
    second = people.frame["person"] == 3
    assert (people.evidence.loc[second, "stature_cm"] == "measured").all()
    assert (people.evidence.loc[second, "body_mass_kg"] != "measured").all()
    assert LIMITS["own"] in people.limits
    assert LIMITS["children_1977"] in people.limits


@pytest.mark.parametrize(
    "heading",
    ["Name", "client name", "surname", "Date of birth", "DOB", "NHS number", "e-mail"],
)
def test_who_a_client_is_is_not_kept(tmp_path, heading):
    path = tmp_path / "clients.csv"
    # Words that only resemble a name are kept.
    like = "named_nurse_present,birthmark"
    path.write_text(f"{heading},sex,body_mass_kg,{like}\nZanzibar,f,60,yes,no\n")
    with pytest.warns(SizingWarning, match="left out") as told:
        people = read_caseload(path, draws=1)
    assert heading in str(told[0].message)
    assert "Zanzibar" not in people.frame.to_csv() + str(told[0].message)
    assert {*like.split(",")} <= set(people.frame.columns)
    # It points at the line that read the file, not at one of the kit's.
    assert told[0].filename == __file__


def test_every_problem_is_named_at_once(tmp_path):
    path = tmp_path / "clients.csv"
    path.write_text(
        "sex,age_years,body_mass_kg,hip_circumference_cm\n"
        "f,82,fifty,92\n"
        ",40,70,100\n"
        ",,,\n"
        "\n"
        "x,40,-70,100\n"
        "m,400,70,100\n"
    )
    with pytest.raises(InputProblems) as told:
        read_caseload(path)
    found = told.value.table
    assert (found["file"] == "clients.csv").all()
    assert set(found["row"].dropna().astype(int)) == {2, 3, 4, 5, 6, 7}
    assert set(found["column"].dropna()) == {"sex", "age_years", "body_mass_kg"}
    assert len(found) == 7


@pytest.mark.parametrize(
    ("cells", "read"),
    [
        (["1", "2", "-3"], [1, 2, -3]),
        (["1.5", "", "2e1"], [1.5, np.nan, 20.0]),
        (["+4", ".5"], [4.0, 0.5]),
        (["007", "1"], ["007", "1"]),
        (["1", "x"], ["1", "x"]),
        (["123456789012345", "1"], [123456789012345, 1]),
        (["1234567890123456", "1"], [1234567890123456.0, 1.0]),
        (["nan", "1"], ["nan", "1"]),
    ],
)
def test_a_column_is_numbers_where_every_cell_is_one(tmp_path, cells, read):
    path = tmp_path / "t.csv"
    path.write_text("key,column\n" + "".join(f"k,{cell}\n" for cell in cells))
    found = read_table(path, ANY)["column"].tolist()
    assert [type(cell) for cell in found] == [type(cell) for cell in read]
    assert all(a == b or (a != a and b != b) for a, b in zip(found, read, strict=True))
    kept = read_table(path, Table("words", (Column("column"),)))["column"]
    assert kept.fillna("").tolist() == cells


@pytest.mark.parametrize("mark", [";", "\t"])
def test_decimal_commas_are_read_and_thousands_refused(tmp_path, mark):
    path = tmp_path / "t.csv"

    def of(*cells):
        lines = (f"k{mark}{cell}\n" for cell in cells)
        path.write_text(f"key{mark}column\n" + "".join(lines))
        return read_table(path, ANY)["column"].tolist()

    assert of("1,5", "-0,25", "3") == [1.5, -0.25, 3.0]
    # Without a decimal comma elsewhere a point with three digits is a decimal.
    assert of("1.250", "2.5") == [1.25, 2.5]
    assert of("0,125", "2,5") == [0.125, 2.5]
    for cells in (("1,250",), ("1.250", "2,5"), ("12,345,678",)):
        with pytest.raises(SizingError, match="may be thousands or decimals"):
            of(*cells)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("body_mass_kg\n60\n", "there is no column 'sex'"),
        ("sex,ward\nf,north\n", "no column holds a body measure"),
        ("sex,body_mass\nf,60\n", "no unit in its name"),
        ("sex,sex,body_mass_kg\nf,f,60\n", "stands in two columns"),
    ],
)
def test_a_file_of_another_form_is_refused(tmp_path, text, words):
    path = tmp_path / "clients.csv"
    path.write_text(text)
    with pytest.raises(SizingError, match=words):
        read_caseload(path)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.none() | st.integers(600, 1800), min_size=1, max_size=12),
    st.integers(-5, 500),
)
def test_nothing_is_filled_in_unless_asked(hips, start):
    hips = pd.Series(hips, dtype=float) / 10
    given_frame = pd.DataFrame({"hip_circumference_cm": hips, "note": "x"})
    given_frame.index += start
    before = given_frame.copy()
    people = people_from(given_frame)
    pd.testing.assert_frame_equal(given_frame, before)
    out = people.frame
    assert out.index.equals(pd.RangeIndex(len(hips)))
    assert list(out.columns) == ["person", "draw", "hip_circumference_cm", "note"]
    np.testing.assert_array_equal(out["hip_circumference_cm"], hips)
    expected = np.where(hips.isna(), "missing", "measured").tolist()
    assert people.evidence["hip_circumference_cm"].tolist() == expected
    assert people.weight.tolist() == [1.0] * len(hips)
    assert (people.draws, people.n) == (1, len(hips))


def test_weights_follow_their_person_through_the_draws():
    frame = pd.DataFrame({"person": [11, 7], "sex": ["f", "m"], "age_years": [40, 50]})
    frame = frame.assign(body_mass_kg=[70, 80], stature_cm=[165, 180], w=[3.0, 5.0])
    people = people_from(frame, weight="w", draws=3)
    pairs = people.weight.groupby(people.frame["person"]).unique()
    assert pairs[11].tolist() == [3.0] and pairs[7].tolist() == [5.0]
    assert LIMITS["children_1977"] not in people.limits and "w" not in people.frame
    other = people_from(frame.drop(columns="w"), weight=[3.0, 5.0], draws=3)
    pd.testing.assert_series_equal(other.weight, people.weight)


def test_draws_that_came_with_the_table_are_kept():
    frame = pd.DataFrame({"person": [1, 2, 1, 2], "draw": [0, 0, 1, 1]})
    frame["stature_cm"] = [160, 170, 161, 169]
    people = people_from(frame)
    assert (people.n, people.draws) == (2, 2)
    with pytest.raises(SizingError, match="several draws"):
        people_from(frame.assign(sex="f"), draws=2)


@pytest.mark.parametrize(
    ("frame", "options", "words"),
    [
        ({"stature_cm": []}, {}, "no rows"),
        ({"ward": ["north"]}, {}, "no body measure"),
        ({"stature_cm": [160.0]}, {"draws": 2}, "without a column 'sex'"),
        ({"stature_cm": [160.0]}, {"draws": 0}, "number of draws makes no sense"),
        ({"stature_cm": [160.0]}, {"draws": 1, "seed": -1}, "seed makes .* from 0 to"),
        ({"stature_cm": [160.0]}, {"weight": [-1.0]}, "row 0: -1"),
        ({"stature_cm": [160.0]}, {"weight": [np.nan]}, "row 0: nan"),
        ({"stature_cm": [160.0, 170.0]}, {"weight": [0.0, 0.0]}, "All weights are 0"),
        ({"stature_cm": [160.0]}, {"weight": [1.0, 2.0]}, "2 weights for 1 rows"),
        ({"stature_cm": [160.0]}, {"weight": "w"}, "no column 'w'"),
        ({"stature_cm": [160.0], "draw": [1]}, {}, "no column 'person'"),
        ({"stature_cm": [160.0, 161.0], "person": [4, 4]}, {}, "in the table twice"),
        ({"stature_in": [160.0]}, {}, "cm"),
    ],
)
def test_what_cannot_be_people_is_refused(frame, options, words):
    with pytest.raises(SizingError, match=words):
        people_from(pd.DataFrame(frame), **options)


def test_rows_without_a_client_at_the_end_are_left_out_all_of_them_if_need_be():
    empty = pd.DataFrame({"sex": [None, None], "stature_cm": [np.nan, np.nan]})
    assert unnamed(empty, "x").empty
    mixed = pd.DataFrame({"sex": [None, "f", None], "stature_cm": [np.nan] * 3})
    assert len(unnamed(mixed, "x")) == 2


# A user's own download of official files: its weights, units and measures


def test_a_surveys_weights_units_and_measures_are_kept(rng):
    n = 80
    frame = pd.DataFrame({"person": np.arange(n), "sex": ["female", "male"] * (n // 2)})
    frame["age_years"] = rng.uniform(20, 70, n)
    frame["stature_cm"] = rng.normal(168, 8, n)
    frame["body_mass_kg"] = rng.normal(80, 12, n)
    frame["hip_circumference_cm"] = rng.normal(100, 9, n)
    frame.loc[60:, "hip_circumference_cm"] = np.nan
    frame["stratum"], frame["unit"] = np.arange(n) // 40, np.arange(n) // 20 % 2
    weight = pd.Series(rng.uniform(1, 9, n))
    survey = Survey("invented", frame, weight, pd.DataFrame())
    people = people_of_survey(survey, draws=3)
    assert (people.n, people.draws) == (n, 3)
    assert people.weight.to_numpy() == pytest.approx(np.tile(weight, 3))
    hips = people.evidence["hip_circumference_cm"].to_numpy().reshape(3, n)
    assert (hips[:, :60] == "measured").all() and (hips[:, 60:] != "measured").all()
    tall = {"size": ["one"], "stature_cm_low": [165], "stature_cm_high": [230]}
    chart = chart_from(pd.DataFrame(tall), warn=False)
    row = estimate_coverage(people, chart).table.iloc[0]
    how = "unit; 3 draws of a model fitted to other people, its bias counted"
    assert row["method"].endswith(how)
    inside = (frame["stature_cm"].round(1) >= 165).astype(float)
    of = {"weights": weight, "stratum": frame["stratum"], "unit": frame["unit"]}
    want = design_estimate(inside, statistic="share", **of).iloc[0]
    found = row[["estimate", "standard_error", "df"]].astype(float).tolist()
    assert found == pytest.approx(want[["estimate", "se", "df"]].astype(float).tolist())


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ([], "it holds 0 files of demographics"),
        (["DEMO_I.XPT"], "it holds 0 files of body measures"),
        (["DEMO_I.XPT", "DEMO_J.xpt", "BMX_I.XPT"], "DEMO_I.XPT, DEMO_J.xpt"),
    ],
)
def test_a_folder_without_one_of_each_is_refused(tmp_path, names, words):
    for name in names:
        (tmp_path / name).touch()
    with pytest.raises(SizingError, match=words):
        read_nhanes_folder(tmp_path)


def test_a_part_of_the_kits_people_is_not_looked_for_in_a_survey(tmp_path, capsys):
    out = ["--out", str(tmp_path / "out")]
    asked = ["study", "--survey", str(tmp_path), "--people", "adults", *out]
    assert main(asked) == 2
    assert "leave out --people, or --survey" in capsys.readouterr().err


@pytest.mark.surveys
def test_a_study_of_the_official_files(survey_folder, tmp_path, capsys):
    chart = tmp_path / "chart.csv"
    chart.write_text("size,group,stature_cm_low,stature_cm_high\none,adult,165,230\n")
    files = survey_folder / "nhanes_2015_2016"
    asked = ["study", "--survey", str(files), "--chart", str(chart), "--draws", "1"]
    assert main([*asked, "--out", str(tmp_path / "out")]) == 0
    assert "Report: " in capsys.readouterr().out
    survey = read_nhanes_folder(files)
    found = pd.read_csv(tmp_path / "out" / "coverage.csv").iloc[0]
    stature = survey.frame["stature_cm"].dropna()
    share = np.average(stature >= 165, weights=survey.weight[stature.index])
    # Of 1 in 75 stature is drawn.
    assert found["n"] == survey.n
    assert found["estimate"] == pytest.approx(share, abs=0.01)
