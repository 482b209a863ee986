"""Each role's way through the lab, in a real browser."""

import re
import time
from pathlib import Path
from typing import Any

import pytest

from sizing.chart import demo_chart, write_chart
from sizing.report.lab_notebooks import notebook_files

pytestmark = pytest.mark.browser

axe = pytest.importorskip("axe_playwright_python.sync_playwright")

PAGES = sorted(name for name in notebook_files() if name != "start.ipynb")
WIDTHS = {"phone": (390, 800), "laptop": (1366, 768), "projector": (1920, 1080)}
#: What a page must not show: a traceback, or words meant for programmers.
FAILURES = (
    '[data-mime-type="application/vnd.jupyter.error"], '
    '[data-mime-type="application/vnd.jupyter.stderr"]'
)
#: Everything in the pages themselves that a keyboard must reach.
CONTROLS = (
    ".jp-OutputArea-output :is(a[href], button, select, textarea, "
    'input:not([type="file"]), [role="slider"], [tabindex="0"])'
)


#: The picture that follows the slider.
LIVE = ".jp-OutputArea-output svg[role=img]"


def start_page(page: Any, lab: Any) -> None:
    page.goto(lab.address)
    page.get_by_role("heading", name="Who are you today?").wait_for()
    # Links lead inside the lab once it has taken them over.
    page.locator(".jp-Notebook-ExecutionIndicator").wait_for()


def serious(page: Any) -> list[str]:
    """Return what axe-core finds serious or critical on the whole page."""
    found = axe.Axe().run(page).response["violations"]
    return [
        f"{finding['id']}: {node['html'][:160]}"
        for finding in found
        if finding["impact"] in ("serious", "critical")
        for node in finding["nodes"]
    ]


def missed_by_keyboard(page: Any) -> list[str]:
    """Press Tab through a page; return the controls that are never reached."""
    shown = page.locator(CONTROLS).filter(visible=True)
    count = shown.evaluate_all(
        "all => { all.forEach((node, i) => { node.dataset.counted = i; }); "
        "return all.filter(node => !node.disabled).length; }"
    )
    if count == 0:
        return []
    shown.first.focus()
    reached = set()
    for _ in range(count + 40):
        reached.add(page.evaluate("document.activeElement.dataset.counted ?? ''"))
        page.keyboard.press("Tab")
    return shown.evaluate_all(
        "(all, reached) => all.filter(node => !node.disabled && "
        "!reached.includes(node.dataset.counted)).map(node => node.outerHTML)",
        sorted(reached),
    )


def take_screens(page: Any, screens: Any, name: str) -> None:
    for width, (across, down) in WIDTHS.items():
        page.set_viewport_size({"width": across, "height": down})
        page.wait_for_timeout(300)
        page.screenshot(path=screens / f"{name}_{width}.png")
    page.set_viewport_size({"width": 1366, "height": 768})


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
    # A page begins at its beginning, though running it goes through to its end.
    assert page.locator(".jp-WindowedPanel-outer").evaluate("p => p.scrollTop") == 0
    assert lab.memory() < 2**30
    take_screens(page, screens, name.removesuffix(".ipynb"))
    assert missed_by_keyboard(page) == []
    assert serious(page) == []


def wait_for_file(page: Any, path: Path) -> None:
    end = time.monotonic() + 60
    while not path.is_file():
        if time.monotonic() > end:
            words = page.locator(".jp-OutputArea-output").all_inner_texts()
            pytest.fail(f"{path.name} was not saved: {words[-3:]}")
        page.wait_for_timeout(200)


def upload(page: Any, button: str, path: Any) -> None:
    with page.expect_file_chooser() as chosen:
        page.get_by_role("button", name=re.compile(button)).click()
    chosen.value.set_files(path)


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


def test_the_purchaser_is_told_what_is_wrong_and_saves_an_order(page, lab, ready):
    ready("purchaser.ipynb")
    page.get_by_role("button", name="Plan the stock").click()
    page.get_by_text(re.compile(r"^Buy \d+")).nth(1).wait_for()
    page.get_by_role("button", name=re.compile("^Save")).first.click()
    wait_for_file(page, lab.folder / "stock_plan.html")
    assert (lab.folder / "stock_order.xlsx").is_file()


def test_the_trainer_deals_cards_and_makes_a_pack(page, lab, ready):
    ready("trainer.ipynb")
    page.get_by_role("button", name="Deal").click()
    page.get_by_role("button", name="Show the answer").click()
    page.get_by_role("button", name="Next card").click()
    page.get_by_role("button", name=re.compile("Make the pack")).click()
    wait_for_file(page, lab.folder / "lesson" / "handout.html")
