"""The command line: one sub-command per job, loaded only when asked for."""

import argparse
import io
import os
import sys
import warnings
from collections.abc import Sequence
from importlib import import_module

from sizing.cli.places import OPTIONS, check_places, check_words
from sizing.errors import ReadingNote, SizingError, SizingWarning

#: Sub-commands in the order of the help page; each is a module of this folder
#: with ``add_arguments(parser)`` and ``run(args)``.
COMMANDS: dict[str, str] = OPTIONS["commands"]


def main(argv: Sequence[str] | None = None) -> int:
    # Threads that wait for each other cost more than these small matrices gain; and
    # one order of adding up gives one result on every machine.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        # A screen that cannot show a sign shows its number instead of failing.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    words = list(sys.argv[1:] if argv is None else argv)
    for word in words:
        if "\0" in word:
            shown = word.replace("\0", "?")
            return _refused(f"{shown}: there is a sign in it that no name has (NUL).")
    parser = argparse.ArgumentParser(
        prog="sizing",
        description="Who a sling size chart fits, who falls between sizes, and "
        "which sizes to stock.",
        epilog="Add --help after a command to see what it takes.",
    )
    try:
        check_words(words[0] if words else "", words)
    except SizingError as error:
        return _refused(str(error))
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, summary in COMMANDS.items():
        sub = commands.add_parser(name, help=summary, description=summary)
        for action in (None, "store"):
            sub.register("action", action, Once)
        # Loading only the command asked for keeps every answer quick.
        if words[:1] == [name]:
            import_module(f"sizing.cli.{name}").add_arguments(sub)
    try:
        args = parser.parse_args(words)
    except SystemExit as told:
        # argparse has printed what is wrong with the words, or the help.
        return int(told.code or 0)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("default")
        try:
            args.places = check_places(args.command, args)
            status = int(import_module(f"sizing.cli.{args.command}").run(args))
        except SizingError as error:
            return _refused(str(error))
        except BrokenPipeError:
            # Whoever was reading what is printed has seen enough.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 0
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            return _refused(f"{where}{error.strerror or error}.")
        except MemoryError:
            return _refused("there is not enough memory for this: ask for less.")
        except KeyboardInterrupt:
            print("sizing: stopped.", file=sys.stderr)
            return 130
        finally:
            _print_warnings(caught)
    return status


def _refused(words: str) -> int:
    print(f"sizing: {words}", file=sys.stderr)
    return 2


def _print_warnings(caught: Sequence[warnings.WarningMessage]) -> None:
    seen: set[str] = set()
    told = (SizingWarning, ReadingNote)
    for item in caught:
        text = str(item.message)
        if issubclass(item.category, told) and text not in seen:
            seen.add(text)
            print(f"note: {text}", file=sys.stderr)


class Once(argparse.Action):
    """An option that may be given once: a second value would replace the first."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: object,
        option_string: str | None = None,
    ) -> None:
        given = vars(namespace).setdefault("given", set())
        if self.dest in given:
            raise argparse.ArgumentError(self, "it is given twice: keep one")
        given.add(self.dest)
        setattr(namespace, self.dest, values)
