"""``python -m sizing lab``: the notebooks, in a browser, from a folder of hers."""

import argparse
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import PackageNotFoundError, distribution
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from types import FrameType
from typing import Any

from sizing.errors import SizingError
from sizing.report.lab_notebooks import CORNER, lay_notebooks
from sizing.writing import write_text

#: Only this machine can reach the pages.
HOST = "127.0.0.1"
#: Seconds to wait for the pages to come up, and for them to stop.
_PATIENCE = 90.0
_FAREWELL = 15.0
_NO_UPDATES = "jupyterlab.handlers.announcements.NeverCheckForUpdate"
#: The page for one document at a time, without JupyterLab's tabs and panels.
_PAGE = "doc/tree/start.ipynb"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    parser.add_argument(
        "--folder",
        type=Path,
        default=Path("my-notebooks"),
        metavar="DIR",
        help="your own folder for the notebooks; what you changed in it is never "
        "overwritten (default: my-notebooks)",
    )
    parser.add_argument(
        "--no-browser",
        action="store_true",
        help="do not open a browser; print the address to open in one",
    )
    parser.add_argument(
        "--port",
        type=int,
        metavar="N",
        help="port on this machine (default: any free one)",
    )


def run(args: argparse.Namespace) -> int:
    """Lay the notebooks, open them, and stay until they are stopped."""
    if find_spec("jupyterlab") is None:
        raise SizingError(
            "JupyterLab is not installed beside the kit. What to do: "
            f"{sys.executable} -m pip install jupyterlab"
        )
    folder = args.folder.expanduser().resolve()
    if folder.exists() and not folder.is_dir():
        raise SizingError(f"{folder} is a file. What to do: name a folder.")
    port = _port(args.port)
    laid = lay_notebooks(folder)
    write_settings(folder)
    for row in laid.query("outcome == 'beside'").itertuples():
        print(f"Your own {row.name} is kept; the newer one is '{row.laid_as}'.")
    print(f"Your notebooks: {folder}")
    token = secrets.token_hex(16)
    address = f"http://{HOST}:{port}/{_PAGE}?token={token}"
    with _stop_like_ctrl_c():
        server = _start(folder, port, token)
        try:
            _wait(server, port, token, folder)
            print(f"In your browser: {address}", flush=True)
            print(
                "Keep this window open while you work. To stop: press Ctrl-C here.",
                flush=True,
            )
            if not args.no_browser:
                webbrowser.open(address)
            status = server.wait()
        except KeyboardInterrupt:
            print("Stopping ...", flush=True)
            status = 0
        finally:
            _end(server)
    print("Stopped. Your notebooks stay in their folder.")
    if status != 0:
        raise SizingError(_died(folder))
    return 0


def write_settings(folder: Path) -> None:
    """Write the settings that keep the pages quiet, offline and this kit's own.

    They lie in the kit's corner of the folder, so that the settings of whatever
    else uses JupyterLab on this machine neither change nor matter.
    """
    corner = folder / CORNER
    ours = files("sizing.report")
    script = ours.joinpath("lab_extension.js").read_text("utf-8")
    page = {"disabledExtensions": dict.fromkeys(_DISABLED, True), **_NO_BUILD}
    texts = {
        "config/labconfig/default_setting_overrides.json": json.dumps(_OVERRIDES),
        "config/labconfig/page_config.json": json.dumps(page),
        "config/jupyter_server_config.py": _SERVER,
        "data/labextensions/sizing-lab/package.json": json.dumps(_EXTENSION),
        "data/labextensions/sizing-lab/static/extension.js": script,
        "ipython/profile_default/startup/warm.py": _WARM,
    }
    try:
        for name, text in texts.items():
            place = corner / name
            place.parent.mkdir(parents=True, exist_ok=True)
            write_text(place, text)
    except OSError as error:
        raise SizingError(
            f"{corner} cannot be written to ({error.strerror})."
        ) from None


_OVERRIDES: dict[str, dict[str, Any]] = {
    "@jupyterlab/notebook-extension:tracker": {
        "autoStartDefaultKernel": True,
        # One notebook's people take some hundred MB: give them back when it closes.
        "kernelShutdown": True,
        # Every cell is on the page, so that it prints and can be searched whole.
        "windowingMode": "none",
    },
    "@jupyterlab/apputils-extension:notification": {
        "checkForUpdates": False,
        "fetchNews": "false",
    },
    # A form's events come one after another, in the thread that runs the cells: in one
    # of their own they would draw while the page still draws, which matplotlib cannot.
    "@jupyterlab/apputils-extension:kernels-settings": {
        "commsOverSubshells": "disabled"
    },
    # Read by older eyes, and from the back of a room.
    "@jupyterlab/apputils-extension:themes": {
        "overrides": {"content-font-size1": "16px", "ui-font-size1": "14px"}
    },
}
#: How JupyterLab is told of lab_extension.js, which runs a notebook when it is opened.
_EXTENSION = {
    "name": "sizing-lab",
    "version": "0.1.0",
    "description": "Runs the sizing kit's notebooks when they are opened",
    "license": "MIT",
    "jupyterlab": {
        "extension": True,
        "_build": {"load": "static/extension.js", "extension": "./extension"},
    },
}
#: What the server does of ours (lab_server.py). Kernels whose page was closed end
#: after some minutes and give their memory back.
_SERVER = """\
from sizing.report.lab_server import Connection, Kernels, without_forms

c = get_config()
c.ContentsManager.pre_save_hook = without_forms
c.ServerApp.kernel_manager_class = Kernels
c.ServerApp.kernel_websocket_connection_class = Connection
c.MappingKernelManager.cull_idle_timeout = 600
c.MappingKernelManager.cull_interval = 60
"""
#: What each kernel does before its page asks for anything; the start page asks nothing.
_WARM = """\
import os

if not os.environ.get("JPY_SESSION_NAME", "").endswith("start.ipynb"):
    from sizing.report.lab_warm import warm

    warm()
    del warm
del os
"""
#: Whether JupyterLab's own files are to be built anew is no question here, and the
#: answer takes seconds of each page's opening.
_NO_BUILD = {"buildAvailable": False, "buildCheck": False}
#: What would ask another host, takes time when a page opens (asking for the formats
#: of an export loads them all), or has no use for whoever does not program.
_DISABLED = (
    "@jupyterlab/apputils-extension:announcements",
    "@jupyterlab/console-extension",
    "@jupyterlab/debugger-extension",
    "@jupyterlab/extensionmanager-extension",
    "@jupyterlab/fileeditor-extension:language-server",
    "@jupyterlab/hub-extension",
    "@jupyterlab/inspector-extension",
    "@jupyterlab/launcher-extension",
    "@jupyterlab/logconsole-extension",
    "@jupyterlab/lsp-extension",
    "@jupyterlab/mermaid-extension",
    "@jupyterlab/notebook-extension:code-console",
    "@jupyterlab/notebook-extension:export",
    "@jupyterlab/notebook-extension:language-server",
    "@jupyterlab/notebook-extension:log-output",
    "@jupyterlab/notebook-extension:update-raw-mimetype",
    "@jupyterlab/terminal-extension",
    "@jupyterlab/tooltip-extension:consoles",
    "@jupyterlab/vega5-extension",
)


def _port(asked: int | None) -> int:
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
            raise SizingError(
                f"Port {asked} cannot be used ({error.strerror}). What to do: leave "
                "--port out, and a free one is taken."
            ) from None
        return int(probe.getsockname()[1])


def _environment(folder: Path, token: str) -> dict[str, str]:
    """Return the environment of the pages: this kit, and nobody's settings."""
    corner = folder / CORNER
    kept = {k: v for k, v in os.environ.items() if not k.startswith("JUPYTER")}
    ours = {
        "IPYTHONDIR": str(corner / "ipython"),
        "JUPYTER_CONFIG_DIR": str(corner / "config"),
        "JUPYTER_DATA_DIR": str(corner / "data"),
        # The kernel is this Python, not one that another tool registered.
        "JUPYTER_PREFER_ENV_PATH": "1",
        "JUPYTER_TOKEN": token,
    }
    try:
        distribution("sizing")
    except PackageNotFoundError:
        # Run from a folder of source: the notebooks run elsewhere and need it too.
        here = str(Path(__file__).resolve().parents[2])
        paths = [here, kept["PYTHONPATH"]] if kept.get("PYTHONPATH") else [here]
        ours["PYTHONPATH"] = os.pathsep.join(paths)
    return kept | ours


def _start(folder: Path, port: int, token: str) -> subprocess.Popen[bytes]:
    options = {
        "ServerApp.ip": HOST,
        "ServerApp.port": port,
        "ServerApp.port_retries": 0,
        "ServerApp.root_dir": folder,
        "LabApp.open_browser": False,
        "ServerApp.terminals_enabled": False,
        # Root is common in a container, and no reason to refuse.
        "ServerApp.allow_root": True,
        "KernelManager.shutdown_wait_time": 2.0,
        "LabApp.extension_manager": "readonly",
        "LabApp.news_url": "None",
        "LabApp.check_for_updates_class": _NO_UPDATES,
    }
    words = [f"--{name}={value}" for name, value in options.items()]
    # In a group of its own Ctrl-C reaches us alone, and we stop it in order.
    group: dict[str, Any] = {"start_new_session": True}
    if sys.platform == "win32":
        group = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    with (folder / CORNER / "lab.log").open("wb") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", *words],
            cwd=folder,
            env=_environment(folder, token),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=subprocess.STDOUT,
            **group,
        )


def _wait(server: subprocess.Popen[bytes], port: int, token: str, folder: Path) -> None:
    """Wait until the pages answer."""
    request = urllib.request.Request(
        f"http://{HOST}:{port}/api/status", headers={"Authorization": f"token {token}"}
    )
    # No proxy: the pages are on this machine.
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    end = time.monotonic() + _PATIENCE
    while time.monotonic() < end:
        if server.poll() is not None:
            raise SizingError(_died(folder))
        try:
            with opener.open(request, timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.2)
    raise SizingError(
        f"The notebooks did not come up within {_PATIENCE:.0f} seconds. What to do: "
        f"try again; what JupyterLab said is in {folder / CORNER / 'lab.log'}"
    )


def _died(folder: Path) -> str:
    log = folder / CORNER / "lab.log"
    lines = log.read_text(encoding="utf-8", errors="replace").strip().splitlines()
    last = lines[-1].strip() if lines else "nothing"
    return (
        f"JupyterLab stopped by itself. The last it said: {last}\n"
        f"What to do: try again; everything it said is in {log}"
    )


def _end(server: subprocess.Popen[bytes]) -> None:
    """Stop the pages and the kernels they started."""
    if server.poll() is not None:
        return
    server.terminate()
    try:
        server.wait(_FAREWELL)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()


@contextmanager
def _stop_like_ctrl_c() -> Iterator[None]:
    """Let a closed window, or a polite request to end, stop us as Ctrl-C does."""

    def interrupt(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.getsignal(getattr(signal, name)) for name in names}
    try:
        for name in names:
            signal.signal(getattr(signal, name), interrupt)
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
