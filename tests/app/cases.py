"""What tests of the forms share: a file taken in, a button pressed, what is read."""

import html
import re
from pathlib import Path

import pandas as pd

from sizing.app.fields import UnitSwitch
from tests.conftest import taken

HIP, MASS = "hip_circumference_cm", "body_mass_kg"
LOW, HIGH = f"{HIP}_low", f"{HIP}_high"


def switched(units="metric"):
    made = UnitSwitch()
    made.view.value = units
    return made


def take(upload, content, name="mine.csv"):
    """Let an upload box take a path's file, a table, a text, or bytes."""
    if isinstance(content, Path):
        name, content = content.name, content.read_bytes()
    if isinstance(content, pd.DataFrame):
        content = content.to_csv(index=False)
    if isinstance(content, str):
        content = content.encode()
    upload.box.value = taken(name, content)


def fill(table, **entries):
    """Type into the first row of a table."""
    for column, value in entries.items():
        table.cell(0, column).value = value


def press(view, words):
    """Press the button of these words somewhere in a view."""
    waiting = [view]
    while waiting:
        widget = waiting.pop()
        if getattr(widget, "description", None) == words:
            return widget.click()
        waiting += getattr(widget, "children", ())
    raise AssertionError(f"there is no button '{words}'")


def seen(widget):
    return widget.layout.display != "none"


def read(*parts):
    """Return what a person reads of widgets, without markup and pictures."""
    text = " ".join(part.value for part in parts)
    return html.unescape(re.sub(r"base64,[^\"]*|<[^>]*>", " ", text))
