"""Open a file the user brought, within limits, or say plainly why not."""

import io
import os
import stat
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import NoReturn

from sizing.errors import InputProblems, Problem
from sizing.resources import texts

_T = texts("files")

#: Most bytes of a file; a table of one's own rarely has one hundredth. These limits
#: are our choice, with no source, but where they say so.
MOST_BYTES = 20_000_000
#: Most bytes that a workbook may unpack to.
MOST_UNPACKED = 100_000_000
#: Most rows under the heading, most cells of a workbook's sheet, most columns,
#: and most letters in one cell (what a spreadsheet holds).
MOST_ROWS = 20_000
MOST_CELLS = 150_000
MOST_COLUMNS = 500
MOST_LETTERS = 32_767
#: A workbook's sheet may have so many rows, empty ones and all.
MOST_LINES = 100_000

WORKBOOKS = (".xlsx", ".xlsm")
KINDS = "a .csv file (UTF-8) or an .xlsx file"
_UTF_16_AND_32 = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff")


def refuse(
    file: str | Path,
    words: Sequence[str],
    *,
    allowed: str = KINDS,
    row: int | None = None,
    **given: object,
) -> NoReturn:
    """Refuse a file as a whole; ``words``: what is wrong, what to do."""
    name = Path(file).name or str(file)
    what, action = words
    wrong = Problem.of((what, "", action), name, row, **given)
    raise InputProblems([replace(wrong, allowed=allowed)], about=f"'{name}'")


def file_bytes(
    path: str | os.PathLike[str], *, allowed: str = KINDS, most: int = MOST_BYTES
) -> bytes:
    """Return the content of a file that is there, may be read and is not too large."""
    shown = str(path).replace("\x00", "?")
    try:
        found = os.stat(path)
        if stat.S_ISDIR(found.st_mode):
            refuse(shown, _T.not_table)
        if not stat.S_ISREG(found.st_mode):
            refuse(shown, _T.not_plain)
        content = b""
        if found.st_size <= most:
            with open(path, "rb") as handle:
                content = handle.read(most + 1)
    except InputProblems:
        raise
    except (FileNotFoundError, NotADirectoryError, ValueError):
        refuse(shown, _T.not_there, allowed=allowed)
    except PermissionError:
        refuse(shown, _T.not_allowed, allowed=allowed)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        refuse(shown, _T.not_opened, allowed=allowed, reason=reason)
    if not found.st_size:
        refuse(shown, _T.empty, allowed=allowed)
    if len(content) > most or found.st_size > most:
        refuse(shown, _T.large, allowed=allowed, most=most / 1e6)
    return content


def text_of(content: bytes, name: str) -> str:
    """Return a text file's content, or say in which encoding it seems to be."""
    if content.startswith(_UTF_16_AND_32):
        refuse(name, _T.utf16)
    if b"\x00" in content or zipfile.is_zipfile(io.BytesIO(content)):
        refuse(name, _T.not_text, kinds=KINDS)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        refuse(name, _T.encoding, row=line)
