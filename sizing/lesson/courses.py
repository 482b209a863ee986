"""Courses kept by date, a CSV each: what each room found, nothing of anybody."""

from contextlib import suppress
from datetime import date
from itertools import count
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.charts.build import as_text
from sizing.errors import InputProblems, Problem, SizingError
from sizing.files.folders import make_folder, write_bytes
from sizing.files.reading import read_rows
from sizing.files.writing import csv_bytes, rounded
from sizing.lesson.room import TOGETHER, RoomResult
from sizing.resources import texts

_T = texts("lesson")
#: The folder within that of the results, and what each file's name begins with.
FOLDER, _FILE = "courses", "course "
#: What is kept of a room: shares but for ``tape_error``, which is in cm or kg.
FIGURES = ("wrong_chosen", "wrong_tape", "gain", "tape_error")
_NUMBERS = ["participants", "n", "estimate", "low", "high"]
COLUMNS = ["date", "chart", "figure", "measure", *_NUMBERS, "method"]


def keep_course(folder: str | Path, room: RoomResult, on: date) -> Path:
    """The same room of the same day is kept once: it would count twice."""
    wrong = room.wrong[room.wrong["participant"] == TOGETHER]
    tape = room.error.table[room.error.table["kind"] == "between"]
    figures = (
        wrong.assign(figure="wrong_" + wrong["source"], measure=""),
        room.gain.assign(figure="gain"),
        tape.assign(figure="tape_error", estimate=tape["tem"]),
    )
    people, own = len(room.answers.participants), _T.course_files
    table = pd.concat(figures, ignore_index=True)
    table = table.assign(date=on.isoformat(), chart=room.chart, participants=people)
    if table.empty:
        raise SizingError(own["nothing"], action=own["nothing_action"])
    content = csv_bytes(rounded(table[COLUMNS]))
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
    frames, problems, own = [], [], _T.course_files
    for path in sorted(Path(folder).glob("*")):
        if not path.name.lower().startswith(_FILE):
            continue
        if path.suffix.lower() != ".csv":
            # Nothing that looks like a course is passed over.
            what = own["kind"], "courses as .csv", own["kind_action"]
            problems.append(Problem(*what, path.name))
            continue
        sheet = read_rows(path, known=COLUMNS.__contains__)
        heading = [as_text(cell) for cell in sheet.heading]
        table = pd.DataFrame(sheet.body, columns=heading).map(as_text)
        table.index += sheet.first + 1
        lacking = [name for name in COLUMNS if heading.count(name) != 1]
        if lacking or table.empty:
            what = own["lacking" if lacking else "empty"].format(names=lacking[:1])
            allowed, action = ", ".join(COLUMNS), own["lacking_action"]
            problems.append(Problem(what, allowed, action, path.name, sheet.first))
            continue
        read = _read(table)
        for name, cells in read.items():
            # One participant's gain has no interval.
            empty = (table[name] == "") & (name in ("low", "high"))
            allowed = _T.allowed.get(name, _T.allowed["other"])
            for row in table.index[cells.isna() & ~empty]:
                place = path.name, int(row), str(name), table[name][row]
                problems.append(Problem(own["cell"], allowed, own["mend"], *place))
        table = table.assign(**read)
        frames.append(table[COLUMNS].assign(course=path.stem[len(_FILE) :]))
    if problems:
        raise InputProblems(problems, about=f"the courses in '{folder}'")
    if not frames:
        return pd.DataFrame(columns=["course", *COLUMNS])
    table = pd.concat(frames, ignore_index=True)[["course", *COLUMNS]]
    return table.sort_values(["date", "course"], kind="stable", ignore_index=True)


def _read(table: pd.DataFrame) -> dict[str, pd.Series]:
    """Return what can be wrong in a course, missing where it cannot be read."""
    day = pd.to_datetime(table["date"], format="%Y-%m-%d", errors="coerce")
    share = table["figure"].isin(FIGURES[:2])
    read = {
        "date": day.dt.strftime("%Y-%m-%d"),
        "figure": table["figure"].where(table["figure"].isin(FIGURES)),
    }
    for name in _NUMBERS:
        cells = pd.to_numeric(table[name], errors="coerce")
        whole = (cells >= 1) & (cells % 1 == 0)
        good = whole if name in _NUMBERS[:2] else ~share | cells.between(0, 1)
        read[name] = cells.where(good & np.isfinite(cells))
    return read
