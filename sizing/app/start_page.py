"""The start page of the lab, written from the vocabulary and the cautions."""

import json
from pathlib import Path
from typing import Any

from sizing.cautions import cautions
from sizing.files.writing import write_text
from sizing.pages.where import where_html

#: The doors in their order: file, what they are called, what lies behind them.
DOORS: tuple[tuple[str, str, str], ...] = (
    (
        "purchaser.ipynb",
        "Purchaser: I buy slings",
        "Which sizes to stock, how many of each, and whom none of them fits.",
    ),
    (
        "adviser.ipynb",
        "Adviser: I fit slings",
        "One client and a tape measure: which size, how sure, what to measure next. "
        "Or try a size chart of your own.",
    ),
    (
        "trainer.ipynb",
        "Trainer: I train carers",
        "An hour with a room: why measuring beats guessing, with practice clients.",
    ),
    (
        "trials.ipynb",
        "Slings tried on: I keep what happened",
        "Where the sizes of your slings really begin and end, learned from fittings.",
    ),
    (
        "study.ipynb",
        "How the study is made, and what it rests on",
        "From whom the figures come, and where they stop. Makers and buyers can "
        "go on to [how the edges of the sizes are set](bands.ipynb).",
    ),
)


def start_notebook() -> dict[str, Any]:
    """Return the start page as a notebook.

    Its picture is stored with it, so that the page is whole before anything runs.

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
    before = [_WELCOME, doors, _HOW, _WHERE]
    after = [f"## Before any lift\n\n{warned}", _LIMITS]
    cells = [
        *(_words(text) for text in before),
        _code(_DRAWING, [where_html()]),
        *(_words(text) for text in after),
    ]
    for number, cell in enumerate(cells):
        cell["id"] = f"start-{number:02d}"
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


def _words(text: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "metadata": {}, "source": text}


def _code(source: str, pages: list[str]) -> dict[str, Any]:
    """Return a folded code cell and the HTML it has shown."""
    shown = [
        {
            "data": {"text/html": page},
            "execution_count": 1,
            "metadata": {},
            "output_type": "execute_result",
        }
        for page in pages
    ]
    return {
        "cell_type": "code",
        # A cell that shows something has been run, says the notebook format.
        "execution_count": 1 if shown else None,
        "metadata": {"jupyter": {"source_hidden": True}, "tags": ["hide-input"]},
        "outputs": shown,
        "source": source,
    }


def write_start(path: Path) -> None:
    """Write the start page to a file, as the kit ships it."""
    text = json.dumps(start_notebook(), indent=1, ensure_ascii=False)
    write_text(path, text + "\n")


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
- **Save and print.** What you save lies in the folder that the program named when it \
began. To print a page, use the browser's own *Print*.
- **What you enter** stays in this computer's memory while its page is open, also when \
you reload it. *Clear this page*, at its top, forgets it.
- **Come back** to this page by the link at the top of each page.
- **If a page seems stuck**, reload it, and if that does not help choose *Clear this \
page*."""
_WHERE = "## Where each measure is taken"
_DRAWING = """\
# The drawing, from the kit's vocabulary of measures.
from IPython.display import HTML

from sizing.pages.where import where_html

HTML(where_html())"""
_LIMITS = """\
## Whom it does not hold for

The people behind the figures live at home, served in an army, or were children in \
1977. Nobody was measured in a sling, in a care home or in a hospital. Nobody is known \
to have had an amputation, a contracture, a curved spine or swollen limbs. Very heavy \
bodies and adults over 80 go beyond what was measured. Each page says more.

## Sources

Each page ends with its own. The drawing and its words are the kit's; the names of the \
measures follow ISO 7250-1."""
