"""A real browser on the pages, started as a user starts them."""

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.served import PATIENCE, Served

sync_api = pytest.importorskip("playwright.sync_api")

_PROGRAMS = ("chromium", "chromium-browser", "google-chrome")
_OPTIONS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)


@pytest.fixture(scope="session")
def chromium() -> str:
    """The browser; skips where there is none, fails where one was promised."""
    promised = os.environ.get("SIZING_CHROMIUM")
    if promised:
        if not Path(promised).is_file():
            pytest.fail(f"SIZING_CHROMIUM names {promised}, which is not there")
        return promised
    found = next(filter(None, map(shutil.which, _PROGRAMS)), None)
    if found is None:
        pytest.skip("no Chromium on this machine: install it to run browser tests")
    return found


@pytest.fixture(scope="package")
def browser(chromium: str) -> Iterator[Any]:
    """The browser; its event loop must not outlive this folder's tests."""
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=chromium, args=list(_OPTIONS)
        )
        yield started
        started.close()


@pytest.fixture
def page(browser: Any, lab: Served) -> Iterator[Any]:
    """A page that fails its test if it logs an error or asks another host."""
    errors: list[str] = []
    outside: list[str] = []
    threads: list[str] = []
    context = browser.new_context(viewport={"width": 1366, "height": 768})
    context.set_default_timeout(1000 * PATIENCE)
    opened = context.new_page()

    def asked(url: str) -> None:
        if not re.match(r"(http|ws)://127\.0\.0\.1:|data:|blob:|about:", url):
            outside.append(url)

    def joined(socket: Any) -> None:
        asked(socket.url)
        socket.on("framesent", sent)

    def sent(frame: str | bytes) -> None:
        # JupyterLab's way to have a kernel serve forms in a thread beside the cells'.
        word = "create_subshell_request"
        if word in frame if isinstance(frame, str) else word.encode() in frame:
            threads.append(word)

    opened.on("request", lambda request: asked(request.url))
    opened.on("websocket", joined)
    opened.on("console", lambda m: m.type == "error" and errors.append(m.text))
    opened.on("pageerror", lambda error: errors.append(str(error)))
    # The browser is let in once; later addresses need no token.
    opened.goto(lab.address)
    yield opened
    opened.close()
    context.close()
    assert outside == threads == errors == []


@pytest.fixture
def ready(page: Any, lab: Served) -> Any:
    """Open a page by its name, as a link does, and wait until its forms stand."""

    def open_and_wait(name: str) -> None:
        page.goto(lab.page(name))
        wait_until_run(page)

    return open_and_wait


def wait_until_run(page: Any) -> None:
    """Wait until the page's forms stand."""
    page.locator("#getting-ready").wait_for(state="detached")
    page.locator("#rendered_cells .jupyter-widgets").first.wait_for()
