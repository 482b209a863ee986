"""What the kit says when an input is wrong or doubtful."""

import threading
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import pandas as pd

_CATCHING = threading.RLock()


class SizingError(ValueError):
    """A mistake in what the kit was given, told in one plain message.

    The command line prints the message and exits with 2; no other exception
    is meant for a user's eyes.
    """


class SizingWarning(UserWarning):
    """Something valid but doubtful, which a practitioner should look at."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input: where, what, what is allowed, what to do.

    Attributes
    ----------
    what : str
        What is wrong, as a sentence without its final stop.
    allowed : str
        What would be accepted.
    action : str
        What to do about it.
    file, column, value
        Where it stands and what was found there.
    row : int or None
        Row as a spreadsheet numbers it: the heading is row 1.
    """

    what: str
    allowed: str = ""
    action: str = ""
    file: str | None = None
    row: int | None = None
    column: str | None = None
    value: Any = None

    def __str__(self) -> str:
        """Return the problem as one line of plain words."""
        where = [
            str(self.file) if self.file is not None else "",
            f"row {self.row}" if self.row is not None else "",
            f"column '{self.column}'" if self.column is not None else "",
        ]
        place = ", ".join(part for part in where if part)
        # A number of numpy's would be shown as np.float64(2.5).
        value = self.value.item() if isinstance(self.value, np.generic) else self.value
        found = f" (found: {value!r})" if value is not None else ""
        parts = [f"{place}: {self.what}{found}" if place else f"{self.what}{found}"]
        if self.allowed:
            parts.append(f"Allowed: {self.allowed}")
        if self.action:
            parts.append(f"What to do: {self.action}")
        return ". ".join(part.rstrip(".") for part in parts) + "."


class InputProblems(SizingError):  # noqa: N818 - it carries several
    """Every problem found in one input, all named at once.

    Attributes
    ----------
    problems : tuple of Problem
    table : DataFrame
        One row per problem: file, row, column, value, what, allowed, action.
    """

    def __init__(self, problems: Iterable[Problem], *, about: str = "input") -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        lines = [f"- {problem}" for problem in self.problems]
        count = len(lines)
        noun = "problem" if count == 1 else "problems"
        super().__init__("\n".join([f"{count} {noun} in {about}:", *lines]))

    @property
    def table(self) -> pd.DataFrame:
        """The problems as a frame, one row each."""
        columns = ["file", "row", "column", "value", "what", "allowed", "action"]
        return pd.DataFrame([asdict(p) for p in self.problems], columns=columns)


@contextmanager
def caught_warnings() -> Iterator[list[warnings.WarningMessage]]:
    """Collect every warning of the block, one thread at a time.

    What catches warnings changes them for the whole program: of two threads at it
    at once, one would lose what it was to tell.

    Examples
    --------
    >>> with caught_warnings() as caught:
    ...     warnings.warn("Look here.", SizingWarning, stacklevel=1)
    >>> str(caught[0].message)
    'Look here.'
    """
    with _CATCHING, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        yield caught


def one_of(name: str, value: object, allowed: Sequence[object]) -> None:
    """Refuse a setting that is not among the allowed ones.

    Raises
    ------
    SizingError
        If ``value`` is not in ``allowed``.

    Examples
    --------
    >>> one_of("sex", "female", ["female", "male"])
    """
    if value not in allowed:
        options = ", ".join(str(option) for option in allowed)
        raise SizingError(
            str(Problem(f"unknown {name}", options, "choose one of these", value=value))
        )
