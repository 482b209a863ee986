"""The figures that ship with the kit, read through importlib.resources."""

import json
from importlib.abc import Traversable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pandas as pd


def source_file(name: str) -> Traversable:
    """Return one file of the folder ``data_sources``."""
    try:
        folder: Traversable = files("sizing.data_sources")
    except ModuleNotFoundError:
        # Python started in a checkout finds ``sizing`` there and not in
        # site-packages; the folder then lies beside the package.
        folder = Path(__file__).resolve().parent.parent / "data_sources"
    found = folder / name
    if not found.is_file():
        raise FileNotFoundError(f"data_sources/{name} did not come with this install")
    return found


def source_table(name: str, **options: Any) -> pd.DataFrame:
    """Return a CSV file of ``data_sources``; options go to ``pandas.read_csv``."""
    with source_file(name).open("r", encoding="utf-8") as handle:
        table: pd.DataFrame = pd.read_csv(handle, **options)
        return table


def source_json(name: str) -> Any:
    """Return the content of a JSON file of ``data_sources``."""
    return json.loads(source_file(name).read_text(encoding="utf-8"))
