"""What the tests share: survey files, the pages' server, and in what order they run."""

import ipaddress
import os
import socket
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pytest
from hypothesis import HealthCheck, settings

from tests.served import Served, served

matplotlib.use("Agg")

# A machine may be busy: no example is timed. The same examples each time, so that a run
# tells what was changed and nothing else; --hypothesis-profile=searching looks further.
settings.register_profile(
    "repeated",
    parent=settings.default,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.register_profile(
    "searching", parent=settings.get_profile("repeated"), derandomize=False
)
settings.load_profile("repeated")

#: What a process may reach another machine with, and where the address stands.
_REACHING = {
    "socket.connect": 1,
    "socket.sendto": 1,
    "socket.sendmsg": 1,
    "socket.getaddrinfo": 0,
    "socket.gethostbyname": 0,
}


def _is_here(address: object) -> bool:
    """Say whether an address is this machine's own."""
    host = address[0] if isinstance(address, tuple) and address else address
    if host in (None, "", "localhost", socket.gethostname()):
        return True
    if isinstance(address, tuple) or isinstance(host, str):
        try:
            found = ipaddress.ip_address(os.fsdecode(host).split("%")[0])
        except (TypeError, ValueError):
            # A path is a socket in the file system; a name is another machine's.
            return isinstance(address, str) and os.sep in address
        return found.is_loopback or found.is_unspecified
    return True


def _stay_here(event: str, given: tuple) -> None:
    if event in _REACHING and not _is_here(given[_REACHING[event]]):
        raise OSError(f"tests reach no other machine: {event} {given[1:]}")


# Below every library: the interpreter itself asks before it opens a connection.
sys.addaudithook(_stay_here)


@pytest.fixture(scope="session")
def survey_folder() -> Path:
    """The folder named by SIZING_SURVEYS; skips where there is none."""
    named = os.environ.get("SIZING_SURVEYS")
    if not named:
        pytest.skip("SIZING_SURVEYS is not set: the survey files are not here")
    folder = Path(named).resolve()
    if not folder.is_dir():
        pytest.fail(f"SIZING_SURVEYS names {folder}, which is not a folder")
    return folder


@pytest.fixture
def rng() -> np.random.Generator:
    """A seeded generator of its own for each test."""
    return np.random.default_rng(20261125)


#: Their tests take longest, and begin first, so that both processes end together. What
#: asks the pages' server runs in one process, so that it is started once.
PAGES = ("tests/test_pages_server.py", "tests/browser/")
FIRST = (
    *PAGES,
    "tests/test_style.py",
    "tests/bands/test_command.py",
    "notebooks/",
    "tests/hostile/test_planted_folder.py",
    "tests/hostile/test_offline.py",
    "tests/hostile/",
    "tests/app/",
)


def pytest_configure(config: pytest.Config) -> None:
    """Keep the order below: else files of few tests, which are the longest, go last."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    def place(item: pytest.Item) -> int:
        found = (i for i, name in enumerate(FIRST) if item.nodeid.startswith(name))
        return next(found, len(FIRST))

    items.sort(key=place)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Share a server between files where each file has a process."""
    if config.getoption("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class Shared(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            shared = nodeid.startswith(PAGES)
            return PAGES[0] if shared else super()._split_scope(nodeid)

    return Shared(config, log)


def taken(name: str, content: bytes) -> tuple[dict[str, Any]]:
    """Return what an upload box holds after a file was taken in the browser."""
    about = {"type": "text/csv", "last_modified": datetime.now(tz=UTC)}
    return ({"name": name, "size": len(content), "content": content, **about},)


def spaced(page: str) -> str:
    """Return a page with plain spaces before %, as files and the shell have them."""
    return page.replace("\u00a0%", " %")


@pytest.fixture(scope="session")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The pages, whoever asks for them; what is saved goes to a folder of its own."""
    with served("pages", tmp_path_factory.mktemp("pages")) as running:
        yield running
