"""The start page and what holds for every page, in a real browser."""

import re

import pytest

from sizing.cautions import cautions
from sizing.report.lab_notebooks import notebook_files

from .walks import (
    FAILURES,
    missed_by_keyboard,
    serious,
    start_page,
    take_screens,
)

pytestmark = pytest.mark.browser

PAGES = sorted(name for name in notebook_files() if name != "start.ipynb")


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


def test_a_door_opens_by_keyboard_alone_and_the_page_runs_itself(page, lab):
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


@pytest.mark.parametrize("name", PAGES)
def test_a_page_runs_on_opening_and_can_be_read_by_all(
    name, page, lab, ready, screens, record_property
):
    record_property("seconds", round(ready(name), 1))
    record_property("megabytes", lab.memory() // 2**20)
    assert page.locator(FAILURES).all_inner_texts() == []
    assert page.get_by_role("link", name="Back to the start page").is_visible()
    assert page.get_by_text(cautions()[0][:60]).count()
    # A page begins at its beginning, though running it goes through to its end.
    assert page.locator(".jp-WindowedPanel-outer").evaluate("p => p.scrollTop") == 0
    assert lab.memory() < 2**30
    take_screens(page, screens, name.removesuffix(".ipynb"))
    assert missed_by_keyboard(page) == []
    assert serious(page) == []
