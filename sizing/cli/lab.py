"""``sizing lab``: the notebooks and their code, in a browser, from a folder of hers."""

import argparse
import json
import sys
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from sizing.app.serve import HOST, free_port, serve
from sizing.errors import SizingError
from sizing.places import Places
from sizing.report.lab_notebooks import lay_notebooks
from sizing.state import state_folder
from sizing.writing import write_text

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
    folder = args.folder.expanduser()
    Places().fills(folder, names=(), option="--folder")
    folder = folder.resolve()
    port = free_port(args.port)
    state = state_folder()
    laid = lay_notebooks(folder, state=state)
    write_settings(state)
    for row in laid.query("outcome == 'beside'").itertuples():
        print(f"Your own {row.name} is kept; the newer one is '{row.laid_as}'.")
    for row in laid.query("outcome == 'mended'").itertuples():
        print(f"{row.name} was damaged and is new; what it was is '{row.laid_as}'.")
    print(f"Your notebooks: {folder}")
    serve(
        ["-m", "jupyterlab", *_options(folder, port)],
        port=port,
        page=_PAGE,
        state=state,
        alive="api/status",
        browser=not args.no_browser,
    )
    print("Stopped. Your notebooks stay in their folder.")
    return 0


def write_settings(state: Path) -> None:
    """Write the settings that keep the pages quiet, offline and this kit's own.

    They lie in the user's own state folder, so that neither what came with the
    notebooks nor the settings of whatever else uses JupyterLab here change them.
    """
    ours = files("sizing.report")
    script = ours.joinpath("lab_extension.js").read_text("utf-8")
    page = {"disabledExtensions": dict.fromkeys(_DISABLED, True), **_NO_BUILD}
    texts = {
        "config/labconfig/default_setting_overrides.json": json.dumps(_OVERRIDES),
        "config/labconfig/page_config.json": json.dumps(page),
        "data/labextensions/sizing-lab/package.json": json.dumps(_EXTENSION),
        "data/labextensions/sizing-lab/static/extension.js": script,
        "ipython/profile_default/ipython_kernel_config.py": _KERNEL,
        "ipython/profile_default/startup/warm.py": _WARM,
    }
    try:
        for name, text in texts.items():
            place = state / name
            place.parent.mkdir(parents=True, exist_ok=True)
            write_text(place, text)
    except OSError as error:
        raise SizingError(f"{state} cannot be written to ({error.strerror}).") from None


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
#: What each kernel does before its page asks for anything; the start page asks nothing.
#: matplotlib would take settings from the folder of the notebooks.
_WARM = """\
import os

here = os.getcwd()
os.chdir(os.environ["SIZING_STATE"])
import matplotlib

os.chdir(here)
if not os.environ.get("JPY_SESSION_NAME", "").endswith("start.ipynb"):
    from sizing.report.lab_warm import warm

    warm()
    del warm
del here, os, matplotlib
"""
#: Nothing is imported from the folder of the notebooks, and no list kept of what ran.
_KERNEL = """\
c = get_config()
c.InteractiveShellApp.ignore_cwd = True
c.HistoryManager.enabled = False
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


def _options(folder: Path, port: int) -> list[str]:
    """Return the settings that matter, where no settings file can override them."""
    ours = "sizing.report.lab_server"
    options = {
        "ServerApp.ip": HOST,
        "ServerApp.port": port,
        "ServerApp.port_retries": 0,
        "ServerApp.root_dir": folder,
        "ServerApp.identity_provider_class": "sizing.app.guard.OneToken",
        "ServerApp.allow_unauthenticated_access": False,
        "ServerApp.allow_origin": "",
        "ServerApp.allow_origin_pat": "",
        "ServerApp.allow_remote_access": False,
        "ServerApp.disable_check_xsrf": False,
        "ServerApp.terminals_enabled": False,
        # Root is common in a container, and no reason to refuse.
        "ServerApp.allow_root": True,
        "ServerApp.kernel_manager_class": f"{ours}.Kernels",
        "ServerApp.kernel_websocket_connection_class": f"{ours}.Connection",
        "ContentsManager.allow_hidden": False,
        "ContentsManager.pre_save_hook": f"{ours}.without_forms",
        # Kernels whose page was closed end and give their memory back.
        "MappingKernelManager.cull_idle_timeout": 600,
        "MappingKernelManager.cull_interval": 60,
        "KernelManager.shutdown_wait_time": 2.0,
        "LabApp.open_browser": False,
        "LabApp.extension_manager": "readonly",
        "LabApp.news_url": "None",
        "LabApp.check_for_updates_class": _NO_UPDATES,
    }
    return [f"--{name}={value}" for name, value in options.items()]
