"""The purchaser's way through the lab, in a real browser."""

import re

import pytest

from sizing.stock import demo_scenario

from .walks import check_page, take_screens, upload, wait_for_file

pytestmark = pytest.mark.browser


def test_the_purchaser_takes_in_prices_plans_stops_and_saves(
    page, lab, ready, browser, tmp_path, screens
):
    ready("purchaser.ipynb")
    # The first answer, of an invented scenario, comes after the forms.
    page.get_by_text(re.compile(r"Buy \d+ slings")).first.wait_for()
    check_page(page, lab, screens, "purchaser")
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
    take_screens(page, screens, "purchaser_prices")

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
    printed = browser.new_page()
    printed.goto((lab.folder / "stock_plan.html").as_uri())
    assert printed.pdf(format="A4").startswith(b"%PDF")
    printed.close()
