"""The adviser's way through the lab, in a real browser."""

import re
import time

import pytest

from sizing.charts import demo_chart, write_chart

from .walks import check_page, serious, take_screens, upload, wait_for_file

pytestmark = pytest.mark.browser

#: The picture that follows the slider.
LIVE = ".jp-OutputArea-output svg[role=img]"
#: Labels and buttons whose words do not fit into them.
CUT = (
    "all => all.filter(node => node.offsetParent && node.textContent.trim() && "
    "node.offsetWidth > 4 && (node.scrollWidth > node.offsetWidth + 1 || "
    "node.scrollHeight > node.offsetHeight + 4)).map(node => node.textContent)"
)
WORDS = ".sizing-form :is(.widget-label, .jupyter-button)"


def cut_words(page, width):
    page.set_viewport_size({"width": width, "height": 800})
    page.wait_for_timeout(300)
    cut = page.locator(WORDS).evaluate_all(CUT)
    page.set_viewport_size({"width": 1366, "height": 768})
    return cut


def test_the_adviser_checks_a_client_tries_a_chart_and_writes_a_note(
    page, lab, ready, browser, tmp_path, screens, record_property
):
    record_property("seconds_until_ready", round(ready("adviser.ipynb"), 1))
    check_page(page, lab, screens, "adviser")
    page.get_by_label("Sex").first.select_option("female")
    page.get_by_label("Age, years").fill("74")
    page.get_by_label("Weight, kg").first.fill("61")
    page.get_by_label("Hip girth, cm").first.fill("101")
    begun = time.monotonic()
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_text(re.compile("^Now: ")).first.wait_for()
    record_property("seconds_until_answer", round(time.monotonic() - begun, 2))
    page.locator("figure img:visible").nth(1).wait_for()
    take_screens(page, screens, "adviser_answer")
    assert [cut_words(page, width) for width in (390, 1366)] == [[], []]

    # The same client in inches and pounds; then too heavy for the hoist.
    page.get_by_role("button", name="inches and pounds").click()
    hips = page.get_by_label("Hip girth, in").first
    hips.wait_for()
    assert hips.input_value() == "39.8"
    page.get_by_text(re.compile(r"decides, .* in inside")).first.wait_for()
    hoist = page.get_by_label("Hoist bears, lb")
    # The answer follows while the field is still typed in.
    begun = time.monotonic()
    hoist.press_sequentially("100")
    page.get_by_text("No size may be used").first.wait_for()
    record_property("seconds_until_followed", round(time.monotonic() - begun, 2))
    # Words come first; the picture of what was goes just after.
    page.locator("figure img:visible").nth(1).wait_for(state="detached")
    hoist.fill("400")
    hoist.press("Tab")
    page.get_by_text(re.compile("^Now: ")).first.wait_for()
    page.get_by_role("button", name="cm and kg").click()
    page.get_by_label("Hip girth, cm").first.wait_for()

    page.get_by_label("Size chosen").select_option("adult 1")
    page.get_by_label("Why this size").fill("fits in every measure taken")
    page.get_by_label("Save the note as").fill("note.html")
    page.get_by_role("button", name="Save the note", exact=True).click()
    wait_for_file(page, lab.folder / "note.html")
    note = lab.folder / "note.html"
    assert "adult 1" in note.read_text(encoding="utf-8")
    printed = browser.new_page()
    printed.goto(note.as_uri())
    pdf = printed.pdf(format="A4")
    assert pdf.startswith(b"%PDF") and pdf.count(b"/Type /Page\n") <= 1
    assert serious(printed) == []
    printed.close()

    page.get_by_role("button", name="A chart of my own").click()
    page.locator(LIVE).first.wait_for()
    take_screens(page, screens, "adviser_chart")
    assert [cut_words(page, width) for width in (390, 1366)] == [[], []]
    bad = tmp_path / "bad.csv"
    bad.write_text(
        "size,group,hip_circumference_cm_low,hip_circumference_cm_high\n"
        "one,adult,95,80\n",
        encoding="utf-8",
    )
    upload(page, "My chart", bad)
    page.get_by_text("the low limit is above").first.wait_for()
    page.locator(LIVE).first.wait_for(state="detached")
    good = tmp_path / "ward seven.csv"
    write_chart(demo_chart(), good)
    text = good.read_text(encoding="utf-8").replace("invented demo chart", "ward seven")
    good.write_text(text, encoding="utf-8")
    upload(page, "My chart", good)
    page.get_by_text("Chart in use: ward seven").first.wait_for()
    page.locator(LIVE).first.wait_for()

    before = page.locator(LIVE).first.inner_html()
    begun = time.monotonic()
    page.get_by_role("slider").first.press("ArrowRight")
    page.wait_for_function(
        "([live, before]) => document.querySelector(live)?.innerHTML !== before",
        arg=[LIVE, before],
    )
    record_property("slider_seconds", round(time.monotonic() - begun, 2))
    page.get_by_role("button", name="Judge the chart").click()
    page.get_by_text("Of everyone, 95 % intervals").first.wait_for()
    page.get_by_role("button", name="Save tables (CSV)").click()
    wait_for_file(page, lab.folder / "chart_sizes.csv")
    take_screens(page, screens, "adviser_judgement")
    assert serious(page) == []

    page.get_by_role("button", name="One client", exact=True).click()
    page.get_by_text("Chart in use: ward seven").first.wait_for()
