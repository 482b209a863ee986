"""The notebooks that come with the kit, laid in a folder of the user's own."""

import hashlib
import json
import os
from collections.abc import Mapping
from datetime import date
from importlib.abc import Traversable
from importlib.resources import files
from pathlib import Path

import pandas as pd

from sizing.errors import SizingError
from sizing.files.writing import write_bytes, write_text

#: The page that leads to the others.
START = "start.ipynb"
_SAID = {
    "new": "laid for you",
    "same": "as it came",
    "renewed": "renewed: you had not changed it",
    "kept": "yours, kept as you left it",
    "beside": "yours is kept; a newer one lies beside it",
    "mended": "it was damaged and is new; what it was lies beside it",
}


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
    folder: Path,
    *,
    state: Path,
    notebooks: Mapping[str, bytes] | None = None,
    today: date | None = None,
) -> pd.DataFrame:
    """Lay the kit's notebooks in a folder, never over the user's work.

    A file that is not there is laid. A file that she has changed, or only run and
    saved, is hers and stays as it is, under its name; where the kit has brought a
    newer one since, that is laid beside it, with the date in its name. A file that
    is still as the kit laid it is renewed. One that is damaged (no notebook, or
    without a cell that makes its forms) is moved aside and laid anew.

    One row per notebook: ``name``, ``laid_as`` (the file that holds the kit's newest,
    or what was damaged), ``outcome`` (new, same, renewed, kept, beside, mended),
    ``words``.
    """
    if notebooks is None:
        there = notebook_files().items()
        notebooks = {name: f.read_bytes() for name, f in there if name != START}
    day = (today or date.today()).isoformat()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        record = state / "laid" / f"{_digest(os.fsencode(folder.resolve()))}.json"
        record.parent.mkdir(parents=True, exist_ok=True)
        before = _read_laid(record)
        rows = [
            (name, *_lay(folder, name, content, before.get(name), day))
            for name, content in notebooks.items()
        ]
        now = {name: _mark(content) for name, content in notebooks.items()}
        write_text(record, json.dumps(before | now, indent=1))
    except OSError as error:
        raise SizingError(
            f"The folder {folder} cannot be written to ({error.strerror}). What to "
            "do: name another with --folder, or ask whoever looks after this computer."
        ) from None
    table = pd.DataFrame(rows, columns=["name", "laid_as", "outcome"])
    table["words"] = table["outcome"].map(_SAID)
    return table


def _lay(
    folder: Path, name: str, content: bytes, before: list[str] | None, day: str
) -> tuple[str, str]:
    """Lay one notebook; return the file that holds it, and what was done."""
    place = folder / name
    digest, *forms = before or ["", *_mark(content)[1:]]
    stem = name.removesuffix(".ipynb")
    if not os.path.lexists(place):
        write_bytes(place, content)
        return name, "new"
    # A link is not followed: it may lead to anything of the user's.
    plain = place.is_file() and not place.is_symlink()
    there = place.read_bytes() if plain else b""
    if there == content:
        return name, "same"
    if plain and _digest(there) == digest:
        write_bytes(place, content)
        return name, "renewed"
    if plain and not set(forms) <= set(_mark(there)[1:]):
        aside = _free(folder, f"{stem} (old {day}", None)
        place.rename(folder / aside)
        write_bytes(place, content)
        return aside, "mended"
    if _digest(content) == digest:
        return name, "kept"
    beside = _free(folder, f"{stem} (new {day}", content)
    write_bytes(folder / beside, content)
    return beside, "beside"


def _free(folder: Path, start: str, content: bytes | None) -> str:
    """Return a name that nothing has, or a file that holds just this."""
    name, count = f"{start}).ipynb", 1
    while os.path.lexists(folder / name):
        place = folder / name
        if place.is_file() and not place.is_symlink() and place.read_bytes() == content:
            break
        count += 1
        name = f"{start}, {count}).ipynb"
    return name


def _mark(content: bytes) -> list[str]:
    """Return what tells a notebook: its digest, and the cells that make its forms."""
    try:
        cells = json.loads(content)["cells"]
        forms = [str(cell["id"]) for cell in cells if cell["cell_type"] == "code"]
    except (ValueError, KeyError, TypeError, RecursionError):
        forms = []
    return [_digest(content), *forms]


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _read_laid(record: Path) -> dict[str, list[str]]:
    """Return what the kit laid here last, by file name."""
    try:
        laid = json.loads(record.read_text(encoding="utf-8"))
        return {str(name): [str(part) for part in mark] for name, mark in laid.items()}
    except (FileNotFoundError, ValueError, AttributeError, TypeError):
        # Not knowing what was laid only means that more files count as hers.
        return {}
