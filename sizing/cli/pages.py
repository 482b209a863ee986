"""``sizing pages``: the pages with forms, in a browser."""

import argparse
from pathlib import Path

from sizing.app.serve import add_server, free_port, serve, write_profile
from sizing.files.places import Places
from sizing.files.state import state_folder


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what this command takes."""
    parser.add_argument(
        "--folder",
        type=Path,
        default=Path("my-results"),
        metavar="DIR",
        help="where what you save in a page goes; nothing that is there is written "
        "over (default: my-results)",
    )
    add_server(parser)


def run(args: argparse.Namespace) -> int:
    """Open the pages, and stay until they are stopped."""
    folder = args.folder.expanduser()
    Places().fills(folder, names=(), option="--folder")
    folder = folder.resolve()
    port = free_port(args.port)
    state = state_folder()
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
