"""What the kit writes: whole or not at all, never a formula, the same at any time."""

import csv
import io
import os
import stat
import zipfile

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.errors import SizingError
from sizing.files.folders import write_folder
from sizing.files.writing import (
    FORMULA_STARTS,
    csv_bytes,
    marked,
    rounded,
    unmarked,
    workbook_bytes,
    write_text,
)

from .cells import NAMES

TEXTS = st.one_of(
    st.text(max_size=8),
    st.text(alphabet="'=+-@\t\r\n＝1a", max_size=6),
    st.sampled_from(list(NAMES)),
)


@given(TEXTS)
@settings(max_examples=100)
def test_marking_is_undone_and_leaves_no_formula(text):
    made = str(marked(text))
    assert unmarked(made) == text
    if made[:1] and made[0] in FORMULA_STARTS:
        float(made)


@given(st.lists(TEXTS, min_size=1, max_size=4))
@settings(max_examples=30)
def test_no_cell_of_a_table_is_a_formula(texts):
    frame = pd.DataFrame({"=heading": texts, "number": range(len(texts))})
    rows = list(csv.reader(io.StringIO(csv_bytes(frame).decode(), newline="")))
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes({"a": frame})))["a"]
    for cell in [c for row in rows for c in row]:
        assert cell == marked(cell) or cell.startswith("'")
    assert all(c.data_type != "f" for row in book.iter_rows() for c in row)


@pytest.mark.parametrize(
    "broken", ["open", "os.fsync", "os.replace", "shutil.copymode"]
)
def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    broken, tmp_path, monkeypatch
):
    path, folder = tmp_path / "report.html", tmp_path / "out"
    path.write_text("old")
    write_folder(folder, dict.fromkeys(("a.csv", "b.csv"), b"old"))

    def full(*words, **more):
        raise OSError(28, "No space left on device")

    place = "builtins.open" if broken == "open" else f"sizing.files.folders.{broken}"
    monkeypatch.setattr(place, full)
    with pytest.raises(SizingError, match="No space left"):
        write_text(path, "new")
    if broken == "os.fsync":
        with pytest.raises(SizingError, match="No space left"):
            write_folder(folder, dict.fromkeys(("a.csv", "b.csv"), b"new"))
    monkeypatch.undo()
    assert path.read_text() == "old"
    assert {one.read_bytes() for one in folder.iterdir()} == {b"old"}
    assert sorted(os.listdir(tmp_path)) == ["out", "report.html"]


def test_permissions_and_links_stay(tmp_path):
    real = tmp_path / "real.csv"
    real.write_text("old")
    real.chmod(0o640)
    link = tmp_path / "link.csv"
    link.symlink_to("real.csv")
    write_text(link, "new")
    assert link.is_symlink() and real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


@pytest.mark.parametrize("name", ["taken", "none/x.csv", "a\x00b", "x" * 300])
def test_a_place_that_cannot_be_written_is_named(name, tmp_path):
    (tmp_path / "taken").mkdir()
    with pytest.raises(SizingError, match="cannot be written"):
        write_text(tmp_path / name, "new")
    assert os.listdir(tmp_path) == ["taken"]


# The same bytes at any time; test_offline runs the commands


def test_a_workbook_does_not_tell_when_it_was_made():
    frame = pd.DataFrame({"size": ["a"], "share": [0.5]})
    content = workbook_bytes({"sheet": frame})
    assert content.count(b"PK\x03\x04") > 5
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        assert {part.date_time for part in parts.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"dcterms:created" not in parts.read("docProps/core.xml")
    assert pd.read_excel(io.BytesIO(content)).equals(frame)


@given(st.floats(1e-9, 1e9) | st.floats(-1e9, -1e-9), st.floats(-1e-15, 1e-15))
def test_rounding_keeps_six_digits_and_cents(number, noise):
    made = rounded(number)
    assert abs(made - number) <= max(5.1e-6 * abs(number), 1e-15)
    assert abs(made - number) <= 0.00501 or abs(number) < 1000
    assert rounded(made) == made
    near = rounded(number * (1 + noise))
    assert near == made or abs(near - made) <= 1.1e-5 * abs(number)


def test_what_is_no_fraction_stays_as_it_is():
    frame = pd.DataFrame(
        {"n": [1, 2], "share": [1 / 3, np.nan], "size": ["a", None], "yes": [True] * 2}
    )
    made = rounded(frame)
    assert made["share"].iloc[0] == pytest.approx(0.333333, abs=1e-12)
    assert made.drop(columns="share").equals(frame.drop(columns="share"))
    assert made.dtypes.equals(frame.dtypes)
    assert rounded({"a": [1 / 3, None, 7, "x"]}) == {"a": [0.333333, None, 7, "x"]}
