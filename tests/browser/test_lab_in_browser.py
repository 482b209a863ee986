"""The start page and what holds for every page, in a real browser."""

import re

import nbformat
import pytest
from nbformat.sign import NotebookNotary

from sizing.report.lab_notebooks import lay_notebooks

from .conftest import wait_until_run
from .walks import (
    FAILURES,
    check_page,
    opens_its_code_by_keyboard,
    serious,
    start_page,
    take_screens,
)

pytestmark = pytest.mark.browser


def test_the_start_page_has_four_doors_a_drawing_and_the_cautions(page, lab, screens):
    start_page(page, lab)
    for door in ("Purchaser", "Adviser", "Trainer", "How the study is made"):
        assert page.get_by_role("link", name=re.compile(door)).is_visible()
    drawing = page.locator("figure img")
    assert "Hip girth" in drawing.get_attribute("alt")
    assert drawing.evaluate("image => image.naturalWidth") > 600
    assert page.get_by_text("Never lift above the lowest safe working load").count()
    take_screens(page, screens, "start")
    page.wait_for_timeout(500)
    assert serious(page) == []


def test_a_door_opens_by_keyboard_alone_and_the_page_runs_itself(page, lab, screens):
    start_page(page, lab)
    page.wait_for_timeout(1000)
    for _ in range(60):
        page.keyboard.press("Tab")
        here = page.evaluate("document.activeElement.textContent")
        if here.startswith("How the study is made"):
            break
    else:
        pytest.fail("the Tab key never comes to the door")
    page.keyboard.press("Enter")
    page.get_by_text("people drawn at random").wait_for()
    assert page.url.endswith("study.ipynb")
    wait_until_run(page)
    check_page(page, lab, screens, "study")
    assert opens_its_code_by_keyboard(page)


def lay(lab, name: str, *cells: str) -> None:
    """Lay a page that runs on opening, as the lab does with its own."""
    made = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(cell) for cell in cells],
        metadata={
            "kernelspec": {"name": "python3", "display_name": "Python 3"},
            "sizing": {"run_on_open": True},
        },
    )
    nbformat.write(made, lab.folder / name)
    notary = NotebookNotary(data_dir=str(lab.state / "data"))
    notary.sign(made)
    notary.store.close()


def test_a_page_left_at_work_is_opened_again_and_shared_by_two_tabs(page, lab):
    work = "import time\nfrom pathlib import Path\nfirst = not Path('left').exists()"
    wait = "Path('left').touch()\nprint('begun')\ntime.sleep(3600 if first else 0)"
    lay(lab, "left.ipynb", work, wait, "print('all done')")
    page.goto(lab.page("left.ipynb"))
    shown = page.locator(".jp-OutputArea-output")
    shown.get_by_text("begun").wait_for()
    left = lab.kernels(page.context)

    page.goto("about:blank")
    page.goto(lab.page("left.ipynb"))
    shown.get_by_text("all done").wait_for()
    fresh = lab.kernels(page.context)
    assert len(left) == len(fresh) == 1 and left != fresh

    tab = page.context.new_page()
    tab.goto(lab.page("left.ipynb"))
    wait_until_run(tab)
    assert lab.kernels(page.context) == fresh
    tab.close()


def test_a_page_saved_today_runs_tomorrow(page, lab, ready, screens):
    """It is saved with what it showed; a night ends its kernel; the lab lays anew."""
    ready("bands.ipynb")
    check_page(page, lab, screens, "bands")
    saved = lab.folder / "bands.ipynb"
    page.keyboard.press("Control+s")
    for _ in range(600):
        if "execute_result" in saved.read_text(encoding="utf-8"):
            break
        page.wait_for_timeout(100)
    else:
        pytest.fail("the page was not saved with what it showed")
    page.goto("about:blank")
    lab.forget(page.context)
    laid = lay_notebooks(lab.folder, state=lab.state).set_index("name")
    assert laid.loc["bands.ipynb", "outcome"] == "kept"

    page.goto(lab.page("bands.ipynb"))
    # Forms are not saved: this one is there when the page has run again.
    page.get_by_role("button", name="Save tables (CSV)").wait_for()
    wait_until_run(page)
    assert page.locator(FAILURES).all_inner_texts() == []
