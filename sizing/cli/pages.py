"""``sizing pages``: the pages with forms, in a browser."""

import argparse

from sizing.app.serve import add_server, asked_for, serve, write_profile


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    words = "where what you save in a page goes; nothing that is there is written over"
    add_server(parser, folder="my-results", words=words)


def run(args: argparse.Namespace) -> int:
    """Open the pages, and stay until they are stopped."""
    folder, port, state = asked_for(args)
    write_profile(state)
    folder.mkdir(parents=True, exist_ok=True)
    print(f"What you save goes to: {folder}")
    words = ["-m", "sizing.app.server", "--port", str(port), "--folder", str(folder)]
    serve(
        words,
        port=port,
        page="pages/start.ipynb",
        state=state,
        alive="pages/start.ipynb",
        browser=not args.no_browser,
    )
    print("Stopped. What you saved stays in its folder.")
    return 0
