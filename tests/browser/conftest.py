"""A real browser on the pages, started as a user starts them."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil
import pytest

sync_api = pytest.importorskip("playwright.sync_api")

#: One slow machine runs several of these at once.
PATIENCE = 240_000
_PAGES = (sys.executable, "-u", "-P", "-m", "sizing", "pages")
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


@dataclass
class Lab:
    """A running ``sizing pages``."""

    process: subprocess.Popen[str]
    address: str
    folder: Path

    def page(self, name: str) -> str:
        """Return the address of one page, for whoever has been let in."""
        return self.address.partition("start.ipynb")[0] + name

    def kernels(self) -> list[psutil.Process]:
        """Return the kernels, of pages shown and of pages made ahead."""
        below = psutil.Process(self.process.pid).children(recursive=True)
        return [p for p in below if "ipykernel_launcher" in " ".join(p.cmdline())]

    def memory(self) -> int:
        """Return the bytes that the largest kernel holds."""
        return max((p.memory_info().rss for p in self.kernels()), default=0)


@dataclass
class Watch:
    """What a page said on its console, whom it asked for anything, and how."""

    errors: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)
    threads: list[str] = field(default_factory=list)


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


@pytest.fixture(scope="session")
def lab(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """The pages; what is saved goes to a folder of its own."""
    folder = tmp_path_factory.mktemp("pages") / "my results"
    state = folder.parent / "state"
    process = subprocess.Popen(
        [*_PAGES, "--no-browser", "--folder", str(folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        cwd=folder.parent,
        env=os.environ | {"XDG_STATE_HOME": str(state), "LOCALAPPDATA": str(state)},
    )
    said = []
    assert process.stdout is not None
    for line in process.stdout:
        said.append(line)
        found = re.search(r"http://127\.0\.0\.1:\S+", line)
        if found:
            break
    else:
        pytest.fail("the pages did not start:\n" + "".join(said))
    yield Lab(process, found[0], folder)
    process.send_signal(signal.SIGINT)
    rest, _ = process.communicate(timeout=60)
    assert process.returncode == 0, rest
    assert "Stopped" in rest


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
def page(browser: Any, lab: Lab) -> Iterator[Any]:
    """A page that fails its test if it logs an error or asks another host."""
    watch = Watch()
    context = browser.new_context(viewport={"width": 1366, "height": 768})
    context.set_default_timeout(PATIENCE)
    opened = context.new_page()

    def asked(url: str) -> None:
        if not re.match(r"(http|ws)://127\.0\.0\.1:|data:|blob:|about:", url):
            watch.outside.append(url)

    def joined(socket: Any) -> None:
        asked(socket.url)
        socket.on("framesent", sent)

    def sent(frame: str | bytes) -> None:
        # JupyterLab's way to have a kernel serve forms in a thread beside the cells'.
        word = "create_subshell_request"
        if word in frame if isinstance(frame, str) else word.encode() in frame:
            watch.threads.append(word)

    def said(message: Any) -> None:
        if message.type == "error":
            watch.errors.append(message.text)

    opened.on("request", lambda request: asked(request.url))
    opened.on("websocket", joined)
    opened.on("console", said)

    opened.on("pageerror", lambda error: watch.errors.append(str(error)))
    # The browser is let in once; later addresses need no token.
    opened.goto(lab.address)
    yield opened
    opened.close()
    context.close()
    assert watch.outside == []
    assert watch.threads == []
    assert watch.errors == []


@pytest.fixture
def ready(page: Any, lab: Lab) -> Any:
    """Open a page by its name, as a link does, and wait until its forms stand."""

    def open_and_wait(name: str) -> float:
        begun = time.monotonic()
        page.goto(lab.page(name))
        wait_until_run(page)
        return time.monotonic() - begun

    return open_and_wait


def wait_until_run(page: Any) -> None:
    """Wait until the page's forms stand."""
    page.locator("#getting-ready").wait_for(state="detached")
    page.locator("#rendered_cells .jupyter-widgets").first.wait_for()


@pytest.fixture(scope="session")
def screens(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where pictures of the pages go; SIZING_SCREENS keeps them elsewhere."""
    named = os.environ.get("SIZING_SCREENS")
    folder = Path(named) if named else tmp_path_factory.mktemp("screens")
    folder.mkdir(parents=True, exist_ok=True)
    return folder
