"""The start page and what holds for every page, in a real browser."""

import re
import urllib.error
import urllib.request

import pytest

from .conftest import wait_until_run
from .walks import FAILURES, serious, start_page, take_screens

pytestmark = pytest.mark.browser


def test_the_start_page_has_four_doors_a_drawing_and_the_cautions(page, lab, screens):
    start_page(page, lab)
    for door in ("Purchaser", "Adviser", "Trainer", "How the study is made"):
        assert page.get_by_role("link", name=re.compile(door)).is_visible()
    drawing = page.locator("figure img")
    assert "numbered mark" in drawing.get_attribute("alt")
    assert "Hip girth" in page.locator("main, body").first.inner_text()
    assert drawing.evaluate("image => image.clientWidth") > 300
    assert page.get_by_text("Never lift above the lowest safe working load").count()
    take_screens(page, screens, "start")
    assert serious(page) == []


def test_a_door_opens_by_keyboard_alone_and_the_page_makes_itself(page, lab, screens):
    start_page(page, lab)
    for _ in range(60):
        page.keyboard.press("Tab")
        here = page.evaluate("document.activeElement.textContent")
        if here.startswith("How the study is made"):
            break
    else:
        pytest.fail("the Tab key never comes to the door")
    page.keyboard.press("Enter")
    page.get_by_text("people drawn at random").wait_for()
    assert "/study.ipynb?visit=" in page.url
    wait_until_run(page)
    assert page.locator(FAILURES).all_inner_texts() == []
    assert serious(page) == []


def test_a_page_has_landmarks_a_title_a_language_and_a_way_past_its_top(page, ready):
    ready("adviser.ipynb")
    assert page.title() == "One client, one chart, one tape measure"
    assert page.locator("html").get_attribute("lang") == "en-GB"
    for landmark in ("main", "banner", "navigation"):
        assert page.get_by_role(landmark).count() == 1
    assert page.get_by_role("main").get_by_label("Sex").count()
    page.keyboard.press("Tab")
    past = page.get_by_role("link", name="To the page itself")
    assert past.evaluate("link => link === document.activeElement")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "rendered_cells"


def test_a_letter_typed_in_a_drop_down_only_chooses(page, ready):
    ready("adviser.ipynb")
    sex = page.get_by_label("Sex").first
    sex.focus()
    for key in ("m", "Escape", "m", "y", "d", "d", "x", "a", "b"):
        page.keyboard.press(key)
    assert sex.input_value() == "male"
    assert page.get_by_role("button", name="Check", exact=True).is_visible()


def test_entries_survive_a_reload_and_going_away_until_they_are_cleared(
    page, lab, ready, tmp_path
):
    ready("adviser.ipynb")
    fields = {"Age, years": "74", "Hip girth, cm": "101", "Why this size": "it fits"}
    for name, text in fields.items():
        page.get_by_label(name).first.fill(text)
        page.get_by_label(name).first.press("Tab")
    page.get_by_label("Sex").first.select_option("female")
    page.wait_for_timeout(1000)

    def kept() -> dict[str, str]:
        return {name: page.get_by_label(name).first.input_value() for name in fields}

    page.reload()
    wait_until_run(page)
    assert kept() == fields
    assert page.get_by_label("Sex").first.input_value() == "female"
    page.goto(lab.page("start.ipynb"))
    page.go_back()
    wait_until_run(page)
    assert kept() == fields
    # Another tab is another client's.
    tab = page.context.new_page()
    tab.goto(lab.page("adviser.ipynb"))
    wait_until_run(tab)
    assert tab.get_by_label("Age, years").first.input_value() == ""
    tab.close()

    old = page.url
    page.get_by_role("link", name="Clear this page").click()
    wait_until_run(page)
    assert page.url != old
    assert set(kept().values()) == {""}
    page.goto(old)
    wait_until_run(page)
    assert set(kept().values()) == {""}
    # Nothing that was entered lies on the disk.
    texts = (p for p in lab.folder.parent.rglob("*") if p.is_file())
    assert not any(b"it fits" in place.read_bytes() for place in texts)


def test_without_the_token_nothing_is_shown_and_only_the_pages_are_served(page, lab):
    base = lab.page("")[: -len("pages/")]
    for path in ("pages/start.ipynb", "pages/adviser.ipynb?visit=x"):
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(f"{base}{path}", timeout=60)
    for path in (
        "voila/render/adviser.ipynb",
        "voila/tree",
        "voila/api/contents",
        "voila/files/start.ipynb",
        "api/contents",
        "api/terminals",
        "pages/other.ipynb",
        "pages/..%2Fstart.ipynb",
    ):
        assert page.request.get(f"{base}{path}").status == 404, path
    assert page.request.get(lab.page("start.ipynb")).status == 200


def test_a_page_prints_without_its_buttons(page, lab, ready):
    ready("bands.ipynb")
    page.get_by_text("What fewer and more sizes cover").first.wait_for()
    page.locator("figure img:visible").first.wait_for()
    assert page.locator(FAILURES).all_inner_texts() == []
    page.emulate_media(media="print")
    assert not page.get_by_role("link", name="Clear this page").is_visible()
    assert page.get_by_role("button").filter(visible=True).count() == 0
    pdf = page.pdf(format="A4")
    assert pdf.startswith(b"%PDF") and pdf.count(b"/Type /Page\n") >= 2
