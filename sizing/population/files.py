"""Reading a table the user kept as CSV or XLSX, with clear refusals."""

import zipfile
from pathlib import Path

import pandas as pd

from sizing.errors import Problem, SizingError

_EXCEL = {".xlsx", ".xlsm"}


def read_table(path: str | Path) -> pd.DataFrame:
    """Return the rows of a CSV or XLSX file, headings trimmed.

    Row ``i`` of the result is row ``i + 2`` of the file, as a spreadsheet numbers
    it, so nothing is left out, not even an empty line.

    Parameters
    ----------
    path : str or Path
        ``.xlsx`` is read as a workbook (its first sheet), anything else as
        comma- or semicolon-separated text in UTF-8. In semicolon-separated text
        a decimal comma is read as such.

    Raises
    ------
    SizingError
        If the file is missing, empty, not readable as a table, or two headings
        are the same.
    """
    file = Path(path)
    if not file.is_file():
        raise SizingError(
            str(
                Problem(
                    "there is no such file",
                    "a CSV or XLSX file",
                    "check the name and the folder",
                    file=str(path),
                )
            )
        )
    try:
        if file.suffix.lower() in _EXCEL:
            raw = pd.read_excel(file, header=None, dtype=object)
        else:
            raw = _read_text(file)
    except pd.errors.EmptyDataError:
        raw = pd.DataFrame()
    except (ValueError, zipfile.BadZipFile) as error:
        raise SizingError(
            str(
                Problem(
                    f"the file cannot be read as a table ({error})",
                    "CSV in UTF-8, or XLSX",
                    "save it again from the spreadsheet in one of these",
                    file=file.name,
                )
            )
        ) from error
    if raw.empty:
        raise SizingError(
            str(Problem("the file is empty", "a heading and rows", file=file.name))
        )
    headings = [
        f"unnamed column {i + 1}" if pd.isna(h) else str(h).strip()
        for i, h in enumerate(raw.iloc[0])
    ]
    twice = sorted({h for h in headings if headings.count(h) > 1})
    if twice:
        raise SizingError(
            str(
                Problem(
                    f"two columns are both called {', '.join(map(repr, twice))}",
                    "each heading once",
                    "rename or remove one",
                    file=file.name,
                    row=1,
                )
            )
        )
    body = raw.iloc[1:].reset_index(drop=True)
    body.columns = pd.Index(headings)
    return body.apply(_as_numbers)


def _read_text(file: Path) -> pd.DataFrame:
    with file.open(encoding="utf-8-sig") as handle:
        heading = handle.readline()
    separator = ";" if heading.count(";") > heading.count(",") else ","
    raw = pd.read_csv(
        file,
        sep=separator,
        header=None,
        dtype=object,
        encoding="utf-8-sig",
        skip_blank_lines=False,
        na_values=[""],
        keep_default_na=False,
    )
    if separator == ";":
        comma = r"^\s*(-?\d+),(\d+)\s*$"
        raw = raw.replace(to_replace=comma, value=r"\1.\2", regex=True)
    return raw


def _as_numbers(column: pd.Series) -> pd.Series:
    """Return a column as numbers if every value in it is one."""
    words = column.map(lambda v: v.strip() or None if isinstance(v, str) else v)
    try:
        return pd.to_numeric(words)
    except (ValueError, TypeError):
        return words
