"""Write the sha256 of every file that ships into the register.

Run it after a table has been made anew, and read what it says has changed:

    python -m data_sources.stamp_registry
"""

import argparse
import hashlib
from collections.abc import Callable
from pathlib import Path

import pandas as pd

FOLDER = Path(__file__).resolve().parent


def keep(
    out: Path, derive: Callable[[Path], pd.DataFrame], arguments: list[str], about: str
) -> int:
    """Write a derived table, or with --check say whether the one that ships differs."""
    parser = argparse.ArgumentParser(description=about)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args(arguments)
    text = derive(given.folder).to_csv(index=False, lineterminator="\n")
    if not given.check:
        out.write_text(text, encoding="utf-8", newline="\n")
        return 0
    same = out.read_text(encoding="utf-8") == text
    print(f"{out.name}: {'as derived' if same else 'differs from what is derived'}")
    return 0 if same else 1


def sha256_of(path: Path) -> str:
    """Return the sha256 of a file, its lines ended as in the repository."""
    content = path.read_bytes().replace(b"\r\n", b"\n")
    return hashlib.sha256(content).hexdigest()


def stamped(table: pd.DataFrame) -> pd.DataFrame:
    """Return the register with the sha256 of each file that ships."""
    ships = table["ships"] == "yes"
    table = table.copy()
    table.loc[ships, "sha256"] = [
        sha256_of(FOLDER / name) for name in table.loc[ships, "file"]
    ]
    return table


def main() -> None:
    path = FOLDER / "registry.csv"
    table = pd.read_csv(path, dtype=str, keep_default_na=False)
    new = stamped(table)
    for name in table.loc[table["sha256"] != new["sha256"], "file"]:
        print(f"changed: {name}")
    new.to_csv(path, index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
