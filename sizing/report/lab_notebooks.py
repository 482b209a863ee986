"""The notebooks that come with the kit, laid in a folder of the user's own."""

import hashlib
import json
from collections.abc import Mapping
from datetime import date
from importlib.abc import Traversable
from importlib.resources import files
from pathlib import Path

import pandas as pd

from sizing.errors import SizingError
from sizing.writing import write_bytes, write_text

#: The kit's own corner in the user's folder: what it laid, settings, its log.
CORNER = ".sizing"
_LAID = "laid.json"
_START = "start.ipynb"
_WAY_BACK = {
    "cell_type": "markdown",
    "id": "way-back",
    "metadata": {},
    "source": "[Back to the start page](start.ipynb). *This page gets itself ready in "
    "some seconds; the forms work when the answers are there.*",
}
_SAID = {
    "new": "laid for you",
    "same": "as it came",
    "renewed": "renewed: you had not changed it",
    "kept": "yours, kept as you left it",
    "beside": "yours is kept; a newer one lies beside it",
}


def notebook_files() -> dict[str, Traversable]:
    """Return the notebooks that came with this install, by file name.

    Raises
    ------
    SizingError
        If the kit was installed without them.

    Examples
    --------
    >>> "start.ipynb" in notebook_files()
    True
    """
    try:
        folder: Traversable = files("sizing.notebooks")
    except ModuleNotFoundError:
        # As in sizing/resources.py: a checkout has the folder beside the package.
        folder = Path(__file__).resolve().parents[2] / "notebooks"
    found = {}
    if folder.is_dir():
        found = {f.name: f for f in folder.iterdir() if f.name.endswith(".ipynb")}
    if _START not in found:
        raise SizingError(
            "The notebooks did not come with this install of the kit. What to do: "
            "install it again from the folder you downloaded."
        )
    return dict(sorted(found.items()))


def prepared_notebooks() -> dict[str, bytes]:
    """Return the notebooks as they are laid: every page runs when it is opened.

    Each but the start page begins with the way back to it, and asks to be run on
    opening (see lab_extension.js).
    """
    prepared = {}
    for name, file in notebook_files().items():
        notebook = json.loads(file.read_text(encoding="utf-8"))
        if name != _START:
            notebook["metadata"]["sizing"] = {"run_on_open": True}
            notebook["cells"].insert(0, _WAY_BACK)
        text = json.dumps(notebook, indent=1, ensure_ascii=False)
        prepared[name] = f"{text}\n".encode()
    return prepared


def lay_notebooks(
    folder: Path,
    *,
    notebooks: Mapping[str, bytes] | None = None,
    today: date | None = None,
) -> pd.DataFrame:
    """Lay the kit's notebooks in a folder, never over the user's work.

    A file that is not there is laid. A file that she has changed, or only run and
    saved, is hers and stays as it is, under its name; where the kit has brought a
    newer one since, that is laid beside it, with the date in its name. A file that
    is still as the kit laid it is renewed.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    notebooks : mapping, optional
        File name to content; those that came with the kit if None.
    today : date, optional
        The date in the name of a file laid beside hers.

    Returns
    -------
    DataFrame
        One row per notebook: ``name``, ``laid_as`` (the file that holds the kit's
        newest), ``outcome`` (new, same, renewed, kept, beside), ``words``.

    Raises
    ------
    SizingError
        If the folder cannot be written to.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     laid = lay_notebooks(Path(folder))
    >>> set(laid["outcome"])
    {'new'}
    """
    if notebooks is None:
        notebooks = prepared_notebooks()
    day = (today or date.today()).isoformat()
    try:
        (folder / CORNER / "data").mkdir(parents=True, exist_ok=True)
        before = _read_laid(folder)
        rows = [
            (name, *_lay(folder, name, content, before.get(name), day))
            for name, content in notebooks.items()
        ]
        _sign(folder, notebooks)
        now = {name: _digest(content) for name, content in notebooks.items()}
        write_text(folder / CORNER / _LAID, json.dumps(before | now, indent=1))
    except OSError as error:
        raise SizingError(
            f"The folder {folder} cannot be written to ({error.strerror}). What to "
            "do: name another with --folder, or ask whoever looks after this computer."
        ) from None
    table = pd.DataFrame(rows, columns=["name", "laid_as", "outcome"])
    table["words"] = table["outcome"].map(_SAID)
    return table


def _lay(
    folder: Path, name: str, content: bytes, before: str | None, day: str
) -> tuple[str, str]:
    """Lay one notebook; return the file that holds it, and what was done."""
    place = folder / name
    if not place.exists():
        write_bytes(place, content)
        return name, "new"
    there = place.read_bytes()
    if there == content:
        return name, "same"
    if _digest(there) == before:
        write_bytes(place, content)
        return name, "renewed"
    if _digest(content) == before:
        return name, "kept"
    stem = name.removesuffix(".ipynb")
    beside = f"{stem} (new {day}).ipynb"
    count = 1
    while (folder / beside).exists() and (folder / beside).read_bytes() != content:
        count += 1
        beside = f"{stem} (new {day}, {count}).ipynb"
    write_bytes(folder / beside, content)
    return beside, "beside"


def _sign(folder: Path, notebooks: Mapping[str, bytes]) -> None:
    """Vouch for the kit's own notebooks, so that their buttons work unasked.

    Only these contents are vouched for: a notebook that came from elsewhere, or
    was changed elsewhere, is asked about before its buttons do anything.
    """
    # Loading it takes seconds, and every page loads this module for CORNER.
    import nbformat
    from nbformat.sign import NotebookNotary

    notary = NotebookNotary(data_dir=str(folder / CORNER / "data"))
    for content in notebooks.values():
        notary.sign(nbformat.reads(content.decode("utf-8"), as_version=4))
    notary.store.close()


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _read_laid(folder: Path) -> dict[str, str]:
    """Return what the kit laid here last, by file name."""
    try:
        text = (folder / CORNER / _LAID).read_text(encoding="utf-8")
        return {str(name): str(digest) for name, digest in json.loads(text).items()}
    except (FileNotFoundError, ValueError, AttributeError):
        # Not knowing what was laid only means that more files count as hers.
        return {}
