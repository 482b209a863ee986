"""Open a file the user brought, within limits, or say plainly why not.

A file is judged before it is unpacked or parsed: what is too large for a table
that people keep by hand is refused in words, instead of filling the memory.
"""

import csv
import io
import os
import re
import stat
import zipfile
from itertools import chain
from pathlib import Path
from typing import NoReturn

from openpyxl.reader.excel import ExcelReader

from sizing.errors import InputProblems, Problem
from sizing.writing import unmarked

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
_KINDS = "a .csv file (UTF-8) or an .xlsx file"
_UTF_16_AND_32 = (b"\xff\xfe", b"\xfe\xff", b"\x00\x00\xfe\xff")
_MERGED = re.compile(
    rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z]+[0-9]+:[A-Z]+[0-9]+)"
)
_ROW = re.compile(rb"<(?:\w+:)?row\s[^>]*?\br=[\"'](\d+)")

Rows = list[list[object]]


def refuse(
    file: str | Path,
    what: str,
    action: str,
    *,
    allowed: str = _KINDS,
    row: int | None = None,
) -> NoReturn:
    """Refuse a file as a whole.

    Raises
    ------
    InputProblems
        Always; it holds the one problem.
    """
    name = Path(file).name or str(file)
    raise InputProblems([Problem(what, allowed, action, name, row)], about=f"'{name}'")


def file_bytes(
    path: str | os.PathLike[str], *, allowed: str = _KINDS, most: int = MOST_BYTES
) -> bytes:
    """Return the content of a file that is there, may be read and is not too large.

    Parameters
    ----------
    path : str or Path
    allowed : str
        What kind of file is wanted, for the messages.
    most : int
        Most bytes.

    Raises
    ------
    InputProblems
        If there is no such file, it is a folder or no plain file, may not be
        read, is empty or too large.

    Examples
    --------
    >>> file_bytes("no_such_file.csv")
    Traceback (most recent call last):
    ...
    sizing.errors.InputProblems: 1 problem in 'no_such_file.csv':
    - no_such_file.csv: there is no such file. Allowed: a .csv file (UTF-8) or an \
.xlsx file. What to do: check the name and the folder.
    """
    shown = str(path).replace("\x00", "?")
    try:
        found = os.stat(path)
        kind = found.st_mode
        if stat.S_ISDIR(kind):
            refuse(shown, "this is a folder, not a file", "name the file in it")
        if not stat.S_ISREG(kind):
            refuse(shown, "this is no plain file", "copy it to a file of its own")
        content = b""
        if found.st_size <= most:
            with open(path, "rb") as handle:
                content = handle.read(most + 1)
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:
        if isinstance(error, InputProblems):
            raise
        action = "check the name and the folder"
        refuse(shown, "there is no such file", action, allowed=allowed)
    except PermissionError:
        action = "ask whoever keeps it for the right to read it, or copy it"
        refuse(shown, "you may not read this file", action, allowed=allowed)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        action = "check the name and the folder, or copy the file"
        refuse(shown, f"it cannot be opened ({reason})", action, allowed=allowed)
    if not found.st_size:
        refuse(shown, "the file is empty", "fill it in", allowed=allowed)
    if len(content) > most or found.st_size > most:
        what = f"the file is larger than {most / 1e6:g} MB"
        refuse(shown, what, "leave out what is not needed", allowed=allowed)
    return content


def read_rows(path: str | Path, *, most_rows: int = MOST_ROWS) -> tuple[Rows, str]:
    """Return a table's cells, heading first, every row as wide as the heading.

    Row ``i`` of the result is row ``i + 1`` of the file, as a spreadsheet numbers
    it: an empty line is a row of empty cells.

    Parameters
    ----------
    path : str or Path
        ``.xlsx``: its first sheet. Anything else: text in UTF-8, its cells
        parted by commas, semicolons or tabs, whichever the heading has most of.
    most_rows : int
        Most rows under the heading.

    Returns
    -------
    rows : list of list
        Cells of text are ``str``, those of a workbook as they are stored; None
        where empty.
    separator : str
        ``","``, ``";"`` or a tab; empty for a workbook.

    Raises
    ------
    InputProblems
        If the file is missing, too large, in another encoding or of another
        kind; has too many rows or columns; holds merged cells or formulas
        without results; or a row has more cells than the heading.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> file = pathlib.Path(tempfile.mkdtemp()) / "mine.csv"
    >>> _ = file.write_text("size;price\\nadult 1;120\\n")
    >>> read_rows(file)
    ([['size', 'price'], ['adult 1', '120']], ';')
    """
    content = file_bytes(path)
    name = Path(path).name
    if Path(name).suffix.lower() in WORKBOOKS:
        rows, separator, finished = _sheet(content, name, most_rows), "", True
    else:
        text = text_of(content, name)
        rows, separator = _parted(text, name, most_rows)
        finished = text.endswith(("\n", "\r"))
    rows = [[unmarked(cell) for cell in row] for row in rows]
    if all(_blank(cell) for row in rows for cell in row):
        refuse(name, "the file is empty", "fill in the heading and the rows")
    return _squared(rows, name, finished), separator


def text_of(content: bytes, name: str) -> str:
    """Return a text file's content, or say in which encoding it seems to be.

    Raises
    ------
    InputProblems
        If it is not text in UTF-8.

    Examples
    --------
    >>> text_of(b"\\xef\\xbb\\xbfsize", "mine.csv")
    'size'
    """
    action = f"save it as {_KINDS}"
    if content.startswith(_UTF_16_AND_32):
        what = "letters in another encoding, UTF-16 ('Unicode text')"
        refuse(name, what, "save it as CSV UTF-8")
    if b"\x00" in content or zipfile.is_zipfile(io.BytesIO(content)):
        refuse(name, "the wrong kind of file: not text", action)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        refuse(name, "letters in another encoding", "save it as CSV UTF-8", row=line)


def _parted(text: str, name: str, most_rows: int) -> tuple[Rows, str]:
    """Part text into cells."""
    heading = next((line for line in text.splitlines() if line.strip()), "")
    if re.fullmatch(r"\s*\"?sep=.?\"?\s*", heading, re.IGNORECASE):
        what = "the first line tells the separator instead of being the heading"
        refuse(name, what, "delete the line", row=1)
    separator = max(",;\t", key=heading.count)
    rows: Rows = []
    # Strict: a quotation mark that is never closed would swallow all that follows.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        for row in reader:
            rows.append([cell or None for cell in row])
            _count(rows, name, most_rows)
    except csv.Error as error:
        long = "field limit" in str(error)
        what = (
            f"a cell holds more than {MOST_LETTERS} letters"
            if long
            else "a quotation mark is not closed, or stands inside a cell"
        )
        refuse(name, what, "correct the row or the one before", row=len(rows) + 1)
    return rows, separator


def _count(rows: Rows, name: str, most_rows: int) -> None:
    """Refuse a table as soon as it has grown too large."""
    last, at = rows[-1], len(rows)
    if at > most_rows + 1:
        what = f"the file has more than {most_rows:,} rows"
        refuse(name, what, "leave out what is not needed, or part the file")
    if len(last) > MOST_COLUMNS and any(c is not None for c in last[MOST_COLUMNS:]):
        what = f"the row has more than {MOST_COLUMNS} columns"
        refuse(name, what, "delete the columns that are not needed", row=at)
    if any(isinstance(cell, str) and len(cell) > MOST_LETTERS for cell in last):
        what = f"a cell holds more than {MOST_LETTERS} letters"
        refuse(name, what, "shorten or empty it", row=at)


def _sheet(content: bytes, name: str, most_rows: int) -> Rows:
    """Return the cells of a workbook's first sheet."""
    _check_parts(content, name)
    shown, inside = _first_sheet(content, name, most_rows, results=True)
    _no_merged_cells(inside, name)
    if b"<f" in inside or re.search(rb"<\w+:f[ >]", inside):
        written, _ = _first_sheet(content, name, most_rows, results=False)
        _no_lost_formulas(written, shown, name)
    return shown


def _check_parts(content: bytes, name: str) -> None:
    """Refuse what would unpack to too much, before it is unpacked."""
    not_one = "the wrong kind of file: not a workbook"
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        what = f"{not_one}, or one with a password or of the older kind .xls"
        refuse(name, what, "save it as .xlsx without a password")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            # A part never unpacks to more than it says: what is beyond is an error.
            listed = parts.infolist()
            if sum(part.file_size for part in listed) > MOST_UNPACKED:
                what = f"it unpacks to more than {MOST_UNPACKED / 1e6:g} MB"
                refuse(name, what, "copy the table alone into a new workbook")
            for part in listed:
                if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                    # A spreadsheet never declares entities, and what they stand
                    # for can be billions of letters; nor does it write UTF-16, in
                    # which they would not be seen here.
                    inside = parts.read(part)
                    if b"<!DOCTYPE" in inside or b"\x00" in inside:
                        refuse(name, not_one, f"save it as {_KINDS}")
    except InputProblems:
        raise
    except Exception:
        # Whatever a damaged archive sets off, it is no workbook.
        refuse(name, not_one, f"save it as {_KINDS}")


def _first_sheet(
    content: bytes, name: str, most_rows: int, *, results: bool
) -> tuple[Rows, bytes]:
    """Return the first sheet's cells and its own XML."""
    rows: Rows = []
    filled = cells = 0
    try:
        # Read-only: the other way walks over every cell of a merged range, which
        # may be said to be the whole sheet.
        reader = ExcelReader(
            io.BytesIO(content), read_only=True, data_only=results, keep_links=False
        )
        reader.read()
        sheet = reader.wb.worksheets[0]
        if sheet.sheet_state != "visible":
            refuse(name, "the first sheet is hidden", "show it, or move it to the end")
        part = next(
            relation.target
            for _, relation in reader.parser.find_sheets()
            if relation.target in reader.valid_files
            and relation.Type.endswith("/worksheet")
        )
        inside = reader.archive.read(part)
        last = max((int(n[:12]) for n in _ROW.findall(inside)), default=0)
        if last > MOST_LINES:
            what = f"the first sheet reaches down to row {last:,}"
            refuse(name, what, "delete the rows below the table, empty as they look")
        sheet.reset_dimensions()
        for row in sheet.iter_rows(values_only=True):
            rows.append([cell if cell != "" else None for cell in row])
            cells += len(row)
            if any(cell is not None for cell in row):
                filled = len(rows)
                _count(rows, name, most_rows)
            if cells > MOST_CELLS or len(rows) > MOST_LINES:
                what = f"the first sheet has more than {MOST_CELLS:,} cells"
                refuse(name, what, "copy the table alone, or save it as CSV")
    except InputProblems:
        raise
    except Exception:
        # The library raises what its own parts raise on a damaged workbook.
        what = "the wrong kind of file: not a workbook, or a damaged one"
        refuse(name, what, f"save it as {_KINDS}")
    return rows[:filled], inside


def _no_merged_cells(inside: bytes, name: str) -> None:
    ranges = [found.decode() for found in _MERGED.findall(inside)]
    if ranges:
        # All but the first cell of a range read as empty, and empty is no limit.
        refuse(
            name,
            f"merged cells ({', '.join(ranges[:5])}): which of them the value is "
            "meant for cannot be known",
            "unmerge them and write the value into every cell it is for",
        )


def _no_lost_formulas(written: Rows, shown: Rows, name: str) -> None:
    lost = []
    for at, row in enumerate(written):
        for column, cell in enumerate(row):
            formula = cell if isinstance(cell, str) else getattr(cell, "text", None)
            result = None
            if at < len(shown) and column < len(shown[at]):
                result = shown[at][column]
            if formula and formula.startswith("=") and result is None:
                lost.append(
                    Problem(
                        "a formula whose result is not stored in the file",
                        "a number",
                        "open and save the file in a spreadsheet, or write the number",
                        name,
                        at + 1,
                        _letters(column),
                        formula,
                    )
                )
    if lost:
        raise InputProblems(lost[:20], about=f"'{name}'")


def _letters(column: int) -> str:
    """Return a spreadsheet's name of a column, 0 the first."""
    text = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def _squared(rows: Rows, name: str, finished: bool) -> Rows:
    """Give every row as many cells as the heading, or name those with more."""
    heading = rows[0]
    width = max(
        (at + 1 for at, cell in enumerate(heading) if not _blank(cell)), default=0
    )
    if not width:
        refuse(name, "row 1 is empty", "put the heading into the first row", row=1)
    long = [
        Problem(
            f"the row has {len(row)} cells, the heading {width}",
            "as many cells as headings",
            "write decimal points, not commas, and put quotation marks around "
            "text that holds a comma",
            name,
            at,
        )
        for at, row in enumerate(rows[1:], start=2)
        if any(not _blank(cell) for cell in row[width:])
    ]
    if long:
        raise InputProblems(long[:20], about=f"'{name}'")
    last = rows[-1]
    if not finished and 0 < len(last) < width and len(rows) > 1:
        # A spreadsheet writes every cell and ends the line: this was cut off, and
        # its last number may lack digits.
        refuse(
            name,
            f"the last row stops after {len(last)} of {width} cells: the file may be "
            "cut short",
            "copy it again, or finish the row, also where cells are empty",
            row=len(rows),
        )
    return [list(chain(row, [None] * (width - len(row))))[:width] for row in rows]


def _blank(cell: object) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())
