"""Pictures carry words; results are saved whole and never over another."""

import io
import re

import pandas as pd
import pytest
from matplotlib.figure import Figure
from PIL import Image

from sizing.app.show import save_bytes, save_panel, show_picture, show_table
from sizing.errors import SizingError

FRAME = pd.DataFrame({"size": ["A", "B"], "share": [1 / 3, 2 / 3]})


def drawn():
    ax = Figure().subplots()
    ax.plot([0, 1], [0, 1])
    return ax


def test_words_in_a_picture_cannot_break_out_of_it():
    html = show_picture(drawn(), alt='a "size" < b', caption="<b>").data
    assert 'alt="a &quot;size&quot; &lt; b"' in html
    assert "&lt;b&gt;" in html


def test_a_table_says_which_columns_are_numbers():
    html = show_table(FRAME.astype(str), caption="Shares", words=["size"]).data
    heads = dict(
        re.findall(r'<th scope="col" style="text-align: (\w+)[^>]*>(\w+)', html)
    )
    assert heads == {"left": "size", "right": "share"}


def test_files_hold_the_exact_numbers():
    csv = pd.read_csv(io.BytesIO(save_bytes(FRAME, ".csv")))
    xlsx = pd.read_excel(io.BytesIO(save_bytes(FRAME, ".xlsx")))
    pd.testing.assert_frame_equal(csv, FRAME)
    pd.testing.assert_frame_equal(xlsx, FRAME)


def test_a_picture_is_saved_as_png_and_svg():
    ax = drawn()
    assert Image.open(io.BytesIO(save_bytes(ax, ".png"))).format == "PNG"
    assert b"<svg" in save_bytes(ax, ".svg")


@pytest.mark.parametrize(
    ("result", "ending"), [(FRAME, ".png"), ("<p>", ".csv"), (FRAME, ".html")]
)
def test_a_kind_of_file_that_a_result_cannot_be_is_refused(result, ending):
    with pytest.raises(SizingError, match="Allowed"):
        save_bytes(result, ending)


def test_buttons_save_beside_and_never_over(tmp_path):
    panel = save_panel(
        lambda: {"plan": FRAME, "picture": drawn(), "page": "<p>1</p>"}, folder=tmp_path
    )
    row, told = panel.children
    for button in [*row.children, *row.children]:
        button.click()
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "page (2).html",
        "page.html",
        "picture (2).png",
        "picture (2).svg",
        "picture.png",
        "picture.svg",
        "plan (2).csv",
        "plan (2).xlsx",
        "plan.csv",
        "plan.xlsx",
    ]
    assert "page (2).html" in told.value


def test_a_mistake_is_told_beside_the_buttons(tmp_path):
    def nothing_yet():
        raise SizingError("There is no plan <yet>.")

    row, told = save_panel(nothing_yet, folder=tmp_path).children
    row.children[0].click()
    assert "There is no plan &lt;yet&gt;." in told.value
