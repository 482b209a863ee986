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
from typing import Any, TypeVar

from sizing.errors import SizingError
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
