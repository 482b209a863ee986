"""The units of a page: the switch that chooses them, and a field that follows it."""

import contextlib
import os
from collections.abc import Callable
from pathlib import Path

import ipywidgets as w

from sizing.errors import SizingError
from sizing.files.state import KEEPS
from sizing.files.writing import write_text
from sizing.measures import UNITS, unit_of, written
from sizing.measures.typed import Quantity, quantity, understood, with_unit

_CHOSEN = "units.txt"


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
        self.view.observe(lambda _: self._keep(), "value")

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


class UnitField:
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
        self._label, self._measure, self._switch = label, measure, switch
        self._signed = signed
        self._typed, self._typed_in = "", switch.units
        self._shows = ""
        self._listeners: list[Callable[[], object]] = []
        self.box = w.Text(
            description=self._called(), placeholder=placeholder, continuous_update=False
        )
        self.box.observe(lambda _: self._changed(), "value")
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
        for listener in self._listeners:
            listener()

    def on_change(self, what: Callable[[], object]) -> None:
        self._listeners.append(what)

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
        for listener in self._listeners:
            listener()

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
