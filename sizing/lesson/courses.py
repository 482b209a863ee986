"""Courses kept by date: what each room found, and nothing of any participant.

Each is a CSV file of its own in one folder that the trainer owns; none is written over,
and a spreadsheet opens them.
"""

from contextlib import suppress
from datetime import date
from itertools import count
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.charts.cells import as_text
from sizing.errors import InputProblems, Problem, SizingError
from sizing.files.folders import make_folder, write_bytes
from sizing.files.sheets import read_rows
from sizing.files.writing import csv_bytes, rounded
from sizing.lesson.agreement import TOGETHER
from sizing.lesson.room import RoomResult

#: The folder within that of the results, and what each file's name begins with.
FOLDER, _FILE = "courses", "course "
#: What is kept of a room: shares but for ``tape_error``, which is in cm or kg.
FIGURES = ("wrong_chosen", "wrong_tape", "gain", "tape_error")
_NUMBERS = ["participants", "n", "estimate", "low", "high"]
COLUMNS = ["date", "chart", "figure", "measure", *_NUMBERS, "method"]


def course_figures(room: RoomResult, on: date) -> pd.DataFrame:
    """Return what is kept of a room: one row a figure, ``COLUMNS``."""
    wrong = room.wrong[room.wrong["participant"] == TOGETHER]
    tape = room.error.table[room.error.table["kind"] == "between"]
    table = pd.concat(
        [
            wrong.assign(figure="wrong_" + wrong["source"], measure=""),
            room.gain.assign(figure="gain"),
            tape.assign(figure="tape_error", estimate=tape["tem"]),
        ]
    ).assign(
        date=on.isoformat(),
        chart=room.chart,
        participants=len(room.answers.participants),
    )
    if table.empty:
        raise SizingError(
            "this room has no figure to keep yet",
            action="enter sizes for bodies whose measures are known, or readings",
        )
    return table.reset_index(drop=True)[COLUMNS]


def keep_course(folder: str | Path, room: RoomResult, on: date) -> Path:
    """Keep what a room found in a file of its own, and return the file.

    The same room of the same day is kept once: it would count twice.
    """
    content = csv_bytes(rounded(course_figures(room, on)))
    make_folder(folder)
    for number in count(1):
        again = f" ({number})" if number > 1 else ""
        path = Path(folder) / f"{_FILE}{on.isoformat()}{again}.csv"
        if path.is_file() and path.read_bytes() == content:
            return path
        with suppress(FileExistsError):
            return write_bytes(path, content, fresh=True)
    raise AssertionError


def kept_courses(folder: str | Path) -> pd.DataFrame:
    """Return the courses kept, the earliest first: course, then ``COLUMNS``."""
    frames, problems = [], []
    for path in sorted(Path(folder).glob("*")):
        if not path.name.lower().startswith(_FILE):
            continue
        if path.suffix.lower() != ".csv":
            # Nothing that looks like a course is passed over.
            what, action = "this is no .csv file", "save it as CSV, or move it away"
            problems.append(Problem(what, "courses as .csv", action, path.name))
            continue
        sheet = read_rows(path, known=COLUMNS.__contains__)
        heading = [as_text(cell) for cell in sheet.heading]
        table = pd.DataFrame(sheet.body, columns=heading).map(as_text)
        table.index += sheet.first + 1
        lacking = [name for name in COLUMNS if heading.count(name) != 1]
        if lacking or table.empty:
            what = f"this file is no course: it has not one column '{lacking[:1]}'"
            what = what if lacking else "this file has no row"
            action = "move it out of the folder, or put its headings right"
            allowed = ", ".join(COLUMNS)
            problems.append(Problem(what, allowed, action, path.name, sheet.first))
            continue
        for name in ("date", "figure", *_NUMBERS):
            read = table[name].map(_READ.get(name, _number))
            if name in _NUMBERS[2:]:
                share = table["figure"].isin(FIGURES[:2])
                read = read.where(~share | read.between(0, 1))
            # One participant's gain has no interval.
            empty = (table[name] == "") & (name in ("low", "high"))
            problems += [
                Problem(
                    "this cannot be read",
                    _ALLOWED.get(name, "a plain number; a share from 0 to 1"),
                    "put it right, or move the file out of the folder",
                    path.name,
                    int(row),
                    name,
                    table[name][row],
                )
                for row in table.index[read.isna() & ~empty]
            ]
            table[name] = read
        frames.append(table[COLUMNS].assign(course=path.stem[len(_FILE) :]))
    if problems:
        raise InputProblems(problems, about=f"the courses in '{folder}'")
    if not frames:
        return pd.DataFrame(columns=["course", *COLUMNS])
    table = pd.concat(frames, ignore_index=True)[["course", *COLUMNS]]
    return table.sort_values(["date", "course"], kind="stable", ignore_index=True)


def _number(cell: str) -> float:
    with suppress(ValueError):
        value = float(cell)
        return value if np.isfinite(value) else np.nan
    return np.nan


def _date(cell: str) -> str | None:
    with suppress(ValueError):
        return date.fromisoformat(cell).isoformat()
    return None


def _whole(cell: str) -> float:
    return float(cell) if cell.isdecimal() and int(cell) else np.nan


_READ = {
    "date": _date,
    "figure": lambda cell: cell if cell in FIGURES else None,
    **dict.fromkeys(_NUMBERS[:2], _whole),
}
_ALLOWED = {
    "date": "a day such as 2026-11-27",
    "figure": ", ".join(FIGURES),
    **dict.fromkeys(_NUMBERS[:2], "a whole number from 1"),
}
