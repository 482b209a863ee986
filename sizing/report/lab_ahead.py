"""First answers worked out before their page is opened, in the kernel that waits.

A kernel that stands ready (lab_server.py) works them out and keeps them in its own
memory; the page that takes the kernel finds them there. Only the answers to the
invented or published examples that pages open with are kept, never what a user typed
or took in. In any other kernel everything is worked out when it is asked for, by the
same code.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeVar

T = TypeVar("T")

_filling: ContextVar[bool] = ContextVar("filling", default=False)
_ahead: dict[str, Any] = {}


def kept(name: str, make: Callable[[], T]) -> T:
    """Return what was worked out ahead under this name, or work it out now.

    It is handed out once: whoever asks again may change it, and has it made anew.

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
    if _filling.get():
        made = make()
        _ahead[name] = made
        return made
    if name in _ahead:
        found: T = _ahead.pop(name)
        return found
    return make()


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


def _study() -> None:
    from sizing.report.study import nine_sizes

    nine_sizes()


#: The pages whose first answer takes long, in the order in which they are worked out.
PAGES: dict[str, Callable[[], Any]] = {
    "purchaser": _purchaser,
    "trainer": _trainer,
    "study": _study,
}
