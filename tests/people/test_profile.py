"""Who a population is: percentiles, what stands beside them, and the command."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.weightstats import DescrStatsW

from data_sources.design_estimate import design_estimate
from sizing.cli.main import main
from sizing.people import POPULATIONS, load_people, population_titles
from sizing.people.profile import beside, bodies, checks, percentiles, profile
from sizing.resources import source_table


@cache
def loaded(name):
    return load_people(name, draws=1)


@settings(max_examples=3, deadline=None)
@given(
    st.sampled_from(["care_home_nordic", "bariatric", "children"]), st.floats(0.5, 2)
)
def test_a_percentile_lies_in_its_interval_and_grows_with_the_people(name, times):
    """Percentiles rise; weights times a number change nothing, heavier people do."""
    people = loaded(name)
    table = profile(people)
    # An open end is NaN.
    assert not (table["low"] > table["estimate"]).any()
    assert not (table["estimate"] > table["high"]).any()
    groups = table[1:].groupby(["group", "variable"])["estimate"]
    assert groups.apply(lambda row: row.is_monotonic_increasing).all()
    same = profile(replace(people, weight=times * people.weight))
    pd.testing.assert_frame_equal(same, table)
    frame = people.frame.assign(bmi=times * people.frame["bmi"])
    other = profile(replace(people, frame=frame))
    grown = (table["variable"] == "bmi").to_numpy()
    for end in ("estimate", "low", "high"):
        expected = np.where(grown, times, 1) * table[end]
        np.testing.assert_allclose(other[end], expected, rtol=1e-9)


@pytest.mark.parametrize("group", ["everyone", "female", "male"])
def test_percentiles_are_those_of_another_library(group):
    """Statsmodels reads percentiles of weighted people; the range is Woodruff's."""
    people = loaded("care_home_nordic")
    inside = (people.frame["sex"] == group) | (group == "everyone")
    table = profile(people).query("group == @group and statistic != 'share'")
    for row in table.itertuples():
        value = people.frame[row.variable].to_numpy(dtype=float)
        q = int(row.statistic[1:]) / 100
        oracle = DescrStatsW(value[inside], weights=people.weight[inside])
        assert row.estimate == pytest.approx(
            oracle.quantile([q], return_pandas=False)[0], abs=1e-9
        )
        assert row.n == inside.sum()
    row = table.query("variable == 'body_mass_kg' and statistic == 'p50'").iloc[0]
    of = {"weights": people.weight, "domain": inside, "statistic": "quantile"}
    single = design_estimate(people.frame["body_mass_kg"], q=0.5, **of).iloc[0]
    # Degrees of freedom differ: the effective number of persons, or all of them.
    assert row["low"] == pytest.approx(single["low"], abs=0.5)
    assert row["high"] == pytest.approx(single["high"], abs=0.5)


def test_the_survey_before_stands_beside_the_country():
    """NHANES 2015-16: women of 20 and over weigh 170.6 lb on average.

    Fryar et al., National Health Statistics Reports 122, December 2018 (age-adjusted).
    """
    table = beside(loaded("adults")).set_index("what")
    women = table.loc["mean weight within sex=female;age_years>=20"]
    assert women["published"] == pytest.approx(170.6 * 0.45359237, abs=0.3)
    assert women["here"] == pytest.approx(women["published"], abs=1.5)
    assert table["use"].eq("compared").all()
    children = beside(loaded("children"))
    assert not children["what"].str.contains(">=20").any() and len(children) == 16
    assert beside(loaded("walking_difficulty")).empty


def test_checks_of_the_model_show_failures_too():
    found = checks(loaded("adults")).set_index("measure")
    chest = source_table("model_checks.csv").query(
        "measure == 'chest_circumference_cm' and quantity == 'mean, model minus "
        "published'"
    )
    row = found.loc["chest_circumference_cm"]
    assert row["populations"] == len(chest)
    assert row["reached"] == chest["estimate"].abs().le(1.5).sum() < len(chest)
    assert checks(loaded("children")).empty


def test_the_command_lists_the_names(capsys):
    assert main(["people"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == [f"{n}: {title}" for n, title in population_titles().items()]
    assert main(["people", "--json"]) == 0
    assert list(json.loads(capsys.readouterr().out)) == list(POPULATIONS)
    assert main(["people", "nobody"]) == 2
    assert "Allowed: everyone, children" in capsys.readouterr().err


def test_the_command_says_who_they_are_and_where_it_stops(capsys):
    assert main(["people", "care_home_nordic", "--draws", "1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["n"] == loaded("care_home_nordic").n
    assert found["published"][0]["published"] == 0.642
    assert all(row["method"] and row["n"] for row in found["figures"])
    assert main(["people", "care_home_nordic", "--draws", "1"]) == 0
    told = capsys.readouterr().out
    assert f"{found['n']:,} persons" in told and "weighted to it" in told
    for words in (*found["limits"], "Before any lift:", "Hip girth, cm: predicted"):
        assert words in told
    assert "nan" not in told and "body_mass_kg" not in told
    # Of people of 65 and over nobody is a girl.
    assert "Women: 64 %" in told and "girls" not in told and " or less)" in told


@pytest.fixture(scope="module")
def full() -> pd.DataFrame:
    return percentiles(loaded("wheelchair_users"))


def test_a_full_table_against_another_library(full):
    """Statsmodels' weighted mean, SD and percentiles; evidence adds up to 100."""
    people = loaded("wheelchair_users")
    frame, measure = people.frame, "hip_circumference_cm"
    old = (frame["sex"] == "female") & (frame["age_band"] == "80 and over")
    oracle = DescrStatsW(frame.loc[old, measure], weights=people.weight[old])
    rows = full.query("sex == 'female' and age_band == '80 and over'")
    found = rows[rows["variable"] == measure].set_index("statistic")["estimate"]
    assert found["mean"] == pytest.approx(oracle.mean)
    assert found["sd"] == pytest.approx(oracle.std)
    median = oracle.quantile([0.5], return_pandas=False)[0]
    assert found["p50"] == pytest.approx(median, abs=1e-9)
    # Fewer than 100 of equal weight say nothing of one in a hundred.
    assert rows["n_effective"].max() < 100 and "p01" not in found
    kinds = full["evidence"].str.findall(r"(\d+) %").map(lambda n: sum(map(int, n)))
    assert kinds.between(98, 102).all()


def test_how_sure_a_percentile_is_counts_the_models_bias(full):
    """Chest girth was off by 3.8 %, hip girth by 1.0 %, weight was measured."""
    rows = full[(full["sex"] == "everyone") & (full["statistic"] == "mean")]
    rows = rows.set_index("variable")
    half = (rows["high"] - rows["low"]) / 2 / rows["estimate"]
    assert half["chest_circumference_cm"] > 1.96 * 0.0377
    assert half["hip_circumference_cm"] < 0.6 * half["chest_circumference_cm"]
    # The bias scales each percentile alike, and reaches for no far person.
    chest = full[full["variable"] == "chest_circumference_cm"]
    chest = chest[(chest["sex"] == "everyone") & (chest["statistic"] == "p95")].iloc[0]
    assert chest["high"] < 1.15 * chest["estimate"]
    counted = rows["method"].str.contains("bias counted")
    assert list(counted.index[~counted]) == ["body_mass_kg", "stature_cm"]
    assert not (full["low"] > full["estimate"]).any()
    assert not (full["estimate"] > full["high"]).any()


def test_an_end_that_would_be_the_last_person_is_left_open(full, capsys):
    """Each end has a person of equal weight beyond it, by the weights themselves."""
    rows = full[full["statistic"].str.startswith("p")]
    opened = rows[["low", "high"]].isna().any(axis=1)
    assert opened.equals(rows["method"].str.contains("left open"))
    assert 0.05 < opened.mean() < 0.5
    people = loaded("wheelchair_users")
    frame = people.frame.assign(weight=people.weight)
    for row in rows[rows["variable"] == "body_mass_kg"].itertuples():
        part = frame[(frame["sex"] == row.sex) | (row.sex == "everyone")]
        part = part[(part["age_band"] == row.age_band) | (row.age_band == "everyone")]
        mass, all_of_them = part["body_mass_kg"], part["weight"].sum()
        beyond = {"low": mass <= row.low, "high": mass >= row.high}
        for end, those in beyond.items():
            if np.isfinite(getattr(row, end)):
                share = part["weight"][those].sum() / all_of_them
                assert share * row.n_effective > 1 - 1e-9
    assert main(["people", "care_home_nordic", "--draws", "1", "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)["figures"]
    assert any(row["low"] is None for row in figures)


def test_files_for_others_carry_figures_sources_and_limits(tmp_path, capsys, full):
    table, listed, book = (tmp_path / n for n in ("t.csv", "b.csv", "t.xlsx"))
    page = tmp_path / "p.html"
    words = ["people", "wheelchair_users", "--draws", "1", "--table", str(table)]
    assert main([*words, "--bodies", str(listed), "--report", str(page)]) == 0
    assert f"Bodies: {listed}" in capsys.readouterr().out
    people = loaded("wheelchair_users")
    back = pd.read_csv(table, comment="#")
    np.testing.assert_allclose(back["estimate"], full["estimate"], rtol=1e-5)
    drawn = pd.read_csv(listed, comment="#")
    assert len(drawn) == people.n and drawn["hip_circumference_cm"].notna().all()
    assert drawn["weight"].sum() == pytest.approx(people.n, rel=1e-5)
    assert set(drawn["hip_circumference_cm_evidence"]) <= {"predicted", "extrapolated"}
    html = page.read_text(encoding="utf-8")
    for text in (table.read_text("utf-8"), listed.read_text("utf-8"), html):
        assert "LaPlante and Kaye" in text and "a proxy, not a sample of them" in text
    assert "Women, 80 and over" in html and "girls" not in html
    assert html.count("<table") == len(people.measures) and "data:image/png" in html
    assert main([*words[:-1], str(book), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["name"] == "wheelchair_users"
    notes = pd.read_excel(book, sheet_name="read me").iloc[:, 0]
    assert notes.str.contains("proxy").any()
    assert main(["people", "--table", str(table)]) == 2
    assert main([*words[:2], "--bodies", str(tmp_path / "b.xlsx")]) == 2


def test_a_parquet_file_where_the_package_is(tmp_path, capsys):
    place = tmp_path / "b.parquet"
    words = ["people", "wheelchair_users", "--draws", "1", "--bodies", str(place)]
    try:
        import pyarrow.parquet as parquet
    except ImportError:
        assert main(words) == 2 and "pyarrow" in capsys.readouterr().err
        return
    assert main(words) == 0
    assert b"LaPlante" in parquet.read_schema(place).metadata[b"notes"]
    whole = bodies(loaded("wheelchair_users"))
    pd.testing.assert_frame_equal(pd.read_parquet(place), whole, check_dtype=False)
