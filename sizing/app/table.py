"""A table whose cells can be typed into, in the units of the page, exact beneath."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.app.fields import Heard, UnitSwitch, button, fitting, on_change
from sizing.charts.build import ENDS, ends_of
from sizing.errors import SizingError
from sizing.measures import unit_of, written
from sizing.measures.typed import Quantity, quantity, understood, with_unit
from sizing.resources import texts

_T = texts("own_chart")
#: More cells than this make a page slow: such a table belongs in a file.
MOST_CELLS = 600
#: A column of lengths or masses.
_MEASURE = re.compile(r"_(?:cm|kg)(?=_low$|_high$|$)")
#: What the unit of one column can be, and the page's units in which it is that.
_UNITS = {
    "cm": (("cm", "metric"), ("in", "pounds")),
    "kg": (("kg", "metric"), ("lb", "pounds"), ("st", "stone")),
}
#: Decimals shown of a value in other units; what is beneath is exact.
_SHOWN = 2
# Long headings go over several lines.
_HEAD = '<div style="white-space: normal; line-height: 1.2"><b>{}</b></div>'


@dataclass
class _Cell:
    widget: Any
    shown: str
    value: Any


class EditableTable(Heard):
    """Cells to type in, neither judged nor repaired; measures in cm and kg, exactly."""

    def __init__(
        self,
        frame: pd.DataFrame,
        *,
        caption: str,
        headings: Mapping[str, str] | Callable[[str], str] | None = None,
        choices: Mapping[str, Sequence[str]] | None = None,
        can_add: bool = False,
        switch: UnitSwitch | None = None,
        column_units: bool = False,
        words: Sequence[str] = (),
    ) -> None:
        super().__init__()
        #: Columns kept as typed, such as codes that look like numbers.
        self._words = {*words, *(choices or {})}
        self._headings = headings or {}
        self._choices = {name: list(given) for name, given in (choices or {}).items()}
        self._can_add, self._switch = can_add, switch
        self._column_units, self._own_units = column_units, dict[str, str]()
        self._rows: list[dict[str, _Cell]] = []
        self._columns: list[str] = []
        self._quiet = False
        self._grid = w.GridBox()
        self._add = button(_T.add, self.add_row)
        # One layout and one style for all cells: each is a message to the browser.
        # A description without width is there for screen readers, who see no heads.
        self._narrow = fitting(min_width="4rem")
        self._text_style = w.Text(style={"description_width": "0px"}).style
        self._list_style = w.Dropdown(style={"description_width": "0px"}).style
        self._around: list[w.Widget] = []
        # It scrolls by itself where the screen is narrow, and not the whole page; the
        # page gives it the caption as its name (app/template/pages.js).
        scrolling = w.Box([self._grid], layout=w.Layout(overflow="auto"))
        scrolling.add_class("sizing-wide")
        parts = [w.HTML(f"<b>{escape(caption)}</b>"), scrolling]
        self.view = w.VBox([*parts, self._add] if can_add else parts)
        self.set(frame)
        if switch is not None:
            switch.on_change(lambda _: self._in_other_units())

    @property
    def cells(self) -> pd.DataFrame:
        """What all cells hold, empty rows too: ``set`` brings it back."""
        rows = [{name: cell.value for name, cell in row.items()} for row in self._rows]
        return pd.DataFrame(rows, columns=self._columns, dtype=object)

    @property
    def frame(self) -> pd.DataFrame:
        """What the filled rows hold: numbers where they are numbers, else as typed."""
        table = self.cells
        table = table[table.notna().any(axis=1)].reset_index(drop=True)
        for name in self._columns:
            numbers = pd.to_numeric(table[name], errors="coerce")
            whole = numbers.notna().eq(table[name].notna()).all()
            if whole and name not in self._words:
                if numbers.dtype.kind == "f":
                    # Older releases of pandas miss the last digit of some numbers.
                    numbers = table[name].map(float, na_action="ignore").astype(float)
                table[name] = numbers
        return table

    def cell(self, row: int, column: str) -> Any:
        return self._rows[row][column].widget

    def set(self, frame: pd.DataFrame) -> None:
        """Show another table in place of this one; nobody is told."""
        if frame.size > MOST_CELLS:
            given = f"{len(frame)} rows of {frame.shape[1]} cells"
            raise SizingError.of(_T.too_long, given, most=MOST_CELLS)
        columns = [str(name) for name in frame.columns]
        records = frame.to_dict("records")
        if self._rows and (columns, len(records)) == (self._columns, len(self._rows)):
            # New cells would be some hundred messages to the browser.
            for row, values in zip(self._rows, records, strict=True):
                for name, cell in row.items():
                    self._hold(cell, name, values[name])
            return
        self._columns = columns
        old = [cell.widget for row in self._rows for cell in row.values()]
        self._rows = [self._new_row(row) for row in records]
        self._lay_out()
        close_all(old)

    def put(self, row: int, column: str, value: float | None) -> None:
        """Put one value into a cell; rows that are empty do not count."""
        full = [r for r in self._rows if any(c.value is not None for c in r.values())]
        self._hold(full[row][column], column, value)

    def add_row(self) -> None:
        self._rows.append(self._new_row({}))
        self._lay_out()

    def remove_row(self, row: int) -> None:
        gone = [cell.widget for cell in self._rows.pop(row).values()]
        self._lay_out()
        close_all(gone)
        self.tell()

    def _new_row(self, values: Mapping[Any, Any]) -> dict[str, _Cell]:
        return {name: self._new_cell(name, values.get(name)) for name in self._columns}

    def _new_cell(self, name: str, value: Any) -> _Cell:
        value = None if _missing(value) else value
        text = self._text(name, value)
        look: dict[str, Any] = {"value": text, "layout": self._narrow}
        if name in self._choices:
            # A value that is not among the choices stays to be seen and judged.
            allowed = list(dict.fromkeys(["", *self._choices[name], text]))
            widget = w.Dropdown(options=allowed, style=self._list_style, **look)
        else:
            widget = w.Text(continuous_update=False, style=self._text_style, **look)
        if name == self._columns[0]:
            widget.add_class("sizing-first")
        cell = _Cell(widget, text, value if self._of(name)[0] else text or None)
        on_change(partial(self._typed, cell, name), widget)
        return cell

    def _hold(self, cell: _Cell, name: str, value: Any) -> None:
        """Put a value into a cell that is there; nobody is told."""
        value = None if _missing(value) else value
        cell.value = value if self._of(name)[0] else self._text(name, value) or None
        self._show(cell, name)

    def _of(self, column: str) -> tuple[str, str, str]:
        """Return the measure of a column that follows the switch, units and unit."""
        found = self._switch and _MEASURE.search(column)
        if not found or self._switch is None:
            return "", "", ""
        measure = column[: found.end()]
        units = self._own_units.get(measure, self._switch.units)
        return measure, units, unit_of(measure, units)

    def _typed(self, cell: _Cell, name: str) -> None:
        text = cell.widget.value.strip()
        if self._quiet or text == cell.shown:
            return
        cell.shown, cell.value = text, text or None
        measure, units, unit = self._of(name)
        if measure and text:
            try:
                cell.value = understood(text, measure, units)
            except SizingError:
                # With its unit, so that nobody reads it in another.
                cell.value = with_unit(text, unit)
                self._part(cell, name, unit)
            if getattr(quantity(text, unit), "said", ""):
                self._show(cell, name)
        self.tell()

    def _part(self, cell: _Cell, name: str, unit: str) -> None:
        """Put a range such as 80-100 into its two cells, if the other is empty."""
        stem, _, end = name.rpartition("_")
        row = next((row for row in self._rows if row[name] is cell), {})
        both = {one: row[one] for e in ENDS if (one := f"{stem}_{e}") in row}
        empty = [other for other in both.values() if other.value is None]
        parts = ends_of(cell.shown)
        # In stone 10-4 is no range; and both ends are in one unit.
        if end not in ENDS or not empty or parts is None or unit == "st":
            return
        parted = zip(ENDS, parts, strict=True)
        read = {f"{stem}_{e}": quantity(part, unit) for e, part in parted if part}
        ends = {one: q for one, q in read.items() if isinstance(q, Quantity)}
        if ends == read and len({q.said for q in ends.values()}) == 1:
            for column, other in both.items():
                held = ends[column].standard if column in ends else None
                self._hold(other, column, held)

    def _show(self, cell: _Cell, name: str) -> None:
        cell.shown = self._text(name, cell.value)
        if cell.widget.value == cell.shown:
            return
        self._quiet = True
        if name in self._choices and cell.shown not in cell.widget.options:
            cell.widget.options = [*cell.widget.options, cell.shown]
        cell.widget.value = cell.shown
        self._quiet = False

    def _text(self, name: str, value: Any) -> str:
        measure, units, unit = self._of(name)
        if value is None or isinstance(value, str) or not measure:
            return "" if value is None else _plain(value)
        if unit == "st":
            return written(float(value), measure, units, to="tenth")
        one = understood(f"1 {unit}", measure)
        return _plain(float(value) if one == 1 else round(float(value) / one, _SHOWN))

    def _called(self, name: str) -> str:
        heads, unit = self._headings, self._of(name)[2]
        words = heads(name) if callable(heads) else heads.get(name, name)
        return words + (f", {unit}" if unit else "")

    def _in_other_units(self, measure: str = "", units: str = "") -> None:
        """Show what follows the switch, or one measure alone, in other units."""
        self._own_units = self._own_units | {measure: units} if measure else {}
        for row in self._rows:
            for name, cell in row.items():
                if self._of(name)[0]:
                    self._show(cell, name)
        self._lay_out()

    def _lay_out(self) -> None:
        called = {name: self._called(name) for name in self._columns}
        around = [self._head(name, words) for name, words in called.items()]
        around[0].add_class("sizing-first")
        widths = [f"minmax({self._width(name)}rem, 16rem)" for name in self._columns]
        if self._can_add:
            around.append(w.HTML())
            widths.append("max-content")
        children = list(around)
        for number, row in enumerate(self._rows):
            for name, cell in row.items():
                # What a screen reader says of it.
                cell.widget.description = f"{called[name]}, row {number + 1}"
            last = [self._remover(number)] if self._can_add else []
            around += last
            children += [*(cell.widget for cell in row.values()), *last]
        self._grid.layout = w.Layout(
            grid_template_columns=" ".join(widths),
            grid_gap="2px 4px",
            align_items="flex-start",
            overflow="visible",
        )
        self._grid.children = children
        close_all(self._around)
        self._around = around

    def _head(self, name: str, words: str) -> w.Widget:
        head, (measure, _, now) = w.HTML(_HEAD.format(escape(words))), self._of(name)
        if not measure or not self._column_units or name.endswith("_high"):
            return head
        offered = _UNITS[measure[-2:]]
        unit = w.Dropdown(
            options=offered,
            value=dict(offered)[now],
            description=_T.unit_of.format(words=words),
            layout=self._narrow,
            style=self._list_style,
        )
        on_change(lambda: self._in_other_units(measure, unit.value), unit)
        return w.VBox([head, unit])

    def _width(self, name: str) -> float:
        shown = [*self._choices.get(name, ()), *(row[name].shown for row in self._rows)]
        longest = max(map(len, shown), default=0)
        arrow = 1.5 if name in self._choices else 0
        return min(max(0.6 * longest + 2 + arrow, 5.5), 16)

    def _remover(self, number: int) -> w.Button:
        made = button(_T.remove, lambda: self.remove_row(number))
        made.tooltip = _T.remove_row.format(row=number + 1)
        return made


def close_all(widgets: Sequence[w.Widget]) -> None:
    """Let go of widgets that are shown no more, here and in the browser."""
    for widget in widgets:
        widget.close()


def _missing(value: Any) -> bool:
    return value is None or value == "" or bool(pd.isna(value))


def _plain(value: Any) -> str:
    """Write a value as a person would type it: 80 and not 80.0."""
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value)
