"""The notebooks that come with the kit, laid in a folder of the user's own."""

import contextlib
import hashlib
import os
from collections.abc import Mapping
from importlib.abc import Traversable
from importlib.resources import files
from pathlib import Path

from sizing.errors import SizingError
from sizing.files.writing import write_bytes

#: The page that leads to the others.
START = "start.ipynb"


def notebook_files() -> dict[str, Traversable]:
    """Return the notebooks that came with this install, by file name."""
    try:
        folder: Traversable = files("sizing.notebooks")
    except ModuleNotFoundError:
        # As in sizing/resources.py: a checkout has the folder beside the package.
        folder = Path(__file__).resolve().parents[2] / "notebooks"
    found = {}
    if folder.is_dir():
        found = {f.name: f for f in folder.iterdir() if f.name.endswith(".ipynb")}
    if START not in found:
        raise SizingError(
            "The notebooks did not come with this install of the kit. What to do: "
            "install it again from the folder you downloaded."
        )
    return dict(sorted(found.items()))


def lay_notebooks(
    folder: Path, *, state: Path, notebooks: Mapping[str, bytes] | None = None
) -> dict[str, str]:
    """Lay the kit's notebooks in a folder, never over the user's work.

    A file that is not there is laid, and one that is still as the kit laid it is
    renewed. One that she has changed, or only run and saved, is hers and stays; where
    the kit has brought a newer one since, that is laid beside it. Returned: for each
    notebook laid beside hers, the file's name.
    """
    if notebooks is None:
        there = notebook_files().items()
        notebooks = {name: f.read_bytes() for name, f in there if name != START}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        laid = state / "laid" / _digest(os.fsencode(folder.resolve()))
        laid.mkdir(parents=True, exist_ok=True)
        found = {
            name: _lay(folder / name, content, laid / name)
            for name, content in notebooks.items()
        }
    except OSError as error:
        raise SizingError(
            f"The folder {folder} cannot be written to ({error.strerror}). What to "
            "do: name another with --folder, or ask whoever looks after this computer."
        ) from None
    return {name: beside for name, beside in found.items() if beside != name}


def _lay(place: Path, content: bytes, record: Path) -> str:
    """Lay one notebook, of which ``record`` is what was laid last; return its name."""
    before = record.read_bytes() if record.is_file() else None
    # A link is not followed: it may lead to anything of the user's.
    plain = place.is_file() and not place.is_symlink()
    there = place.read_bytes() if plain else None
    name = place.name
    if not os.path.lexists(place) or (plain and there == before):
        write_bytes(place, content)
    elif content not in (there, before):
        name = f"{place.stem} (new, {_digest(content)[:6]}).ipynb"
        with contextlib.suppress(FileExistsError):
            write_bytes(place.with_name(name), content, fresh=True)
    write_bytes(record, content)
    return name


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
