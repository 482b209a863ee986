"""A table in a notebook whose cells can be typed into."""

from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any

import ipywidgets as w
import pandas as pd

from sizing.errors import Problem, SizingError

#: More cells than this make a page slow: such a table belongs in a file.
MOST_CELLS = 600
# Long headings go over several lines.
_HEAD = '<div style="white-space: normal; line-height: 1.2"><b>{}</b></div>'


class EditableTable:
    """A table whose cells can be typed into, and rows added or taken away.

    Nothing typed is judged or repaired here: ``frame`` holds what stands in the
    cells, and whoever reads it judges it as it would judge a file.

    Parameters
    ----------
    frame : DataFrame
        One row per thing; what stands in the cells at first.
    caption : str
        What the table holds; stands above it.
    headings : mapping, optional
        Column name to the heading people read; the column's name where left out.
    choices : mapping, optional
        Column name to the values it may hold; such a cell is a list to choose from.
    can_add : bool
        Whether rows can be added and taken away.

    Attributes
    ----------
    view : ipywidgets.Widget

    Raises
    ------
    SizingError
        If there are more than ``MOST_CELLS`` cells.

    Examples
    --------
    >>> sizes = pd.DataFrame({"size": ["A"], "price": [80.0], "owned": [None]})
    >>> table = EditableTable(sizes, caption="Prices", headings={"size": "Size"})
    >>> table.cell(0, "owned").value = "2"
    >>> table.frame.to_dict("records")
    [{'size': 'A', 'price': 80, 'owned': 2}]
    """

    def __init__(
        self,
        frame: pd.DataFrame,
        *,
        caption: str,
        headings: Mapping[str, str] | None = None,
        choices: Mapping[str, Sequence[str]] | None = None,
        can_add: bool = False,
    ) -> None:
        self._caption = caption
        self._headings = dict(headings or {})
        self._choices = {name: list(given) for name, given in (choices or {}).items()}
        self._can_add = can_add
        self._listeners: list[Callable[[], object]] = []
        self._cells: list[dict[str, Any]] = []
        self._columns: list[str] = []
        self._grid = w.GridBox()
        self._add = w.Button(
            description="Add a row", layout=w.Layout(width="max-content")
        )
        self._add.on_click(lambda _: self.add_row())
        # One layout and one style for all cells: each is a message to the browser.
        # A description without width is there for screen readers, who see no heads.
        self._narrow = w.Layout(width="auto", min_width="4rem")
        self._text_style = w.Text(style={"description_width": "0px"}).style
        self._list_style = w.Dropdown(style={"description_width": "0px"}).style
        self._around: list[w.Widget] = []
        # It scrolls by itself where the screen is narrow, and not the whole page; the
        # lab gives it the caption as its name (app/template/pages.js).
        scrolling = w.Box([self._grid], layout=w.Layout(overflow="auto"))
        scrolling.add_class("sizing-wide")
        parts = [w.HTML(f"<b>{escape(caption)}</b>"), scrolling]
        self.view = w.VBox([*parts, self._add] if can_add else parts)
        self.set(frame)

    @property
    def frame(self) -> pd.DataFrame:
        """What the cells hold: numbers where they are numbers, else as typed.

        An empty cell is missing, and a row that is empty throughout is no row.
        """
        rows = [
            {name: cell.value.strip() or None for name, cell in row.items()}
            for row in self._cells
        ]
        kept = [row for row in rows if any(value for value in row.values())]
        table = pd.DataFrame(kept, columns=self._columns, dtype=object)
        for name in self._columns:
            numbers = pd.to_numeric(table[name], errors="coerce")
            if (
                name not in self._choices
                and numbers.notna().eq(table[name].notna()).all()
            ):
                if numbers.dtype.kind == "f":
                    # Older releases of pandas miss the last digit of some numbers.
                    numbers = table[name].map(float, na_action="ignore").astype(float)
                table[name] = numbers
        return table

    def cell(self, row: int, column: str) -> Any:
        """Return the widget of one cell; rows count from 0."""
        return self._cells[row][column]

    def set(self, frame: pd.DataFrame) -> None:
        """Show another table in place of this one."""
        if frame.size > MOST_CELLS:
            problem = Problem(
                "this table is too long to be edited on the page",
                f"at most {MOST_CELLS} cells",
                "edit it in a spreadsheet and take the file instead",
                value=f"{len(frame)} rows of {frame.shape[1]} cells",
            )
            raise SizingError(str(problem))
        self._columns = [str(name) for name in frame.columns]
        old = [cell for row in self._cells for cell in row.values()]
        self._cells = [
            {name: self._new_cell(name, i, row[name]) for name in self._columns}
            for i, row in enumerate(frame.to_dict("records"))
        ]
        self._lay_out()
        close_all(old)
        self._changed()

    def add_row(self) -> None:
        """Add an empty row at the end."""
        number = len(self._cells)
        self._cells.append(
            {name: self._new_cell(name, number, None) for name in self._columns}
        )
        self._lay_out()

    def remove_row(self, row: int) -> None:
        """Take a row away; rows count from 0."""
        gone = list(self._cells.pop(row).values())
        for number, cells in enumerate(self._cells):
            for name, cell in cells.items():
                cell.description = self._called(name, number)
        self._lay_out()
        close_all(gone)
        self._changed()

    def on_change(self, what: Callable[[], object]) -> None:
        """Call ``what`` whenever a cell or the number of rows changes."""
        self._listeners.append(what)

    def _new_cell(self, name: str, row: int, value: Any) -> Any:
        text = "" if value is None or pd.isna(value) else _written(value)
        shared = {"description": self._called(name, row), "layout": self._narrow}
        if name in self._choices:
            # A value that is not among the choices stays to be seen and judged.
            allowed = dict.fromkeys(["", *self._choices[name], text])
            cell: Any = w.Dropdown(
                options=list(allowed), value=text, style=self._list_style, **shared
            )
        else:
            cell = w.Text(
                value=text, continuous_update=False, style=self._text_style, **shared
            )
        cell.observe(lambda _: self._changed(), "value")
        return cell

    def _called(self, name: str, row: int) -> str:
        """Return what a screen reader says of a cell."""
        return f"{self._headings.get(name, name)}, row {row + 1}"

    def _lay_out(self) -> None:
        heads: list[w.Widget] = [
            w.HTML(_HEAD.format(escape(self._headings.get(name, name))))
            for name in self._columns
        ]
        if self._can_add:
            heads.append(w.HTML())
        children, around = list(heads), list(heads)
        for number, row in enumerate(self._cells):
            children += row.values()
            if self._can_add:
                around.append(self._remover(number))
                children.append(around[-1])
        widths = [f"minmax({self._width(name)}rem, 16rem)" for name in self._columns]
        if self._can_add:
            widths.append("max-content")
        self._grid.layout = w.Layout(
            grid_template_columns=" ".join(widths),
            grid_gap="2px 4px",
            align_items="flex-end",
            overflow="visible",
        )
        self._grid.children = children
        close_all(self._around)
        self._around = around

    def _width(self, name: str) -> float:
        """Return the room, in rem, that a column's cells need."""
        longest = max((len(row[name].value) for row in self._cells), default=0)
        arrow = 1.5 if name in self._choices else 0
        return min(max(0.6 * longest + 2 + arrow, 5.5), 16)

    def _remover(self, number: int) -> w.Button:
        button = w.Button(
            description="Remove",
            tooltip=f"Remove row {number + 1}",
            layout=w.Layout(width="auto"),
        )
        button.on_click(lambda _: self.remove_row(number))
        return button

    def _changed(self) -> None:
        for listener in self._listeners:
            listener()


def close_all(widgets: Sequence[w.Widget]) -> None:
    """Let go of widgets that are shown no more, here and in the browser."""
    for widget in widgets:
        widget.close()


def _written(value: Any) -> str:
    """Write a value as a person would type it."""
    return repr(value).removesuffix(".0") if isinstance(value, float) else str(value)
