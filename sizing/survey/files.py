"""Open a survey file, or say in plain words why it cannot be read."""

import os
import warnings
from collections.abc import Iterable
from pathlib import Path
from struct import error
from typing import Any

import numpy as np
import pandas as pd

from sizing.errors import InputProblems, Problem, SizingError

PathLike = str | os.PathLike[str]

#: A file with fewer people than this is not the survey it is said to be.
LEAST_ROWS = 20
_MOST_PROBLEMS = 20


def existing_file(path: PathLike, expected: str) -> Path:
    """Return the path, or refuse one that names no file.

    Raises
    ------
    SizingError
        If there is no file there, or it is a folder, or it is empty.
    """
    found = Path(path)
    if found.is_dir():
        what = "this is a folder, not a file"
    elif not found.exists():
        what = "there is no such file"
    elif found.stat().st_size == 0:
        what = "the file is empty"
    else:
        return found
    raise SizingError(
        str(
            Problem(
                what,
                expected,
                "check the folder and the spelling, or download the file again",
                file=str(path),
            )
        )
    )


def not_readable(path: Path, expected: str, reason: str) -> SizingError:
    """Return the refusal of a file of another kind."""
    return SizingError(
        str(
            Problem(
                f"the file cannot be read: {reason}",
                expected,
                "check that it is the right file and was downloaded whole",
                file=path.name,
            )
        )
    )


def read_csv(path: PathLike, expected: str, *, encoding: str) -> pd.DataFrame:
    """Read a survey's CSV file.

    Raises
    ------
    SizingError
        If it is absent, empty or not a CSV file.
    """
    found = existing_file(path, expected)
    try:
        # A row longer than the heading would otherwise shift its cells silently.
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            return pd.read_csv(
                found, encoding=encoding, low_memory=False, index_col=False
            )
    except (ValueError, OSError, pd.errors.ParserWarning) as cause:
        reason = "it is no table of comma-separated values"
        raise not_readable(found, expected, reason) from cause


def read_transport(path: PathLike, expected: str) -> pd.DataFrame:
    """Read a SAS transport file (version 5, ``.XPT``).

    Raises
    ------
    SizingError
        If it is absent, empty, cut short or not a transport file.
    """
    found = existing_file(path, expected)
    content = found.read_bytes()
    # Whole records are padded with blanks to lines of 80 bytes; a file that was
    # cut short ends otherwise, and would silently miss people.
    cut = not_readable(found, expected, "it is cut short")
    starts_well = content.startswith(b"HEADER RECORD*******LIBRARY")
    if starts_well and len(content) % 80:
        raise cut
    try:
        reader: Any = pd.read_sas(
            found, format="xport", encoding="latin-1", iterator=True
        )
        with reader:
            frame: pd.DataFrame = reader.read()
            length = sum(field["field_length"] for field in reader.fields)
    except (ValueError, UnicodeError, OSError, LookupError, TypeError, error) as cause:
        reason = "it is damaged" if starts_well else "it is no SAS transport file"
        raise not_readable(found, expected, reason) from cause
    start = content.index(b"HEADER RECORD*******OBS") + 80
    rest = content[start + len(frame) * length :]
    if len(rest) >= 80 or rest.strip(b" "):
        raise cut
    # Zero comes out of the conversion of SAS's floating point as 5.4e-79.
    number = frame.select_dtypes("number")
    frame[number.columns] = number.mask(number.abs() < 1e-60, 0.0)
    return frame


def check_columns(
    frame: pd.DataFrame, needed: Iterable[str], *, file: str, survey: str
) -> None:
    """Refuse a file that lacks needed columns or has too few rows.

    Raises
    ------
    InputProblems
        One problem per missing column, and one if the file is too short.
    """
    wanted = list(needed)
    missing = [name for name in wanted if name not in frame.columns]
    if len(missing) == len(wanted):
        raise InputProblems(
            [
                Problem(
                    f"none of the columns of {survey} is here",
                    ", ".join(wanted[:5]) + " and others",
                    "check that it is the right file",
                    file=file,
                )
            ],
            about=file,
        )
    problems = [
        Problem(
            "this column is missing",
            f"the columns of {survey}, spelt as published",
            "use the file as published, without renaming its columns",
            file=file,
            column=name,
        )
        for name in missing[:_MOST_PROBLEMS]
    ]
    if len(missing) > _MOST_PROBLEMS:
        problems.append(
            Problem(
                f"{len(missing) - _MOST_PROBLEMS} more columns are missing", file=file
            )
        )
    if len(frame) < LEAST_ROWS:
        problems.append(
            Problem(
                f"the file holds {len(frame)} rows only",
                f"at least {LEAST_ROWS} people",
                "download the file again; this one is cut short",
                file=file,
            )
        )
    if problems:
        raise InputProblems(problems, about=file)


def as_numbers(
    frame: pd.DataFrame, columns: Iterable[str], *, file: str
) -> pd.DataFrame:
    """Return the columns as numbers; an empty cell is missing.

    Raises
    ------
    InputProblems
        If a cell holds text, naming each by row and column.
    """
    problems: list[Problem] = []
    out: dict[str, pd.Series] = {}
    for name in columns:
        out[name] = pd.to_numeric(frame[name], errors="coerce").astype(float)
        text = out[name].isna() & frame[name].notna()
        problems += [
            Problem(
                "this is not a number",
                "a number, or nothing where not measured",
                "use the file as published",
                file=file,
                row=int(position) + 2,
                column=name,
                value=frame[name].iloc[position],
            )
            for position in np.flatnonzero(text)[:_MOST_PROBLEMS]
        ]
    if problems:
        raise InputProblems(problems[:_MOST_PROBLEMS], about=file)
    return pd.DataFrame(out, index=frame.index)
