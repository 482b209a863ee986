"""``sizing lab``: the pages' code in JupyterLab, from a folder of the user's own."""

import argparse
import json
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from sizing.app.notebooks import lay_notebooks
from sizing.app.serve import HOST, add_server, asked_for, serve, write_profile
from sizing.errors import SizingError
from sizing.files.writing import write_text

_NO_UPDATES = "jupyterlab.handlers.announcements.NeverCheckForUpdate"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    words = (
        "your own folder for the notebooks; what you changed stays as it is, what you "
        "delete is laid anew"
    )
    add_server(parser, folder="my-notebooks", words=words)


def run(args: argparse.Namespace) -> int:
    """Lay the notebooks, open them, and stay until they are stopped."""
    if find_spec("jupyterlab") is None:
        raise SizingError(
            "JupyterLab is not installed beside the kit. What to do: "
            f"{sys.executable} -m pip install jupyterlab"
        )
    folder, port, state = asked_for(args)
    beside = lay_notebooks(folder, state=state)
    write_settings(state)
    for name, newer in beside.items():
        print(f"Your own {name} is kept; the newer one is '{newer}'.")
    print(f"Your notebooks: {folder}")
    serve(
        ["-m", "jupyterlab", *_options(folder, port)],
        port=port,
        page="lab",
        state=state,
        alive="api/status",
        browser=not args.no_browser,
    )
    print("Stopped. Your notebooks stay in their folder.")
    return 0


def write_settings(state: Path) -> None:
    """Write the settings that keep JupyterLab quiet and offline.

    They lie in the user's own state folder, so that neither what came with the
    notebooks nor the settings of whatever else uses JupyterLab here change them.
    """
    write_profile(state)
    place = state / "config" / "labconfig"
    place.mkdir(parents=True, exist_ok=True)
    page = {"disabledExtensions": dict.fromkeys(_DISABLED, True)}
    write_text(place / "default_setting_overrides.json", json.dumps(_OVERRIDES))
    write_text(place / "page_config.json", json.dumps(page))


_OVERRIDES: dict[str, dict[str, Any]] = {
    "@jupyterlab/apputils-extension:notification": {
        "checkForUpdates": False,
        "fetchNews": "false",
    },
    # A form's events come one after another, in the thread that runs the cells: in one
    # of their own they would draw while the page still draws, which matplotlib cannot.
    "@jupyterlab/apputils-extension:kernels-settings": {
        "commsOverSubshells": "disabled"
    },
}
#: What would ask another host.
_DISABLED = (
    "@jupyterlab/apputils-extension:announcements",
    "@jupyterlab/extensionmanager-extension",
)


def _options(folder: Path, port: int) -> list[str]:
    """Return the settings that matter, where no settings file can override them."""
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
        "ContentsManager.allow_hidden": False,
        "KernelManager.shutdown_wait_time": 2.0,
        "LabApp.open_browser": False,
        "LabApp.extension_manager": "readonly",
        "LabApp.news_url": "None",
        "LabApp.check_for_updates_class": _NO_UPDATES,
    }
    return [f"--{name}={value}" for name, value in options.items()]
