"""Write the kit's tables so that no cell starts a formula in a spreadsheet."""

import csv
import io
import json
import math
import re
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any, Literal

import pandas as pd

from sizing.files.folders import write_bytes as write_bytes
from sizing.files.folders import write_text as write_text

#: First letters with which a spreadsheet begins a formula, in either width.
FORMULA_STARTS = "=+-@\t\r\n＝＋－＠"
_STARTS = re.compile(f"'*[{re.escape(FORMULA_STARTS)}]")
_MARKED = re.compile(f"'+[{re.escape(FORMULA_STARTS)}]")
_DATES = re.compile(rb"<dcterms:(created|modified)\b.*?</dcterms:\1>")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
#: Digits of a result that are written; see ``rounded``.
_DIGITS = 6
#: Widest column of a workbook that is laid out, in letters (our choice).
_WIDEST = 70
#: What a workbook cannot hold.
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def csv_bytes(frame: pd.DataFrame) -> bytes:
    table = _marked_table(frame)
    # A lone carriage return ends a line for spreadsheets, yet is not quoted before
    # Python 3.13: what follows it would start a cell of its own.
    texts = [table.columns, *(table[c] for c in _text_columns(table))]
    returns = any("\r" in str(cell) for column in texts for cell in column)
    quoting: Literal[0, 2] = csv.QUOTE_NONNUMERIC if returns else csv.QUOTE_MINIMAL
    text = table.to_csv(index=False, lineterminator="\n", quoting=quoting)
    return text.encode("utf-8", errors="replace")


def workbook_bytes(
    sheets: Mapping[str, pd.DataFrame],
    *,
    choices: Mapping[str, Sequence[str]] | None = None,
    formats: Mapping[str, str] | None = None,
) -> bytes:
    buffer = io.BytesIO()
    with pd.ExcelWriter(buffer, engine="openpyxl") as book:
        for name, frame in sheets.items():
            table = _marked_table(frame)
            for column in _text_columns(table):
                table[column] = table[column].map(writable)
            table.columns = pd.Index([writable(name) for name in table.columns])
            table.to_excel(book, index=False, sheet_name=name)
            for column, given in (choices or {}).items():
                if column in table:
                    _offer(book, name, list(table.columns).index(column), given)
            if formats is not None:
                _lay_out(book.sheets[name], formats)
    return undated(buffer.getvalue())


def _lay_out(sheet: Any, formats: Mapping[str, str]) -> None:
    from openpyxl.styles import Alignment, Font

    for column in sheet.iter_cols():
        kind = formats.get(str(column[0].value), "General")
        column[0].font = Font(bold=True)
        for cell in column:
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            if cell.row > 1 and isinstance(cell.value, (int, float)):
                cell.number_format = kind
        longest = max(len(str(cell.value or "")) for cell in column)
        letter = column[0].column_letter
        sheet.column_dimensions[letter].width = min(max(longest + 3, 10), _WIDEST)
    sheet.freeze_panes = "A2"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _offer(book: pd.ExcelWriter, sheet: str, at: int, given: Sequence[str]) -> None:
    """Let the cells of a column be picked from a list; others stay possible."""
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    listed = pd.DataFrame({"choices": [marked(writable(one)) for one in given]})
    listed.to_excel(book, index=False, header=False, sheet_name="choices")
    rule = DataValidation(
        type="list",
        formula1=f"choices!$A$1:$A${len(given)}",
        allow_blank=True,
        showErrorMessage=False,
    )
    letter = get_column_letter(at + 1)
    rule.add(f"{letter}2:{letter}{book.sheets[sheet].max_row}")
    book.sheets[sheet].add_data_validation(rule)


def undated(workbook: bytes) -> bytes:
    """Return a workbook without when it was made, in it or on its parts."""
    made = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook)) as old,
        zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            content = old.read(part)
            if part.filename == "docProps/core.xml":
                content = _DATES.sub(b"", content)
            # The day that archives count from.
            new.writestr(zipfile.ZipInfo(part.filename), content, zipfile.ZIP_DEFLATED)
    return made.getvalue()


def rounded(results: Any) -> Any:
    """Return results to six digits: threads change the last of sixteen."""
    if isinstance(results, pd.DataFrame):
        return results.apply(lambda c: c.map(rounded) if c.dtype.kind in "fO" else c)
    if isinstance(results, Mapping):
        return {name: rounded(value) for name, value in results.items()}
    if isinstance(results, list):
        return [rounded(value) for value in results]
    if not isinstance(results, float) or not math.isfinite(results) or not results:
        return results
    digits = _DIGITS - 1 - math.floor(math.log10(abs(results)))
    return round(float(results), max(digits, 2))


def json_text(found: object) -> str:
    """Return results, rounded, as JSON: tables as rows, null for a missing cell."""
    return json.dumps(rounded(found), indent=2, allow_nan=False, default=_rows)


def _rows(frame: pd.DataFrame) -> list[dict[Any, Any]]:
    return frame.astype(object).where(frame.notna(), None).to_dict("records")


def marked(cell: object) -> object:
    """Return a cell so that no spreadsheet takes it for a formula."""
    if not isinstance(cell, str) or not _STARTS.match(cell):
        return cell
    return cell if _NUMBER.fullmatch(cell) else f"'{cell}"


def unmarked(cell: object) -> object:
    return cell[1:] if isinstance(cell, str) and _MARKED.match(cell) else cell


def _marked_table(frame: pd.DataFrame) -> pd.DataFrame:
    table = frame.copy()
    table.columns = pd.Index([marked(name) for name in table.columns])
    for column in _text_columns(table):
        table[column] = table[column].map(marked)
    return table


def _text_columns(table: pd.DataFrame) -> list[object]:
    return [*table.select_dtypes(exclude=["number", "bool", "datetime", "datetimetz"])]


def writable(cell: object) -> object:
    """Return a cell without the signs that no workbook or document can hold."""
    return _UNWRITABLE.sub("\ufffd", cell) if isinstance(cell, str) else cell
