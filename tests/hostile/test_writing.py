"""What the kit writes: whole or not at all, and never a formula."""

import csv
import io
import os
import stat

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.charts import chart_from, read_chart, write_chart
from sizing.errors import SizingError
from sizing.files import folders as files
from sizing.files.writing import (
    FORMULA_STARTS,
    csv_bytes,
    marked,
    unmarked,
    workbook_bytes,
    write_bytes,
    write_text,
)

from .cells import NAMES
from .tables import CHART

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
    path = tmp_path / "report.html"
    path.write_text("old")

    def full(*words, **more):
        raise OSError(28, "No space left on device")

    place = "builtins.open" if broken == "open" else f"sizing.files.folders.{broken}"
    monkeypatch.setattr(place, full)
    with pytest.raises(SizingError, match="No space left"):
        write_text(path, "new")
    monkeypatch.undo()
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["report.html"]


def test_a_reader_sees_the_old_file_or_the_new(tmp_path, monkeypatch):
    path = tmp_path / "chart.csv"
    write_bytes(path, b"old")
    seen = []
    real = os.replace

    def watched(source, target):
        seen.append(path.read_bytes())
        real(source, target)
        seen.append(path.read_bytes())

    monkeypatch.setattr(files.os, "replace", watched)
    write_bytes(path, b"new" * 10_000)
    assert seen == [b"old", b"new" * 10_000]


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


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
@pytest.mark.parametrize("note", ["=1+1", "'=1+1", "-5 cm", "+ soft", "@home", "\tx"])
def test_own_columns_come_back_as_they_were(note, ending, tmp_path):
    frame = pd.DataFrame(CHART[1:], columns=CHART[0]).assign(note=note)
    chart = chart_from(frame, warn=False)
    path = tmp_path / f"chart{ending}"
    write_chart(chart, path)
    back = read_chart(path, warn=False).frame["note"].tolist()
    assert back == [note, note]
    if ending == ".xlsx":
        sheet = openpyxl.load_workbook(path).active
        assert all(c.data_type != "f" for row in sheet.iter_rows() for c in row)
