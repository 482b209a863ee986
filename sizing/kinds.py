"""Whether what a public function was given is of the kind that its annotations say."""

import sys
import types
import typing
from collections.abc import Callable, Iterable, Mapping, Sequence
from difflib import get_close_matches
from functools import cache, wraps
from inspect import Parameter, get_annotations, isclass, isfunction, signature
from numbers import Integral, Real
from os import PathLike
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from sizing.errors import Problem, SizingError
from sizing.resources import texts

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

    open_ended = any(
        one.kind == Parameter.VAR_KEYWORD
        for one in signature(function).parameters.values()
    )

    @wraps(function)
    def call(*args: Any, **given: Any) -> Any:
        if not open_ended:
            _refuse_unknown(function, given)
        _refuse_wrong(function, args, given, first=True)
        try:
            return function(*args, **given)
        except SizingError:
            raise
        except Exception:
            _refuse_wrong(function, args, given, first=False)
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
    _refuse_unknown(what, given)
    _refuse_wrong(what, (), given, first=True)


def _refuse_unknown(what: Callable[..., Any], given: dict[str, Any]) -> None:
    known = [name for name in _hints(what) if name != "self"]
    for name in given:
        if name not in known:
            near = get_close_matches(name, known, 1)
            action = f"did you mean '{near[0]}'?" if near else "use one of these"
            given = {"known": ", ".join(known), "action": action}
            _refuse(_T.unknown, name, **given)


def check_columns(frame: Any, needed: Sequence[str], what: str) -> None:
    if lacking := [name for name in needed if name not in frame]:
        named = {"lacking": ", ".join(lacking), "needed": ", ".join(needed)}
        _refuse(_T.no_column, what=what, **named)


def _refuse(words: Sequence[str], value: object = None, /, **given: str) -> NoReturn:
    problem = Problem.of(words, None, None, None, value, **given)
    raise SizingError(str(problem)) from None


@cache
def _hints(function: Callable[..., Any]) -> dict[str, tuple[Any, Any]]:
    """Return each parameter's annotation (in quotes: anything) and default."""
    written = get_annotations(function)
    found = {}
    for name, one in signature(function).parameters.items():
        hint = written.get(name, Any)
        hint = Any if isinstance(hint, str) else hint
        if one.kind not in (Parameter.VAR_POSITIONAL, Parameter.VAR_KEYWORD):
            found[name] = (hint, one.default)
    return found


def _refuse_wrong(
    function: Callable[..., Any],
    args: tuple[Any, ...],
    given: dict[str, Any],
    *,
    first: bool,
) -> None:
    """Raise for the first value of a wrong kind; ``first``: structures alone."""
    hints = _hints(function)
    for name, value in {**dict(zip(hints, args, strict=False)), **given}.items():
        hint, default = hints.get(name, (Any, None))
        options = set(_options(hint))
        # A whole number would be taken for a file that is open already.
        later = _SCALARS & options and not {Path, PathLike[str]} & options
        if value is default or (first and later):
            continue
        if not _is_kind(value, hint, deep=not first):
            kinds = " or ".join(dict.fromkeys(map(_words, _options(hint))))
            called = function.__qualname__.removesuffix(".__init__")
            shown = "None" if value is None else type(value).__name__
            _refuse(_T.wrong, shown, called=called, name=name, kinds=kinds)


def _options(hint: Any) -> tuple[Any, ...]:
    if typing.get_origin(hint) in (typing.Union, types.UnionType):
        return typing.get_args(hint)
    return (hint,)


def _words(hint: Any) -> str:
    name = getattr(typing.get_origin(hint) or hint, "__name__", str(hint))
    return str(_T.words.get(name, name))


def _is_kind(value: Any, hint: Any, *, deep: bool) -> bool:
    options = _options(hint)
    if any(getattr(one, "__name__", "") == "_Buffer" for one in options):
        if deep and _array_like(value):
            return not isinstance(value, Real) and all(map(_cell, value))
        return _array_like(value) or (value is None and type(None) in options)
    return any(_is_one(value, one, deep=deep) for one in options)


def _cell(value: Any) -> bool:
    return isinstance(value, Real | str | None) or _array_like(value)


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
    if issubclass(kind, Iterable) and not issubclass(kind, Mapping | str | bytes):
        fine = isinstance(value, kind) or (
            kind in (Sequence, Iterable) and _array_like(value)
        )
        fine = fine and not isinstance(value, str | bytes | Mapping | Real)
        # A table goes through its headings, not through its rows.
        fine = fine and not (hasattr(value, "columns") and kind in (Sequence, Iterable))
    else:
        fine = isinstance(value, kind)
    if fine and deep and inner and isinstance(value, Mapping):
        pairs = [*((key, inner[0]) for key in value)]
        pairs += [(one, inner[-1]) for one in value.values()]
        return all(_is_kind(one, of, deep=True) for one, of in pairs)
    if fine and deep and inner and isinstance(value, Sequence):
        return all(_is_kind(one, inner[0], deep=True) for one in value)
    return fine
