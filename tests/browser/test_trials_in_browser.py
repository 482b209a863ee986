"""Slings tried on: from the invented trials to one's own, in a real browser."""

import re

import pytest

from tests.trials.simulated import chart, simulated

from .walks import check_page, upload, wait_for_file

pytestmark = pytest.mark.browser


def test_whoever_fits_slings_takes_in_trials_and_saves_the_learned_chart(
    page, lab, ready, tmp_path, screens
):
    ready("trials.ipynb")
    check_page(page, lab, screens, "trials")
    page.get_by_text(re.compile(r"160 trials show \d+ of")).first.wait_for()
    assert page.get_by_text("Invented for demonstration").first.is_visible()

    chart().frame.to_csv(tmp_path / "mine.csv", index=False)
    simulated(60, 1)[0].to_csv(tmp_path / "tried.csv", index=False)
    upload(page, "The printed chart", tmp_path / "mine.csv")
    page.get_by_text("Nothing is learned yet").wait_for()
    upload(page, "My trials", tmp_path / "tried.csv")
    page.get_by_text(re.compile(r"60 trials show \d+ of 12")).first.wait_for()
    page.get_by_role("button", name="Save tables (CSV)").click()
    wait_for_file(page, lab.folder / "learned_chart.csv")
    page.get_by_role("button", name="Save page to print (HTML)").click()
    wait_for_file(page, lab.folder / "trials_form.html")
