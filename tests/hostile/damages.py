"""Damage to a whole file, whatever table it holds."""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import openpyxl
from openpyxl.styles import Font

from .files import (
    Case,
    Cells,
    as_text,
    boasting,
    entities,
    linked,
    modest,
    outside_entity,
    overlapping,
    sparse,
    stuffed,
    with_parts,
    workbook,
)

Content = bytes | str | Callable[[], bytes | str]
PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(1, 200))
OLD_WORKBOOK = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600)
HTML = "<html><body><table><tr><td>size</td></tr></table></body></html>\n"
ENCODING, NOT_TEXT = "letters in another encoding", "not text"
EMPTY = "the file is empty"
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


def _csv(name: str, content: Content, said: str | None) -> Case:
    def write(path: Path) -> None:
        made = content() if callable(content) else content
        path.write_bytes(made.encode() if isinstance(made, str) else made)

    return Case(name, ".csv", write, said)


def _xlsx(name: str, content: bytes | Callable[[], bytes], said: str | None) -> Case:
    return replace(_csv(name, content, said), ending=".xlsx")


def _text_refused(cells: Cells, text: str) -> list[Case]:
    first, rest = text.split("\n", 1)
    row = rest.split("\n")[0]

    def million() -> bytes:
        return (first + "\n" + (row + "\n") * 10**6).encode()[:19_000_000]

    refused: dict[str, tuple[Content, str]] = {
        "empty": ("", EMPTY),
        "one space": (" ", EMPTY),
        "empty lines": ("\n\n\n", EMPTY),
        "separators alone": (",,,\n,,,\n", EMPTY),
        "heading alone": (first + "\n", ""),
        "heading in row 2": ("\n" + text, "row 1 is empty"),
        "UTF-16 with a mark": (text.encode("utf-16"), "UTF-16"),
        "UTF-16 other way": (b"\xfe\xff" + text.encode("utf-16-be"), "UTF-16"),
        "UTF-16 without a mark": (text.encode("utf-16-le"), NOT_TEXT),
        "UTF-32": (text.encode("utf-32"), "UTF-16"),
        "latin-1": (text.replace("a", "é").encode("latin-1"), ENCODING),
        "Windows marks": (text.encode() + b"\x93quoted\x94\n", ENCODING),
        "cut inside a letter": (text.encode() + "é".encode()[:1], ENCODING),
        "nul bytes": (text.replace("\n", "\x00\n"), NOT_TEXT),
        "nul bytes alone": (bytes(5000), NOT_TEXT),
        "a picture": (PNG, ENCODING),
        "a workbook under another name": (lambda: workbook(cells), NOT_TEXT),
        "an older workbook": (OLD_WORKBOOK, NOT_TEXT),
        "a web page": (HTML, ""),
        "a quotation mark not closed": (text + '"x' + "\ny" * 9, "quotation mark"),
        "a quotation mark inside": (text + '"x"y,1\n', "quotation mark"),
        "a longer row": (text + row + ",1,2\n", "cells, the heading"),
        "the separator told": ("sep=,\n" + text, "names the separator"),
        "a million rows": (million, "more than"),
        "a thousand columns": (first + ",x" * 1000 + "\n" + rest, "columns"),
        "a very long cell": (text + '"' + "x" * 100_000 + '"\n', "letters"),
        "a heading twice": (f"{first},{first.split(',')[0]}\n{rest}", ""),
        "cut short": (text.rstrip("\n").rsplit(",", 1)[0], "cut short"),
        "packed": (b"\x1f\x8b\x08\x00" + bytes(50), NOT_TEXT),
    }
    return [_csv(name, *case) for name, case in refused.items()]


def _text_read(cells: Cells, text: str) -> list[Case]:
    first, rest = text.split("\n", 1)
    read = {
        "a mark at the start": text.encode("utf-8-sig"),
        "ends of Windows": text.replace("\n", "\r\n"),
        "ends of an old Mac": text.replace("\n", "\r"),
        "semicolons": as_text(cells, separator=";"),
        "tabs": as_text(cells, separator="\t"),
        "no end of the last line": text.rstrip("\n"),
        "empty columns at the end": text.replace("\n", ",,,\n"),
        "spaces around headings": first.replace(",", " , ") + "\n" + rest,
    }
    return [_csv(name, content, None) for name, content in read.items()]


def _books_refused(cells: Cells, book: bytes, letter: str, wide: int) -> list[Case]:
    def hidden(it: openpyxl.Workbook) -> None:
        it.create_sheet("second").append(["x"])
        it.active.sheet_state = "hidden"

    def whole_sheet(old: bytes) -> bytes:
        merge = b'<mergeCells count="1"><mergeCell ref="A1:XFD1048576"/></mergeCells>'
        return old.replace(b"</sheetData>", b"</sheetData>" + merge)

    def billionth(old: bytes) -> bytes:
        return old.replace(b'<row r="2"', b'<row r="99999999999"').replace(
            b'r="A2"', b'r="A99999999999"'
        )

    def holding(text: object, cell: str = f"{letter}2"):
        return changed(lambda it: it.active.__setitem__(cell, text))

    def no_sheets(it: openpyxl.Workbook) -> None:
        it.create_chartsheet("drawn")
        it.remove(it.worksheets[0])

    broken = bytearray(book)
    broken[len(book) // 3 : len(book) // 3 + 40] = bytes(40)

    def parts(**changes: object) -> Callable[[], bytes]:
        return lambda: with_parts(book, **changes)

    def changed(change: Callable[[openpyxl.Workbook], object]) -> Callable[[], bytes]:
        return lambda: workbook(cells, change)

    refused: dict[str, tuple[bytes | Callable[[], bytes], str]] = {
        "text named a workbook": (as_text(cells).encode(), NO_BOOK),
        "an older or locked workbook": (OLD_WORKBOOK, "password"),
        "empty, named a workbook": (b"", EMPTY),
        "an empty archive": (b"PK\x05\x06" + bytes(18), NO_BOOK),
        "half a workbook": (book[: len(book) // 2], NO_BOOK),
        "a workbook without its end": (book[:-30], NO_BOOK),
        "its first bytes alone": (book[:50], NO_BOOK),
        "a hole in it": (bytes(broken), NO_BOOK),
        "no sheet in it": (parts(sheet=None), NO_BOOK),
        "no list of sheets": (parts(book=None), NO_BOOK),
        "no list of parts": (parts(types=None), NO_BOOK),
        "half a sheet": (parts(sheet=lambda s: s[:-60]), NO_BOOK),
        "a sheet that is no XML": (parts(sheet=b"hello"), NO_BOOK),
        "a drawing instead of a sheet": (changed(no_sheets), NO_BOOK),
        "too much inside": (stuffed, "unpacks to more"),
        "gigabytes inside": (lambda: overlapping(book), "unpacks to more"),
        "says gigabytes": (lambda: boasting(book), "unpacks to more"),
        "says less than it holds": (lambda: modest(book), NO_BOOK),
        "laughs in the sheet": (lambda: entities(book, "sheet"), NO_BOOK),
        "laughs in the list": (lambda: entities(book, "book"), NO_BOOK),
        "laughs in the styles": (lambda: entities(book, "styles"), NO_BOOK),
        "asks for another file": (lambda: outside_entity(book), NO_BOOK),
        "UTF-16 inside": (parts(sheet=_wide), NO_BOOK),
        "merged cells": (
            changed(lambda it: it.active.merge_cells(f"{letter}2:{letter}3")),
            "merged cells",
        ),
        "all merged": (parts(sheet=whole_sheet), "merged cells"),
        "a hidden first sheet": (changed(hidden), "hidden"),
        "a cell far away": (holding(1, "XFD1048576"), "reaches down"),
        "a cell far below": (holding("x", "A1000000"), "reaches down"),
        "row 99999999999": (parts(sheet=billionth), "reaches down"),
        "a formula": (holding("=1+1"), "formula whose result"),
        "a command": (holding("=cmd|'/C x'!A0"), "formula"),
        "no result": (holding("#REF!"), "#REF!"),
        "yes or no": (holding(True), ""),
        "only empty cells": (lambda: workbook([[None] * wide, [" "]]), EMPTY),
    }
    return [_xlsx(name, *case) for name, case in refused.items()]


def _wide(old: bytes) -> bytes:
    head = '<?xml version="1.0" encoding="UTF-16"?>'
    body = old.decode().split("?>", 1)[-1] if old.startswith(b"<?xml") else old.decode()
    return (head + body).encode("utf-16")


def _books_read(cells: Cells, book: bytes, letter: str) -> list[Case]:
    def noted(it: openpyxl.Workbook) -> None:
        it.create_sheet("notes").append(["=1+1"])

    def styled(it: openpyxl.Workbook) -> None:
        it.active.cell(5000, 9).font = Font(bold=True)

    def as_words(it: openpyxl.Workbook) -> None:
        cell = it.active[f"{letter}2"]
        cell.value = str(cell.value)

    def says_small(old: bytes) -> bytes:
        start = old.index(b"<dimension")
        return old.replace(old[start : old.index(b"/>", start) + 2], b"")

    return [
        _xlsx("a workbook", book, None),
        _xlsx("empty styled cells below", lambda: workbook(cells, styled), None),
        _xlsx("a second sheet", lambda: workbook(cells, noted), None),
        _xlsx("a number kept as text", lambda: workbook(cells, as_words), None),
        _xlsx("no word of its size", lambda: with_parts(book, sheet=says_small), None),
    ]


def _places(text: str) -> list[Case]:
    return [
        Case("no file", ".csv", lambda path: None, NO_FILE),
        Case("no workbook", ".xlsx", lambda path: None, NO_FILE),
        Case("a folder", ".csv", Path.mkdir, "a folder, not a file"),
        Case("a pipe", ".csv", os.mkfifo, "no plain file"),
        Case("a link to itself", ".csv", lambda p: p.symlink_to(p.name), "be opened"),
        Case("a link to nothing", ".csv", lambda p: p.symlink_to("none"), NO_FILE),
        Case("a link", ".csv", linked(text.encode()), None),
        Case("40 GB", ".csv", sparse, "larger than"),
        Case("a name too long", "x" * 300 + ".csv", lambda path: None, ""),
    ]
