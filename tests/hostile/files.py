"""Make broken files: text, workbooks, archives, survey files."""

import io
import struct
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import openpyxl

Cells = Sequence[Sequence[object]]
#: Beyond what a reader may unpack.
TOO_MUCH = 150_000_000


@dataclass(frozen=True)
class Case:
    """One broken file.

    ``said`` is part of the message with which it is refused; None: it is read,
    and means what the whole file means.
    """

    name: str
    ending: str
    write: Callable[[Path], object]
    said: str | None


def as_text(cells: Cells, *, separator: str = ",") -> str:
    def one(cell: object) -> str:
        text = "" if cell is None else str(cell)
        quoted = any(mark in text for mark in (separator, '"', "\n", "\r"))
        return '"' + text.replace('"', '""') + '"' if quoted else text

    return "".join(separator.join(map(one, row)) + "\n" for row in cells)


def workbook(
    cells: Cells, change: Callable[[openpyxl.Workbook], object] | None = None
) -> bytes:
    book = openpyxl.Workbook()
    for row in cells:
        book.active.append(list(row))
    if change is not None:
        change(book)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def with_parts(content: bytes, **changes: object) -> bytes:
    """Return a workbook with parts replaced (bytes), left out (None) or edited."""
    named = {"sheet": "xl/worksheets/sheet1.xml", "book": "xl/workbook.xml"}
    named |= {"styles": "xl/styles.xml", "types": "[Content_Types].xml"}
    wanted = {named[key]: value for key, value in changes.items()}
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.namelist():
            change = wanted.get(part, old.read(part))
            if callable(change):
                change = change(old.read(part))
            if change is not None:
                new.writestr(part, change)
    return buffer.getvalue()


# Archives that unpack to far more than they are


@cache
def stuffed() -> bytes:
    """A part that truly unpacks to too much."""
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as parts,
        parts.open("xl/worksheets/sheet1.xml", "w") as part,
    ):
        for _ in range(TOO_MUCH // 1_000_000):
            part.write(bytes(1_000_000))
    return buffer.getvalue()


def overlapping(content: bytes) -> bytes:
    """A directory that names the same megabytes again and again: gigabytes."""
    buffer = io.BytesIO(content)
    with zipfile.ZipFile(buffer, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as parts:
        parts.writestr("xl/media/a.bin", bytes(5_000_000))
        first = parts.infolist()[-1]
        for number in range(1000):
            again = zipfile.ZipInfo(f"xl/media/{number}.bin")
            for name in ("header_offset", "compress_size", "file_size", "CRC"):
                setattr(again, name, getattr(first, name))
            again.compress_type = first.compress_type
            parts.filelist.append(again)
        parts._didModify = True
    return buffer.getvalue()


def boasting(content: bytes) -> bytes:
    """Every part says it unpacks to 4 GB."""
    out, at = bytearray(content), 0
    while (at := content.find(b"PK\x01\x02", at)) >= 0:
        out[at + 24 : at + 28] = struct.pack("<I", 2**32 - 2)
        at += 4
    return bytes(out)


def modest(content: bytes) -> bytes:
    """The sheet says it unpacks to 10 bytes, and does to more."""
    out = bytearray(content)
    at = content.rfind(b"PK\x01\x02", 0, content.rfind(b"xl/worksheets/sheet1.xml"))
    out[at + 24 : at + 28] = struct.pack("<I", 10)
    return bytes(out)


def entities(content: bytes, part: str) -> bytes:
    """A thousand million laughs in one part of a workbook."""
    lines = ['<!ENTITY l0 "ha">']
    lines += [f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10)]
    bomb = f"<!DOCTYPE b [{''.join(lines)}]>".encode()

    def change(old: bytes) -> bytes:
        body = old.split(b"?>", 1)[1] if old.startswith(b"<?xml") else old
        return b'<?xml version="1.0"?>' + bomb + body.replace(b"</", b"&l9;</", 1)

    return with_parts(content, **{part: change})


def outside_entity(content: bytes) -> bytes:
    """A part that asks for a file of the machine."""

    def change(old: bytes) -> bytes:
        body = old.split(b"?>", 1)[1] if old.startswith(b"<?xml") else old
        asked = b'<!DOCTYPE b [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
        return b'<?xml version="1.0"?>' + asked + body

    return with_parts(content, sheet=change)


# What is no plain file


def linked(content: bytes) -> Callable[[Path], object]:
    def write(path: Path) -> None:
        path.with_name("real" + path.suffix).write_bytes(content)
        path.symlink_to("real" + path.suffix)

    return write


def sparse(path: Path) -> None:
    """A file of 40 GB that takes no room."""
    with path.open("wb") as handle:
        handle.truncate(40_000_000_000)
