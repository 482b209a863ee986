"""What pages take in: their units, a length or a mass in them, a file."""

import base64
import contextlib
import hashlib
import os
import re
import tempfile
import unicodedata
import warnings
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any, TypeVar

import ipywidgets as w

from sizing.app.fields import Heard, button, fitting, on_change, row, show_if
from sizing.errors import ReadingNote, SizingError, SizingWarning, caught_warnings
from sizing.files.places import KEEPS
from sizing.files.writing import write_bytes, write_text
from sizing.measures import UNITS, unit_of, written
from sizing.measures.headings import Table
from sizing.measures.tables import blank_bytes
from sizing.measures.typed import Quantity, quantity, understood, with_unit
from sizing.resources import texts

_T = texts("forms")
_CHOSEN = "units.txt"
#: Most bytes of a file's name; many file systems take 255 (common practice).
MOST_NAME_BYTES = 200
Read = TypeVar("Read")
_TOLD = (ReadingNote, SizingWarning)


class UnitSwitch:
    """Buttons that choose the units of a page, and of the pages opened after it."""

    def __init__(self, folder: Path | str | None = None) -> None:
        named = folder or os.environ.get(KEEPS)
        self._folder = Path(named) if named else None
        self.view = w.ToggleButtons(
            options=[(words, key) for key, words in UNITS.items()],
            value=self._read(),
            description="Units",
        )
        on_change(self._keep, self.view)

    @property
    def units(self) -> str:
        return str(self.view.value)

    def on_change(self, what: Callable[[str], object]) -> None:
        self.view.observe(lambda _: what(self.units), "value")

    def _read(self) -> str:
        kept = ""
        with contextlib.suppress(OSError, UnicodeDecodeError):
            if self._folder is not None:
                kept = (self._folder / _CHOSEN).read_text(encoding="utf-8").strip()
        return kept if kept in UNITS else "metric"

    def _keep(self) -> None:
        # Where it cannot be written to, the choice lasts for the page.
        if self._folder is not None:
            with contextlib.suppress(SizingError):
                write_text(self._folder / _CHOSEN, self.units)


class UnitField(Heard):
    """A field for a length or a mass that follows the switch of units.

    What was typed is kept, and converted when it is read.
    """

    def __init__(
        self,
        label: str,
        measure: str,
        switch: UnitSwitch,
        *,
        placeholder: str = "not taken",
        signed: bool = False,
    ) -> None:
        super().__init__()
        self._label, self._measure, self._switch = label, measure, switch
        self._signed, self._shows = signed, ""
        self._typed, self._typed_in = "", switch.units
        self.box = w.Text(
            description=self._called(), placeholder=placeholder, continuous_update=False
        )
        on_change(self._changed, self.box)
        switch.on_change(lambda _: self._follow())

    @property
    def typed(self) -> str:
        return with_unit(self.box.value.strip(), self._unit())

    @property
    def value(self) -> float | str | None:
        """The value in cm or kg; None if empty; the text, with its unit, if unclear."""
        try:
            return self.number()
        except SizingError:
            return with_unit(self._typed, unit_of(self._measure, self._typed_in))

    def number(self) -> float | None:
        typed = (self._typed, self._measure, self._typed_in)
        return understood(*typed, signed=self._signed) if self._typed else None

    def set(self, value: float | None) -> None:
        self._shows = "" if value is None else self._written(value)
        self._typed = "" if value is None else repr(float(value)).removesuffix(".0")
        self._typed_in = "metric"
        self.box.value = self._shows
        self.tell()

    def _called(self) -> str:
        return f"{self._label}, {self._unit()}"

    def _unit(self) -> str:
        return unit_of(self._measure, self._switch.units)

    def _written(self, value: float) -> str:
        units = self._switch.units
        text = written(value, self._measure, units, to="tenth")
        # Stone and pounds need their units; a number alone has the label's.
        return text if self._unit() == "st" else text.split()[0]

    def _changed(self) -> None:
        if self.box.value == self._shows:
            return
        self._typed = self._shows = self.box.value.strip()
        self._typed_in = self._switch.units
        found = quantity(self._typed, self._unit())
        if isinstance(found, Quantity) and found.said:
            self._shows = self.box.value = self._written(found.standard)
        self.tell()

    def _follow(self) -> None:
        self.box.description = self._called()
        try:
            value = self.number()
        except SizingError:
            # It stays as it is, with the unit it was typed in, and is told when read.
            self._shows = self._typed = str(self.value)
            self._typed_in = self._switch.units
        else:
            if value is None:
                return
            same = self._typed_in == self._switch.units
            self._shows = self._typed if same else self._written(value)
        self.box.value = self._shows


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
        first = row(self.box, self._back, self._taken)
        self.view = w.VBox([first, *words, self.said])
        self.on_change(self._tell)

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
        on_change(what, self.box)

    def clear(self) -> None:
        self.box.value = ()

    def _tell(self) -> None:
        self._taken.value = escape(", ".join(self.names))
        self.said.value = ""
        show_if(self.box.value, self._back)


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
    raise SizingError.of(_T.file_name, shown, fault=fault)


def _last_part(given: str) -> str:
    return re.split(r"[/\\]", given)[-1]
