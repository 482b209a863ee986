"""A table to type in, in the units of the page, and exact beneath."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.table import EditableTable
from sizing.app.units import UnitSwitch
from sizing.errors import SizingError
from sizing.measures.typed import quantity, understood, with_unit
from sizing.measures.written import unit_of, written

#: A column of lengths or masses.
_MEASURE = re.compile(r"_(?:cm|kg)(?=_low$|_high$|$)")
#: Decimals shown; what is beneath is exact.
_SHOWN = 2
Row = dict[str, Any]


class UnitTable:
    """An editable table whose lengths and masses follow the switch of units.

    Cells are kept in cm and kg as they came, and a cell is read anew only when it
    is typed in: changing the units to and fro loses nothing. What is not
    understood stays as it was typed, for the gate to judge.

    Parameters
    ----------
    frame : DataFrame
        Standard names and units, such as ``hip_circumference_cm_low``.
    switch : UnitSwitch
    caption : str
    headings : callable
        What a column is called, without its unit.
    choices : mapping, optional
        As for ``EditableTable``.

    Attributes
    ----------
    view : ipywidgets.Widget

    Examples
    --------
    >>> switch = UnitSwitch()
    >>> switch.view.value = "metric"
    >>> table = UnitTable(pd.DataFrame({"hip_circumference_cm": [104.0]}), switch,
    ...                   caption="Hips", headings=lambda name: "Hip girth")
    >>> switch.view.value = "pounds"
    >>> table.cell(0, "hip_circumference_cm").value
    '40.94'
    >>> table.frame["hip_circumference_cm"].tolist()
    [104.0]
    """

    def __init__(
        self,
        frame: pd.DataFrame,
        switch: UnitSwitch,
        *,
        caption: str,
        headings: Callable[[str], str],
        choices: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        self._switch, self._caption = switch, caption
        self._headings, self._choices = headings, dict(choices or {})
        self._listeners: list[Callable[[], object]] = []
        self._columns: list[str] = []
        self._exact: list[Row] = []
        self._shown: list[Row] = []
        self._room = 0
        self._table: EditableTable
        self._quiet = False
        self.view = w.VBox()
        self.set(frame)
        switch.on_change(lambda _: self._show())

    @property
    def frame(self) -> pd.DataFrame:
        """What stands in the table, in cm and kg; text where it is not understood."""
        return pd.DataFrame(self._exact, columns=self._columns)

    def cell(self, row: int, column: str) -> Any:
        """Return the widget of one cell; rows count from 0."""
        return self._table.cell(row, column)

    def set(self, frame: pd.DataFrame) -> None:
        """Show another table in place of this one; nobody is told."""
        self._columns = [str(name) for name in frame.columns]
        rows = [
            {name: None if _missing(row[name]) else row[name] for name in self._columns}
            for row in frame.to_dict("records")
        ]
        # An empty row is room to type in, and no row.
        self._exact = [row for row in rows if any(v is not None for v in row.values())]
        self._room = len(rows)
        self._show()

    def put(self, row: int, column: str, value: float | None) -> None:
        """Put one value in cm or kg into a cell; nobody is told."""
        self._exact[row][column] = value
        if _canonical(self.cell(row, column).value) != self._shown[row][column]:
            # A row was emptied above this one, and stands there still.
            self._show()
        self._quiet = True
        self.cell(row, column).value = self._text(column, value)
        self._quiet = False
        self._shown = self._read()

    def on_change(self, what: Callable[[], object]) -> None:
        """Call ``what`` when she changes a cell, or adds or takes away a row."""
        self._listeners.append(what)

    def _show(self) -> None:
        texts = [
            {name: self._text(name, row[name]) or None for name in self._columns}
            for row in self._exact
        ]
        texts += [{}] * (self._room - len(texts))
        shown = pd.DataFrame(texts, columns=self._columns, dtype=object)
        heads = {name: self._called(name) for name in self._columns}
        old = self.view.children
        self._quiet = True
        self._table = EditableTable(
            shown,
            caption=self._caption,
            headings=heads,
            choices=self._choices,
            can_add=True,
        )
        self._table.on_change(self._changed)
        self._quiet = False
        self._shown = self._read()
        self.view.children = (self._table.view,)
        for part in old:
            _close(part)

    def _called(self, name: str) -> str:
        words = self._headings(name)
        measure = _measure_of(name)
        return f"{words}, {unit_of(measure, self._switch.units)}" if measure else words

    def _text(self, name: str, value: Any) -> str:
        """Write a cell: a number in the units chosen, and words as they are."""
        if _missing(value):
            return ""
        measure = _measure_of(name)
        if measure is None or isinstance(value, str):
            return value if isinstance(value, str) else _canonical(value)
        unit = unit_of(measure, self._switch.units)
        one = understood(f"1 {unit}", measure)
        if unit == "st":
            return written(float(value), measure, self._switch.units, to="tenth")
        if one == 1.0:
            return _canonical(value)
        return _canonical(round(float(value) / one, _SHOWN))

    def _read(self) -> list[Row]:
        """Return the cells as text, in one way of writing."""
        return [
            {str(name): _canonical(value) for name, value in row.items()}
            for row in self._table.frame.to_dict("records")
        ]

    def _changed(self) -> None:
        if self._quiet:
            return
        before, now = self._shown, self._read()
        if len(before) == len(now):
            places: list[int | None] = list(range(len(now)))
        else:
            places = _placed(before, now)
        exact = []
        for row, place in zip(now, places, strict=True):
            old = {} if place is None else before[place]
            kept = {} if place is None else self._exact[place]
            exact.append(
                {
                    name: kept[name]
                    if name in old and old[name] == text
                    else self._typed(name, text)
                    for name, text in row.items()
                }
            )
        self._exact, self._shown = exact, now
        self._show_said(now)
        for listener in self._listeners:
            listener()

    def _show_said(self, now: Sequence[Row]) -> None:
        """Show in the column's unit what was typed in another."""
        for at, row in enumerate(now):
            for name, text in row.items():
                measure = _measure_of(name)
                unit = measure and unit_of(measure, self._switch.units)
                if unit and text and getattr(quantity(text, unit), "said", ""):
                    self.put(at, name, self._exact[at][name])

    def _typed(self, name: str, text: str) -> Any:
        measure = _measure_of(name)
        if not text:
            return None
        if measure is None:
            return text
        try:
            return understood(text, measure, self._switch.units)
        except SizingError:
            # With its unit, so that nobody reads it in another.
            return with_unit(text, unit_of(measure, self._switch.units))


def _close(widget: w.Widget) -> None:
    """Let go of a widget and all within it."""
    for child in getattr(widget, "children", ()):
        _close(child)
    widget.close()


def _measure_of(column: str) -> str | None:
    """Return a name that ends in the column's unit, or None if it has none."""
    found = _MEASURE.search(column)
    return column[: found.end()] if found else None


def _missing(value: Any) -> bool:
    return value is None or value == "" or bool(pd.isna(value))


def _canonical(value: Any) -> str:
    """Write a cell in one way: 80 and not 80.0."""
    if _missing(value):
        return ""
    try:
        return repr(float(value)).removesuffix(".0")
    except ValueError:
        return str(value).strip()


def _placed(before: Sequence[Row], now: Sequence[Row]) -> list[int | None]:
    """Return where each row stood before; None for a row that is new."""
    places: list[int | None] = []
    start = 0
    for row in now:
        same = [i for i in range(start, len(before)) if before[i] == row]
        places.append(same[0] if same else None)
        start = same[0] + 1 if same else start
    return places
