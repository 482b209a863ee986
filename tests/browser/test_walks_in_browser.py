"""Each role's way through its page, in a real browser."""

import re

import pytest

from sizing.charts import demo_chart, write_chart
from sizing.resources import source_table
from sizing.stock import demo_scenario
from tests.trials.simulated import chart, simulated

from .walks import FAILURES, check_page, look, serious, upload, wait_for_file

pytestmark = pytest.mark.browser

#: The picture that follows the slider.
LIVE = ".jp-OutputArea-output svg[role=img]"


def test_the_adviser_checks_a_client_tries_a_chart_and_writes_a_note(
    page, lab, ready, browser, tmp_path
):
    ready("adviser.ipynb")
    check_page(page, lab, "adviser")
    page.get_by_label("Sex").first.select_option("female")
    page.get_by_label("Age, years").fill("74")
    page.get_by_label("Weight, kg").first.fill("61")
    page.get_by_label("Hip girth, cm").first.fill("101")
    page.get_by_role("button", name="Check", exact=True).click()
    page.get_by_text(re.compile("^Now: ")).first.wait_for()
    page.locator("figure img:visible").nth(1).wait_for()
    look(page, "adviser_answer")
    # On a phone its first line stays in sight at the foot of the form, and leads there.
    foot = page.locator(".sizing-foot")
    assert not foot.is_visible()
    page.set_viewport_size({"width": 390, "height": 800})
    page.get_by_label("Hip girth, cm").first.focus()
    foot.get_by_role("link").wait_for()
    assert foot.bounding_box()["y"] < 800
    foot.get_by_role("link").click()
    page.wait_for_function("() => document.activeElement.id === 'answer'")
    page.set_viewport_size({"width": 1366, "height": 768})

    # How a measure is taken, by keyboard; then the client is kept and opened again.
    page.get_by_label("how", exact=True).nth(1).focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_text("in 19 of 20 pairs").filter(visible=True).first.wait_for()
    page.get_by_role("button", name=re.compile("^Clients kept: 0")).press("Enter")
    page.get_by_label("Your reference").fill("A-17")
    page.get_by_label("Day of the visit").fill("2026-03-02")
    page.get_by_role("button", name="Keep this visit").press("Enter")
    page.get_by_text("Kept: visit of 2026-03-02").wait_for()
    wait_for_file(page, lab.folder / "clients" / "client A-17.csv")
    look(page, "adviser_kept")
    page.get_by_role("button", name="Copy for the next visit").press("Enter")
    page.get_by_text("A new visit of A-17").wait_for()
    assert page.get_by_label("Weight, kg").first.input_value() == ""
    page.get_by_role("button", name="Open", exact=True).press("Enter")
    page.get_by_text(re.compile("^Now: ")).first.wait_for()
    assert page.get_by_label("Weight, kg").first.input_value() == "61"

    # The same client in inches and pounds; then too heavy for the hoist.
    page.get_by_role("button", name="inches and pounds").click()
    hips = page.get_by_label("Hip girth, in").first
    hips.wait_for()
    assert hips.input_value() == "39.8"
    page.get_by_text(re.compile(r"decides, .* in inside")).first.wait_for()
    hoist = page.get_by_label("Hoist bears, lb")
    # The answer follows while the field is still typed in.
    hoist.press_sequentially("100")
    page.get_by_text("No size may be used").filter(visible=True).first.wait_for()
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
    note = lab.folder / "note.html"
    wait_for_file(page, note)
    assert "adult 1" in note.read_text(encoding="utf-8")
    printed = browser.new_page()
    printed.goto(note.as_uri())
    pdf = printed.pdf(format="A4")
    assert pdf.startswith(b"%PDF") and pdf.count(b"/Type /Page\n") <= 1
    assert serious(printed) == []
    printed.close()

    page.get_by_role("button", name="A chart of my own").click()
    page.get_by_text("Type your chart into the table").first.wait_for()
    page.get_by_role("button", name="A table I paste").click()
    pasted = "Size\tWeight\tHeight (cm)\nS\t40-70 kg\t140-165\nL\t70-120 kg\t160+"
    page.get_by_label("Table to paste").fill(pasted)
    page.get_by_role("button", name="Take the table in").click()
    page.locator(LIVE).first.wait_for()
    page.get_by_role("button", name="A file", exact=True).click()
    bad = tmp_path / "bad.csv"
    bad.write_text("size,hip_circumference_cm_low,hip_circumference_cm_high\none,95,80")
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
    page.get_by_role("slider").first.press("ArrowRight")
    page.wait_for_function(
        "([live, before]) => document.querySelector(live)?.innerHTML !== before",
        arg=[LIVE, before],
    )
    page.get_by_role("button", name="Judge the chart").click()
    page.get_by_text("Of everyone, 95 % intervals").first.wait_for()
    page.get_by_role("button", name="Save tables (CSV)").click()
    wait_for_file(page, lab.folder / "chart_sizes.csv")
    look(page, "adviser_judgement")

    page.get_by_role("button", name="One client", exact=True).click()
    page.get_by_text("Chart in use: ward seven").first.wait_for()


def test_the_purchaser_takes_in_prices_plans_stops_and_saves(
    page, lab, ready, tmp_path
):
    ready("purchaser.ipynb")
    # The first answer, of an invented scenario, comes after the forms.
    page.get_by_text(re.compile(r"Buy \d+ slings")).first.wait_for()
    check_page(page, lab, "purchaser")
    assert page.get_by_text("Invented for demonstration").first.is_visible()

    page.get_by_text("What can be bought, prices, and what is owned").click()
    bad = tmp_path / "bad prices.csv"
    bad.write_text("size,price\nadult 1,-4\n", encoding="utf-8")
    upload(page, "My prices and stock", bad)
    page.get_by_text(re.compile("the size 'adult 1' has no such price")).wait_for()
    good = tmp_path / "our prices.csv"
    demo_scenario()[1].assign(price=77).to_csv(good, index=False)
    upload(page, "our prices|My prices and stock", good)
    page.wait_for_function(
        "() => [...document.querySelectorAll('input')].some(i => i.value === '77')"
    )
    page.get_by_text("Something was changed: press").first.wait_for()
    look(page, "purchaser_prices")

    plan = page.get_by_role("button", name="Plan the stock")
    plan.click()
    page.get_by_role("button", name="Stop", exact=True).click()
    page.get_by_text("Stopped. Nothing was changed.").wait_for()

    plan.click()
    page.get_by_text(re.compile(r"Buy \d+ slings")).first.wait_for()
    page.get_by_role("button", name="Save tables (XLSX)").click()
    page.get_by_role("button", name="Save page to print (HTML)").click()
    wait_for_file(page, lab.folder / "stock_order.xlsx")
    wait_for_file(page, lab.folder / "stock_plan.html")


def test_the_trainer_shows_an_answer_a_card_and_the_room_and_makes_a_pack(
    page, lab, ready, tmp_path
):
    ready("trainer.ipynb")
    # The first look and the cards come after the forms.
    slide = page.locator("img[alt^='Bars, one for each way']")
    slide.wait_for()
    page.get_by_role("heading", name="Card 1 of 12").wait_for()
    check_page(page, lab, "trainer")
    answer = page.get_by_text(re.compile(r"Of a hundred adults aged 18 and over")).first
    assert re.search(r"by eye puts \d+ \(\d+ to \d+\)", answer.inner_text())
    # The slide beside it is whole and no wider than the screen.
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
    page.get_by_text("19 of 34").first.wait_for()
    page.get_by_text("Which", exact=True).first.click()
    page.get_by_text("makes sense in inches only").first.wait_for()
    page.get_by_role("heading", name="How often must one measure?").wait_for()
    assert page.locator(FAILURES).all_inner_texts() == []
    look(page, "trainer_room")
    # The last such button is that of the courses kept; the room's stands before it.
    saves = page.get_by_role("button", name=re.compile("Save page to print"))
    saves.nth(saves.count() - 2).click()
    wait_for_file(page, lab.folder / "room.html")

    heavy = "adults of high body mass index"
    page.get_by_label("People", exact=True).select_option(heavy)
    page.get_by_text(re.compile(f"Of a hundred {heavy}")).first.wait_for()
    page.get_by_role("button", name="Make the pack").click()
    wait_for_file(page, lab.folder / "lesson" / "handout.html")
    assert (lab.folder / "lesson" / "pictures" / "wrong_size.svg").is_file()
    # The slides are shown from the page, too: a click and a key, and it is the third.
    page.locator("iframe[title='Slides']").click()
    page.keyboard.press("ArrowRight")
    now = page.frame_locator("iframe[title='Slides']").locator(".slide.now")
    assert now.evaluate("one => one.firstElementChild.dataset.number") == "3"


def test_whoever_fits_slings_takes_in_trials_and_saves_the_learned_chart(
    page, lab, ready, tmp_path
):
    ready("trials.ipynb")
    check_page(page, lab, "trials")
    page.get_by_text(re.compile(r"160 trials show where \d+ of")).first.wait_for()
    assert page.get_by_text("Invented for demonstration").first.is_visible()

    chart().frame.to_csv(tmp_path / "mine.csv", index=False)
    simulated(60, 1)[0].to_csv(tmp_path / "tried.csv", index=False)
    upload(page, "The printed chart", tmp_path / "mine.csv")
    page.get_by_text("Nothing is learned yet").wait_for()
    upload(page, "My trials", tmp_path / "tried.csv")
    page.get_by_text(re.compile(r"60 trials show where \d+ of .*12")).first.wait_for()
    page.get_by_role("button", name="Save tables (CSV)").click()
    wait_for_file(page, lab.folder / "learned_chart.csv")
    page.get_by_role("button", name="Save page to print (HTML)").click()
    wait_for_file(page, lab.folder / "trials_form.html")
