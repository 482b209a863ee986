"""What the kit says of what is wrong or doubtful, and of what kind it is given."""

import math
import sys
import threading
import types
import typing
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from difflib import get_close_matches
from functools import cache, wraps
from inspect import Parameter, get_annotations, isclass, isfunction, signature
from numbers import Integral, Real
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from sizing.resources import texts

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


_T = texts("kinds")
_SCALARS = {str, int, float, bool, bytes}
#: Any of these does for the other.
_WIDER = {tuple: Sequence, list: Sequence, dict: Mapping}

F = TypeVar("F", bound=Callable[..., Any])


def checked(function: F) -> F:
    """Have a function refuse, in plain words, what is not of the kind it takes.

    Structures are checked before any work; text and numbers, the function's own to
    check, only where it fails.
    """
    if hasattr(function, "_checked"):
        return function

    @wraps(function)
    def call(*args: Any, **given: Any) -> Any:
        _refuse_wrong(function, args, given)
        try:
            return function(*args, **given)
        except SizingError:
            raise
        except Exception:
            _refuse_wrong(function, args, given, deep=True)
            raise

    call._checked = True  # type: ignore[attr-defined]
    return call  # type: ignore[return-value]


def check_kinds(room: dict[str, Any], names: Sequence[str]) -> None:
    """Have every public function of a room check the kinds of what it is given."""
    for name in names:
        if isfunction(found := room[name]):
            room[name] = checked(found)
            # Its own module knows it by the same name, for whoever pickles it.
            vars(sys.modules[found.__module__])[name] = room[name]
        elif isclass(found) and "__dataclass_fields__" in vars(found):
            for one, method in list(vars(found).items()):
                if isfunction(method) and (one == "__init__" or one[0] != "_"):
                    setattr(found, one, checked(method))


def check_given(what: Callable[..., Any], given: dict[str, Any]) -> None:
    """Refuse settings that a function or class does not have, or cannot use."""
    _refuse_wrong(what, (), given)


def check_columns(frame: Any, needed: Sequence[str], what: str) -> None:
    if lacking := [name for name in needed if name not in frame]:
        named = {"lacking": ", ".join(lacking), "needed": ", ".join(needed)}
        raise SizingError.of(_T.no_column, what=what, **named)


@cache
def _hints(function: Callable[..., Any]) -> tuple[dict[str, tuple[Any, Any]], bool]:
    """Return each parameter's annotation (in quotes: anything), default; any name?"""
    written, ones = get_annotations(function), signature(function).parameters
    various = (Parameter.VAR_POSITIONAL, Parameter.VAR_KEYWORD)
    found = {}
    for name, one in ones.items():
        hint = written.get(name, Any)
        if one.kind not in various:
            found[name] = (Any if isinstance(hint, str) else hint, one.default)
    return found, any(one.kind == Parameter.VAR_KEYWORD for one in ones.values())


def _refuse_wrong(
    function: Callable[..., Any],
    args: tuple[Any, ...],
    given: dict[str, Any],
    *,
    deep: bool = False,
) -> None:
    """Raise for an unknown name or a value of a wrong kind; not deep: structures."""
    hints, open_ended = _hints(function)
    for name in () if open_ended else given:
        if name not in (known := [one for one in hints if one != "self"]):
            near = get_close_matches(name, known, 1)
            action = f"did you mean '{near[0]}'?" if near else "use one of these"
            said = {"known": ", ".join(known), "action": action}
            raise SizingError.of(_T.unknown, name, **said) from None
    for name, value in {**dict(zip(hints, args, strict=False)), **given}.items():
        hint, default = hints.get(name, (Any, None))
        options = set(_options(hint))
        # A whole number would be taken for a file that is open already.
        later = _SCALARS & options and not {Path, PathLike[str]} & options
        if value is default or (later and not deep):
            continue
        if not _is_kind(value, hint, deep=deep):
            kinds = " or ".join(dict.fromkeys(map(_words, _options(hint))))
            called = function.__qualname__.removesuffix(".__init__")
            shown = "None" if value is None else type(value).__name__
            said = {"called": called, "name": name, "kinds": kinds}
            raise SizingError.of(_T.wrong, shown, **said) from None


def _options(hint: Any) -> tuple[Any, ...]:
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        return typing.get_args(hint)
    return (hint,)


def _words(hint: Any) -> str:
    name = getattr(typing.get_origin(hint) or hint, "__name__", str(hint))
    return str(_T.words.get(name, name))


def _is_kind(value: Any, hint: Any, *, deep: bool) -> bool:
    options = _options(hint)
    if not any(getattr(one, "__name__", "") == "_Buffer" for one in options):
        return any(_is_one(value, one, deep=deep) for one in options)
    if deep and _array_like(value):
        cells = () if isinstance(value, Real) else value
        fine = [isinstance(x, Real | str | None) or _array_like(x) for x in cells]
        return not isinstance(value, Real) and all(fine)
    return _array_like(value) or (value is None and type(None) in options)


def _array_like(value: Any) -> bool:
    """Return whether a value is a number, or a list or column of whatever."""
    if isinstance(value, Real | Sequence):
        return not isinstance(value, str | bytes)
    return hasattr(value, "__array__") and getattr(value, "ndim", 0) == 1


def _is_one(value: Any, hint: Any, *, deep: bool) -> bool:
    """Return whether a value is of one kind; ``deep``: what it holds, too."""
    kind, inner = typing.get_origin(hint) or hint, typing.get_args(hint)
    kind = _WIDER.get(kind, kind)
    if hint is Any or not isinstance(kind, type):
        return True
    if kind in (int, float):
        number = Integral if kind is int else Real
        return isinstance(value, number) and not isinstance(value, bool)
    fine = isinstance(value, kind)
    if issubclass(kind, Iterable) and not issubclass(kind, Mapping | str | bytes):
        listed = kind in (Sequence, Iterable)
        fine = fine or (listed and _array_like(value))
        # A table goes through its headings, not through its rows.
        headed = listed and hasattr(value, "columns")
        fine = fine and not (headed or isinstance(value, str | bytes | Mapping | Real))
    if not (fine and deep and inner):
        return fine
    pairs: list[tuple[Any, Any]] = []
    if isinstance(value, Mapping):
        pairs = [*((key, inner[0]) for key in value)]
        pairs += [(one, inner[-1]) for one in value.values()]
    elif isinstance(value, Sequence):
        pairs = [(one, inner[0]) for one in value]
    return all(_is_kind(one, of, deep=True) for one, of in pairs)
