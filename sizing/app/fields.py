"""The parts that forms are made of, alike on every page: boxes, units, files taken."""

import base64
import hashlib
import os
import re
import tempfile
import unicodedata
import warnings
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from html import escape
from pathlib import Path
from typing import Any, TypeVar

import ipywidgets as w

from sizing.app.form_words import bullets, paragraphs, status, wrong_lines
from sizing.errors import ReadingNote, SizingError, SizingWarning, caught_warnings
from sizing.files.places import KEEPS
from sizing.files.writing import write_bytes, write_text
from sizing.measures import MEASURES, PATTERNS, UNITS, pattern_words, unit_of, written
from sizing.measures.headings import Table
from sizing.measures.tables import blank_bytes
from sizing.measures.typed import Quantity, quantity, understood, with_unit
from sizing.people import population_titles
from sizing.resources import texts

_T = texts("forms")
_ANY = "not said"
#: The file, in the folder that keeps such things, of the units chosen last.
_CHOSEN = "units.txt"
#: Most bytes of a file's name; many file systems take 255 (common practice).
MOST_NAME_BYTES = 200
#: What is said beneath a file that was taken.
_SAID = (ReadingNote, SizingWarning)
Read = TypeVar("Read")


def fitting(**look: str) -> w.Layout:
    # Of one part alone: one made while a module loads is lost to a page opened anew.
    return w.Layout(**{"width": "auto"} | look)


def wide(width: str) -> dict[str, Any]:
    """Return the look of a field with its words whole, no wider than the screen."""
    layout = w.Layout(width=width, max_width="calc(100% - 4px)")
    return {"style": {"description_width": "initial"}, "layout": layout}


def button(words: str, press: Callable[[], object], **look: str) -> w.Button:
    look = {"width": "max-content", "max_width": "calc(100% - 4px)"} | look
    made = w.Button(description=words, layout=fitting(**look))
    made.on_click(lambda _: press())
    return made


def tick(words: str, **given: Any) -> w.Checkbox:
    return w.Checkbox(description=words, layout=fitting(), indent=False, **given)


def number(
    words: str, value: int, most: int, *, width: str = "11rem"
) -> w.BoundedIntText:
    """Return a field for a whole number from 1."""
    ends = {"min": 1, "max": most, "value": value}
    return w.BoundedIntText(description=words, **ends, **wide(width))


def people_choice(start: str, **look: Any) -> w.Dropdown:
    options = [(title, name) for name, title in population_titles().items()]
    look = look or {"layout": fitting()}
    return w.Dropdown(options=options, value=start, description="People", **look)


def row(*parts: w.Widget) -> w.Box:
    """Put parts side by side, as far as the page is wide."""
    layout = w.Layout(flex_flow="row wrap", align_items="center")
    return w.Box(parts, layout=layout)


def show_if(yes: object, *parts: w.Widget) -> None:
    for part in parts:
        part.layout.display = None if yes else "none"


def folded(words: str, *widgets: w.Widget) -> w.VBox:
    """Return widgets that a button shows and hides: a keyboard reaches it."""
    turner = w.ToggleButton(description=words, layout=fitting())
    box = w.VBox(widgets, layout=w.Layout(display="none"))
    on_change(lambda: show_if(turner.value, box), turner)
    return w.VBox([turner, box])


def on_change(what: Callable[[], object], *fields: Any) -> None:
    """Call ``what`` whenever one of these changes: widgets, or fields of the kit."""
    for field in fields:
        if isinstance(field, w.Widget):
            field.observe(lambda _: what(), "value")
        else:
            field.on_change(what)


class Heard:
    """What tells whoever has asked of its changes."""

    def __init__(self) -> None:
        self._listeners: list[Callable[[], object]] = []

    def on_change(self, what: Callable[[], object]) -> None:
        self._listeners.append(what)

    def tell(self) -> None:
        for listener in self._listeners:
            listener()


class Told(w.HTML):
    """Says what was done, or what is wrong, in the units of the page."""

    def __init__(self, switch: Any = None) -> None:
        super().__init__()
        self._switch = switch

    def say(self, *lines: str) -> None:
        self.value = status(paragraphs(lines))

    def wrong(self, error: SizingError, **how: Any) -> None:
        units = "metric" if self._switch is None else self._switch.units
        self.value = status(bullets(wrong_lines(error, units=units, **how)))

    @contextmanager
    def wrong_is_told(self) -> Iterator[None]:
        """Say what is wrong with what is done in this block; it ends there."""
        self.value = ""
        try:
            yield
        except SizingError as error:
            self.wrong(error)


class PatternField:
    """A pattern of sling; beneath it what a chart lacks for it, and its warnings."""

    def __init__(self) -> None:
        # Before a chart is known only the pattern's own warnings can be given.
        self._limits: Collection[str] = MEASURES
        self.box = w.Dropdown(options=[_ANY, *PATTERNS], description="Pattern of sling")
        self.words = w.HTML()
        self.view = w.VBox([self.box, self.words])
        self.on_change(self._show)

    @property
    def pattern(self) -> str | None:
        return None if self.box.value == _ANY else str(self.box.value)

    def choose(self, pattern: str | None) -> None:
        self.box.value = pattern or _ANY

    def use_chart(self, limits: Collection[str]) -> None:
        self._limits = limits
        self._show()

    def on_change(self, what: Callable[[], object]) -> None:
        on_change(what, self.box)

    def _show(self) -> None:
        limits, told = self._limits, ""
        if self.pattern is not None:
            told = status(bullets(pattern_words(self.pattern, limits, limits)))
        self.words.value = told


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
        with suppress(OSError, UnicodeDecodeError):
            if self._folder is not None:
                kept = (self._folder / _CHOSEN).read_text(encoding="utf-8").strip()
        return kept if kept in UNITS else "metric"

    def _keep(self) -> None:
        # Where it cannot be written to, the choice lasts for the page.
        if self._folder is not None:
            with suppress(SizingError):
                write_text(self._folder / _CHOSEN, self.units)


class UnitField(Heard):
    """A length or mass in the units of the switch; what was typed is kept as typed."""

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
                told = [c for c in caught if issubclass(c.category, _SAID)]
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
