"""Read and write size charts as CSV or XLSX files; the invented one."""

import contextlib
import re
import tempfile
from dataclasses import replace
from numbers import Real
from pathlib import Path

import numpy as np
import pandas as pd

from sizing.charts.build import ENDS, chart_from, is_empty
from sizing.charts.fits import SizeChart
from sizing.errors import Problem, SizingError
from sizing.files.reading import KINDS, refuse
from sizing.files.writing import csv_bytes, workbook_bytes, write_bytes, write_text
from sizing.measures import MEASURES
from sizing.measures.tables import CHART
from sizing.people.files import read_table
from sizing.resources import source_table, texts

_T = texts("charts")
_FILES = texts("files")
#: Most sizes of a chart in a file; no maker's range comes near.
MOST_SIZES = 200
#: The folder, in that of what is saved, in which charts are kept by name.
KEPT = "my-charts"
#: The source of a chart that its user typed or pasted.
TYPED = "typed or pasted by its user"
_PASTED = "the pasted table"
_LIMITS = {f"{measure}_{end}" for measure in MEASURES for end in ENDS}
_KNOWN = {"size", "group", "load_limit_kg", *_LIMITS}
#: A number whose text a spreadsheet gives back unchanged, or nearly: 12.50.
_PLAIN_NUMBER = re.compile(r"^-?(0|[1-9]\d*)(\.\d+)?$")


def read_chart(path: str | Path, *, warn: bool = True) -> SizeChart:
    """Read a size chart from a CSV or XLSX file and check it.

    Parameters
    ----------
    path : str or Path
        A ``.csv`` file in UTF-8, parted by commas, semicolons or tabs, or the first
        sheet of an ``.xlsx`` file. Columns as in ``chart_from``; of the user's own in a
        CSV file, one of nothing but plain numbers is read as numbers, any other as text
        (007 stays 007).
    warn : bool
        Whether doubtful points are issued as warnings.

    Returns
    -------
    SizeChart
        Named by its column ``chart_name``, or else by the file.

    Raises
    ------
    InputProblems
        If the file is missing or of another kind, or for every problem in it.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_chart(demo_chart(), f"{folder}/mine.xlsx")
    ...     read_chart(f"{folder}/mine.xlsx").sizes == demo_chart().sizes
    True
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in (".csv", ".xlsx") and path.is_file():
        refuse(path, _FILES.kind, kinds=KINDS)
    return _read(path, path.stem, path.name, warn=warn)


def chart_from_text(text: str, name: str) -> SizeChart:
    """Read a chart pasted from a spreadsheet or a web page, as its file would be."""
    if not re.search("[\t,;]", text.strip().partition("\n")[0]):
        # A table copied from a document is parted by spaces.
        text = re.sub(r" {2,}", "\t", text)
    with tempfile.TemporaryDirectory() as folder:
        path = write_text(Path(folder) / _PASTED, text.strip("\r\n") + "\n")
        return _read(path, name, TYPED, warn=False)


def _read(path: Path, name: str, source: str, *, warn: bool) -> SizeChart:
    frame = read_table(path, CHART, raw=True, most_rows=MOST_SIZES)
    chart = chart_from(frame, name=name, source=source, warn=warn)
    return replace(chart, frame=_typed(chart.frame))


def write_chart(chart: SizeChart, path: str | Path) -> None:
    """Write a size chart, with its name and source, to a CSV or XLSX file.

    Parameters
    ----------
    chart : SizeChart
        The size chart, in cm and kg.
    path : str or Path
        Ends in ``.csv`` or ``.xlsx``. An existing file is replaced whole or not at all.
        Text in the user's own columns that a spreadsheet would run as a formula is led
        by an apostrophe, which ``read_chart`` takes off again.

    Raises
    ------
    SizingError
        If the name ends otherwise, there is no such folder, or it cannot be written.

    Examples
    --------
    >>> write_chart(demo_chart(), "mine.csv")  # doctest: +SKIP
    """
    path = Path(path)
    if path.suffix.lower() not in (".csv", ".xlsx"):
        refuse(path, _FILES.ending)
    if not path.parent.is_dir():
        refuse(path, _FILES.no_folder)
    write_bytes(path, chart_bytes(chart, path.suffix.lower()))


def chart_bytes(chart: SizeChart, ending: str = ".csv") -> bytes:
    frame = chart.frame.assign(chart_name=chart.name, chart_source=chart.source)
    return csv_bytes(frame) if ending == ".csv" else workbook_bytes({"chart": frame})


def kept_charts(folder: str | Path = KEPT) -> dict[str, Path]:
    """Return the charts kept in a folder, by name: plain CSV files, latest first."""
    files = sorted(Path(folder).glob("*.csv"), key=lambda f: -f.stat().st_mtime_ns)
    return {file.stem: file for file in files}


def kept_as(name: str) -> str:
    """Return the name of a chart's file: what no system takes there is a dash."""
    return re.sub(r'[\x00-\x1f<>:"/\\|?*]', "-", name).strip(" .") or "chart"


def keep_chart(
    chart: SizeChart, folder: str | Path = KEPT, *, over: bool = False
) -> Path:
    """Keep a chart by its name; another of that name is written over only if asked."""
    path, content = Path(folder) / f"{kept_as(chart.name)}.csv", chart_bytes(chart)
    # Where the folder cannot be made, writing the file says why.
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
    if over or (path.is_file() and path.read_bytes() == content):
        return write_bytes(path, content)
    try:
        return write_bytes(path, content, fresh=True)
    except FileExistsError:
        taken = Problem.of(_T.kept, str(path), None, None, chart.name)
        raise SizingError(str(taken)) from None


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    made = {}
    for name in frame.columns.difference(list(_KNOWN), sort=False):
        cells = frame[name]
        filled = [cell for cell in cells if not is_empty(cell)]
        text = [cell.strip() for cell in filled if isinstance(cell, str)]
        numbers = [
            cell
            for cell in filled
            if isinstance(cell, Real) and not isinstance(cell, bool)
        ]
        plain = all(map(_PLAIN_NUMBER.match, text))
        if text and plain and len(text) + len(numbers) == len(filled):
            made[name] = pd.to_numeric(cells.where(~cells.map(is_empty), np.nan))
        else:
            made[name] = cells.infer_objects()
    return frame.assign(**made)


def demo_chart() -> SizeChart:
    """Return an invented chart of nine sizes, three in each group.

    Nobody may choose a sling by it (``data_sources/demo_chart.md``).

    Returns
    -------
    SizeChart
        Its source says that it is invented.

    Examples
    --------
    >>> demo_chart().source.startswith("invented")
    True
    """
    return chart_from(source_table("demo_chart.csv"), warn=False)
