"""The adviser's way through the lab, in a real browser."""

import re
import time

import pytest

from sizing.chart import demo_chart, write_chart

from .walks import serious, upload

pytestmark = pytest.mark.browser

#: The picture that follows the slider.
LIVE = ".jp-OutputArea-output svg[role=img]"


def test_the_adviser_tries_a_chart_and_writes_a_note(
    page, lab, ready, browser, tmp_path, record_property
):
    ready("adviser.ipynb")
    bad = tmp_path / "bad.csv"
    bad.write_text(
        "size,group,hip_circumference_cm_low,hip_circumference_cm_high\n"
        "one,adult,95,80\n",
        encoding="utf-8",
    )
    upload(page, "Your chart", bad)
    page.get_by_text(re.compile(r"bad\.csv|row 2")).first.wait_for()

    good = tmp_path / "ward seven.csv"
    write_chart(demo_chart(), good)
    text = good.read_text(encoding="utf-8").replace("invented demo chart", "ward seven")
    good.write_text(text, encoding="utf-8")
    upload(page, "Your chart", good)
    page.get_by_text("Chart in use: ward seven").wait_for()

    handle = page.get_by_role("slider").first
    before = page.locator(LIVE).first.inner_html()
    begun = time.monotonic()
    handle.press("ArrowRight")
    page.wait_for_function(
        "([live, before]) => document.querySelector(live).innerHTML !== before",
        arg=[LIVE, before],
    )
    record_property("slider_seconds", round(time.monotonic() - begun, 2))

    page.get_by_label("Sex").first.select_option("female")
    page.get_by_label("Age, years").fill("74")
    page.get_by_label("Body mass, kg").first.fill("61")
    page.get_by_label("Hip girth, cm").first.fill("101")
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_text(re.compile(r"Measure next")).first.wait_for()

    page.get_by_text("The note for the handling plan").click()
    page.get_by_label("Size chosen").select_option("adult 1")
    page.get_by_label("Why this size").fill("fits in every measure taken")
    page.get_by_label("Save as").fill("note.html")
    page.get_by_role("button", name="Save", exact=True).last.click()
    page.get_by_text("Saved:").wait_for()
    note = lab.folder / "note.html"
    assert "adult 1" in note.read_text(encoding="utf-8")
    printed = browser.new_page()
    printed.goto(note.as_uri())
    assert printed.pdf(format="A4").startswith(b"%PDF")
    assert serious(printed) == []
    printed.close()
