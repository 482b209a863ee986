"""Start a server on this machine, open it in the browser, and stop it whole."""

import argparse
import os
import secrets
import signal
import socket
import subprocess
import sys
import time
import webbrowser
from collections.abc import Sequence
from contextlib import suppress
from importlib.abc import Traversable
from pathlib import Path
from typing import Any

from sizing.errors import SizingError
from sizing.files.places import Places, safe_environment, state_folder
from sizing.files.writing import write_text
from sizing.resources import shipped, texts

_T = texts("serve")
#: The page that leads to the others.
START = "start.ipynb"
#: Names to a kernel what it loads before it is asked for anything.
LOADS = "SIZING_LOADS"
#: Only this machine can reach what is served.
HOST = "127.0.0.1"
#: Seconds to wait for a server to come up, and for it to stop.
_PATIENCE, _FAREWELL = 90.0, 15.0
#: Nothing is imported from the folder that a kernel runs in, no list is kept of what
#: ran, and matplotlib takes no settings from there.
_KERNEL = """\
c = get_config()
c.InteractiveShellApp.ignore_cwd = True
c.HistoryManager.enabled = False
"""
_FIRST = f"""\
import importlib
import os

here = os.getcwd()
os.chdir(os.environ["SIZING_STATE"])
for name in ["matplotlib", *os.environ.get("{LOADS}", "").split()]:
    importlib.import_module(name)

os.chdir(here)
del here, importlib, name, os
"""


def notebook_files() -> dict[str, Traversable]:
    folder = shipped("notebooks")
    there = sorted(folder.iterdir(), key=lambda f: f.name) if folder.is_dir() else []
    found = {f.name: f for f in there if f.name.endswith(".ipynb")}
    if START not in found:
        raise SizingError(_T.no_notebooks)
    return found


def asked_for(args: argparse.Namespace) -> tuple[Path, int, Path]:
    """Return the folder and the port asked for, checked, and the state folder."""
    folder = args.folder.expanduser()
    Places().fills(folder, names=(), option="--folder")
    return folder.resolve(), free_port(args.port), state_folder()


def free_port(asked: int | None) -> int:
    """Return the port asked for if it is free, or any free one."""
    if asked is not None and not 1 <= asked <= 65535:
        raise SizingError(f"There is no port {asked}: use 1024 to 65535.")
    with socket.socket() as probe:
        if os.name == "posix":
            # As the server does: a port just left is free.
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, asked or 0))
        except OSError as error:
            why = error.strerror
            raise SizingError(_T.port_taken.format(port=asked, why=why)) from None
        return int(probe.getsockname()[1])


def serve(
    words: Sequence[str], page: str, *, port: int, state: Path, browser: bool
) -> None:
    """Start a server, say where it is, and stay until it is stopped."""
    _write_profile(state)
    token, log = secrets.token_hex(16), state / f"server-{port}.log"
    address = f"http://{HOST}:{port}/{page}?token={token}"
    for name in {"SIGTERM", "SIGHUP"} & {*dir(signal)}:
        # A closed window, or a polite request to end, stops us as Ctrl-C does.
        signal.signal(getattr(signal, name), signal.default_int_handler)
    server = _start(words, state, log, token)
    try:
        _wait(server, port, log)
        print(f"In your browser: {address}\n{_T.keep_open}", flush=True)
        if browser:
            webbrowser.open(address)
        status = server.wait()
    except KeyboardInterrupt:
        print("Stopping ...", flush=True)
        status = 0
    finally:
        _end(server)
    if status != 0:
        raise SizingError(_died(log))
    log.unlink(missing_ok=True)


def _write_profile(state: Path) -> None:
    profile = state / "ipython" / "profile_default"
    try:
        (profile / "startup").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SizingError(f"{state} cannot be written to ({error.strerror}).") from None
    write_text(profile / "ipython_kernel_config.py", _KERNEL)
    write_text(profile / "startup" / "first.py", _FIRST)


def _start(
    words: Sequence[str], state: Path, log: Path, token: str
) -> subprocess.Popen[bytes]:
    # In a group of its own Ctrl-C reaches us alone, and we stop it in order.
    group: dict[str, Any] = {"start_new_session": True}
    if sys.platform == "win32":
        group = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    with log.open("wb") as said:
        return subprocess.Popen(
            # Settings are looked for where it runs, too: not in the folder it serves.
            [sys.executable, "-P", *words],
            cwd=state,
            env=safe_environment(state, token),
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            **group,
        )


def _wait(server: subprocess.Popen[bytes], port: int, log: Path) -> None:
    """Wait until the server takes what it is asked, which it answers in turn."""
    end = time.monotonic() + _PATIENCE
    while time.monotonic() < end:
        if server.poll() is not None:
            raise SizingError(_died(log))
        with suppress(OSError), socket.create_connection((HOST, port), timeout=5):
            return
        time.sleep(0.1)
    raise SizingError(_T.late.format(seconds=_PATIENCE, log=log))


def _died(log: Path) -> str:
    lines = log.read_text(encoding="utf-8", errors="replace").strip().splitlines()
    return str(_T.died.format(last=lines[-1].strip() if lines else "nothing", log=log))


def _end(server: subprocess.Popen[bytes]) -> None:
    server.terminate()
    try:
        server.wait(_FAREWELL)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()
