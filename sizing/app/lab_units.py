"""One switch for the units in which people read and type: metric or imperial."""

import contextlib
import os
from collections.abc import Callable
from pathlib import Path

import ipywidgets as w

from sizing.errors import SizingError
from sizing.files.state import KEEPS
from sizing.files.writing import write_text
from sizing.measures.written import UNITS, written

_CHOSEN = "units.txt"


class UnitSwitch:
    """Buttons that choose the units of a page, and of the pages opened after it.

    Parameters
    ----------
    folder : path, optional
        The user's state folder, where the choice is kept; if None the one that a
        server of the kit's names to its pages, and none elsewhere.

    Attributes
    ----------
    view : ipywidgets.Widget
        The buttons, to stand at the top of a form.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     switch = UnitSwitch(folder)
    >>> switch.written(61.2, "body_mass_kg")
    '61 kg'
    """

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
        """The key of the units chosen."""
        return str(self.view.value)

    def on_change(self, what: Callable[[str], object]) -> None:
        """Call ``what`` with the key of the units whenever they change."""
        self.view.observe(lambda _: what(self.units), "value")

    def written(self, value: float, measure: str, *, to: str = "half") -> str:
        """Write a measure in the units chosen."""
        return written(value, measure, self.units, to=to)

    def _read(self) -> str:
        if self._folder is None:
            return "metric"
        try:
            kept = (self._folder / _CHOSEN).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError):
            return "metric"
        return kept if kept in UNITS else "metric"

    def _keep(self) -> None:
        # Where it cannot be written to, the choice lasts for the page.
        if self._folder is not None:
            with contextlib.suppress(SizingError):
                write_text(self._folder / _CHOSEN, self.units)
