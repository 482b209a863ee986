"""The start page of the lab, written from the vocabulary and the cautions."""

import base64
import io
import json
from pathlib import Path
from typing import Any

from PIL import Image

from sizing.cautions import cautions
from sizing.measures import vocabulary
from sizing.plots.where import plot_where, where_words

#: The doors in their order: file, what they are called, what lies behind them.
DOORS: tuple[tuple[str, str, str], ...] = (
    (
        "purchaser.ipynb",
        "I buy slings",
        "Which sizes to stock, how many of each, and whom none of them fits.",
    ),
    (
        "adviser.ipynb",
        "I fit slings",
        "One client and a tape measure: which size, how sure, what to measure next. "
        "Or try a size chart of your own.",
    ),
    (
        "trainer.ipynb",
        "I train carers",
        "An hour with a room: why measuring beats guessing, with practice clients.",
    ),
    (
        "study.ipynb",
        "I want to know what this rests on",
        "How the study is made, from whom, and where it stops. Makers and buyers can "
        "go on to [how the edges of the sizes are set](bands.ipynb).",
    ),
)
_PICTURE = "where.png"


def start_notebook() -> dict[str, Any]:
    """Return the start page as a notebook.

    It needs no kernel to be read: the picture is part of it.

    Returns
    -------
    dict
        A notebook in format 4.5, as ``json.dumps`` takes it.

    Examples
    --------
    >>> page = start_notebook()
    >>> "purchaser.ipynb" in page["cells"][1]["source"]
    True
    """
    doors = "\n\n".join(
        f"## [{name}]({file})\n\n{behind}" for file, name, behind in DOORS
    )
    warned = "\n".join(f"- {text}" for text in cautions())
    # An alternative text in Markdown ends at its first closing bracket.
    alt = where_words(vocabulary()).replace("[", "(").replace("]", ")")
    texts = [
        _WELCOME,
        doors,
        _HOW,
        f"{_WHERE}\n\n![{alt}](attachment:{_PICTURE})\n\n{_BENEATH}",
        f"## Before any lift\n\n{warned}",
        _LIMITS,
    ]
    cells: list[dict[str, Any]] = [
        {
            "cell_type": "markdown",
            "id": f"start-{number:02d}",
            "metadata": {},
            "source": text,
        }
        for number, text in enumerate(texts)
    ]
    cells[3]["attachments"] = {_PICTURE: {"image/png": _picture()}}
    cells.append(
        {
            "cell_type": "code",
            "execution_count": None,
            "id": f"start-{len(texts):02d}",
            "metadata": {"jupyter": {"source_hidden": True}, "tags": ["hide-input"]},
            "outputs": [],
            "source": _INSTALLED,
        }
    )
    return {
        "cells": cells,
        "metadata": {
            "kernelspec": {
                "display_name": "Python 3",
                "language": "python",
                "name": "python3",
            },
            "language_info": {"name": "python"},
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }


def write_start(path: Path) -> None:
    """Write the start page to a file, as the kit ships it."""
    text = json.dumps(start_notebook(), indent=1, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8")


def _picture() -> str:
    """Return the drawing as a small PNG in base64; few greys are enough for it."""
    drawn, small = io.BytesIO(), io.BytesIO()
    plot_where(vocabulary()).figure.savefig(drawn, format="png", dpi=130)
    Image.open(drawn).convert("L").quantize(16).save(small, "PNG", optimize=True)
    return base64.b64encode(small.getvalue()).decode("ascii")


_WELCOME = """\
# Who are you today?

Choose the line that fits. A page with a form opens and gets itself ready in some \
seconds. You need no programming, and no internet: **nothing you enter leaves this \
computer**, and a client's name is never needed.

**This does not choose a sling for a person.** It shows evidence to the one who does."""
_HOW = """\
## How the pages work

- **Each page tells**, in this order: the question, what goes in, the answer with how \
sure it is, the picture, whom it does not hold for, the cautions, the sources.
- **Change anything in a form** and the answer follows. If a value looks wrong, the \
page says so in plain words.
- **The code is folded away** in grey bars. You need not read it; a click on a bar \
shows it.
- **Save and print.** What you save lies beside the pages, in your own folder. To \
print a page, choose *File > Print*.
- **Come back** to this page through the folder sign at the far left, or the link at \
the top of each page.
- **If a page seems stuck**, choose *Kernel > Restart Kernel and Run All Cells*."""
_WHERE = "## Where each measure is taken"
_BENEATH = """\
*A straight line with two ends is a length or a breadth. A curved band is a tape \
around the body. Take hip girth and stature lying down: the seat spreads the hips. The \
figures are drawn by eye and are nobody's measures.*"""
_LIMITS = """\
## Whom it does not hold for

The people behind the figures live at home, served in an army, or were children in \
1977. Nobody was measured in a sling, in a care home or in a hospital. Nobody is known \
to have had an amputation, a contracture, a curved spine or swollen limbs. Very heavy \
bodies and adults over 80 go beyond what was measured. Each page says more.

## Sources

Each page ends with its own. The drawing and its words are the kit's; the names of the \
measures follow ISO 7250-1."""
_INSTALLED = """\
# What is installed, for whoever helps you: click here, then press Shift and Enter.
import sys
from importlib.metadata import version
from pathlib import Path

for name in ("sizing", "jupyterlab", "ipywidgets", "numpy", "pandas"):
    print(name, version(name))
print("Python", sys.version.split()[0], "| folder:", Path.cwd())"""
