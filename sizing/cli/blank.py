"""``python -m sizing blank``: a table of your own, to be filled in."""

import argparse

from sizing.cli.places import add_table
from sizing.errors import Problem, SizingError
from sizing.files.writing import write_bytes
from sizing.measures.tables import TABLES, blank_bytes


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_table(parser, "blank", {"kind": {"choices": list(TABLES)}})


def run(args: argparse.Namespace) -> int:
    if args.file.exists():
        what, action = "there is such a file already", "name another"
        raise SizingError(str(Problem(what, "", action, args.file.name)))
    write_bytes(args.file, blank_bytes(TABLES[args.kind], args.file.suffix))
    print(f"Blank table: {args.file}")
    return 0
