"""The parts that forms are made of: tables to type in, files taken, long work."""

import asyncio
import threading

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sizing.app.answer_form import AnswerForm, LongWork, Stopped
from sizing.app.entry import UploadBox
from sizing.app.table import MOST_CELLS, EditableTable
from sizing.charts import demo_chart, read_chart
from sizing.errors import SizingError
from tests.conftest import taken


@settings(max_examples=25)
@given(
    st.lists(st.floats(-1e6, 1e6, allow_nan=False) | st.integers(0, 999), max_size=5)
)
def test_numbers_are_kept_to_the_last_digit(values):
    table = EditableTable(pd.DataFrame({"x": values}), caption="x")
    assert table.frame["x"].tolist() == values


def test_nothing_typed_is_repaired_and_nothing_is_lost():
    table = EditableTable(pd.DataFrame({"size": ["A", "B"], "x": [1, 2]}), caption="x")
    table.cell(0, "x").value = "12,5"
    assert table.frame["x"].tolist() == ["12,5", "2"]
    table.cell(0, "x").value = " "
    assert table.frame["x"].isna().tolist() == [True, False]


def test_rows_are_added_and_taken_away_and_told():
    told = []
    table = EditableTable(
        pd.DataFrame({"size": ["A", "B", "C"]}), caption="Sizes", can_add=True
    )
    table.on_change(lambda: told.append(len(table.frame)))
    table.add_row()
    assert len(table.frame) == 3  # an empty row is no row yet
    table.cell(3, "size").value = "D"
    table.remove_row(1)
    assert table.frame["size"].tolist() == ["A", "C", "D"]
    assert told == [4, 3]
    assert table.cell(2, "size").description == "size, row 3"


def test_a_value_that_is_no_choice_stays_to_be_seen():
    table = EditableTable(
        pd.DataFrame({"group": ["adults"]}), caption="x", choices={"group": ["adult"]}
    )
    assert table.frame["group"].tolist() == ["adults"]
    assert "adult" in table.cell(0, "group").options


def test_a_long_table_is_left_to_a_file():
    with pytest.raises(SizingError, match="spreadsheet"):
        EditableTable(pd.DataFrame({"x": range(MOST_CELLS + 1)}), caption="x")


def test_a_file_is_read_under_its_own_name_and_not_kept():
    box = UploadBox("My chart")
    told, paths = [], []
    box.on_change(lambda: told.append(box.names))
    content = demo_chart().frame.to_csv(index=False).encode()
    box.box.value = taken("../../ward.csv", content)

    def reader(path):
        paths.append(path)
        return read_chart(path, warn=False)

    assert box.read(reader).sizes == demo_chart().sizes
    assert paths[0].name == "ward.csv"
    assert not paths[0].exists()
    key = box.key
    box.box.value = taken("../../ward.csv", content + b" ")
    assert box.key != key
    box.clear()
    assert box.read(reader) is None
    assert told == [("ward.csv",), ("ward.csv",), ()]


def test_long_work_runs_beside_the_page_and_shows_its_result():
    shown, begun, go_on = [], threading.Event(), threading.Event()

    def job(progress):
        progress("Half way", 0.5)
        begun.set()
        go_on.wait(240)
        return 42

    work = LongWork("Work", job, shown.append)
    work.button.click()
    assert begun.wait(240)
    assert work.running
    assert work.button.disabled
    assert (work.bar.value, shown) == (0.5, [])
    assert "Half way" in work.told.value
    go_on.set()
    work.wait()
    assert shown == [42]
    assert not work.button.disabled


@pytest.mark.parametrize("asks_again", [True, False])
def test_stopped_work_shows_nothing(asks_again):
    shown, begun, go_on, seen = [], threading.Event(), threading.Event(), []

    def job(progress):
        begun.set()
        go_on.wait(240)
        if asks_again:
            try:
                progress("more", 0.9)
            except Stopped:
                seen.append("stopped")
                raise
        return 42

    work = LongWork("Work", job, shown.append)
    work.start()
    assert begun.wait(240)
    work.stop_button.click()
    go_on.set()
    work.wait()
    assert shown == []
    assert seen == (["stopped"] if asks_again else [])
    assert "Stopped" in work.told.value
    work.start()
    work.wait()
    assert shown == [42]


def test_what_came_of_it_is_shown_by_the_thread_that_began():
    threads = []
    work = LongWork(
        "Work", lambda _: 1, lambda _: threads.append(threading.get_ident())
    )

    async def page():
        work.start()
        while not threads:
            await asyncio.sleep(0.01)

    asyncio.run(asyncio.wait_for(page(), 240))
    assert threads == [threading.get_ident()]


@pytest.mark.parametrize("fails", [False, True])
def test_no_answer_is_said_only_where_there_is_none(fails):
    """Before, it stood on the page for as long as the answer was being drawn."""
    said = []

    class Form(AnswerForm):
        def work_out(self, progress):
            said.append(self.answered.words.value)
            if fails:
                raise SizingError("nothing to count")
            return "an answer"

        def show(self, answer):
            said.append(self.answered.words.value)

        def saved(self, answer):
            return {}

    form = Form("Work")
    form.run()
    assert "being worked out" in said[0]
    assert ["no answer" in words for words in said[1:]] == [False] * (not fails)
    assert ("no answer" in form.answered.words.value) == fails


@pytest.mark.parametrize("behind", [False, True])
@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (KeyError("<i>"), "The kit itself failed"),
        (SizingError("No price for <i>size A</i>."), "Please check"),
    ],
)
def test_what_went_wrong_is_told_and_the_work_can_be_begun_again(behind, wrong, said):
    told = []

    def job(progress):
        raise wrong

    work = LongWork("Work", job, print, failed=lambda: told.append("failed"))
    if behind:
        work.start()
        work.wait()
    else:
        work.run()
    assert said in work.told.value
    assert "<i>" not in work.told.value and "&lt;i&gt;" in work.told.value
    assert not work.button.disabled and work.stop_button.layout.display == "none"
    assert told == ["failed"] * isinstance(wrong, KeyError)
