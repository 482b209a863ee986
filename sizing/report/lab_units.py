"""One switch for the units in which people read and type: metric or imperial."""

import contextlib
import os
import re
from collections.abc import Callable
from pathlib import Path

import ipywidgets as w

from sizing.errors import Problem, SizingError, one_of
from sizing.measures.columns import LENGTH_UNITS, MASS_UNITS
from sizing.measures.written import UNITS, kind_of, unit_of, written
from sizing.state import KEEPS
from sizing.writing import write_text

_CHOSEN = "units.txt"
_PER_STONE, _PER_FOOT = 14, 12


def understood(text: str, measure: str, units: str = "metric") -> float:
    """Return what was typed as cm or kg, exactly.

    A number alone is in the units chosen; a unit behind it goes before the
    choice. Feet with inches and stone with pounds may stand together.

    Parameters
    ----------
    text : str
        Such as ``104``, ``41 in``, ``5 ft 3 in``, ``9 st 8 lb``.
    measure : str
        Its name, which ends in ``_cm`` or ``_kg``.
    units : str
        A key of ``UNITS``. A number alone is in inches, in pounds, or, where stone
        is chosen, in decimal stone.

    Returns
    -------
    float
        In cm or kg.

    Raises
    ------
    SizingError
        If it is no such measure.

    Notes
    -----
    1 in = 2.54 cm and 1 lb = 0.45359237 kg exactly (international yard and pound
    agreement, 1959); 1 st = 14 lb.

    Examples
    --------
    >>> understood("5 ft 3 in", "stature_cm"), understood("104", "hip_circumference_cm")
    (160.02, 104.0)
    >>> round(understood("9 st 8 lb", "body_mass_kg"), 2)
    60.78
    """
    one_of("units", units, list(UNITS))
    length = kind_of(measure) == "length"
    factors = LENGTH_UNITS if length else MASS_UNITS
    alone = unit_of(measure, units)
    plain = text.strip().lower().replace("″", " in ").replace("′", " ft ")
    parts = re.findall(r"(\d+(?:\.\d+)?)\s*([a-z]*)", plain)
    if re.sub(r"(\d+(?:\.\d+)?)\s*([a-z]*)", "", plain).strip() or not parts:
        raise _not_understood(text, length)
    found = [(float(number), unit or alone) for number, unit in parts]
    names = [unit for _, unit in found]
    if any(unit not in factors for unit in names):
        raise _not_understood(text, length)
    small, most = ("in", _PER_FOOT) if length else ("lb", _PER_STONE)
    large = "ft" if length else "st"
    pair = names == [large, small] and found[1][0] < most and found[0][0].is_integer()
    if len(found) > 1 and not pair:
        raise _not_understood(text, length)
    return sum(number * factors[unit] for number, unit in found)


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

    def understood(self, text: str, measure: str) -> float:
        """Return what was typed in the units chosen as cm or kg."""
        return understood(text, measure, self.units)

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


def _not_understood(text: str, length: bool) -> SizingError:
    like = "104, 41 in or 5 ft 3 in" if length else "61, 134 lb or 9 st 8 lb"
    return SizingError(
        str(
            Problem(
                "this is not understood",
                like,
                "write the number and, if need be, its unit behind it",
                value=text,
            )
        )
    )
