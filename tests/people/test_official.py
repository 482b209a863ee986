"""A user's own download of official files: its weights, units and measures."""

import numpy as np
import pandas as pd
import pytest

from data_sources.design_estimate import design_estimate
from sizing.charts import chart_from
from sizing.cli.main import main
from sizing.coverage import estimate_coverage
from sizing.errors import SizingError
from sizing.people import people_of_survey
from sizing.surveys import Survey, read_nhanes_folder


def test_a_surveys_weights_units_and_measures_are_kept(rng):
    n = 80
    frame = pd.DataFrame(
        {
            "person": np.arange(n),
            "sex": ["female", "male"] * (n // 2),
            "age_years": rng.uniform(20, 70, n),
            "stature_cm": rng.normal(168, 8, n),
            "body_mass_kg": rng.normal(80, 12, n),
            "hip_circumference_cm": np.where(
                np.arange(n) < 60, rng.normal(100, 9, n), np.nan
            ),
            "stratum": np.arange(n) // 40,
            "unit": np.arange(n) // 20 % 2,
        }
    )
    weight = pd.Series(rng.uniform(1, 9, n))
    people = people_of_survey(
        Survey("invented", frame, weight, pd.DataFrame()), draws=3
    )
    assert (people.n, people.draws) == (n, 3)
    assert people.weight.to_numpy() == pytest.approx(np.tile(weight, 3))
    hips = people.evidence["hip_circumference_cm"].to_numpy().reshape(3, n)
    assert (hips[:, :60] == "measured").all() and (hips[:, 60:] != "measured").all()
    tall = {"size": ["one"], "stature_cm_low": [165], "stature_cm_high": [230]}
    row = estimate_coverage(
        people, chart_from(pd.DataFrame(tall), warn=False)
    ).table.iloc[0]
    assert row["method"].endswith(
        "unit; 3 draws of a model fitted to other people, its bias counted"
    )
    inside = (frame["stature_cm"].round(1) >= 165).astype(float)
    want = design_estimate(
        inside,
        weights=weight,
        stratum=frame["stratum"],
        unit=frame["unit"],
        statistic="share",
    ).iloc[0]
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
    known = survey.frame["stature_cm"].notna()
    share = np.average(
        survey.frame["stature_cm"][known] >= 165, weights=survey.weight[known]
    )
    # Of 1 in 75 stature is drawn.
    assert found["n"] == survey.n
    assert found["estimate"] == pytest.approx(share, abs=0.01)
