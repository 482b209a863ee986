"""What a command reads and writes, checked before any work; the user's state folder."""

import os
import stat
import sys
import unicodedata
from collections.abc import Collection
from importlib.metadata import PackageNotFoundError, distribution
from itertools import islice
from pathlib import Path

from sizing.errors import SizingError
from sizing.files.folders import try_place
from sizing.resources import texts

_T: dict[str, str] = texts("files").places

#: Most files of the user's own in a folder that results are to join: our choice. A
#: folder with more is a desktop or a home, in which nothing should be replaced.
_MOST_OWN = 1000
#: As long as the folders of a part, in which results lie before they are moved.
_DEEPER = "x" * 33


class Places:
    """What a command reads and writes, checked at once: nothing over what is read."""

    def __init__(self) -> None:
        self._read: list[Path] = []
        self._written: list[tuple[Path, str, str]] = []

    def reads(self, *paths: str | os.PathLike[str] | None) -> None:
        """Tell of files that are read, also of those named in another file."""
        self._read += [Path(path) for path in paths if path is not None]
        self._check()

    def writes(
        self, path: str | os.PathLike[str], *, endings: Collection[str], option: str
    ) -> None:
        path = Path(path)
        what = _unusable(path)
        if not what and path.suffix.lower() not in endings:
            what = _T["ending"]
        if what or path.is_dir():
            named = f"a name ending in {' or '.join(endings)}"
            allowed = f"{named}, in a folder that exists"
            raise _refusal(path, what or _T["folder"], allowed, option)
        self._written.append((path, str(path), option))
        self._check()

    def fills(
        self, folder: str | os.PathLike[str], *, names: Collection[str], option: str
    ) -> None:
        """Tell of a folder that is written, made if it is not there."""
        folder = Path(folder)
        what = _unusable(folder, folder=True)
        for name in names:
            what = what or _taken(folder, name)
        if what := what or (_not_its_own(folder) if names else ""):
            allowed = "a folder of its own, made if it is not there"
            raise _refusal(folder, what, allowed, option)
        self._written += [(folder / name, str(folder), option) for name in names]
        self._check()

    def _check(self) -> None:
        for at, (path, shown, option) in enumerate(self._written):
            what, whole = "", shown == str(path)
            if any(_is_or_holds(path, read) for read in self._read):
                what = _T["read" if whole else "read_within"].format(name=path.name)
            elif any(_is_or_holds(path, other) for other, _, _ in self._written[:at]):
                what = _T["twice"]
            if what:
                kind = "file" if whole else "folder"
                raise _refusal(Path(shown), what, f"a {kind} of its own", option)


def _refusal(path: Path, what: str, allowed: str, option: str) -> SizingError:
    shown = str(path).replace("\x00", "?")
    shown = shown if len(shown) < 200 else f"{shown[:100]} ... {shown[-50:]}"
    action = f"name another with {option}"
    return SizingError(what, allowed=allowed, action=action, file=shown)


def _unusable(path: Path, *, folder: bool = False) -> str:
    try:
        place = Path(os.path.realpath(path))
        home = place.parent
        if os.path.lexists(place):
            if folder and not place.is_dir():
                return _T["file"]
            if not place.is_file() and not place.is_dir():
                return _T["odd"]
            if not os.access(place, os.W_OK):
                return _T["protected"]
        while folder and not os.path.lexists(home):
            home = home.parent
        if not home.is_dir():
            there = folder or os.path.lexists(home)
            return _T["home_file" if there else "no_home"].format(home=home)
        # Finds names and paths that are too long.
        place.lstat()
    except FileNotFoundError:
        pass
    except (OSError, ValueError, RuntimeError) as error:
        reason = getattr(error, "strerror", None)
        return _T["no_name"] + (f" ({reason})" if reason else "")
    try:
        try_place(home)
    except OSError as error:
        return _T["unwritable"].format(home=home, reason=error.strerror)
    return ""


def _taken(folder: Path, name: str) -> str:
    path = folder / name
    for place in (folder.parent / _DEEPER / folder.name / name, path):
        try:
            place.lstat()
        except FileNotFoundError:
            pass
        except OSError as error:
            return _T["no_part"].format(name=name, reason=error.strerror)
    words, wanted = "", name.endswith("/")
    if path.exists() and path.is_dir() != wanted:
        words = "part_folder" if wanted else "part_file"
    elif path.exists() and not os.access(path, os.W_OK):
        words = "part_protected"
    return _T[words].format(name=name) if words else ""


def _not_its_own(folder: Path) -> str:
    place, here = Path(os.path.realpath(folder)), Path.cwd()
    if place == here or place in here.parents:
        return _T["here"]
    if os.path.ismount(place):
        return _T["drive"]
    own = (name for _, folders, files in os.walk(place) for name in (*folders, *files))
    crowded = next(islice(own, _MOST_OWN, None), None) is not None
    return _T["crowded"].format(most=_MOST_OWN) if crowded else ""


def _is_or_holds(path: Path, other: Path) -> bool:
    """Say whether two names mean the same file, or one a folder around the other."""
    try:
        if path.exists() and other.exists() and path.samefile(other):
            return True
        one, two = _plain(path), _plain(other)
    except (OSError, ValueError, RuntimeError):
        # What cannot be looked for cannot be lost.
        return False
    return one == two or (path.is_dir() and one in two.parents)


def _plain(path: Path) -> Path:
    """Return a path as the least exact of systems takes it."""
    return Path(unicodedata.normalize("NFC", os.path.realpath(path)).casefold())


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
        setting, usual = {
            "win32": ("LOCALAPPDATA", "AppData/Local"),
            "darwin": ("", "Library/Application Support"),
        }.get(sys.platform, ("XDG_STATE_HOME", ".local/state"))
        # A relative one would lead into whatever folder the command is run in.
        named = Path(os.environ.get(setting, ""))
        folder = (named if named.is_absolute() else Path.home() / usual) / "sizing"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if os.name == "posix" and stat.S_IMODE(folder.stat().st_mode) != 0o700:
            folder.chmod(0o700)
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise SizingError(
            f"The folder for the kit's own settings cannot be used ({reason})",
            allowed="a folder of your own in which you may write",
            action="name one with the environment variable XDG_STATE_HOME "
            "(LOCALAPPDATA on Windows, HOME on a Mac)",
        ) from None
    return folder


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
