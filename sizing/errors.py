"""What the kit says when an input is wrong or doubtful."""

import math
import sys
import threading
import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from numbers import Integral, Real
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    # What is wrong with the words of a command is told before this is loaded.
    import pandas as pd

_CATCHING = threading.RLock()
#: So many letters of what was found are shown.
_LONGEST = 300


class SizingError(ValueError):
    """A mistake in what the kit was given, said in one plain message.

    ``what`` is wrong; ``allowed``, ``action`` and ``where`` (file, row, column, value)
    are those of a ``Problem``.

    >>> print(SizingError("too wide", allowed="up to 40 cm", value=50))
    too wide (found: 50). Allowed: up to 40 cm.
    """

    def __init__(
        self, what: str, *, allowed: str = "", action: str = "", **where: Any
    ) -> None:
        if allowed or action or where:
            what = str(Problem(what, allowed, action, **where))
        super().__init__(what)

    @classmethod
    def of(
        cls, words: Sequence[str], value: object = None, /, **given: object
    ) -> "SizingError":
        """Return an error of fixed words, as ``Problem.of``, and of what was found."""
        return SizingError(str(Problem.of(words, None, None, None, value, **given)))


class SizingWarning(UserWarning):
    """Something valid but doubtful, which a practitioner should look at."""


class DoubtfulValues(SizingWarning):
    """Values that are valid but doubtful, each as a ``Problem`` in ``problems``."""

    def __init__(self, problems: "Iterable[Problem]") -> None:
        self.problems = tuple(problems)
        lines = "\n".join(f"- {problem}" for problem in self.problems)
        super().__init__(f"doubtful values:\n{lines}")


class UnitSaid(SizingWarning):
    """A value read in the unit written with it: whose, how, and where it stands."""

    def __init__(self, of: str, how: str, place: str = "") -> None:
        self.of, self.how = of, how
        super().__init__(f"{place or of}: {how}")


class ReadingNote(UserWarning):
    """How a table was read: how much of it, what was passed over, what not used."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input: where, what, what is allowed, what to do."""

    #: What is wrong, as a sentence without its final stop.
    what: str
    #: What would be accepted.
    allowed: str = ""
    #: What to do about it.
    action: str = ""
    file: str | None = None
    #: Row as a spreadsheet numbers it: the heading is row 1.
    row: int | None = None
    column: str | None = None
    value: Any = None

    @classmethod
    def of(cls, words: Sequence[str], /, *where: Any, **given: object) -> "Problem":
        """Return a problem of fixed words (what, allowed, action) and its place."""
        what, allowed, action = (part.format(**given) for part in words)
        return cls(what, allowed, action, *where)

    def __str__(self) -> str:
        """Return the problem as one line of plain words."""
        where = {"{}": self.file, "row {}": self.row, "column '{}'": self.column}
        placed = [w.format(part) for w, part in where.items() if part is not None]
        place, value = ", ".join(filter(None, placed)), self.value
        # A number of numpy's would be shown as np.float64(2.5).
        shown = repr(value.item() if getattr(value, "ndim", None) == 0 else value)
        # A whole table given for a name would bury what is wrong.
        shown = shown if len(shown) <= _LONGEST else f"{shown[:_LONGEST]}..."
        found = f" (found: {shown})" if value is not None else ""
        parts = {"": self.what + found, "Allowed: ": self.allowed}
        parts["What to do: "] = self.action
        said = ". ".join(f"{k}{part.rstrip('.')}" for k, part in parts.items() if part)
        said = f"{place}: {said}" if place else said
        return said if said.endswith("?") else f"{said}."


class InputProblems(SizingError):  # noqa: N818 - it carries several
    """Every problem found in one input at once; ``table`` has one in a row."""

    def __init__(self, problems: Iterable[Problem], *, about: str = "input") -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        lines = [f"- {problem}" for problem in self.problems]
        head = f"{len(lines)} problem{'s' * (len(lines) != 1)} in {about}:"
        super().__init__("\n".join([head, *lines]))

    @property
    def table(self) -> "pd.DataFrame":
        import pandas as pd

        columns = ["file", "row", "column", "value", "what", "allowed", "action"]
        return pd.DataFrame([asdict(p) for p in self.problems], columns=columns)


def warn(words: str | Warning, category: type[Warning] = SizingWarning) -> None:
    """Warn, pointing at the line outside the kit from which it was asked."""
    frame, level = sys._getframe(1), 2
    while frame.f_back and frame.f_globals.get("__name__", "").startswith("sizing."):
        frame, level = frame.f_back, level + 1
    warnings.warn(words, category, stacklevel=level)


@contextmanager
def caught_warnings() -> Iterator[list[warnings.WarningMessage]]:
    """Collect every warning of the block, one thread at a time: two would lose some."""
    with _CATCHING, warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        yield caught


def one_of(name: str, value: object, allowed: Sequence[object]) -> None:
    """Refuse a setting that is not among the allowed ones."""
    if value not in allowed:
        options, action = ", ".join(map(str, allowed)), "choose one of these"
        raise SizingError(
            f"unknown {name}", allowed=options, action=action, value=value
        )


def check_number(
    name: str,
    value: object,
    *,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
    below: float | None = None,
    whole: bool = False,
) -> None:
    """Refuse a setting that is no finite number within its limits."""
    number = math.nan
    if isinstance(value, Integral if whole else Real) and not isinstance(value, bool):
        with suppress(OverflowError):
            number = float(value)  # type: ignore[arg-type]
    fine = [least is None or number >= least, above is None or number > above]
    fine += [most is None or number <= most, below is None or number < below]
    if math.isfinite(number) and all(fine):
        return
    to = "to " if least is not None else "up to "
    under = "below " if least is above is None else "and below "
    words = {"from ": least, "above ": above, to: most, under: below}
    limits = [
        f"{word}{int(limit) if float(limit).is_integer() else limit:,}"
        for word, limit in words.items()
        if limit is not None
    ]
    up = ["up"] if least is not None and most is below is None else []
    kind = "a whole number" if whole else "a number"
    allowed, what = " ".join([kind, *limits, *up]), f"{name} makes no sense"
    raise SizingError(what, allowed=allowed, action="change it", value=value)


def check_seed(seed: object) -> None:
    check_number("the seed", seed, least=0, most=2**32 - 1, whole=True)


def check_replicates(replicates: object, *, least: int = 2) -> None:
    """Refuse too few bootstrap samples, or over a hundred times the usual (ours)."""
    what = "the number of bootstrap samples"
    check_number(what, replicates, least=least, most=100_000, whole=True)
