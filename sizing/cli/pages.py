"""``sizing pages``: the pages with forms, in a browser."""

import argparse

from sizing.app.serve import START, asked_for, serve
from sizing.cli.places import add_table


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_table(parser, "pages")


def run(args: argparse.Namespace) -> int:
    folder, port, state = asked_for(args)
    folder.mkdir(parents=True, exist_ok=True)
    print(f"What you save goes to: {folder}")
    words = ["-m", "sizing.app.server", str(port), str(folder)]
    serve(words, f"pages/{START}", port=port, state=state, browser=not args.no_browser)
    print("Stopped. What you saved stays in its folder.")
    return 0
