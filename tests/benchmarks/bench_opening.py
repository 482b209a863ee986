"""Time from opening each page to its first form and first answer, in a real browser.

Run from the project's root:

    python -m tests.benchmarks.bench_opening [--wait SECONDS] [PAGE ...]

Starts the pages anew for each, waits (15 s; 0: the page is opened at once), opens the
page and prints the seconds until its first field and its first answer (the adviser's
Check button) can be seen; and what all kernels hold then. Needs Chromium.
"""

import argparse
import os
import re
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.served import served

#: What is to be seen when the page has its first answer.
FIRST = {
    "study": "have at least one size",
    "bands": r"in each group\) fit",
    "adviser": "^Check$",
    "purchaser": r"Buy \d+ slings",
    "trainer": "Of a hundred adults",
}
FORM = "#rendered_cells .jupyter-button:visible"
OPTIONS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]

parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
parser.add_argument("pages", nargs="*", metavar="PAGE", default=list(FIRST))
parser.add_argument("--wait", type=float, default=15.0)
parser.add_argument("--chromium", default="/usr/bin/chromium")

if __name__ == "__main__":
    args = parser.parse_args()
    for page in args.pages:
        with (
            tempfile.TemporaryDirectory() as home,
            served("pages", Path(home)) as pages,
            sync_playwright() as driver,
        ):
            program = {"executable_path": args.chromium, "args": OPTIONS}
            browser = driver.chromium.launch(**program)
            tab = browser.new_page(viewport={"width": 1366, "height": 768})
            tab.set_default_timeout(120_000)
            tab.goto(pages.address)
            time.sleep(args.wait)
            begun = time.monotonic()
            tab.locator(f'a[href="{page}.ipynb"]').first.click()
            tab.locator(FORM).first.wait_for()
            form = time.monotonic() - begun
            tab.get_by_text(re.compile(FIRST[page])).first.wait_for()
            answer = time.monotonic() - begun
            kernels = [p for p in pages.below() if "ipykernel" in " ".join(p.cmdline())]
            held = sum(one.memory_full_info().uss for one in kernels) / 1e6
            browser.close()
        print(
            f"{page}: form {form:.1f} s, answer {answer:.1f} s, kernels {held:.0f} MB, "
            f"opened after {args.wait:g} s; load {os.getloadavg()[0]:.1f}",
            flush=True,
        )
