"""Derived tables: registered, re-derived to the digit, near published figures."""

import numpy as np
import pandas as pd
import pytest

from data_sources import derive_population_totals, derive_survey_summaries
from data_sources.design_estimate import design_estimate
from sizing.errors import SizingError
from sizing.resources import source_table
from sizing.surveys import ETHNIC_GROUPS, read_embedded, read_nhanes_folder, verify


def test_a_changed_file_is_refused():
    with pytest.raises(SizingError, match="sha256 differs"):
        verify("survey_summaries", b"survey,estimate\n")
    with pytest.raises(SizingError, match="unknown registered file"):
        verify("no_such_survey")


def test_every_cell_of_the_totals_has_embedded_people_to_stand_for_it():
    totals = source_table("nhanes_2017_2018_totals.csv", keep_default_na=False)
    # Three kinds of cell hold all people, and none of fewer than three.
    assert totals.groupby("kind")["n"].sum().eq(read_embedded().n).all()
    assert totals.groupby("kind")["total"].sum().std() < 100
    assert (totals["total"] > 0).all() and totals["n"].min() >= 3
    found = totals.loc[totals["kind"] == "descent", "ethnic_group"]
    assert set(found) == set(ETHNIC_GROUPS)


def test_summaries_are_in_order():
    table = source_table("survey_summaries.csv")
    key = ["survey", "age_years_from", "age_years_below", "sex", "name"]
    assert not table.duplicated([*key, "statistic"]).any()
    wide = table.set_index([*key, "statistic"])["estimate"].unstack()  # noqa: PD010
    percentiles = wide[["p05", "p10", "p25", "p50", "p75", "p90", "p95"]]
    assert (np.diff(percentiles.to_numpy(), axis=1) >= 0).all()
    assert wide["mean"].between(wide["p25"], wide["p90"]).all()
    estimates = table[table["statistic"] != "sd"]
    assert estimates["estimate"].between(estimates["low"], estimates["high"]).all()


@pytest.mark.surveys
@pytest.mark.parametrize("script", [derive_population_totals, derive_survey_summaries])
def test_what_ships_is_what_the_script_derives(
    script, survey_folder, monkeypatch, tmp_path
):
    check = [str(survey_folder), "--check"]
    assert script.main(check) == 0
    if script is derive_survey_summaries:
        return
    other = tmp_path / "other.csv"
    other.write_text(script.OUT.read_text().replace("female", "Female", 1))
    monkeypatch.setattr(script, "OUT", other)
    assert script.main(check) == 1
    assert script.main(check[:1]) == 0 and script.main(check) == 0


def published(survey: str) -> pd.DataFrame:
    table = source_table("published_means.csv").query("survey == @survey")
    factor = {"lb": 0.45359237, "in": 2.54, "kg": 1.0, "cm": 1.0}
    return table.assign(figure=table["figure"] * table["unit"].map(factor))


def shipped_mean(survey: str, sex: str, name: str) -> float:
    ages = {"ANSUR II": (17, 59), "NHANES 2015-16": (20, 121)}[survey]
    table = source_table("survey_summaries.csv").set_index(
        ["survey", "age_years_from", "age_years_below", "sex", "name", "statistic"]
    )
    return float(table.loc[(survey, *ages, sex, name, "mean"), "estimate"])


def test_ansur_means_against_the_published_ones():
    for row in published("ANSUR II").itertuples():
        # Printed to one decimal: 162.85 may be rounded either way.
        found = shipped_mean("ANSUR II", row.sex, row.name)
        assert found == pytest.approx(row.figure, abs=0.1)


def test_us_means_of_2015_16_against_those_published_for_2011_14():
    # Another pair of years: Americans grew about 1 kg heavier between them and no
    # taller; statures were published as "about" to a quarter inch.
    allowed = {"body_mass_kg": 1.5, "stature_cm": 0.75}
    rows = published("NHANES 2011-14")
    assert len(rows) == 4
    for row in rows.itertuples():
        found = shipped_mean("NHANES 2015-16", row.sex, row.name)
        assert found == pytest.approx(row.figure, abs=allowed[row.name])


@pytest.mark.surveys
def test_us_means_of_2015_16_against_those_published_for_them(survey_folder):
    survey = read_nhanes_folder(survey_folder / "nhanes_2015_2016")
    frame = survey.frame
    # Published age-adjusted and from memory: within one standard error or so.
    allowed = {"body_mass_kg": 0.6, "waist_circumference_cm": 0.8}
    of = {"stratum": frame["stratum"], "unit": frame["unit"], "weights": survey.weight}
    rows = published("NHANES 2015-16")
    assert len(rows) == 4
    for row in rows.itertuples():
        member = (frame["age_years"] >= 20) & (frame["sex"] == row.sex)
        member &= ~frame["pregnant"].fillna(False)
        found = design_estimate(frame[row.name], domain=member, **of)["estimate"]
        assert found.item() == pytest.approx(row.figure, abs=allowed[row.name])
