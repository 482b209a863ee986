"""Options that several commands share, so that they mean the same in each."""

import argparse
import warnings
from collections.abc import Callable, Collection
from dataclasses import replace
from typing import Any

from sizing.coverage import HARM_WEIGHTS
from sizing.errors import Problem, SizingError, UnitSaid, check_number
from sizing.measures import MEASURES
from sizing.measures.patterns import PATTERNS, led_by, pattern_words
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


def add_pattern(parser: argparse.ArgumentParser) -> None:
    """Add ``--pattern``: what it asks of a chart, and what it is warned of."""
    parser.add_argument(
        "--pattern",
        choices=PATTERNS,
        help="the pattern of sling: what a chart must limit for it, what else to "
        "measure, and what it is warned of",
    )


def told_pattern(
    args: argparse.Namespace,
    limits: Collection[str],
    text: str,
    known: Collection[str] | None = None,
) -> str:
    """Lead an answer by what to know of the pattern of sling, if one is named."""
    if args.pattern is None:
        return text
    return led_by(pattern_words(args.pattern, limits, known), text)


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
    """Return a reader of whole numbers within limits, for ``argparse``."""

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

    Warns
    -----
    UnitSaid
        If it has another unit of its own.

    >>> amount("--load hoist", "200", "kg")
    200.0
    """
    found = quantity(text, unit)
    if isinstance(found, Problem):
        raise SizingError(str(replace(found, what=f"{what}: {found.what}", value=text)))
    if found.said:
        warnings.warn(UnitSaid(what, found.told(text)), stacklevel=2)
    return found.standard


def measured_numbers(words: list[str], option: str) -> dict[str, float]:
    """Read MEASURE=NUMBER words, such as those after ``--widths``.

    >>> measured_numbers(["hip_circumference_cm=20"], "--widths")
    {'hip_circumference_cm': 20.0}
    """
    found = {}
    for word in words:
        measure, sign, number = word.partition("=")
        if measure not in MEASURES or not sign:
            raise SizingError(
                f"cannot read what follows {option}",
                allowed="MEASURE=NUMBER with a measure of " + ", ".join(MEASURES),
                action=f"write {option} hip_circumference_cm=20",
                value=word,
            )
        if measure in found:
            raise SizingError(f"'{measure}' is given twice after {option}: keep one.")
        unit = measure.rsplit("_", 1)[1]
        found[measure] = amount(f"{option} {measure}", number, unit)
    return found


def add_harm_weights(parser: argparse.ArgumentParser) -> None:
    """Add ``--too-large`` and ``--too-small``: how heavily each harm weighs."""
    for harm, usual in HARM_WEIGHTS.items():
        words = (
            f"how heavily a nearest size {harm.replace('_', ' ')} weighs (default: "
            f"{usual:g}, our choice); given either, fitted sizes make least harm, "
            "instead of giving most people a size"
        )
        option = f"--{harm.replace('_', '-')}"
        parser.add_argument(option, type=float, metavar="WEIGHT", help=words)


def harm_weights(args: argparse.Namespace) -> tuple[dict[str, float], dict[str, Any]]:
    """Return the weight of each harm, and what they ask of a fit."""
    given = {harm: getattr(args, harm) for harm in HARM_WEIGHTS}
    asked = any(value is not None for value in given.values())
    weights = {
        harm: usual if given[harm] is None else given[harm]
        for harm, usual in HARM_WEIGHTS.items()
    }
    for harm, weight in weights.items():
        option = f"--{harm.replace('_', '-')}"
        check_number(f"the weight {option}", weight, above=0, most=1000)
    most = max(weights.values())
    costs = {harm: weight / most for harm, weight in weights.items()}
    return weights, {"objective": "loss", **costs} if asked else {}
