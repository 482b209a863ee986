"""What each command takes, reads and writes, checked before the command is loaded."""

import argparse
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from sizing.files.places import Places
from sizing.resources import texts

#: The options of every command; ``shared`` are those that mean the same in each,
#: ``commands`` says what each command is for.
OPTIONS: dict[str, dict[str, Any]] = vars(texts("options"))


KINDS = ("reads", "writes", "fills")
#: The options of each command that name a file to be read, one to be written or a
#: folder to be filled: by kind and option, what a file may end in, or a folder gets.
USES: dict[str, dict[str, dict[str, list[str]]]] = {
    command: {
        kind: {
            name: row.get("files", [])
            for name, row in OPTIONS[command].items()
            if row.get("is") == kind
        }
        for kind in KINDS
    }
    for command in OPTIONS["commands"]
}


def whole(least: int, most: int) -> Callable[[str], int]:
    """Return a reader of whole numbers within limits, for ``argparse``."""

    def read(text: str) -> int:
        number = int(text) if text.isdecimal() and len(text) < 20 else -1
        if not least <= number <= most:
            raise argparse.ArgumentTypeError(
                f"{text!r} is no whole number from {least} to {most}"
            )
        return number

    return read


def add_table(
    parser: argparse.ArgumentParser,
    command: str,
    more: Mapping[str, Mapping[str, Any]] | None = None,
    **words: object,
) -> None:
    """Add what a command takes (``options.toml``); ``words`` fill its braces."""
    path = {"type": Path, "metavar": "FILE"}
    kinds: dict[str, dict[str, Any]] = {
        "reads": path,
        "writes": path,
        "fills": path | {"metavar": "DIR"},
        "flag": {"action": "store_true"},
        "several": {"action": "append", "default": []},
        "measures": {"action": "extend", "nargs": "+", "default": []},
        "number": {"type": float},
        "whole": {"type": int, "metavar": "N"},
    }
    part: Any = parser
    for name, own in OPTIONS[command].items():
        row = OPTIONS["shared"].get(name, {}) | own | dict((more or {}).get(name, {}))
        given = kinds.get(row.pop("is", ""), {}) | row
        given.pop("files", None)
        if limits := given.pop("limits", None):
            given["type"] = whole(*limits)
        if group := given.pop("group", ""):
            part = parser.add_argument_group(group)
        usual = given.get("default")
        if isinstance(usual, str) and given.get("type") is Path:
            given["default"] = Path(usual)
        if isinstance(usual, list):
            # Of its own each time: what one call adds, no other remembers.
            given["default"] = []
        part.add_argument(name, **given | {"help": given["help"].format(**words)})


def check_words(command: str, words: Sequence[str]) -> None:
    """Refuse places that cannot be written, as far as the bare words name them."""
    values: dict[str, list[str]] = {}
    for word, after in pairwise([*words, "-"]):
        option, equals, value = word.partition("=")
        if equals or not after.startswith("-"):
            values.setdefault(option, []).append(value if equals else after)
    if command in USES:
        _check(Places(), command, values)


def check_places(command: str, args: argparse.Namespace) -> Places:
    """Refuse to write over what is read, or what cannot be written."""
    places, values = Places(), dict[str, list[str | Path]]()
    for option in (option for kind in KINDS for option in USES[command][kind]):
        found = getattr(args, option.removeprefix("--").replace("-", "_"))
        found = found if isinstance(found, list) else [found]
        values[option] = [value for value in found if value is not None]
    places.reads(
        *(path for option in USES[command]["reads"] for path in values[option])
    )
    _check(places, command, values)
    return places


def _check(
    places: Places, command: str, values: Mapping[str, Sequence[str | Path]]
) -> None:
    for option, endings in USES[command]["writes"].items():
        for path in values.get(option, ()):
            places.writes(path, endings=endings, option=option)
    for option, names in USES[command]["fills"].items():
        for folder in values.get(option, ()):
            places.fills(folder, names=names, option=option)
