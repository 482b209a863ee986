"""``sizing lab``: the pages' code in JupyterLab, from a folder of the user's own."""

import argparse
import contextlib
import hashlib
import json
import os
import sys
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path

from sizing.app.serve import HOST, START, asked_for, notebook_files, serve
from sizing.cli.places import add_table
from sizing.errors import SizingError
from sizing.files.writing import write_bytes, write_text
from sizing.resources import texts

_T = texts("serve")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_table(parser, "lab")


def run(args: argparse.Namespace) -> int:
    """Lay the notebooks, open them, and stay until they are stopped."""
    if find_spec("jupyterlab") is None:
        raise SizingError(_T.no_lab.format(python=sys.executable))
    folder, port, state = asked_for(args)
    beside = lay_notebooks(folder, state=state)
    write_settings(state)
    for name, newer in beside.items():
        print(f"Your own {name} is kept; the newer one is '{newer}'.")
    print(f"Your notebooks: {folder}")
    words = ["-m", "jupyterlab", *_options(folder, port)]
    serve(words, "lab", port=port, state=state, browser=not args.no_browser)
    print("Stopped. Your notebooks stay in their folder.")
    return 0


def write_settings(state: Path) -> None:
    """Write what keeps JupyterLab quiet and offline, where nothing else changes it."""
    place = state / "config" / "labconfig"
    place.mkdir(parents=True, exist_ok=True)
    for name, content in _T.lab_files.items():
        write_text(place / f"{name}.json", json.dumps(content))


def _options(folder: Path, port: int) -> list[str]:
    """Return the settings that matter, where no settings file can override them."""
    own = {"ip": HOST, "port": port, "root_dir": folder}
    options = {f"ServerApp.{name}": value for name, value in own.items()} | _T.lab
    return [f"--{name}={value}" for name, value in options.items()]


def lay_notebooks(
    folder: Path, *, state: Path, notebooks: Mapping[str, bytes] | None = None
) -> dict[str, str]:
    """Lay notebooks, newer ones beside what the user changed; return these names."""
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
        words = _T.not_written.format(folder=folder, why=error.strerror)
        raise SizingError(words) from None
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
