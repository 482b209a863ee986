"""Pictures carry words; results are saved whole and never over another."""

import io
import re

import pandas as pd
from matplotlib.figure import Figure
from PIL import Image

from sizing.app.form_words import picture_html, table_html
from sizing.app.show import _SAVES, save_panel
from sizing.errors import SizingError
from sizing.pages.page import picture, table

FRAME = pd.DataFrame({"size": ["A", "B"], "share": [1 / 3, 2 / 3]})


def drawn():
    ax = Figure().subplots()
    ax.plot([0, 1], [0, 1])
    return ax


def test_words_in_a_picture_cannot_break_out_of_it():
    html = picture_html(picture(drawn().figure, alt='a "size" < b', caption="<b>"))
    assert 'alt="a &quot;size&quot; &lt; b"' in html
    assert "&lt;b&gt;" in html


def test_a_table_says_which_columns_are_numbers():
    html = table_html(table(FRAME.astype(str), caption="Shares", words=["size"]))
    heads = dict(
        re.findall(r'<th scope="col" style="text-align: (\w+)[^>]*>(\w+)', html)
    )
    assert heads == {"left": "size", "right": "share"}


def test_files_hold_the_exact_numbers(tmp_path):
    csv, xlsx, png, svg, _ = (content for _, _, content in _SAVES.values())
    pd.testing.assert_frame_equal(pd.read_csv(io.BytesIO(csv(FRAME))), FRAME)
    pd.testing.assert_frame_equal(pd.read_excel(io.BytesIO(xlsx(FRAME))), FRAME)
    assert Image.open(io.BytesIO(png(drawn()))).format == "PNG"
    assert b"<svg" in svg(drawn())


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
