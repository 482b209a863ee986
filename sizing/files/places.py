"""Every file a command reads and writes, in one place, checked before any work.

Nothing but the standard library is loaded: an unusable place is told at once.
"""

import os
import unicodedata
from collections.abc import Collection
from pathlib import Path

from sizing.errors import SizingError
from sizing.files.folders import try_place

#: Most files of the user's own in a folder that results are to join: our choice. A
#: folder with more is a desktop or a home, in which nothing should be replaced.
_MOST_OWN = 1000
#: As long as the folders of a part, in which results lie before they are moved.
_DEEPER = "x" * 33


class Places:
    """What one command reads and writes; each file told is checked at once.

    A file that is read is never written over, and none is written twice: not under
    another link to it, nor under a name that differs only in capitals, since many
    systems take that for the same.
    """

    def __init__(self) -> None:
        self._read: list[Path] = []
        self._written: list[tuple[Path, str, str]] = []

    def reads(self, *paths: str | os.PathLike[str] | None) -> None:
        """Tell of files that are read, also of those named in another file."""
        for path in paths:
            if path is not None:
                self._read.append(Path(path))
        self._check()

    def writes(
        self, path: str | os.PathLike[str], *, endings: Collection[str], option: str
    ) -> None:
        """Tell of a file that is written."""
        path = Path(path)
        allowed = f"a name ending in {' or '.join(endings)}, in a folder that exists"
        what = _unusable(path)
        if not what and path.suffix.lower() not in endings:
            what = "the name ends in another way"
        if not what and path.is_dir():
            what = "this is a folder"
        if what:
            raise _refusal(path, what, allowed, option)
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
        if not what and names:
            what = _not_its_own(folder)
        if what:
            allowed = "a folder of its own, made if it is not there"
            raise _refusal(folder, what, allowed, option)
        for name in names:
            self._written.append((folder / name, str(folder), option))
        self._check()

    def _check(self) -> None:
        """Refuse a file that is both read and written, or written twice."""
        for at, (path, shown, option) in enumerate(self._written):
            what = ""
            if any(_is_or_holds(path, read) for read in self._read):
                what = "this is one of the files to be read, which would be lost"
                if shown != str(path):
                    what = f"{path.name} in it is to be read and would be lost"
            elif any(_is_or_holds(path, other) for other, _, _ in self._written[:at]):
                what = "this is to be written twice"
            if what:
                kind = "file" if shown == str(path) else "folder"
                raise _refusal(Path(shown), what, f"a {kind} of its own", option)


def _refusal(path: Path, what: str, allowed: str, option: str) -> SizingError:
    shown = str(path).replace("\x00", "?")
    shown = shown if len(shown) < 200 else f"{shown[:100]} ... {shown[-50:]}"
    action = f"name another with {option}"
    return SizingError(what, allowed=allowed, action=action, file=shown)


def _unusable(path: Path, *, folder: bool = False) -> str:
    """Say why nothing can be written there, if so."""
    try:
        place = Path(os.path.realpath(path))
        home = place.parent
        if os.path.lexists(place):
            if folder and not place.is_dir():
                return "this is a file, not a folder"
            if not place.is_file() and not place.is_dir():
                return "this is no plain file"
            if not os.access(place, os.W_OK):
                return "it is protected: you have no right to write there"
        while folder and not os.path.lexists(home):
            home = home.parent
        if not home.is_dir():
            missing = folder or os.path.lexists(home)
            what = "is a file, not a folder" if missing else "is no folder"
            return f"{home} {what}" if missing else "there is no such folder"
        # Finds names and paths that are too long.
        place.lstat()
    except FileNotFoundError:
        pass
    except (OSError, ValueError, RuntimeError) as error:
        reason = getattr(error, "strerror", None)
        return "there cannot be one of this name" + (f" ({reason})" if reason else "")
    try:
        try_place(home)
    except OSError as error:
        return f"nothing can be written in {home} ({error.strerror})"
    return ""


def _taken(folder: Path, name: str) -> str:
    """Say what keeps one of the results from being written, if anything does."""
    path = folder / name
    for place in (folder.parent / _DEEPER / folder.name / name, path):
        try:
            place.lstat()
        except FileNotFoundError:
            pass
        except OSError as error:
            return f"there cannot be {name} in it ({error.strerror})"
    if not path.exists():
        return ""
    if path.is_dir() != name.endswith("/"):
        return f"{name} in it is no {'folder' if name.endswith('/') else 'file'}"
    if not os.access(path, os.W_OK):
        return f"{name} in it is protected"
    return ""


def _not_its_own(folder: Path) -> str:
    """Say why a folder cannot be replaced by one with results, if so."""
    place = Path(os.path.realpath(folder))
    here = Path.cwd()
    if place == here or place in here.parents:
        return "this is the folder you are in, or one around it"
    if os.path.ismount(place):
        return "this is a drive, not a folder on one"
    own = 0
    for _, folders, files in os.walk(place):
        own += len(folders) + len(files)
        if own > _MOST_OWN:
            return f"more than {_MOST_OWN:,} files lie in it"
    return ""


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
