"""Read and write size charts as CSV or XLSX files."""

import csv
import io
import re
import zipfile
from dataclasses import replace
from pathlib import Path

import openpyxl
import pandas as pd

from sizing.chart.build import build
from sizing.chart.cells import is_empty
from sizing.chart.headings import ABOUT
from sizing.chart.size_chart import SizeChart
from sizing.errors import InputProblems, Problem
from sizing.measures import MEASURES

_KINDS = "a .csv file (UTF-8) or an .xlsx file"
#: A number whose text a spreadsheet gives back unchanged, or nearly: 12.50.
_PLAIN_NUMBER = re.compile(r"^-?(0|[1-9]\d*)(\.\d+)?$")


def read_chart(path: str | Path, *, warn: bool = True) -> SizeChart:
    """Read a size chart from a CSV or XLSX file and check it.

    Parameters
    ----------
    path : str or Path
        A ``.csv`` file in UTF-8, its cells parted by commas, semicolons or
        tabs (whichever the heading row has most of), or an ``.xlsx`` file,
        whose first sheet is read. Columns as in ``chart_from``. Of the
        user's own columns in a CSV file, one that holds nothing but plain
        numbers is read as numbers, any other as text (so 007 stays 007).
    warn : bool
        Whether doubtful points are issued as warnings.

    Returns
    -------
    SizeChart
        Named by its column ``chart_name``, or else by the file.

    Raises
    ------
    InputProblems
        If the file is missing, empty, of another kind, or its content wrong:
        every problem at once.

    Examples
    --------
    >>> import tempfile
    >>> from sizing.chart import demo_chart
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_chart(demo_chart(), f"{folder}/mine.xlsx")
    ...     read_chart(f"{folder}/mine.xlsx").sizes == demo_chart().sizes
    True
    """
    path = Path(path)
    kind = path.suffix.lower()
    if not path.is_file():
        _refuse(path, "there is no such file", "check the name and the folder")
    if kind not in (".csv", ".xlsx"):
        _refuse(path, "the wrong kind of file", f"save the chart as {_KINDS}")
    if path.stat().st_size == 0:
        _refuse(path, "the file is empty", "fill in the heading and the sizes")
    frame, rows = (_read_csv if kind == ".csv" else _read_xlsx)(path)
    chart = build(
        frame, rows, name=path.stem, source=path.name, file=path.name, warn=warn
    )
    return replace(chart, frame=_typed(chart.frame))


def write_chart(chart: SizeChart, path: str | Path) -> None:
    """Write a size chart to a CSV or XLSX file that ``read_chart`` gives back.

    The chart's name and source travel in the columns ``chart_name`` and
    ``chart_source``, so that an invented chart says so wherever it goes.

    Parameters
    ----------
    chart : SizeChart
    path : str or Path
        Ends in ``.csv`` or ``.xlsx``. An existing file is replaced.

    Raises
    ------
    InputProblems
        If the name ends otherwise or the folder does not exist.
    """
    path = Path(path)
    if path.suffix.lower() not in (".csv", ".xlsx"):
        _refuse(path, "the wrong kind of file", "let the name end in .csv or .xlsx")
    if not path.parent.is_dir():
        _refuse(path, "there is no such folder", "make the folder, or name another")
    frame = chart.frame.assign(chart_name=chart.name, chart_source=chart.source)
    if path.suffix.lower() == ".csv":
        frame.to_csv(path, index=False)
    else:
        frame.to_excel(path, index=False, sheet_name="chart")


def _refuse(path: Path, what: str, action: str) -> None:
    raise InputProblems(
        [Problem(what, _KINDS, action, path.name)], about=f"'{path.name}'"
    )


def _read_csv(path: Path) -> tuple[pd.DataFrame, list[int]]:
    raw = path.read_bytes()
    if zipfile.is_zipfile(io.BytesIO(raw)) or b"\x00" in raw:
        _refuse(path, "the wrong kind of file: not text", f"save it as {_KINDS}")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        _refuse(path, "letters in another encoding", "save it as CSV UTF-8")
    heading = next((line for line in text.splitlines() if line.strip()), "")
    mark = max(",;\t", key=heading.count)
    table = list(csv.reader(io.StringIO(text, newline=""), delimiter=mark))
    return _frame(path, [[cell or None for cell in row] for row in table])


def _read_xlsx(path: Path) -> tuple[pd.DataFrame, list[int]]:
    try:
        shown = openpyxl.load_workbook(path, data_only=True).worksheets[0]
        written = openpyxl.load_workbook(path).worksheets[0]
    except (zipfile.BadZipFile, KeyError, OSError, ValueError, IndexError):
        _refuse(path, "the wrong kind of file: not a workbook", f"save it as {_KINDS}")
    formulas = [
        Problem(
            "a formula whose result is not stored in the file",
            "a number",
            "open and save the file in a spreadsheet, or write the number",
            path.name,
            cell.row,
            cell.column_letter,
            cell.value,
        )
        for row in written.iter_rows()
        for cell in row
        if cell.data_type == "f" and shown[cell.coordinate].value is None
    ]
    if formulas:
        raise InputProblems(formulas, about=f"'{path.name}'")
    return _frame(path, [list(row) for row in shown.iter_rows(values_only=True)])


def _frame(path: Path, table: list[list]) -> tuple[pd.DataFrame, list[int]]:
    """Return the rows under the heading, and where each of them stands."""
    if not any(not is_empty(cell) for row in table for cell in row):
        _refuse(path, "the file is empty", "fill in the heading and the sizes")
    heading, body = table[0], table[1:]
    while heading and is_empty(heading[-1]):
        heading = heading[:-1]
    if not heading:
        _refuse(path, "row 1 is empty", "put the heading into the first row")
    width = len(heading)
    long = [
        Problem(
            f"the row has {len(row)} cells, the heading {width}",
            "as many cells as headings",
            "write decimal points, not commas, and put quotation marks around "
            "text that holds a comma",
            path.name,
            number,
        )
        for number, row in enumerate(body, start=2)
        if any(not is_empty(cell) for cell in row[width:])
    ]
    if long:
        raise InputProblems(long, about=f"'{path.name}'")
    rows = [(row + [None] * width)[:width] for row in body]
    frame = pd.DataFrame(rows, columns=pd.Index(heading, dtype=object), dtype=object)
    return frame, list(range(2, len(rows) + 2))


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    """Give the user's own columns the type of what they hold."""
    known = {"size", "group", "load_limit_kg", *ABOUT}
    known |= {f"{measure}_{end}" for measure in MEASURES for end in ("low", "high")}
    made = {}
    for name in frame.columns.difference(list(known), sort=False):
        cells = frame[name]
        texts = [c for c in cells if isinstance(c, str)]
        if texts and all(
            _PLAIN_NUMBER.match(c.strip()) or not c.strip() for c in texts
        ):
            made[name] = pd.to_numeric(cells)
        else:
            made[name] = cells.infer_objects()
    return frame.assign(**made)
