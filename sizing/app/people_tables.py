"""Tables into which one's own clients and shares are typed, and how they are read."""

import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from sizing.app.entry import UnitSwitch
from sizing.app.form_words import file_headings, name_words
from sizing.app.table import EditableTable
from sizing.errors import InputProblems, Problem, SizingError
from sizing.files.writing import csv_bytes, write_bytes
from sizing.resources import texts

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
_T = texts("people_form")
CASELOAD_HELP: str = _T.caseload_help
SHARES_HELP: str = _T.shares_help
SHARES_HEADINGS: list[list[str]] = _T.shares_headings
#: Groups whose share she may know: what they are called, and the margin's columns.
GROUPS: dict[str, dict[str, Any]] = _T.groups


def shares_table() -> EditableTable:
    return EditableTable(
        pd.DataFrame({_GROUP: [None] * _ROWS, _PERCENT: None}),
        caption="Of the people I serve",
        headings={_GROUP: "Group", _PERCENT: "Percent"},
        choices={_GROUP: list(GROUPS)},
        can_add=True,
    )


def typed_shares(table: EditableTable | None) -> pd.DataFrame:
    frame = pd.DataFrame() if table is None else table.frame
    if frame.empty:
        raise SizingError(_T.no_shares)
    rows, problems = [], []
    for number, (group, percent) in enumerate(
        zip(frame[_GROUP], frame[_PERCENT], strict=True)
    ):
        share = pd.to_numeric(percent, errors="coerce")
        if group not in GROUPS or not 0 < share < 100:
            at = None, number + 2, None, str(percent)
            problems.append(Problem.of(_T.share_problem, *at))
            continue
        rows.append({"statistic": "share", "target": share / 100, **GROUPS[group]})
    if problems:
        raise InputProblems(problems, about="the shares")
    return pd.DataFrame(rows)


def caseload_headings() -> str:
    units = {"_kg": ", kg", "_cm": ", cm"}
    return file_headings(
        [
            (name_words(name).capitalize() + units.get(name[-3:], ""), name)
            for name in _CLIENTS
        ]
    )


def clients_table(switch: UnitSwitch) -> EditableTable:
    return EditableTable(
        pd.DataFrame([dict.fromkeys(_CLIENTS)] * _ROWS),
        switch=switch,
        can_add=True,
        caption="My clients",
        headings=lambda name: name_words(name).capitalize(),
        choices={"sex": ["female", "male"]},
    )


def typed_clients(table: EditableTable | None) -> pd.DataFrame:
    frame = pd.DataFrame() if table is None else table.frame
    if frame.empty:
        raise SizingError(_T.no_clients)
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
