"""Options that several commands share, so that they mean the same in each."""

import argparse
import warnings
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from sizing.cli.places import add_table
from sizing.coverage import HARM_WEIGHTS
from sizing.errors import Problem, SizingError, UnitSaid, check_number
from sizing.measures import MEASURES, PATTERNS, led_by, pattern_words
from sizing.measures.typed import quantity
from sizing.people import POPULATIONS


def add_options(
    parser: argparse.ArgumentParser,
    command: str,
    more: Mapping[str, Mapping[str, Any]] | None = None,
    **words: object,
) -> None:
    """Add what a command takes; see ``places.add_table``."""
    every: dict[str, Mapping[str, Any]] = {"--pattern": {"choices": PATTERNS}}
    said = {"populations": ", ".join(POPULATIONS), "measures": ", ".join(MEASURES)}
    add_table(parser, command, every | dict(more or {}), **HARM_WEIGHTS, **said | words)


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


def amount(what: str, text: str, unit: str) -> float:
    """Return a length or a mass given with a command, in cm or kg; warn of its unit."""
    found = quantity(text, unit)
    if isinstance(found, Problem):
        raise SizingError(str(replace(found, what=f"{what}: {found.what}", value=text)))
    if found.said:
        warnings.warn(UnitSaid(what, found.told(text)), stacklevel=2)
    return found.standard


def measured_numbers(words: list[str], option: str) -> dict[str, float]:
    """Read MEASURE=NUMBER words, such as those after ``--widths``."""
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
        found[measure] = amount(f"{option} {measure}", number, measure[-2:])
    return found


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
