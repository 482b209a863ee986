"""The start page and what holds for every page, in a real browser."""

import re

import pytest

from .conftest import wait_until_run
from .walks import FAILURES, look, serious

pytestmark = pytest.mark.browser


def test_from_the_start_page_a_door_opens_by_keyboard_and_its_page_makes_itself(page):
    page.get_by_role("heading", name="Who are you today?").wait_for()
    for door in ("Purchaser", "Adviser", "Trainer", "How the study is made"):
        assert page.get_by_role("link", name=re.compile(door)).is_visible()
    drawing = page.locator("figure img")
    assert "numbered mark" in drawing.get_attribute("alt")
    assert "Hip girth" in page.locator("main, body").first.inner_text()
    assert drawing.evaluate("image => image.clientWidth") > 300
    assert page.get_by_text("Never lift above the lowest safe working load").count()
    look(page, "start")
    for _ in range(60):
        page.keyboard.press("Tab")
        here = page.evaluate("document.activeElement.textContent")
        if here.startswith("How the study is made"):
            break
    else:
        pytest.fail("the Tab key never comes to the door")
    page.keyboard.press("Enter")
    page.get_by_text("drawn at random").first.wait_for()
    assert "/study.ipynb?visit=" in page.url
    wait_until_run(page)
    assert page.locator(FAILURES).all_inner_texts() == []
    assert serious(page) == []
    # It prints without its buttons.
    page.locator("figure img:visible").first.wait_for()
    page.emulate_media(media="print")
    assert not page.get_by_role("link", name="Clear this page").is_visible()
    assert page.get_by_role("button").filter(visible=True).count() == 0
    pdf = page.pdf(format="A4")
    assert pdf.startswith(b"%PDF") and pdf.count(b"/Type /Page\n") >= 2


def test_a_page_has_landmarks_and_keeps_entries_until_they_are_cleared(
    page, lab, ready
):
    ready("adviser.ipynb")
    assert page.title() == "One client, one chart, one tape measure"
    assert page.locator("html").get_attribute("lang") == "en-GB"
    for landmark in ("main", "banner", "navigation"):
        assert page.get_by_role(landmark).count() == 1
    page.keyboard.press("Tab")
    past = page.get_by_role("link", name="To the page itself")
    assert past.evaluate("link => link === document.activeElement")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "rendered_cells"
    # A letter typed in a drop-down only chooses.
    sex = page.get_by_role("main").get_by_label("Sex").first
    sex.focus()
    for key in ("m", "Escape", "m", "y", "d", "d", "x", "a", "b"):
        page.keyboard.press(key)
    assert sex.input_value() == "male"
    assert page.get_by_role("button", name="Check", exact=True).is_visible()

    # Words that nothing else on the disk has.
    secret = "fits Zanzibar"
    fields = {"Age, years": "74", "Hip girth, cm": "101", "Why this size": secret}
    for name, text in fields.items():
        page.get_by_label(name).first.fill(text)
        page.get_by_label(name).first.press("Tab")
    # What was entered last has come to the kernel when the kernel has answered.
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_text(re.compile("^Now: ")).first.wait_for()

    def kept() -> dict[str, str]:
        return {name: page.get_by_label(name).first.input_value() for name in fields}

    page.reload()
    wait_until_run(page)
    assert kept() == fields
    assert page.get_by_label("Sex").first.input_value() == "male"
    page.goto(lab.page("start.ipynb"))
    page.go_back()
    wait_until_run(page)
    assert kept() == fields

    old = page.url
    page.get_by_role("link", name="Clear this page").click()
    wait_until_run(page)
    assert page.url != old
    assert set(kept().values()) == {""}
    # Nothing that was entered lies on the disk.
    texts = (p for p in lab.folder.parent.rglob("*") if p.is_file())
    assert not any(secret.encode() in place.read_bytes() for place in texts)
