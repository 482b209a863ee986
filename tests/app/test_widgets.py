"""The parts that forms are made of: tables typed in, files taken, work, saving."""

import asyncio
import io
import re
import threading

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from PIL import Image

from sizing.app.answer_form import LongWork, Stopped
from sizing.app.form_words import picture_html, table_html
from sizing.app.show import _SAVES, save_panel
from sizing.app.table import MOST_CELLS, EditableTable
from sizing.errors import SizingError
from sizing.pages.page import picture, table
from tests.app.cases import seen

FRAME = pd.DataFrame({"size": ["A", "B"], "share": [1 / 3, 2 / 3]})


@settings(max_examples=25)
@given(
    st.lists(st.floats(-1e6, 1e6, allow_nan=False) | st.integers(0, 999), max_size=5)
)
def test_numbers_are_kept_to_the_last_digit(values):
    made = EditableTable(pd.DataFrame({"x": values}), caption="x")
    assert made.frame["x"].tolist() == values


def test_nothing_typed_is_repaired_or_lost_and_rows_come_and_go():
    told = []
    frame = pd.DataFrame({"size": ["A", "B", "C"], "x": [1, 2, 3]})
    choices = {"size": ["A", "B"]}
    made = EditableTable(frame, caption="Sizes", can_add=True, choices=choices)
    # A value that is no choice stays to be seen.
    assert made.frame["size"].tolist() == ["A", "B", "C"]
    assert "A" in made.cell(2, "size").options
    made = EditableTable(frame, caption="Sizes", can_add=True)
    made.cell(0, "x").value = "12,5"
    assert made.frame["x"].tolist() == ["12,5", "2", "3"]
    made.cell(0, "x").value = " "
    assert made.frame["x"].isna().tolist() == [True, False, False]
    made.on_change(lambda: told.append(len(made.frame)))
    made.add_row()
    assert len(made.frame) == 3  # an empty row is no row yet
    made.cell(3, "size").value = "D"
    made.remove_row(1)
    assert made.frame["size"].tolist() == ["A", "C", "D"]
    assert told == [4, 3]
    assert made.cell(2, "size").description == "size, row 3"
    with pytest.raises(SizingError, match="spreadsheet"):
        EditableTable(pd.DataFrame({"x": range(MOST_CELLS + 1)}), caption="x")


class Gated:
    """Long work that waits half way until ``go_on`` is set."""

    def __init__(self, asks_again=False):
        self.shown, self.seen, self.asks_again = [], [], asks_again
        self.begun, self.go_on = threading.Event(), threading.Event()
        self.work = LongWork("Work", self.job, self.shown.append)

    def job(self, progress):
        progress("Half way", 0.5)
        self.begun.set()
        self.go_on.wait(240)
        if self.asks_again:
            try:
                progress("more", 0.9)
            except Stopped:
                self.seen.append("stopped")
                raise
        return 42


@pytest.mark.parametrize("asks_again", [True, False])
def test_stopped_work_shows_nothing(asks_again):
    gated = Gated(asks_again)
    work = gated.work
    work.button.click()
    assert gated.begun.wait(240)
    assert work.running and work.button.disabled and work.bar.value == 0.5
    assert "Half way" in work.told.value
    work.stop_button.click()
    gated.go_on.set()
    work.wait()
    assert gated.shown == []
    assert gated.seen == (["stopped"] if asks_again else [])
    assert "Stopped" in work.told.value
    work.start()
    work.wait()
    assert gated.shown == [42] and not work.button.disabled


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
    assert not work.button.disabled and not seen(work.stop_button)
    assert told == ["failed"] * isinstance(wrong, KeyError)


def drawn():
    ax = Figure().subplots()
    ax.plot([0, 1], [0, 1])
    return ax


def test_words_cannot_break_out_of_a_picture_and_a_table_knows_its_numbers():
    html = picture_html(picture(drawn().figure, alt='a "size" < b', caption="<b>"))
    assert 'alt="a &quot;size&quot; &lt; b"' in html and "&lt;b&gt;" in html
    html = table_html(table(FRAME.astype(str), caption="Shares", words=["size"]))
    heads = re.findall(r'scope="col" style="text-align: (\w+)[^>]*>(\w+)', html)
    assert dict(heads) == {"left": "size", "right": "share"}


def test_buttons_save_exact_numbers_beside_and_never_over(tmp_path):
    csv, xlsx, png, svg, _ = (content for _, _, content in _SAVES.values())
    pd.testing.assert_frame_equal(pd.read_csv(io.BytesIO(csv(FRAME))), FRAME)
    pd.testing.assert_frame_equal(pd.read_excel(io.BytesIO(xlsx(FRAME))), FRAME)
    assert Image.open(io.BytesIO(png(drawn()))).format == "PNG"
    assert b"<svg" in svg(drawn())
    results = {"plan": FRAME, "picture": drawn(), "page": "<p>1</p>"}
    row, told = save_panel(lambda: results, folder=tmp_path).children
    for button in [*row.children, *row.children]:
        button.click()
    names = ("page.html", "picture.png", "picture.svg", "plan.csv", "plan.xlsx")
    again = [name.replace(".", " (2).") for name in names]
    assert {path.name for path in tmp_path.iterdir()} == {*names, *again}
    assert "page (2).html" in told.value


def test_a_mistake_is_told_beside_the_buttons(tmp_path):
    def nothing_yet():
        raise SizingError("There is no plan <yet>.")

    row, told = save_panel(nothing_yet, folder=tmp_path).children
    row.children[0].click()
    assert "There is no plan &lt;yet&gt;." in told.value
