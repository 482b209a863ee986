"""Options that several commands share, so that they mean the same in each."""

import argparse

from sizing.population import POPULATIONS


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
        "--seed", type=int, default=1, metavar="N", help="whole number (default: 1)"
    )


def add_draws(parser: argparse.ArgumentParser, *, default: int) -> None:
    """Add ``--draws``: how often what nobody measured is drawn.

    More draws narrow the intervals, most where few people were measured.
    """
    parser.add_argument(
        "--draws",
        type=int,
        default=default,
        metavar="N",
        help=f"draws of the measures nobody took (default: {default})",
    )
