"""Write the kit's files whole or not at all, and safe to open in a spreadsheet.

A file is written beside its place and then moved onto it, so that whoever looks
sees the old one or the new one, never half of either. Text that a spreadsheet
would run as a formula is led by an apostrophe, which the kit's own readers take
off again.
"""

import contextlib
import csv
import io
import os
import re
import secrets
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import pandas as pd

from sizing.errors import Problem, SizingError

#: First letters with which a spreadsheet begins a formula, in either width.
FORMULA_STARTS = "=+-@\t\r\n＝＋－＠"
_STARTS = re.compile(f"'*[{re.escape(FORMULA_STARTS)}]")
_MARKED = re.compile(f"'+[{re.escape(FORMULA_STARTS)}]")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
#: What a workbook cannot hold.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def write_bytes(path: str | Path, content: bytes) -> Path:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : str or Path
        A file that is there is replaced, keeping its permissions; behind a
        symbolic link the file it points to.
    content : bytes

    Returns
    -------
    Path
        ``path``.

    Raises
    ------
    SizingError
        If it cannot be written; what was there before is then untouched.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> folder = pathlib.Path(tempfile.mkdtemp())
    >>> write_bytes(folder / "note.txt", b"whole").read_bytes()
    b'whole'
    >>> len(list(folder.iterdir()))
    1
    """
    path = Path(path)
    beside: Path | None = None
    try:
        place = Path(os.path.realpath(path))
        if place.exists() and not place.is_file():
            raise OSError(None, "there is a folder or device of this name")
        if place.exists() and not os.access(place, os.W_OK):
            raise OSError(None, "the file there is protected")
        beside = place.parent / f".{secrets.token_hex(8)}.part"
        with open(beside, "xb") as handle:
            handle.write(content)
            handle.flush()
            os.fsync(handle.fileno())
        if place.exists():
            shutil.copymode(place, beside)
        os.replace(beside, place)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SizingError(
            str(
                Problem(
                    f"the file cannot be written: {reason}",
                    "a place you may write to, with room on it",
                    "close the file where it is open, or name another place",
                    file=str(path).replace("\x00", "?"),
                )
            )
        ) from error
    finally:
        if beside is not None:
            with contextlib.suppress(OSError):
                beside.unlink(missing_ok=True)
    return path


def write_text(path: str | Path, text: str) -> Path:
    """Write text in UTF-8, whole or not at all, as ``write_bytes`` does."""
    return write_bytes(path, text.encode("utf-8", errors="replace"))


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """Return a table as CSV in UTF-8 in which no cell starts a formula.

    Examples
    --------
    >>> csv_bytes(pd.DataFrame({"size": ["=1+1"], "share": [-0.25]}))
    b"size,share\\n'=1+1,-0.25\\n"
    """
    table = _marked_table(frame)
    # A lone carriage return ends a line for spreadsheets, yet is not quoted before
    # Python 3.13: what follows it would start a cell of its own.
    texts = [table.columns, *(table[c] for c in _text_columns(table))]
    returns = any("\r" in str(cell) for column in texts for cell in column)
    quoting: Literal[0, 2] = csv.QUOTE_NONNUMERIC if returns else csv.QUOTE_MINIMAL
    text = table.to_csv(index=False, lineterminator="\n", quoting=quoting)
    return text.encode("utf-8", errors="replace")


def workbook_bytes(sheets: Mapping[str, pd.DataFrame]) -> bytes:
    """Return tables as the sheets of a workbook in which no cell is a formula.

    Parameters
    ----------
    sheets : mapping of sheet name to DataFrame

    Examples
    --------
    >>> import openpyxl
    >>> content = workbook_bytes({"a": pd.DataFrame({"size": ["=1+1"]})})
    >>> openpyxl.load_workbook(io.BytesIO(content))["a"]["A2"].value
    "'=1+1"
    """
    buffer = io.BytesIO()
    with pd.ExcelWriter(buffer, engine="openpyxl") as book:
        for name, frame in sheets.items():
            table = _marked_table(frame)
            for column in _text_columns(table):
                table[column] = table[column].map(_writable)
            table.columns = pd.Index([_writable(name) for name in table.columns])
            table.to_excel(book, index=False, sheet_name=name)
    return buffer.getvalue()


def marked(cell: object) -> object:
    """Return a cell so that no spreadsheet takes it for a formula.

    Examples
    --------
    >>> marked("=1+1"), marked("-5"), marked(-5), marked("adult 1")
    ("'=1+1", '-5', -5, 'adult 1')
    """
    if not isinstance(cell, str) or not _STARTS.match(cell):
        return cell
    return cell if _NUMBER.fullmatch(cell) else f"'{cell}"


def unmarked(cell: object) -> object:
    """Return a cell as it was before ``marked``.

    Examples
    --------
    >>> unmarked("'=1+1"), unmarked("'quoted'")
    ('=1+1', "'quoted'")
    """
    return cell[1:] if isinstance(cell, str) and _MARKED.match(cell) else cell


def _marked_table(frame: pd.DataFrame) -> pd.DataFrame:
    table = frame.copy()
    table.columns = pd.Index([marked(name) for name in table.columns])
    for column in _text_columns(table):
        table[column] = table[column].map(marked)
    return table


def _text_columns(table: pd.DataFrame) -> list[object]:
    kinds = pd.api.types
    return [
        name
        for name, kind in table.dtypes.items()
        if not (kinds.is_numeric_dtype(kind) or kinds.is_datetime64_any_dtype(kind))
    ]


def _writable(cell: object) -> object:
    return _UNWRITABLE.sub("\ufffd", cell) if isinstance(cell, str) else cell
