"""Pictures and tables of a form, with the words that stand for them; saving them."""

import contextlib
import io
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as w
import pandas as pd
from IPython.display import HTML
from matplotlib.axes import Axes

from sizing.app.form_words import bullets, folded_html, safe, table_html
from sizing.errors import SizingError
from sizing.files.writing import csv_bytes, rounded, workbook_bytes, write_bytes
from sizing.pages.page import table
from sizing.pages.where import where_html
from sizing.plots.style import figure_of, quiet_style
from sizing.resources import cautions
from sizing.words.labels import glossary


def where() -> HTML:
    return HTML(where_html())


def before_any_lift() -> HTML:
    return HTML(bullets(cautions()))


def folded_glossary() -> HTML:
    heads = ["Word", "What it means here"]
    named = glossary().set_axis(heads, axis=1)
    listed = table_html(table(named, caption="Words of the kit", words=heads))
    return HTML(folded_html("Open the list", listed))


def _workbook(result: pd.DataFrame | bytes) -> bytes:
    if isinstance(result, bytes):
        return result
    return workbook_bytes({"Sheet1": rounded(result)})


def _drawn(ax: Axes, *, kind: str, undated: str) -> bytes:
    buffer = io.BytesIO()
    with quiet_style():
        figure_of(ax).savefig(buffer, format=kind, metadata={undated: None})
    return buffer.getvalue()


#: What each button saves: kinds of result, the file's ending, and its content.
_SAVES: dict[str, tuple[Any, str, Callable[[Any], bytes]]] = {
    "Save tables (CSV)": (
        pd.DataFrame,
        ".csv",
        lambda frame: csv_bytes(rounded(frame)),
    ),
    "Save tables (XLSX)": ((pd.DataFrame, bytes), ".xlsx", _workbook),
    "Save pictures (PNG)": (
        Axes,
        ".png",
        partial(_drawn, kind="png", undated="Software"),
    ),
    "Save pictures (SVG)": (Axes, ".svg", partial(_drawn, kind="svg", undated="Date")),
    "Save page to print (HTML)": (str, ".html", str.encode),
}


def save_panel(
    results: Callable[[], dict[str, pd.DataFrame | Axes | str | bytes]],
    *,
    folder: Path | str = ".",
) -> w.Widget:
    told = w.HTML()

    def save(kind: Any, ending: str, content: Callable[[Any], bytes]) -> None:
        try:
            written = [
                _write(Path(folder), name, ending, content(result))
                for name, result in results().items()
                if isinstance(result, kind)
            ]
        except (SizingError, OSError) as error:
            told.value = f"<p><b>Please check:</b> {safe(str(error))}</p>"
            return
        names = ", ".join(safe(str(path)) for path in written)
        told.value = f"<p>Saved: {names or 'nothing of this kind here yet'}.</p>"

    buttons = []
    for words, saved in _SAVES.items():
        button = w.Button(description=words, layout=w.Layout(width="auto"))
        button.on_click(lambda _, saved=saved: save(*saved))
        buttons.append(button)
    row = w.Layout(flex_flow="row wrap")
    return w.VBox([w.Box(buttons, layout=row), told])


def _write(folder: Path, name: str, ending: str, content: bytes) -> Path:
    count, free = 1, name
    while True:
        with contextlib.suppress(FileExistsError):
            return write_bytes(folder / f"{free}{ending}", content, fresh=True)
        count += 1
        free = f"{name} ({count})"
