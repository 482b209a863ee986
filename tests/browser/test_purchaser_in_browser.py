"""The purchaser's way through the lab, in a real browser."""

import re

import pytest

from .walks import wait_for_file

pytestmark = pytest.mark.browser


def test_the_purchaser_is_told_what_is_wrong_and_saves_an_order(page, lab, ready):
    ready("purchaser.ipynb")
    page.get_by_role("button", name="Plan the stock").click()
    page.get_by_text(re.compile(r"^Buy \d+")).nth(1).wait_for()
    page.get_by_role("button", name=re.compile("^Save")).first.click()
    wait_for_file(page, lab.folder / "stock_plan.html")
    assert (lab.folder / "stock_order.xlsx").is_file()
