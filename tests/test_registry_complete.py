"""Every figure that ships is registered, with its source, unchanged."""

from pathlib import Path

import pandas as pd
import pytest

import data_sources
from sizing.surveys import registry, verify

FOLDER = Path(data_sources.__file__).parent
SHIPPED = sorted(
    path.name
    for path in FOLDER.iterdir()
    if path.suffix in {".csv", ".json"} and path.name != "registry.csv"
)


def test_every_table_that_ships_is_registered_once():
    table = registry()
    assert sorted(table.loc[table["ships"] == "yes", "file"]) == SHIPPED


@pytest.mark.parametrize("file", SHIPPED)
def test_it_is_what_was_registered(file):
    table = registry()
    verify(table.loc[table["file"] == file, "name"].item())


@pytest.mark.parametrize(
    "file",
    [
        name
        for name in SHIPPED
        if name.endswith(".csv")
        and any("source" in column for column in pd.read_csv(FOLDER / name, nrows=0))
    ],
)
def test_every_row_of_a_sourced_table_names_its_source_and_no_note_twice(file):
    table = pd.read_csv(FOLDER / file, keep_default_na=False, dtype=str)
    for column in [c for c in table if "source" in c]:
        assert (table[column].str.strip() != "").all(), column
        for source in table[column]:
            notes = source.split("; ")
            assert len(set(notes)) == len(notes), source


def test_the_register_itself_names_publisher_licence_and_kind():
    table = registry()
    named = "title publisher licence kind role year retrieved unit edits"
    for column in named.split():
        assert (table[column].astype(str).str.strip() != "").all(), column
    individual = table["kind"].str.startswith("individual")
    assert individual.any() and (table.loc[individual, "ships"] != "yes").all()
