"""The vocabulary is complete, and its plausible ranges hold real people."""

import pandas as pd
import pytest

from data_sources.read_surveys import read_ansur2, read_snyder1977
from sizing.measures import MEASURES, vocabulary
from sizing.resources import source_table
from sizing.surveys import Survey, read_embedded, read_nhanes_files


def test_vocabulary_tells_everything_about_every_measure():
    table = vocabulary()
    assert table["name"].tolist() == list(MEASURES)
    text = table.drop(columns=["error_cm", "patterns"])
    assert (text.map(lambda cell: len(str(cell).strip())) > 0).all(axis=None)
    assert text.notna().all(axis=None)
    assert (table["name"].str.rsplit("_", n=1).str[1] == table["unit"]).all()
    assert table["error_cm"].between(0.05, 5).all()
    marked = "no source|from memory"
    assert table["error_source"].str.contains(marked).all()


@pytest.mark.parametrize("measure", MEASURES)
def test_age_bands_follow_each_other_without_gap(measure):
    table = source_table("plausible_ranges.csv").query("name == @measure")
    assert table["age_years_from"].iloc[0] == 2
    assert table["age_years_below"].iloc[-1] > 120
    below = table["age_years_below"].iloc[:-1].tolist()
    assert below == table["age_years_from"].iloc[1:].tolist()
    assert (table["low"] < table["high"]).all()
    assert table["source"].str.contains("no source").all()


def outside(survey: Survey) -> pd.DataFrame:
    found = []
    bands = source_table("plausible_ranges.csv")
    for band in bands.itertuples():
        if band.name not in survey.measures:
            continue
        age = survey.frame["age_years"]
        value = survey.frame.loc[
            (age >= band.age_years_from) & (age < band.age_years_below), band.name
        ].dropna()
        found.append(value[(value < band.low) | (value > band.high)])
    return pd.concat(found)


def test_every_embedded_person_lies_within_the_plausible_ranges():
    assert outside(read_embedded()).empty


@pytest.mark.surveys
def test_every_person_of_the_surveys_lies_within_the_plausible_ranges(survey_folder):
    nhanes = survey_folder / "nhanes_2015_2016"
    for survey in (
        read_ansur2(survey_folder),
        read_snyder1977(survey_folder / "snyder1977_children.csv"),
        read_nhanes_files(nhanes / "DEMO_I.XPT", nhanes / "BMX_I.XPT"),
    ):
        assert outside(survey).empty, survey.name
