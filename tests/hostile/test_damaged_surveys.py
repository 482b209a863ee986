"""Survey files that are not as published: refused by name, never half read."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sizing.surveys import read_ansur2, read_nhanes_files, read_snyder1977
from sizing.surveys.ansur import _LENGTHS as ANSUR
from sizing.surveys.snyder import _LENGTHS as SNYDER
from tests.surveys.test_readers import write_transport

from .tables import outcome_of
from .test_damaged_files import judge

N = 24


def ansur() -> pd.DataFrame:
    """Invented people in the form of the published file: mm and 0.1 kg."""
    typical = dict.fromkeys(ANSUR, 400.0)
    typical |= {"stature": 1750, "sittingheight": 910, "span": 1800}
    typical |= {"acromialheight": 1440, "suprasternaleheight": 1430}
    typical |= dict.fromkeys([c for c in ANSUR if "circumference" in c], 900.0)
    made = {name: np.full(N, value) for name, value in typical.items()}
    made |= {"subjectid": np.arange(N), "weightkg": np.full(N, 800)}
    made |= {"Age": np.full(N, 30), "Heightin": np.full(N, 69)}
    made |= {"Weightlbs": np.full(N, 176), "DODRace": np.full(N, 1)}
    return pd.DataFrame(made).assign(Gender="Male")


def snyder() -> pd.DataFrame:
    typical = dict.fromkeys(SNYDER, 300.0)
    typical |= {"STATURE": 1300, "ERECT SITTING HEIGHT": 680}
    typical |= {"SUPRASTERNALE HEIGHT": 1050}
    typical |= dict.fromkeys([c for c in SNYDER if "CIRCUM" in c], 650.0)
    made = {name: value + np.arange(N) for name, value in typical.items()}
    made |= {"WEIGHT": 280 + np.arange(N), "AGE IN YEARS": np.full(N, 8500)}
    return pd.DataFrame(made | {"SEX": np.full(N, 1)})


def demographics() -> pd.DataFrame:
    made = {"SEQN": np.arange(N) + 1, "RIDSTATR": 2, "RIAGENDR": 1, "RIDAGEYR": 40}
    return pd.DataFrame(made | {"SDMVSTRA": 1, "SDMVPSU": 1, "WTMEC2YR": 1000.5})


def body() -> pd.DataFrame:
    made = {"SEQN": np.arange(N) + 1, "BMXWT": 80.0, "BMXHT": 175.0}
    return pd.DataFrame(made | {"BMXWAIST": 95.0})


CSV = {
    "ansur": (ansur, read_ansur2, "stature", "subjectid"),
    "snyder": (snyder, read_snyder1977, "STATURE", "SEX"),
}


def text_damages(frame: pd.DataFrame, column: str) -> dict[str, bytes]:
    text = frame.to_csv(index=False)
    first, rest = text.split("\n", 1)

    def cell(value: object) -> bytes:
        made = frame.astype({column: object})
        made.loc[3, column] = value
        return made.to_csv(index=False).encode()

    return {
        "empty": b"",
        "heading alone": (first + "\n").encode(),
        "one person": "\n".join(text.split("\n")[:2]).encode(),
        "UTF-16": text.encode("utf-16"),
        "nul bytes": text.replace("\n", "\x00\n").encode(),
        "semicolons": text.replace(",", ";").encode(),
        "tabs": text.replace(",", "\t").encode(),
        "a picture": bytes(range(256)) * 4,
        "a web page": b"<html><body>Not found</body></html>\n" * 30,
        "packed": b"\x1f\x8b\x08" + bytes(range(255)),
        "a quotation mark not closed": (first + '\n"' + rest).encode(),
        "a longer row": (text + rest.split("\n")[0] + ",1,2\n").encode(),
        "another heading": text.replace(column, "height", 1).encode(),
        "no heading": rest.encode(),
        "a column twice": pd.concat([frame, frame[[column]]], axis=1)
        .to_csv(index=False)
        .encode(),
        "a word": cell("tall"),
        "a unit": cell("1750 mm"),
        "a decimal comma": cell("1750,5"),
        "a formula": cell("=1+1"),
        "infinity": cell(np.inf),
        "a date": cell("2026-11-25"),
        "a number beyond all": cell(1e300),
        "centimetres": frame.assign(**{column: frame[column] / 10})
        .to_csv(index=False)
        .encode(),
        "too tall": cell(9000),
    }


@pytest.mark.parametrize("survey", CSV)
def test_a_survey_as_csv(survey, tmp_path):
    make, read, column, key = CSV[survey]
    whole = tmp_path / "survey.csv"
    make().to_csv(whole, index=False)
    assert len(read(whole).frame) == N
    wrong = []
    cases = text_damages(make(), column)
    cases["a key that is none"] = (
        make().assign(**{key: np.inf}).to_csv(index=False).encode()
    )
    for name, content in cases.items():
        whole.write_bytes(content)
        try:
            judge(outcome_of(lambda: read(whole).frame), "survey.csv")
        except AssertionError as error:
            wrong.append((name, str(error)[:300]))
    assert not wrong, "\n".join(map(str, wrong))


def transport_damages(content: bytes) -> dict[str, bytes]:
    head = content.index(b"HEADER RECORD*******NAMESTR")
    cases = {
        f"cut after {end} bytes": content[:end]
        for end in (0, 1, 79, 80, 240, 400, 640, head + 80, head + 200)
    }
    cases |= {
        "cut in the middle": content[: len(content) // 2],
        "its last line lost": content[:-80],
        "its last byte lost": content[:-1],
        "a line too many": content + b"x" * 80,
        "text": b"SEQN,BMXWT\n1,80\n" * 99,
        "a picture": bytes(range(256)) * 10,
        "a newer form": content.replace(b"LIBRARY HEADER", b"LIBV8   HEADER"),
        "a compressed form": b"**COMPRESSED** " * 99,
        "no count of columns": content[: head + 54] + b"    " + content[head + 58 :],
        "no columns": content[: head + 54] + b"0000" + content[head + 58 :],
        "9999 columns": content[: head + 54] + b"9999" + content[head + 58 :],
        "columns of another kind": content[: head + 80]
        + b"\x00\x07"
        + content[head + 82 :],
        "columns of no width": content[: head + 84]
        + b"\x00\x00"
        + content[head + 86 :],
        "no people": content[: content.index(b"HEADER RECORD*******OBS") + 80],
        "no line of people": content.replace(b"*OBS ", b"*XXX "),
    }
    return cases


@pytest.mark.parametrize("which", [0, 1])
def test_a_survey_in_transport_form(which, tmp_path):
    paths = [tmp_path / "DEMO_X.XPT", tmp_path / "BMX_X.XPT"]
    frames = [demographics(), body()]
    for path, frame in zip(paths, frames, strict=True):
        write_transport(frame, path)
    assert len(read_nhanes_files(*paths).frame) == N
    cases = transport_damages(paths[which].read_bytes())
    frame = frames[which]
    measured = frame.columns[2 if which else 4]
    other = {
        "a person twice": frame.assign(SEQN=1),
        "nobody's number": frame.assign(SEQN=np.nan),
        "half a person": frame.assign(SEQN=frame["SEQN"] + 0.5),
        "other people": frame.assign(SEQN=frame["SEQN"] + 1000),
        "a column twice": frame.set_axis(["SEQN", "SEQN", *frame.columns[2:]], axis=1),
        "a column lost": frame.drop(columns=measured),
        "few people": frame.iloc[:5],
    }
    if which:
        other["metres"] = frame.assign(BMXHT=1.75)
    else:
        other["no stratum"] = frame.assign(SDMVSTRA=np.nan)
    for name, made in other.items():
        cases[name] = write_transport(made, tmp_path / "made.xpt").read_bytes()
    cases["the other file"] = paths[1 - which].read_bytes()
    kept = paths[which].read_bytes()
    wrong = []
    for name, content in cases.items():
        paths[which].write_bytes(content)
        try:
            judge(outcome_of(lambda: read_nhanes_files(*paths).frame), "_X.XPT")
        except AssertionError as error:
            wrong.append((name, str(error)[:300]))
    paths[which].write_bytes(kept)
    assert not wrong, "\n".join(map(str, wrong))


@given(st.data())
@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_any_change_of_a_transport_file_is_refused_or_leaves_possible_bodies(
    tmp_path, data
):
    paths = [tmp_path / "DEMO_X.XPT", tmp_path / "BMX_X.XPT"]
    write_transport(demographics(), paths[0])
    content = bytearray(write_transport(body(), paths[1]).read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at] = data.draw(st.integers(0, 255))
    paths[1].write_bytes(bytes(content))
    outcome = outcome_of(lambda: read_nhanes_files(*paths).frame)
    if outcome.code == 0:
        assert len(outcome.read) == N
        assert outcome.read["stature_cm"].dropna().between(30, 460).all()
    else:
        judge(outcome, "_X.XPT")


@pytest.mark.parametrize("name", ["no_file.csv", "a_folder"])
@pytest.mark.parametrize("survey", CSV)
def test_no_survey_there(survey, name, tmp_path):
    (tmp_path / "a_folder").mkdir()
    judge(outcome_of(lambda: CSV[survey][1](tmp_path / name).frame), name)
