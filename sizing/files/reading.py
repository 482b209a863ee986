"""Read a table from a file the user brought, within limits, or say plainly why not."""

import csv
import io
import os
import re
import stat
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NoReturn

from sizing.errors import InputProblems, Problem
from sizing.files.writing import unmarked
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
        with open(path, "rb") as handle:
            content = b"" if found.st_size > most else handle.read(most + 1)
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
    if max(len(content), found.st_size) > most:
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


_MERGED = re.compile(
    rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z]+[0-9]+:[A-Z]+[0-9]+)"
)
_ROW = re.compile(rb"<(?:\w+:)?row\s[^>]*?\br=[\"'](\d+)")
_HIDDEN = re.compile(
    rb"<(?:\w+:)?(?:row|col)\s(?=[^>]*?\bhidden=[\"'](?:1|true))"
    rb"(?:[^>]*?\br=[\"'](\d+)|[^>]*?\bmin=[\"'](\d+))"
)
#: What a number is shown with: words in quotation marks, single letters, currencies.
_SHOWN = re.compile(r"\"([^\"]*)\"|\\(.)|(%)|\[\$([^\]-]*)|([$£€¥])")
#: Titles above a heading go so far down (our choice, no source).
_MOST_TITLES = 10

Rows = list[list[object]]


@dataclass(frozen=True)
class Sheet:
    file: str
    heading: list[object]
    #: Every row as wide as the heading; row ``i`` is row ``first + 1 + i`` of the file,
    #: as a spreadsheet numbers it: an empty line is a row of empty cells. Cells of text
    #: are ``str``, those of a workbook as they are stored; None where empty.
    body: Rows
    #: Row of the heading.
    first: int
    #: ``","``, ``";"`` or a tab; empty for a workbook.
    separator: str
    #: What was passed over or not read; and what was read though it is hidden.
    notes: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    #: Row of the file and column, 0 the first, to the sign or word that a workbook
    #: shows behind the cell's number, such as ``%`` or ``cm``.
    shown: dict[tuple[int, int], str] = field(default_factory=dict)


def read_rows(
    path: str | Path,
    *,
    known: Callable[[object], bool] = lambda _: False,
    most_rows: int = MOST_ROWS,
    called: str = "",
) -> Sheet:
    """Of a workbook the first sheet, or the one called so; and how they were read."""
    content, name = file_bytes(path), Path(path).name
    notes, doubts, looks = list[str](), list[str](), dict[tuple[int, int], str]()
    if Path(name).suffix.lower() in WORKBOOKS:
        rows = _workbook(content, name, most_rows, called, notes, doubts, looks)
        separator, finished = "", True
    else:
        text = text_of(content, name)
        rows, separator = _parted(text, name, most_rows, known)
        finished = text.endswith(("\n", "\r"))
    rows = [[unmarked(cell) for cell in row] for row in rows]
    if all(_blank(cell) for row in rows for cell in row):
        refuse(name, _T.empty_table)
    if above := _titles(rows, known):
        words = next(str(c) for row in rows[:above] for c in row if not _blank(c))
        where = "row 1 stands" if above == 1 else f"rows 1 to {above} stand"
        notes.insert(0, _T.notes["above"].format(where=where, words=words[:60]))
    heading, *body = _squared(rows[above:], name, finished, above + 1)
    told = (tuple(notes), tuple(doubts), looks)
    return Sheet(name, heading, body, above + 1, separator, *told)


def _titles(rows: Rows, known: Callable[[object], bool]) -> int:
    """Return how many rows of titles stand above the heading."""
    if all(_blank(cell) for cell in rows[0]):
        return 0
    counts = [sum(map(known, filter(None, row))) for row in rows[: _MOST_TITLES + 1]]
    # One word that is also a heading may stand in a title, or over a table alone.
    return next((at for at, count in enumerate(counts) if count > 1), 0)


def _parted(
    text: str, name: str, most_rows: int, known: Callable[[object], bool]
) -> tuple[Rows, str]:
    lines = [line for line in text.splitlines() if line.strip()][: _MOST_TITLES + 1]
    heading = lines[0] if lines else ""
    if re.fullmatch(r"\s*\"?sep=.?\"?\s*", heading, re.IGNORECASE):
        refuse(name, _T.separator, row=1)
    counted = {
        mark: max((sum(map(known, line.split(mark))) for line in lines), default=0)
        for mark in ",;\t"
    }
    # A title above the heading may hold commas; the heading's own words decide.
    separator = max(counted, key=lambda mark: (counted[mark], heading.count(mark)))
    rows: Rows = []
    # Strict: a quotation mark that is never closed would swallow all that follows.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    try:
        for row in reader:
            rows.append([cell or None for cell in row])
            _count(rows, name, most_rows)
    except csv.Error as error:
        words = _T.letters if "field limit" in str(error) else _T.quoted
        refuse(name, words, row=len(rows) + 1, most=MOST_LETTERS)
    return rows, separator


def _count(rows: Rows, name: str, most_rows: int) -> None:
    last, at = rows[-1], len(rows)
    if at > most_rows + 1:
        refuse(name, _T.rows, most=most_rows)
    if len(last) > MOST_COLUMNS and any(c is not None for c in last[MOST_COLUMNS:]):
        refuse(name, _T.columns, row=at, most=MOST_COLUMNS)
    if any(isinstance(cell, str) and len(cell) > MOST_LETTERS for cell in last):
        refuse(name, _T.long_cell, row=at, most=MOST_LETTERS)


def _workbook(
    content: bytes,
    name: str,
    most_rows: int,
    called: str,
    notes: list[str],
    doubts: list[str],
    looks: dict[tuple[int, int], str],
) -> Rows:
    """Return a sheet's cells, and add what is to be said of it to the last three."""
    _check_parts(content, name)
    of = (content, name, most_rows, called)
    shown, inside, further = _first_sheet(*of, looks, results=True)
    if ranges := [found.decode() for found in _MERGED.findall(inside)]:
        # All but the first cell of a range read as empty, and empty is no limit.
        refuse(name, _T.merged, ranges=", ".join(ranges[:5]))
    if b"<f" in inside or re.search(rb"<\w+:f[ >]", inside):
        written, *_ = _first_sheet(*of, {}, results=False)
        _no_lost_formulas(written, shown, name)
    if further:
        named = ", ".join(f"'{title}'" for title in further[:5])
        sheets = f"sheet{'s' * (len(further) > 1)} {named}"
        notes.append(_T.notes["further"].format(sheets=sheets))
    found = _HIDDEN.findall(inside)
    rows = [row.decode() for row, _ in found if row and int(row) <= len(shown)]
    columns = [_letters(int(column)) for _, column in found if column]
    for noun, places in (("row", rows), ("column", columns)):
        if places:
            listed = f"{noun}{'s' * (len(places) > 1)} {', '.join(places[:20])}"
            doubts.append(_T.notes["hidden"].format(places=listed))
    return shown


def _check_parts(content: bytes, name: str) -> None:
    """Refuse what would unpack to too much, before it is unpacked."""
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        refuse(name, _T.older)
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            # A part never unpacks to more than it says: what is beyond is an error.
            listed = parts.infolist()
            if sum(part.file_size for part in listed) > MOST_UNPACKED:
                refuse(name, _T.unpacked, most=MOST_UNPACKED / 1e6)
            for part in listed:
                if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                    # A spreadsheet never declares entities, and what they stand
                    # for can be billions of letters; nor does it write UTF-16, in
                    # which they would not be seen here.
                    inside = parts.read(part)
                    if b"<!DOCTYPE" in inside or b"\x00" in inside:
                        refuse(name, _T.no_workbook, kinds=KINDS)
    except InputProblems:
        raise
    except Exception:
        # Whatever a damaged archive sets off, it is no workbook.
        refuse(name, _T.no_workbook, kinds=KINDS)


def _first_sheet(
    content: bytes,
    name: str,
    most_rows: int,
    called: str,
    looks: dict[tuple[int, int], str],
    *,
    results: bool,
) -> tuple[Rows, bytes, list[str]]:
    """Return the first sheet's cells, its own XML, further sheets; add to ``looks``."""
    # Loaded only for a workbook: it takes a third of a second.
    from openpyxl.reader.excel import ExcelReader

    rows: Rows = []
    filled = cells = 0
    try:
        # Read-only: the other way walks over every cell of a merged range, which
        # may be said to be the whole sheet.
        reader = ExcelReader(
            io.BytesIO(content), read_only=True, data_only=results, keep_links=False
        )
        reader.read()
        listed = [other.title for other in reader.wb.worksheets]
        if called and called not in listed:
            refuse(name, _T.no_sheet, called=called)
        sheet = reader.wb[called] if called else reader.wb.worksheets[0]
        if sheet.sheet_state != "visible":
            refuse(name, _T.hidden_sheet)
        part = next(
            relation.target
            for one, relation in reader.parser.find_sheets()
            if called in ("", one.name)
            and relation.target in reader.valid_files
            and relation.Type.endswith("/worksheet")
        )
        inside = reader.archive.read(part)
        last = max((int(n[:12]) for n in _ROW.findall(inside)), default=0)
        if last > MOST_LINES:
            refuse(name, _T.far_down, last=last)
        sheet.reset_dimensions()
        for row in sheet.iter_rows():
            rows.append([c.value if c.value != "" else None for c in row])
            cells += len(row)
            for at, cell in enumerate(row):
                if isinstance(cell.value, (int, float)) and cell.number_format:
                    signs = _SHOWN.findall(cell.number_format.split(";")[0])
                    if words := "".join(map("".join, signs)).strip():
                        looks[len(rows), at] = words
            if any(cell is not None for cell in rows[-1]):
                filled = len(rows)
                _count(rows, name, most_rows)
            if cells > MOST_CELLS or len(rows) > MOST_LINES:
                refuse(name, _T.cells, most=MOST_CELLS)
    except InputProblems:
        raise
    except Exception:
        # The library raises what its own parts raise on a damaged workbook.
        refuse(name, _T.damaged, kinds=KINDS)
    return rows[:filled], inside, [] if called else listed[1:]


def _letters(column: int) -> str:
    from openpyxl.utils import get_column_letter

    return str(get_column_letter(column))


def _no_lost_formulas(written: Rows, shown: Rows, name: str) -> None:
    lost = []
    for at, row in enumerate(written):
        for column, cell in enumerate(row):
            formula = cell if isinstance(cell, str) else getattr(cell, "text", None)
            result = shown[at][column : column + 1] if at < len(shown) else []
            if formula and formula.startswith("=") and result in ([], [None]):
                where = (name, at + 1, _letters(column + 1), formula)
                lost.append(Problem.of(_T.formula, *where))
    if lost:
        raise InputProblems(lost[:20], about=f"'{name}'")


def _squared(rows: Rows, name: str, finished: bool, first: int) -> Rows:
    """Give every row as many cells as the heading, or name those with more."""
    width = max((at + 1 for at, c in enumerate(rows[0]) if not _blank(c)), default=0)
    if not width:
        refuse(name, _T.no_heading, row=1)
    long = [
        Problem.of(_T.long_row, name, at, cells=len(row), width=width)
        for at, row in enumerate(rows[1:], start=first + 1)
        if any(not _blank(cell) for cell in row[width:])
    ]
    if long:
        raise InputProblems(long[:20], about=f"'{name}'")
    last = rows[-1]
    if not finished and 0 < len(last) < width and len(rows) > 1:
        # A spreadsheet writes every cell and ends the line: this was cut off, and
        # its last number may lack digits.
        at = first + len(rows) - 1
        refuse(name, _T.cut_short, row=at, cells=len(last), width=width)
    return [[*row, *[None] * (width - len(row))][:width] for row in rows]


def _blank(cell: object) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())
