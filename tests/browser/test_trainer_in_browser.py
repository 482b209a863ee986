"""The trainer's way through the lab, in a real browser."""

import re

import pytest

from sizing.resources import source_table

from .walks import (
    FAILURES,
    check_page,
    serious,
    take_screens,
    upload,
    wait_for_file,
)

pytestmark = pytest.mark.browser


def test_the_trainer_shows_an_answer_a_card_and_the_room_and_makes_a_pack(
    page, lab, ready, browser, tmp_path, screens
):
    ready("trainer.ipynb")
    # The first look and the cards come after the forms.
    page.locator("img[alt^='Bars, one for each way']").wait_for()
    page.get_by_role("heading", name="Card 1 of 12").wait_for()
    check_page(page, lab, screens, "trainer")
    answer = page.get_by_text(re.compile(r"Of a hundred adults aged 18 and over")).first
    assert re.search(r"by eye puts \d+ \(\d+ to \d+\)", answer.inner_text())
    # The slide beside it is whole and no wider than the screen.
    slide = page.locator("img[alt^='Bars, one for each way']")
    assert slide.evaluate("image => image.naturalWidth") == 1920
    assert slide.bounding_box()["width"] < 1366

    page.get_by_role("button", name="adult 1", exact=True).click()
    page.get_by_role("button", name="Show the answer").click()
    page.get_by_text(re.compile(r"^(Right|Not right): ")).wait_for()
    page.get_by_text(re.compile(r"\d (cm|kg) (inside|outside)$")).first.wait_for()
    page.get_by_role("button", name="adult 3", exact=True).click()
    page.get_by_text(re.compile(r"^(Right|Not right): ")).wait_for(state="detached")
    page.get_by_role("button", name="Next client").click()
    page.get_by_role("heading", name="Card 2 of 12").wait_for()

    bad = tmp_path / "wrong headings.csv"
    bad.write_text("who,what\n1,2\n", encoding="utf-8")
    upload(page, "The room's answers", bad)
    page.get_by_text(re.compile("wrong headings.csv.*participant")).first.wait_for()
    good = tmp_path / "room.csv"
    source_table("demo_room_answers.csv").to_csv(good, index=False)
    upload(page, "The room's answers", good)
    page.get_by_text("19 of 34").wait_for()
    page.get_by_text("makes sense in inches only").wait_for()
    page.get_by_role("heading", name="How often must one measure?").wait_for()
    assert page.locator(FAILURES).all_inner_texts() == []
    assert serious(page) == []
    take_screens(page, screens, "trainer_room")

    page.get_by_role("button", name=re.compile("Save page to print")).last.click()
    wait_for_file(page, lab.folder / "room.html")
    printed = browser.new_page()
    printed.goto((lab.folder / "room.html").as_uri())
    assert printed.pdf(format="A4").startswith(b"%PDF")
    printed.close()

    page.get_by_label("People", exact=True).select_option(
        "adults of high body mass index"
    )
    page.get_by_text(
        re.compile(r"Of a hundred adults of high body mass")
    ).first.wait_for()
    page.get_by_role("button", name="Make the pack").click()
    wait_for_file(page, lab.folder / "lesson" / "handout.html")
    assert (lab.folder / "lesson" / "pictures" / "wrong_size.svg").is_file()
