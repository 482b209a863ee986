"""The trainer's way through the lab, in a real browser."""

import re

import pytest

from .walks import wait_for_file

pytestmark = pytest.mark.browser


def test_the_trainer_deals_cards_and_makes_a_pack(page, lab, ready):
    ready("trainer.ipynb")
    page.get_by_role("button", name="Deal").click()
    page.get_by_role("button", name="Show the answer").click()
    page.get_by_role("button", name="Next card").click()
    page.get_by_role("button", name=re.compile("Make the pack")).click()
    wait_for_file(page, lab.folder / "lesson" / "handout.html")
