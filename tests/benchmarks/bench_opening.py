"""Time from opening each page of the lab to its first answer, in a real browser.

Run from the project's root:

    python tests/benchmarks/bench_opening.py [--wait SECONDS] [PAGE ...]

Starts the lab anew for each page, waits so long (30 s if not said otherwise: a kernel
then stands ready; 0: the page is opened at once), opens the page and prints the
seconds until its first answer, or the adviser's form, is to be seen. Needs Chromium.
"""

import argparse
import re
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright

#: What is to be seen when the page has its first answer.
FIRST = {
    "study": "have at least one size",
    "bands": "sizes of these widths fit",
    "adviser": "^Check$",
    "purchaser": r"^Buy \d+",
    "trainer": "^Of a hundred adults",
}
OPTIONS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]


def opened(page: str, wait_s: float, chromium: str) -> float:
    """Return the seconds from opening a page to its first answer."""
    with tempfile.TemporaryDirectory() as folder:
        words = ["lab", "--no-browser", "--folder", str(Path(folder) / "nb")]
        lab = subprocess.Popen(
            [sys.executable, "-u", "-m", "sizing", *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        try:
            found = (re.search(r"http://127\.0\.0\.1:\S+", line) for line in lab.stdout)
            address = next(filter(None, found))[0].replace("start.", f"{page}.")
            time.sleep(wait_s)
            with sync_playwright() as driver:
                browser = driver.chromium.launch(executable_path=chromium, args=OPTIONS)
                tab = browser.new_page(viewport={"width": 1366, "height": 768})
                begun = time.monotonic()
                tab.goto(address)
                tab.get_by_text(re.compile(FIRST[page])).first.wait_for(timeout=90_000)
                taken = time.monotonic() - begun
                browser.close()
        finally:
            lab.send_signal(signal.SIGINT)
            lab.wait(60)
    return taken


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("pages", nargs="*", metavar="PAGE", default=list(FIRST))
    parser.add_argument("--wait", type=float, default=30.0)
    parser.add_argument("--chromium", default="/usr/bin/chromium")
    args = parser.parse_args()
    for page in args.pages:
        seconds = opened(page, args.wait, args.chromium)
        print(f"{page}: {seconds:.1f} s, opened after {args.wait:g} s", flush=True)


if __name__ == "__main__":
    main()
