"""A button that takes a user's files, and reads them without keeping them."""

import base64
import hashlib
import re
import tempfile
import unicodedata
import warnings
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any, TypeVar

import ipywidgets as w

from sizing.app.buttons import button, fitting, row
from sizing.errors import (
    Problem,
    ReadingNote,
    SizingError,
    SizingWarning,
    caught_warnings,
)
from sizing.files.writing import write_bytes
from sizing.measures.headings import Table
from sizing.measures.tables import blank_bytes
from sizing.resources import texts

_T = texts("forms")

#: Most bytes of a file's name; many file systems take 255 (common practice).
MOST_NAME_BYTES = 200

Read = TypeVar("Read")
_TOLD = (ReadingNote, SizingWarning)


class UploadBox:
    """A button for a file of the user's own, what was taken, and a way back."""

    def __init__(
        self,
        label: str,
        *,
        help: str = "",
        multiple: bool = False,
        accept: str = ".csv,.xlsx",
        table: Table | None = None,
    ) -> None:
        self._multiple = multiple
        self.box = w.FileUpload(
            accept=accept, description=label, multiple=multiple, layout=fitting()
        )
        self._back = button(_T.take_back, self.clear, display="none")
        self._taken, self.said = w.HTML(), w.HTML()
        words = [w.HTML(f"<p>{escape(help)}</p>")] if help else []
        if table is not None:
            content = base64.b64encode(blank_bytes(table, ".csv")).decode()
            given = {"title": table.title, "content": content}
            words.append(w.HTML(_T.blank.format(**given)))
        first = row([self.box, self._back, self._taken], align_items="center")
        self.view = w.VBox([first, *words, self.said])
        self.box.observe(lambda _: self._tell(), "value")

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(_last_part(item["name"]) for item in self.box.value)

    @property
    def key(self) -> str:
        seen = hashlib.sha256()
        for item in self.box.value:
            seen.update(item["name"].encode("utf-8", errors="surrogatepass"))
            seen.update(hashlib.sha256(bytes(item["content"])).digest())
        return seen.hexdigest() if self.box.value else ""

    def read(self, reader: Callable[[Path], Read]) -> Any:
        found = []
        with caught_warnings() as caught:
            try:
                for item in self.box.value:
                    with tempfile.TemporaryDirectory() as folder:
                        path = Path(folder) / checked_name(item["name"])
                        found.append(reader(write_bytes(path, bytes(item["content"]))))
            finally:
                told = [c for c in caught if issubclass(c.category, _TOLD)]
                lines = dict.fromkeys(f"<p>{escape(str(c.message))}</p>" for c in told)
                self.said.value = f'<div role="status">{"".join(lines)}</div>'
        for one in caught:
            if not issubclass(one.category, ReadingNote):
                warnings.warn(one.message, one.category, stacklevel=2)
        if not found:
            return None
        return found if self._multiple else found[0]

    def on_change(self, what: Callable[[], object]) -> None:
        self.box.observe(lambda _: what(), "value")

    def clear(self) -> None:
        self.box.value = ()

    def _tell(self) -> None:
        self._taken.value = escape(", ".join(self.names))
        self.said.value = ""
        self._back.layout.display = None if self.box.value else "none"


def checked_name(given: str) -> str:
    """Return a file's name without any folder, or refuse it."""
    name = _last_part(given)
    # The second catches a drive's letter, which leads elsewhere on some systems.
    if name in ("", ".", "..") or Path(name).name != name:
        fault = _T.name_faults["missing"]
    elif any(unicodedata.category(letter) in ("Cc", "Cs") for letter in name):
        fault = _T.name_faults["unseen"]
    elif len(name.encode("utf-8")) > MOST_NAME_BYTES:
        fault = _T.name_faults["long"]
    else:
        return name
    shown = name[:40].encode("utf-8", errors="replace").decode("utf-8")
    where = (None, None, None, shown)
    raise SizingError(str(Problem.of(_T.file_name, *where, fault=fault)))


def _last_part(given: str) -> str:
    return re.split(r"[/\\]", given)[-1]
