"""The user's own state folder, and an environment that no other folder reaches into."""

import os
import stat
import sys
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from sizing.errors import SizingError

#: Names the state folder to what runs in a kernel of ours; kernels that others start
#: keep nothing.
KEEPS = "SIZING_STATE"
#: How a server of ours is handed its token: no other user can read it there.
TOKEN = "SIZING_TOKEN"
#: Of Python's own variables, those that name no code.
_HARMLESS = [
    f"PYTHON{name}"
    for name in ["DONTWRITEBYTECODE", "HASHSEED", "IOENCODING", "NOUSERSITE", "UTF8"]
]
_FOREIGN = ("PYTHON", "JUPYTER", "IPYTHON", "JPY_", "VOILA", "MATPLOTLIBRC")


def state_folder() -> Path:
    """Return the folder of this user's settings, made if need be."""
    try:
        folder = _place_of_state() / "sizing"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if os.name == "posix" and stat.S_IMODE(folder.stat().st_mode) != 0o700:
            folder.chmod(0o700)
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise SizingError(
            f"The folder for the kit's own settings cannot be used ({reason}). "
            "Allowed: a folder of your own in which you may write. What to do: name "
            "one with the environment variable XDG_STATE_HOME (LOCALAPPDATA on "
            "Windows, HOME on a Mac)."
        ) from None
    return folder


def _place_of_state() -> Path:
    setting, usual = {
        "win32": ("LOCALAPPDATA", "AppData/Local"),
        "darwin": ("", "Library/Application Support"),
    }.get(sys.platform, ("XDG_STATE_HOME", ".local/state"))
    # A relative one would lead into whatever folder the command is run in.
    named = Path(os.environ.get(setting, ""))
    return named if named.is_absolute() else Path.home() / usual


def safe_environment(state: Path, token: str) -> dict[str, str]:
    """Return the environment for a server of ours and for its kernels.

    Whatever of Python, Jupyter and IPython may name the folder opened is left out.
    """
    kept = {
        name: value
        for name, value in os.environ.items()
        if name.upper() in _HARMLESS or not name.upper().startswith(_FOREIGN)
    }
    folders = ("config", "data", "runtime")
    ours = {
        "IPYTHONDIR": str(state / "ipython"),
        **{f"JUPYTER_{name.upper()}_DIR": str(state / name) for name in folders},
        # The kernel is this Python, not one that another tool registered.
        "JUPYTER_PREFER_ENV_PATH": "1",
        # Nothing is imported from the folder that something runs in.
        "PYTHONSAFEPATH": "1",
        KEEPS: str(state),
        TOKEN: token,
    }
    try:
        distribution("sizing")
    except PackageNotFoundError:
        # Run from a folder of source: what is started needs it too.
        ours["PYTHONPATH"] = str(Path(__file__).resolve().parents[1])
    return kept | ours
