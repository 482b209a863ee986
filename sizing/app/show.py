"""Pictures and tables for a notebook, with the words that stand for them."""

import contextlib
import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets as w
import pandas as pd
from IPython.display import HTML
from matplotlib.axes import Axes

from sizing.app.form_words import bullets, heading, paragraphs, scrolling, wide_table
from sizing.errors import SizingError
from sizing.files.writing import csv_bytes, rounded, workbook_bytes, write_bytes
from sizing.pages.page import Picture, Section, Table, picture
from sizing.pages.page import table as page_table
from sizing.plots.style import figure_of, quiet_style
from sizing.words.glossary import glossary

#: Endings under which each kind of result can be saved.
_ENDINGS: dict[type, tuple[str, tuple[str, ...]]] = {
    pd.DataFrame: ("table", (".csv", ".xlsx")),
    Axes: ("picture", (".png", ".svg")),
    str: ("page", (".html",)),
    bytes: ("workbook", (".xlsx",)),
}


def show_picture(ax: Axes, *, alt: str, caption: str = "") -> HTML:
    """Show a picture in a notebook, with words for whoever cannot see it."""
    return HTML(picture_html(picture(figure_of(ax), alt=alt, caption=caption)))


def picture_html(drawn: Picture) -> str:
    """Return a picture as HTML; it shrinks to the width of the page."""
    return (
        f'<figure style="margin: 1em 0"><img style="max-width: 100%" '
        f'alt="{escape(drawn.alt)}" src="data:image/png;base64,{drawn.base64}">'
        f"<figcaption>{escape(drawn.caption)}</figcaption></figure>"
    )


def show_table(frame: pd.DataFrame, *, caption: str, words: Sequence[str] = ()) -> HTML:
    """Show a table of finished cells in a notebook, with its caption."""
    return HTML(table_html(page_table(frame, caption=caption, words=words)))


def folded_glossary() -> HTML:
    """Show the kit's terms with their meanings, once asked for."""
    heads = ["Word", "What it means here"]
    named = glossary().set_axis(heads, axis=1)
    listed = page_table(named, caption="Words of the kit", words=heads)
    return HTML(
        f"<details><summary>Open the list</summary>{table_html(listed)}</details>"
    )


def table_html(shown: Table) -> str:
    """Return a table of a page for the screen."""
    return wide_table(
        shown.rows,
        label=shown.caption,
        headings=[column.name for column in shown.columns],
        numbers=[column.number for column in shown.columns],
    )


def slide_html(drawn: Picture) -> str:
    """Return a slide as large as the screen allows; a phone scrolls along it."""
    # The caption stands outside, where a phone need not scroll to read it.
    alone = picture_html(replace(drawn, caption=""))
    slide = f'<div style="min-width: 36rem; max-width: 72vw">{alone}</div>'
    return scrolling(slide, label=drawn.caption) + paragraphs([drawn.caption])


def sections_html(sections: Sequence[Section]) -> str:
    """Return sections of a page for the screen."""
    parts = []
    for section in sections:
        parts += [heading(section.heading), paragraphs(section.words)]
        parts += [slide_html(figure) for figure in section.figures]
        parts += [table_html(shown) for shown in section.tables]
        if section.bullets:
            parts.append(bullets(section.bullets))
    return "".join(parts)


def save_bytes(result: pd.DataFrame | Axes | str | bytes, ending: str) -> bytes:
    """Return a result as the content of a file with that ending."""
    buffer = io.BytesIO()
    if isinstance(result, bytes) and ending == ".xlsx":
        return result
    if isinstance(result, pd.DataFrame) and ending == ".csv":
        return csv_bytes(rounded(result))
    if isinstance(result, pd.DataFrame) and ending == ".xlsx":
        return workbook_bytes({"Sheet1": rounded(result)})
    if isinstance(result, Axes) and ending in (".png", ".svg"):
        undated = {"Software": None} if ending == ".png" else {"Date": None}
        with quiet_style():
            figure_of(result).savefig(buffer, format=ending[1:], metadata=undated)
    elif isinstance(result, str) and ending == ".html":
        return result.encode()
    else:
        kind, allowed = next(v for k, v in _ENDINGS.items() if isinstance(result, k))
        raise SizingError(
            f"A {kind} cannot be saved as '{ending}'. Allowed: {', '.join(allowed)}."
        )
    return buffer.getvalue()


def save_panel(
    results: Callable[[], dict[str, pd.DataFrame | Axes | str | bytes]],
    *,
    folder: Path | str = ".",
) -> w.Widget:
    """Return buttons that save each result beside the notebook."""
    kinds: dict[str, tuple[Any, str]] = {
        "Save tables (CSV)": (pd.DataFrame, ".csv"),
        "Save tables (XLSX)": ((pd.DataFrame, bytes), ".xlsx"),
        "Save pictures (PNG)": (Axes, ".png"),
        "Save pictures (SVG)": (Axes, ".svg"),
        "Save page to print (HTML)": (str, ".html"),
    }
    told = w.HTML()

    def save(kind: Any, ending: str) -> None:
        try:
            written = [
                _write(Path(folder), name, ending, save_bytes(result, ending))
                for name, result in results().items()
                if isinstance(result, kind)
            ]
        except (SizingError, OSError) as error:
            told.value = f"<p><b>Please check:</b> {escape(str(error))}</p>"
            return
        names = ", ".join(escape(str(path)) for path in written)
        told.value = f"<p>Saved: {names or 'nothing of this kind here yet'}.</p>"

    buttons = []
    for words, (kind, ending) in kinds.items():
        button = w.Button(description=words, layout=w.Layout(width="auto"))
        button.on_click(lambda _, kind=kind, ending=ending: save(kind, ending))
        buttons.append(button)
    row = w.Layout(flex_flow="row wrap")
    return w.VBox([w.Box(buttons, layout=row), told])


def _write(folder: Path, name: str, ending: str, content: bytes) -> Path:
    """Write a file under a name that is free, and return it."""
    count, free = 1, name
    while True:
        with contextlib.suppress(FileExistsError):
            return write_bytes(folder / f"{free}{ending}", content, fresh=True)
        count += 1
        free = f"{name} ({count})"
