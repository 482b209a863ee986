"""Options that several commands share, so that they mean the same in each."""

import argparse
import warnings
from collections.abc import Callable
from dataclasses import replace

from sizing.errors import Problem, SizingError, UnitSaid
from sizing.measures.typed import quantity
from sizing.people import POPULATIONS

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
