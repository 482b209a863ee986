"""First answers that the lab works out before their page is opened, and keeps.

The lab names a folder of its own run, which only this user can read and which goes
when the lab ends. A kernel that stands ready fills it (lab_server.py); pages read
it. Only the answers to the invented or published examples that pages open with go
in, never what a user typed or took in. Without that folder everything is worked out
when it is asked for, by the same code.
"""

import os
import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Any, TypeVar

T = TypeVar("T")

#: Where the lab says which folder is kept for its run.
FOLDER = "SIZING_LAB_AHEAD"
_filling: ContextVar[bool] = ContextVar("filling", default=False)


def kept(name: str, make: Callable[[], T]) -> T:
    """Return what was worked out ahead under this name, or work it out now.

    Parameters
    ----------
    name : str
        Stands for all that the result depends on.
    make : callable
        Works it out.

    Examples
    --------
    >>> kept("a sum", lambda: 2 + 2)
    4
    """
    folder = os.environ.get(FOLDER)
    if not folder:
        return make()
    place = Path(folder) / f"{name}.pickle"
    if place.is_file():
        found: T = pickle.loads(place.read_bytes())
        return found
    made = make()
    if _filling.get():
        # Another kernel may read it: it appears when it is whole.
        part = place.with_suffix(f".{os.getpid()}")
        part.write_bytes(pickle.dumps(made))
        part.replace(place)
    return made


@contextmanager
def filling() -> Iterator[None]:
    """Keep what is worked out within."""
    token = _filling.set(True)
    try:
        yield
    finally:
        _filling.reset(token)


def work_ahead(page: str) -> None:
    """Work out the first answer of a page, and keep it.

    Parameters
    ----------
    page : str
        One of ``PAGES``.
    """
    with filling():
        PAGES[page]()


def _purchaser() -> None:
    from ipywidgets import Widget

    from sizing.report.stock_form import StockForm

    StockForm().first_answer()
    # A page that takes this kernel would be told of every form that is left.
    Widget.close_all()


def _trainer() -> None:
    from ipywidgets import Widget

    from sizing.report.teaching_form import LessonForm

    LessonForm().answer.first_answer()
    Widget.close_all()


#: The pages whose first answer takes long, in the order in which they are worked out.
PAGES: dict[str, Callable[[], Any]] = {"purchaser": _purchaser, "trainer": _trainer}
