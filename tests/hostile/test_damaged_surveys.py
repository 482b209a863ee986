"""Survey files that are not as published: refused by name, never half read."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.surveys import read_nhanes_files
from tests.surveys.test_readers import write_transport

from .tables import outcome_of
from .test_damaged_files import judge

N = 24


def demographics() -> pd.DataFrame:
    made = {"SEQN": np.arange(N) + 1, "RIDSTATR": 2, "RIAGENDR": 1, "RIDAGEYR": 40}
    return pd.DataFrame(made | {"SDMVSTRA": 1, "SDMVPSU": 1, "WTMEC2YR": 1000.5})


def body() -> pd.DataFrame:
    made = {"SEQN": np.arange(N) + 1, "BMXWT": 80.0, "BMXHT": 175.0}
    return pd.DataFrame(made | {"BMXWAIST": 95.0})


def transport_damages(content: bytes) -> dict[str, bytes]:
    head = content.index(b"HEADER RECORD*******NAMESTR")

    def edited(at: int, new: bytes) -> bytes:
        return content[: head + at] + new + content[head + at + len(new) :]

    ends = (0, 1, 79, 80, 240, 400, 640, head + 80, head + 200)
    return {f"cut after {end} bytes": content[:end] for end in ends} | {
        "cut in the middle": content[: len(content) // 2],
        "its last line lost": content[:-80],
        "its last byte lost": content[:-1],
        "a line too many": content + b"x" * 80,
        "text": b"SEQN,BMXWT\n1,80\n" * 99,
        "a picture": bytes(range(256)) * 10,
        "a newer form": content.replace(b"LIBRARY HEADER", b"LIBV8   HEADER"),
        "a compressed form": b"**COMPRESSED** " * 99,
        "no count of columns": edited(54, b"    "),
        "no columns": edited(54, b"0000"),
        "9999 columns": edited(54, b"9999"),
        "columns of another kind": edited(80, b"\x00\x07"),
        "columns of no width": edited(84, b"\x00\x00"),
        "no people": content[: content.index(b"HEADER RECORD*******OBS") + 80],
        "no line of people": content.replace(b"*OBS ", b"*XXX "),
    }


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
@settings(max_examples=60)
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


@pytest.mark.parametrize("name", ["no_file.xpt", "a_folder"])
def test_no_survey_there(name, tmp_path):
    (tmp_path / "a_folder").mkdir()
    paths = [tmp_path / name] * 2
    judge(outcome_of(lambda: read_nhanes_files(*paths).frame), name)
