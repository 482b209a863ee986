"""Damage to a whole file, whatever table it holds."""

from collections.abc import Callable
from pathlib import Path

import openpyxl
from openpyxl.styles import Font

from .files import (
    Case,
    Cells,
    as_text,
    boasting,
    dangling,
    entities,
    linked,
    loop,
    modest,
    outside_entity,
    overlapping,
    pipe,
    sparse,
    stuffed,
    with_parts,
    workbook,
)

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(1, 200))
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)
HTML = "<html><body><table><tr><td>size</td></tr></table></body></html>\n"
ENCODING, NOT_TEXT = "letters in another encoding", "not text"
NO_BOOK, NO_FILE = "not a workbook", "there is no such file"


def damages(cells: Cells, *, number: int) -> list[Case]:
    """Return the cases for a table whose column ``number`` holds numbers."""
    text = as_text(cells)
    book = workbook(cells)
    letter = chr(65 + number)
    wide = len(cells[0])
    return [
        *_text_refused(cells, text),
        *_text_read(cells, text),
        *_books_refused(cells, book, letter, wide),
        *_books_read(cells, book, letter),
        *_places(text),
    ]


def _csv(name: str, content: Callable[[], bytes | str], said: str | None) -> Case:
    def write(path: Path) -> None:
        made = content()
        path.write_bytes(made.encode() if isinstance(made, str) else made)

    return Case(name, ".csv", write, said)


def _xlsx(name: str, content: Callable[[], bytes], said: str | None) -> Case:
    return Case(name, ".xlsx", lambda path: path.write_bytes(content()), said)


def _text_refused(cells: Cells, text: str) -> list[Case]:
    first, rest = text.split("\n", 1)
    row = rest.split("\n")[0]

    def million() -> bytes:
        return (first + "\n" + (row + "\n") * 10**6).encode()[:19_000_000]

    return [
        _csv("empty", lambda: "", "the file is empty"),
        _csv("one space", lambda: " ", "the file is empty"),
        _csv("empty lines", lambda: "\n\n\n", "the file is empty"),
        _csv("separators alone", lambda: ",,,\n,,,\n", "the file is empty"),
        _csv("heading alone", lambda: first + "\n", ""),
        _csv("heading in row 2", lambda: "\n" + text, "row 1 is empty"),
        _csv("UTF-16 with a mark", lambda: text.encode("utf-16"), "UTF-16"),
        _csv(
            "UTF-16 the other way",
            lambda: b"\xfe\xff" + text.encode("utf-16-be"),
            "UTF-16",
        ),
        _csv("UTF-16 without a mark", lambda: text.encode("utf-16-le"), NOT_TEXT),
        _csv("UTF-32", lambda: text.encode("utf-32"), "UTF-16"),
        _csv("latin-1", lambda: text.replace("a", "é").encode("latin-1"), ENCODING),
        _csv("Windows marks", lambda: text.encode() + b"\x93quoted\x94\n", ENCODING),
        _csv("cut inside a letter", lambda: text.encode() + "é".encode()[:1], ENCODING),
        _csv("nul bytes", lambda: text.replace("\n", "\x00\n"), NOT_TEXT),
        _csv("nul bytes alone", lambda: bytes(5000), NOT_TEXT),
        _csv("a picture", lambda: PNG, ENCODING),
        _csv("a workbook under another name", lambda: workbook(cells), NOT_TEXT),
        _csv("an older workbook", lambda: OLD_WORKBOOK, NOT_TEXT),
        _csv("a web page", lambda: HTML, ""),
        _csv(
            "a quotation mark not closed",
            lambda: text + '"x' + "\ny" * 9,
            "quotation mark",
        ),
        _csv("a quotation mark inside", lambda: text + '"x"y,1\n', "quotation mark"),
        _csv("a longer row", lambda: text + row + ",1,2\n", "cells, the heading"),
        _csv("the separator told", lambda: "sep=,\n" + text, "names the separator"),
        _csv("a million rows", million, "more than"),
        _csv(
            "a thousand columns", lambda: first + ",x" * 1000 + "\n" + rest, "columns"
        ),
        _csv("a very long cell", lambda: text + '"' + "x" * 100_000 + '"\n', "letters"),
        _csv(
            "a cell beyond all", lambda: text + '"' + "x" * 200_000 + '"\n', "letters"
        ),
        _csv("a heading twice", lambda: f"{first},{first.split(',')[0]}\n{rest}", ""),
        _csv("cut short", lambda: text.rstrip("\n").rsplit(",", 1)[0], "cut short"),
        _csv("packed", lambda: b"\x1f\x8b\x08\x00" + bytes(50), NOT_TEXT),
    ]


def _text_read(cells: Cells, text: str) -> list[Case]:
    first, rest = text.split("\n", 1)
    return [
        _csv("a mark at the start", lambda: text.encode("utf-8-sig"), None),
        _csv("ends of Windows", lambda: text.replace("\n", "\r\n"), None),
        _csv("ends of an old Mac", lambda: text.replace("\n", "\r"), None),
        _csv("semicolons", lambda: as_text(cells, separator=";"), None),
        _csv("tabs", lambda: as_text(cells, separator="\t"), None),
        _csv("no end of the last line", lambda: text.rstrip("\n"), None),
        _csv("empty columns at the end", lambda: text.replace("\n", ",,,\n"), None),
        _csv(
            "spaces around headings",
            lambda: first.replace(",", " , ") + "\n" + rest,
            None,
        ),
    ]


def _books_refused(cells: Cells, book: bytes, letter: str, wide: int) -> list[Case]:
    cell = f"{letter}2"

    def merged(it: openpyxl.Workbook) -> None:
        it.active.merge_cells(f"{letter}2:{letter}3")

    def hidden(it: openpyxl.Workbook) -> None:
        it.create_sheet("second").append(["x"])
        it.active.sheet_state = "hidden"

    def far(it: openpyxl.Workbook) -> None:
        it.active["XFD1048576"] = 1

    def low(it: openpyxl.Workbook) -> None:
        it.active.cell(1_000_000, 1, "x")

    def whole_sheet(old: bytes) -> bytes:
        merge = b'<mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells>'
        return old.replace(b"</sheetData>", b"</sheetData>" + merge)

    def billionth(old: bytes) -> bytes:
        return old.replace(b'<row r="2"', b'<row r="99999999999"').replace(
            b'r="A2"', b'r="A99999999999"'
        )

    def formula(text: str):
        return lambda it: it.active.__setitem__(cell, text)

    def no_sheets(it: openpyxl.Workbook) -> None:
        it.create_chartsheet("drawn")
        it.remove(it.worksheets[0])

    broken = bytearray(book)
    broken[len(book) // 3 : len(book) // 3 + 40] = bytes(40)
    return [
        _xlsx("text named a workbook", lambda: as_text(cells).encode(), NO_BOOK),
        _xlsx("an older or locked workbook", lambda: OLD_WORKBOOK, "password"),
        _xlsx("empty, named a workbook", lambda: b"", "the file is empty"),
        _xlsx("an empty archive", lambda: b"PK\x05\x06" + bytes(18), NO_BOOK),
        _xlsx("half a workbook", lambda: book[: len(book) // 2], NO_BOOK),
        _xlsx("a workbook without its end", lambda: book[:-30], NO_BOOK),
        _xlsx("its first bytes alone", lambda: book[:50], NO_BOOK),
        _xlsx("a hole in it", lambda: bytes(broken), NO_BOOK),
        _xlsx("no sheet in it", lambda: with_parts(book, sheet=None), NO_BOOK),
        _xlsx("no list of sheets", lambda: with_parts(book, book=None), NO_BOOK),
        _xlsx("no list of parts", lambda: with_parts(book, types=None), NO_BOOK),
        _xlsx(
            "half a sheet", lambda: with_parts(book, sheet=lambda s: s[:-60]), NO_BOOK
        ),
        _xlsx(
            "a sheet that is no XML", lambda: with_parts(book, sheet=b"hello"), NO_BOOK
        ),
        _xlsx(
            "a drawing instead of a sheet", lambda: workbook(cells, no_sheets), NO_BOOK
        ),
        _xlsx("too much inside", lambda: stuffed(), "unpacks to more"),
        _xlsx("gigabytes inside", lambda: overlapping(book), "unpacks to more"),
        _xlsx("says gigabytes", lambda: boasting(book), "unpacks to more"),
        _xlsx("says less than it holds", lambda: modest(book), NO_BOOK),
        _xlsx("laughs in the sheet", lambda: entities(book, "sheet"), NO_BOOK),
        _xlsx("laughs in the list", lambda: entities(book, "book"), NO_BOOK),
        _xlsx("laughs in the styles", lambda: entities(book, "styles"), NO_BOOK),
        _xlsx("asks for another file", lambda: outside_entity(book), NO_BOOK),
        _xlsx("UTF-16 inside", lambda: with_parts(book, sheet=_wide), NO_BOOK),
        _xlsx("merged cells", lambda: workbook(cells, merged), "merged cells"),
        _xlsx(
            "all merged", lambda: with_parts(book, sheet=whole_sheet), "merged cells"
        ),
        _xlsx("a hidden first sheet", lambda: workbook(cells, hidden), "hidden"),
        _xlsx("a cell far away", lambda: workbook(cells, far), "reaches down"),
        _xlsx("a cell far below", lambda: workbook(cells, low), "reaches down"),
        _xlsx(
            "row 99999999999", lambda: with_parts(book, sheet=billionth), "reaches down"
        ),
        _xlsx(
            "a formula",
            lambda: workbook(cells, formula("=1+1")),
            "formula whose result",
        ),
        _xlsx(
            "a command", lambda: workbook(cells, formula("=cmd|'/C x'!A0")), "formula"
        ),
        _xlsx("no result", lambda: workbook(cells, formula("#REF!")), "#REF!"),
        _xlsx("yes or no", lambda: workbook(cells, formula(True)), ""),
        _xlsx(
            "only empty cells",
            lambda: workbook([[None] * wide, [" "]]),
            "the file is empty",
        ),
    ]


def _wide(old: bytes) -> bytes:
    head = '<?xml version="1.0" encoding="UTF-16"?>'
    body = old.decode().split("?>", 1)[-1] if old.startswith(b"<?xml") else old.decode()
    return (head + body).encode("utf-16")


def _books_read(cells: Cells, book: bytes, letter: str) -> list[Case]:
    def styled(it: openpyxl.Workbook) -> None:
        it.active.cell(5000, 9).font = Font(bold=True)

    def second(it: openpyxl.Workbook) -> None:
        it.create_sheet("notes").append(["=1+1"])

    def as_words(it: openpyxl.Workbook) -> None:
        cell = it.active[f"{letter}2"]
        cell.value = str(cell.value)

    def says_small(old: bytes) -> bytes:
        start = old.index(b"<dimension")
        return old.replace(old[start : old.index(b"/>", start) + 2], b"")

    return [
        _xlsx("a workbook", lambda: book, None),
        _xlsx("empty styled cells below", lambda: workbook(cells, styled), None),
        _xlsx("a second sheet", lambda: workbook(cells, second), None),
        _xlsx("a number kept as text", lambda: workbook(cells, as_words), None),
        _xlsx("no word of its size", lambda: with_parts(book, sheet=says_small), None),
    ]


def _places(text: str) -> list[Case]:
    return [
        Case("no file", ".csv", lambda path: None, NO_FILE),
        Case("no workbook", ".xlsx", lambda path: None, NO_FILE),
        Case("a folder", ".csv", Path.mkdir, "a folder, not a file"),
        Case("a pipe", ".csv", pipe, "no plain file"),
        Case("a link to itself", ".csv", loop, "cannot be opened"),
        Case("a link to nothing", ".csv", dangling, NO_FILE),
        Case("a link", ".csv", linked(text.encode()), None),
        Case("40 GB", ".csv", sparse, "larger than"),
        Case("a name too long", "x" * 300 + ".csv", lambda path: None, ""),
    ]
