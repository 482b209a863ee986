"""Courses kept by date: what was found, nothing of anybody, nothing written over."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from sizing.charts import demo_chart
from sizing.errors import InputProblems, SizingError
from sizing.lesson import room_result
from sizing.lesson.room import COLUMNS, keep_course, kept_courses
from sizing.pages.lesson_pack import courses_slide
from sizing.pages.room import courses_table
from sizing.words.lesson import courses_words
from tests.lesson.cases import answers_of, demo_answers

DAY = date(2024, 5, 1)


@pytest.fixture(scope="module")
def room():
    return room_result(demo_answers(), demo_chart())


def test_a_course_kept_is_read_back_and_none_is_written_over(room, tmp_path):
    folder = tmp_path / "courses"
    other = replace(room, chart="another")
    kept = ((room, DAY), (room, date(2023, 1, 9)), (other, DAY))
    paths = [keep_course(folder, one, day) for one, day in kept]
    assert [path.name for path in paths] == [
        "course 2024-05-01.csv",
        "course 2023-01-09.csv",
        "course 2024-05-01 (2).csv",
    ]
    # Before, a pack made again kept its room again, and it counted twice.
    assert [keep_course(folder, one, DAY) for one in (room, other)] == paths[::2]
    kept = kept_courses(folder)
    assert kept["course"].drop_duplicates().tolist() == [
        "2023-01-09", "2024-05-01", "2024-05-01 (2)"
    ]  # fmt: skip
    assert list(kept) == ["course", *COLUMNS] and (kept["participants"] == 12).all()
    own = kept[kept["course"] == "2024-05-01"].set_index(["figure", "measure"])
    together = room.wrong[room.wrong["participant"] == "together"]
    for source, row in together.set_index("source").iterrows():
        names = ["estimate", "low", "high", "n"]
        found = own.loc[(f"wrong_{source}", ""), names].astype(float).tolist()
        assert found == pytest.approx(row[names].astype(float).tolist(), rel=1e-4)
    gain = room.gain.set_index("measure")["estimate"]
    assert own.loc["gain"]["estimate"].to_dict() == pytest.approx(gain.to_dict(), 1e-4)
    count, n = together[["count", "n"]].iloc[0].astype(int)
    assert f"of {3 * n} sizes chosen, {3 * count} did not fit" in courses_words(kept)
    table = courses_table(kept)
    assert len(table.rows) == 3 and len({row[2:] for row in table.rows}) == 1
    tem = room.error.table.query("kind == 'between'").iloc[0]
    shown = "{:.1f} ({:.1f} to {:.1f})".format(*tem[["tem", "low", "high"]])
    assert shown in table.rows[0]
    marks = courses_slide(kept).axes.lines[0].get_ydata()
    assert np.asarray(marks) == pytest.approx([count / n] * 3, abs=1e-4)


UNREADABLE = {
    ("date", "a day such as"): ["spring", ""],
    ("figure", "wrong_chosen"): ["luck", ""],
    # Before, empty cells ended in a traceback, and "-22 of -3 did not fit".
    ("estimate", "a plain number"): ["many", ""],
    ("estimate", "from 0 to 1"): ["55.9"],
    ("low", "a plain number"): ["inf"],
    ("n", "a whole number"): ["-3"],
    ("participants", "a whole number"): [""],
}


@pytest.mark.parametrize(("column", "allowed"), UNREADABLE)
def test_a_cell_that_cannot_be_read_is_named_and_left(room, tmp_path, column, allowed):
    path = keep_course(tmp_path, room, DAY)
    table = pd.read_csv(path, dtype=str, keep_default_na=False)
    for value in UNREADABLE[column, allowed]:
        table.loc[1, column] = value
        table.to_csv(path, index=False)
        before = path.read_bytes()
        with pytest.raises(InputProblems) as caught:
            kept_courses(tmp_path)
        for part in (path.name, "row 3", f"'{column}'", value, allowed):
            assert part in str(caught.value)
        assert path.read_bytes() == before


def test_another_table_an_empty_room_and_no_folder_are_refused(room, tmp_path):
    assert kept_courses(tmp_path / "nowhere").empty
    (tmp_path / "course of mine.csv").write_text("a,b\n1,2\n")
    with pytest.raises(InputProblems, match="no course"):
        kept_courses(tmp_path)
    rows = {"participant": [1], "subject": "A", "chosen_size": "adult 1"}
    nothing = room_result(answers_of(rows), demo_chart())
    with pytest.raises(SizingError, match="no figure to keep"):
        keep_course(tmp_path, nothing, DAY)
    # Before, these ended in a traceback.
    (tmp_path / "a file").write_text("")
    for name in ("a file", "x" * 300, "a\0b"):
        with pytest.raises(SizingError, match="the folder cannot be written"):
            keep_course(tmp_path / name, room, DAY)


def test_a_course_of_another_spelling_or_kind_is_not_passed_over(room, tmp_path):
    """Before, both were left out in silence."""
    keep_course(tmp_path, room, DAY).rename(tmp_path / "Course 2024-05-01.CSV")
    assert set(kept_courses(tmp_path)["course"]) == {"2024-05-01"}
    (tmp_path / "course 2023-01-09.xlsx").write_bytes(b"PK")
    with pytest.raises(InputProblems, match=r"2023-01-09.xlsx.*save it as CSV"):
        kept_courses(tmp_path)
