"""Write files, and folders of them, whole or not at all.

What is written lies first in a part beside its place, locked while its writer lives,
and is then moved in one step. Nothing but the standard library is loaded.
"""

import contextlib
import ctypes
import errno
import os
import re
import secrets
import shutil
import sys
import time
from collections.abc import Callable, Collection, Iterator, Mapping
from pathlib import Path
from typing import IO

from sizing.errors import SizingError

#: No file of anybody else's is called so.
_PART = re.compile(r"\.sizing-[0-9a-f]{16}\.part")
#: In a folder's part: who holds it and what it writes; what will be; what was.
_LOCK, _NEW, _BEFORE = "lock", "new", "before"
#: What swaps two folders in one step, and what to call it with; 2 asks for a swap.
_SWAPS = {"linux": ("renameat2", True), "darwin": ("renamex_np", False)}
_HERE = -100
_TRIES = 20
#: For so many seconds a folder in use is asked for.
_WAIT = 10.0
_NO_SWAP = (errno.ENOSYS, errno.EINVAL, errno.EXDEV, errno.ENOTSUP)


def write_bytes(path: str | Path, content: bytes, *, fresh: bool = False) -> Path:
    path = Path(path)
    with _plainly(path, "file", fresh=fresh):
        # A link that leads nowhere has the name, too.
        home = os.path.realpath(path.parent)
        place = Path(home, path.name) if fresh else Path(os.path.realpath(path))
        if fresh and os.path.lexists(place):
            raise FileExistsError
        if place.exists() and not place.is_file():
            raise OSError(None, "there is a folder or device of this name")
        if place.exists() and not os.access(place, os.W_OK):
            raise OSError(None, "the file there is protected")
        clear_leftovers(place.parent)
        with _part(place.parent) as (beside, handle):
            handle.write(content)
            handle.flush()
            os.fsync(handle.fileno())
            if place.exists():
                shutil.copymode(place, beside)
            if sys.platform == "win32":
                handle.close()
            if fresh:
                _claim(beside, place)
            else:
                os.replace(beside, place)
    return path


def write_text(path: str | Path, text: str, *, fresh: bool = False) -> Path:
    """Write text in UTF-8, whole or not at all, as ``write_bytes`` does."""
    return write_bytes(path, text.encode("utf-8", errors="replace"), fresh=fresh)


def write_folder(
    folder: str | Path,
    files: Mapping[str, bytes],
    *,
    kept: Mapping[str, str] | None = None,
    stale: Collection[str] = (),
) -> list[Path]:
    kept = kept or {}
    with _plainly(folder, "folder"):
        place = Path(os.path.realpath(folder))
        place.parent.mkdir(parents=True, exist_ok=True)
        clear_leftovers(place.parent)
        with _part(place.parent, folder=True) as (part, handle):
            ours = {*files, *stale} - set(kept) | set(kept.values())
            handle.write("\n".join(sorted(ours)).encode())
            handle.flush()
            staged = part / _NEW / place.name
            for name, content in files.items():
                _put(staged / name, content)
            (part / _BEFORE).mkdir()
            for _ in range(_TRIES):
                written = dict.fromkeys(files)
                if place.exists():
                    written = _joined(place, staged, files, kept, stale)
                # Again where another run was quicker.
                with contextlib.suppress(FileNotFoundError, FileExistsError):
                    if _swapped(staged, place, part / _BEFORE / place.name):
                        break
            else:
                raise OSError(None, "something else keeps writing there")
    return [Path(folder) / name for name in written]


def clear_leftovers(home: Path) -> None:
    """Clear away what stopped writers left; a folder that is missing is put back."""
    names: list[str] = []
    with contextlib.suppress(OSError):
        names = os.listdir(home)
    for name in filter(_PART.fullmatch, names):
        with contextlib.suppress(OSError):
            _clear(home / name)


def make_folder(folder: str | Path) -> None:
    with _plainly(folder, "folder"):
        Path(folder).mkdir(parents=True, exist_ok=True)


@contextlib.contextmanager
def only_writer(home: Path) -> Iterator[None]:
    """Let one writer at a time into a folder: who reads a file and writes it anew."""
    with _plainly(home, "folder"):
        handle = open(home / ".sizing-lock", "a+b")  # noqa: SIM115 - closed below
    with handle:
        until = time.monotonic() + _WAIT
        while not (ours := _lock(handle)) and time.monotonic() < until:
            time.sleep(_WAIT / 200)
        if not ours:
            raise SizingError(
                "something else keeps writing in this folder",
                action="close the other pages that write there, and try again",
                file=str(home),
            )
        yield


def try_place(home: Path) -> None:
    """Try whether files can be made in a folder; leaves nothing."""
    clear_leftovers(home)
    with _part(home):
        pass


def _clear(part: Path) -> None:
    folder = part.is_dir()
    with contextlib.suppress(OSError):
        # One without a lock is empty, or has just been made and is made again.
        part.rmdir()
        return
    with open(part / _LOCK if folder else part, "r+b") as handle:
        if not _lock(handle) or not os.path.exists(handle.name):
            return
        if folder:
            _finish(part, handle)
    _remove(part)


def _remove(part: Path) -> None:
    if not part.is_dir():
        part.unlink(missing_ok=True)
        return
    for name in (_NEW, _BEFORE):
        shutil.rmtree(part / name, ignore_errors=True)
    # The lock last: what lies in a part without one would never be cleared.
    (part / _LOCK).unlink(missing_ok=True)
    part.rmdir()


def _finish(part: Path, handle: IO[bytes]) -> None:
    handle.seek(0)
    ours = handle.read().decode().split("\n")
    for old in (part / _BEFORE).glob("*"):
        place = part.parent / old.name
        if place.exists():
            _carry(old, place, ours, os.replace)
        else:
            os.rename(old, place)


@contextlib.contextmanager
def _part(home: Path, *, folder: bool = False) -> Iterator[tuple[Path, IO[bytes]]]:
    for left in reversed(range(_TRIES)):
        part = home / f".sizing-{secrets.token_hex(8)}.part"
        held = part / _LOCK if folder else part
        try:
            if folder:
                part.mkdir()
            handle = open(held, "x+b")  # noqa: SIM115 - closed below, or made anew
        except FileNotFoundError:
            if left and home.is_dir():
                continue
            raise
        _lock(handle)
        # Another writer may have cleared it away before it was locked.
        with contextlib.suppress(FileNotFoundError):
            if os.path.samestat(os.fstat(handle.fileno()), os.stat(held)):
                break
        handle.close()
    try:
        yield part, handle
    finally:
        with contextlib.suppress(OSError), handle:
            if folder:
                _finish(part, handle)
        with contextlib.suppress(OSError):
            _remove(part)


def _lock(handle: IO[bytes]) -> bool:
    """Lock a part; say whether it is ours now. The lock ends with the process."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _put(path: Path, content: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "wb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())


def _claim(beside: Path, place: Path) -> None:
    try:
        os.link(beside, place)
    except FileExistsError:
        raise
    except OSError:
        # A file system without links: an empty file holds the name for a moment.
        open(place, "xb").close()
        os.replace(beside, place)


def _joined(
    place: Path,
    staged: Path,
    files: Mapping[str, bytes],
    kept: Mapping[str, str],
    stale: Collection[str],
) -> dict[str, None]:
    """Let what is the user's join the new results; return their names."""
    names: dict[str, None] = {}
    for name, content in files.items():
        there, shown = place / name, name
        if name in kept and there.is_file() and there.read_bytes() != content:
            shown = kept[name]
            _put(staged / shown, content)
            _link(there, staged / name)
        elif there.exists():
            shutil.copymode(there, staged / name)
        names[shown] = None
    _carry(place, staged, {*files, *names, *stale}, _link)
    shutil.copymode(place, staged)
    return names


def _carry(
    old: Path, new: Path, ours: Collection[str], put: Callable[[Path, Path], object]
) -> None:
    """Take over what is not ours and is missing, or older, in the new folder."""
    for entry in sorted(old.rglob("*")):
        name = entry.relative_to(old).as_posix()
        there = new / name
        with contextlib.suppress(FileNotFoundError):
            if entry.is_dir() and not entry.is_symlink():
                there.mkdir(exist_ok=True)
            elif name not in ours and (
                not os.path.lexists(there)
                or entry.lstat().st_mtime_ns > there.lstat().st_mtime_ns
            ):
                put(entry, there)


def _link(old: Path, new: Path) -> None:
    new.unlink(missing_ok=True)
    try:
        os.link(old, new, follow_symlinks=False)
    except (OSError, NotImplementedError):
        shutil.copy2(old, new, follow_symlinks=False)


def _swapped(staged: Path, place: Path, before: Path) -> bool:
    if os.path.lexists(place) and not place.is_dir():
        raise OSError(None, "there is a file of this name")
    if not place.exists():
        try:
            os.rename(staged, place)
        except OSError as error:
            if error.errno in (errno.ENOTEMPTY, errno.EEXIST):
                return False
            raise
    elif _exchange(staged, place):
        os.rename(staged, before)
    else:
        # Stopped between the two, the next writer here puts it back.
        os.rename(place, before)
        os.rename(staged, place)
    return True


def _exchange(one: Path, other: Path) -> bool:
    """Swap two folders in one step, where the system can."""
    name, at = _SWAPS.get(sys.platform, ("", False))
    call = getattr(ctypes.CDLL(None, use_errno=True), name, None) if name else None
    if call is None:
        return False
    paths = [ctypes.c_char_p(os.fsencode(path)) for path in (one, other)]
    words = [_HERE, paths[0], _HERE, paths[1]] if at else paths
    if call(*words, 2) == 0:
        return True
    number = ctypes.get_errno()
    if number in _NO_SWAP:
        return False
    raise OSError(number, os.strerror(number), str(other))


@contextlib.contextmanager
def _plainly(path: str | Path, kind: str, *, fresh: bool = False) -> Iterator[None]:
    try:
        yield
    except (OSError, ValueError) as error:
        if fresh and isinstance(error, FileExistsError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise SizingError(
            f"the {kind} cannot be written: {reason}",
            allowed="a place you may write to, with room on it",
            action=f"close the {kind} where it is open, or name another",
            file=str(path).replace("\x00", "?"),
        ) from error
