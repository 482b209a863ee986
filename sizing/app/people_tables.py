"""Tables into which one's own clients and shares are typed, and how they are read."""

import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.app.form_words import file_headings, name_words
from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.errors import InputProblems, Problem, SizingError
from sizing.files.writing import csv_bytes, write_bytes

_CLIENTS = (
    "sex",
    "age_years",
    "body_mass_kg",
    "stature_cm",
    "shoulder_height_sitting_cm",
    "buttock_popliteal_length_cm",
    "hip_circumference_cm",
)
_ROWS = 3
_GROUP, _PERCENT = "group", "percent"
#: Groups whose share she may know: what they are called, and the margin's columns.
GROUPS: dict[str, dict[str, Any]] = {
    "women and girls": {"variable": "sex", "level": "female"},
    "aged 18 to 39": {"variable": "age_years", "low": 18, "high": 40},
    "aged 40 to 64": {"variable": "age_years", "low": 40, "high": 65},
    "aged 65 to 79": {"variable": "age_years", "low": 65, "high": 80},
    "aged 80 and over": {"variable": "age_years", "low": 80},
    "body mass index under 18.5": {"variable": "bmi", "high": 18.5},
    "body mass index 30 and over": {"variable": "bmi", "low": 30},
    "body mass index 40 and over": {"variable": "bmi", "low": 40},
}
CASELOAD_HELP = (
    "One client per row, no names: sex, and whatever is known. Type them here, or take "
    "a CSV or XLSX file with a column for each. What is missing is drawn from the "
    "surveys."
)
SHARES_HELP = (
    "The people chosen above are weighted so that these shares come true. Of groups "
    "that follow each other, such as ages, leave one out. A CSV or XLSX file may "
    "hold more."
)
SHARES_HEADINGS = (
    ("What is counted, such as sex, age_years or bmi", "variable"),
    ("share or mean", "statistic"),
    ("The group, such as female", "level"),
    ("The group from, and to below", "low, high"),
    ("Only among, if not everybody", "within"),
    ("What it is to come to: a share from 0 to 1", "target"),
)


def shares_table() -> EditableTable:
    """Return an empty table into which shares of groups can be typed."""
    return EditableTable(
        pd.DataFrame({_GROUP: [None] * _ROWS, _PERCENT: None}),
        caption="Of the people I serve",
        headings={_GROUP: "Group", _PERCENT: "Percent"},
        choices={_GROUP: list(GROUPS)},
        can_add=True,
    )


def typed_shares(table: EditableTable | None) -> pd.DataFrame:
    """Return what was typed into the table of shares, as margins."""
    frame = pd.DataFrame() if table is None else table.frame
    if frame.empty:
        raise SizingError("Type the shares you know into the table, or take a file.")
    rows, problems = [], []
    for number, (group, percent) in enumerate(
        zip(frame[_GROUP], frame[_PERCENT], strict=True)
    ):
        share = pd.to_numeric(percent, errors="coerce")
        if group not in GROUPS or not 0 < share < 100:
            problems.append(
                Problem(
                    "a share needs a group and a percentage",
                    "a group of the list, and more than 0 and less than 100",
                    "fill in both, with a point for decimals",
                    row=number + 2,
                    value=str(percent),
                )
            )
            continue
        rows.append({"statistic": "share", "target": share / 100, **GROUPS[group]})
    if problems:
        raise InputProblems(problems, about="the shares")
    return pd.DataFrame(rows)


def caseload_headings() -> str:
    """Return the headings of a file of clients, folded away."""
    units = {"_kg": ", kg", "_cm": ", cm"}
    return file_headings(
        [
            (name_words(name).capitalize() + units.get(name[-3:], ""), name)
            for name in _CLIENTS
        ]
    )


def clients_table(switch: UnitSwitch) -> EditableTable:
    """Return an empty table into which clients can be typed."""
    return EditableTable(
        pd.DataFrame([dict.fromkeys(_CLIENTS)] * _ROWS),
        switch=switch,
        can_add=True,
        caption="My clients",
        headings=lambda name: name_words(name).capitalize(),
        choices={"sex": ["female", "male"]},
    )


def typed_clients(table: EditableTable | None) -> pd.DataFrame:
    """Return what was typed into the table of clients."""
    frame = pd.DataFrame() if table is None else table.frame
    if frame.empty:
        raise SizingError("Type your clients into the table, or take a file.")
    return frame


def as_file(frame: pd.DataFrame, reader: Callable[[Path], Any], name: str) -> Any:
    """Read a typed table as a file would be read, through the same gate."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}.csv"
        try:
            return reader(write_bytes(path, csv_bytes(frame)))
        except InputProblems as error:
            # She sees a table and no file: its rows count from 1.
            typed = [replace(one, file=None) for one in error.problems]
            raise InputProblems(typed, about=name) from None
