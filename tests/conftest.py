"""What the tests share: the survey files, where this machine has them."""

import ipaddress
import os
import socket
import sys
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from hypothesis import settings

matplotlib.use("Agg")

# A first call loads what later ones find loaded, and a machine may be busy: no example
# is timed.
settings.register_profile("untimed", parent=settings.default, deadline=None)
settings.load_profile("untimed")

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


@pytest.fixture(scope="session")
def reference_folder(survey_folder: Path) -> Path:
    """The folder of published references beside the surveys."""
    folder = survey_folder.parent / "references"
    if not folder.is_dir():
        pytest.skip("no references folder beside the survey files")
    return folder


@pytest.fixture
def rng() -> np.random.Generator:
    """A seeded generator of its own for each test."""
    return np.random.default_rng(20261125)
