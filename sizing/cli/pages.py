"""``sizing pages``: the pages with forms, in a browser."""

import argparse

from sizing.app.serve import START, add_server, asked_for, serve, write_profile
from sizing.resources import texts

_T = texts("serve")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_server(parser, folder="my-results", words=_T.pages_folder)


def run(args: argparse.Namespace) -> int:
    """Open the pages, and stay until they are stopped."""
    folder, port, state = asked_for(args)
    write_profile(state)
    folder.mkdir(parents=True, exist_ok=True)
    print(f"What you save goes to: {folder}")
    words = ["-m", "sizing.app.server", "--port", str(port), "--folder", str(folder)]
    start = f"pages/{START}"
    ways = {"port": port, "state": state, "browser": not args.no_browser}
    serve(words, page=start, alive=start, **ways)
    print("Stopped. What you saved stays in its folder.")
    return 0
