"""Options that several commands share, so that they mean the same in each."""

import argparse
import warnings
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from sizing.errors import Problem, SizingError, UnitSaid
from sizing.measures.typed import quantity
from sizing.population import POPULATIONS

#: Beyond these a command would fill the memory or never end.
MOST_DRAWS = 200
MOST_SEED = 2**32 - 1


def add_people(parser: argparse.ArgumentParser, *, default: str, what: str) -> None:
    """Add ``--people``: the name of a population."""
    parser.add_argument(
        "--people",
        default=default,
        metavar="NAME",
        help=f"{what}: {', '.join(POPULATIONS)} (default: {default})",
    )


def add_seed(parser: argparse.ArgumentParser) -> None:
    """Add ``--seed``: same seed, same result."""
    parser.add_argument(
        "--seed",
        type=whole(0, MOST_SEED),
        default=1,
        metavar="N",
        help="whole number (default: 1)",
    )


def add_draws(parser: argparse.ArgumentParser, *, default: int) -> None:
    """Add ``--draws``: how often what nobody measured is drawn.

    More draws narrow the intervals, most where few people were measured.
    """
    parser.add_argument(
        "--draws",
        type=whole(1, MOST_DRAWS),
        default=default,
        metavar="N",
        help=f"draws of the measures nobody took (default: {default})",
    )


def whole(least: int, most: int) -> Callable[[str], int]:
    """Return a reader of whole numbers within limits, for ``argparse``.

    Examples
    --------
    >>> whole(1, 10)("7")
    7
    """

    def read(text: str) -> int:
        number = int(text) if text.isdecimal() and len(text) < 20 else -1
        if not least <= number <= most:
            raise argparse.ArgumentTypeError(
                f"{text!r} is no whole number from {least} to {most}"
            )
        return number

    return read


def amount(what: str, text: str, unit: str) -> float:
    """Return a length or a mass given with a command, in cm or kg.

    Parameters
    ----------
    what : str
        What it was given as, for the messages.
    text : str
        As for ``sizing.measures.typed.quantity``.
    unit : str
        Of a number alone: cm or kg.

    Raises
    ------
    SizingError
        If it is not understood.

    Warns
    -----
    UnitSaid
        If it has another unit of its own.

    Examples
    --------
    >>> amount("--load hoist", "200", "kg")
    200.0
    """
    found = quantity(text, unit)
    if isinstance(found, Problem):
        raise SizingError(str(replace(found, what=f"{what}: {found.what}", value=text)))
    if found.said:
        warnings.warn(f"{what}: {found.told(text)}", UnitSaid, stacklevel=2)
    return found.standard


def check_place(
    path: Path, endings: Iterable[str], *, inputs: Iterable[Path | None] = ()
) -> None:
    """Refuse early a file that could not be written, or would cost an input.

    Parameters
    ----------
    path : Path
        Where a command is to write.
    endings : iterable of str
        What its name may end in.
    inputs : iterable of Path
        The files the command reads: none of them is ever written over.

    Raises
    ------
    SizingError
        If the name ends otherwise, there is no such folder, or it is one of the
        files to be read.
    """
    endings = tuple(endings)
    what = ""
    try:
        if path.suffix.lower() not in endings:
            what = "the name ends in another way"
        elif path.is_dir():
            what = "this is a folder"
        elif not path.resolve().parent.is_dir():
            what = "there is no such folder"
        elif path.exists() and any(
            given is not None and given.exists() and path.samefile(given)
            for given in inputs
        ):
            what = "this is one of the files to be read, which would be lost"
    except (OSError, ValueError, RuntimeError):
        what = "there cannot be a file of this name"
    if what:
        raise SizingError(
            str(
                Problem(
                    what,
                    f"a name ending in {' or '.join(endings)}, in a folder that exists",
                    "name another file",
                    file=str(path).replace("\x00", "?"),
                )
            )
        )


def check_folder(
    folder: Path, written: Iterable[str], *, inputs: Iterable[Path | None] = ()
) -> None:
    """Refuse early a folder in which a file to be read would be written over.

    Parameters
    ----------
    folder : Path
        The folder of a command's files.
    written : iterable of str
        Names of the files the command writes there.
    inputs : iterable of Path
        The files the command reads.

    Raises
    ------
    SizingError
        If the folder is a file, or one of the files is both.
    """
    places = [folder / name for name in written]
    what = ""
    try:
        if folder.exists() and not folder.is_dir():
            what = "this is a file, not a folder"
        for given in inputs:
            if given is not None and given.exists():
                for place in places:
                    if place.exists() and place.samefile(given):
                        what = f"{place.name} in it is to be read and would be lost"
    except (OSError, ValueError, RuntimeError):
        what = "there cannot be a folder of this name"
    if what:
        raise SizingError(
            str(
                Problem(
                    what,
                    "a folder, made if it is not there",
                    "name another with --out",
                    file=str(folder).replace("\x00", "?"),
                )
            )
        )
