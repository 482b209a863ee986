"""The figures and the texts that ship with the kit."""

import json
import tomllib
from functools import cache
from importlib.abc import Traversable
from importlib.resources import files
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    # A place that cannot be written to is named before this is loaded.
    import pandas as pd


def shipped(name: str) -> Traversable:
    """Return a folder that comes with the kit: ``data_sources`` or ``notebooks``."""
    try:
        return files(f"sizing.{name}")
    except ModuleNotFoundError:
        # Python started in a checkout finds ``sizing`` there and not in
        # site-packages; the folder then lies beside the package.
        return Path(__file__).resolve().parent.parent / name


def source_file(name: str) -> Traversable:
    found = shipped("data_sources") / name
    if not found.is_file():
        raise FileNotFoundError(f"data_sources/{name} did not come with this install")
    return found


def source_table(name: str, **options: Any) -> "pd.DataFrame":
    """Return a CSV file of ``data_sources``; options go to ``pandas.read_csv``."""
    import pandas as pd

    with source_file(name).open("r", encoding="utf-8") as handle:
        table: pd.DataFrame = pd.read_csv(handle, **options)
        return table


def source_json(name: str) -> Any:
    return json.loads(source_file(name).read_text(encoding="utf-8"))


@cache
def texts(name: str) -> SimpleNamespace:
    """Return the fixed texts of one subject, ``words/texts/NAME.toml``, as attributes.

    What varies stands in braces, for ``str.format``.
    """
    path = Path(__file__).parent / "words" / "texts" / f"{name}.toml"
    return SimpleNamespace(**tomllib.loads(path.read_text(encoding="utf-8")))
