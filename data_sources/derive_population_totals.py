"""Derive data_sources/nhanes_2017_2018_totals.csv: how many people of each kind.

Run: python -m data_sources.derive_population_totals FOLDER [--check]

FOLDER holds nhanes_2017_2018/body_weights_design.csv, whose weights belong to the
very people the kit carries. With --check nothing is written; the command fails if
the file that ships differs. Only totals of cells of three people and more leave it.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from data_sources.stamp_registry import keep
from sizing.people.named import KEYS, cells
from sizing.surveys import read_embedded

OUT = Path(__file__).with_name("nhanes_2017_2018_totals.csv")
#: Fewest people in a cell: what one of them weighs stays unknown.
LEAST = 3
SOURCE = "NHANES 2017-2018, sums of WTMEC2YR over examined people"


def weighted(folder: Path) -> pd.DataFrame:
    """Return the embedded people with their examination weight."""
    file = folder / "nhanes_2017_2018" / "body_weights_design.csv"
    own = pd.read_csv(file, usecols=["SEQN", "WTMEC2YR"]).set_index("SEQN")
    frame = read_embedded().frame
    return frame.assign(weight=frame["person"].map(own["WTMEC2YR"]))


def totals(people: pd.DataFrame) -> pd.DataFrame:
    """Return the population of every cell, one row per cell and kind of cell."""
    found = []
    for kind, cell in cells(people).items():
        by = [name for name in KEYS if name in cell]
        groups = cell.assign(weight=people["weight"].to_numpy()).groupby(by)["weight"]
        table = groups.agg(total="sum", n="size").reset_index()
        found.append(table.assign(kind=kind))
    table = pd.concat(found, ignore_index=True)
    few = table[table["n"] < LEAST]
    if len(few):
        raise SystemExit(f"cells of fewer than {LEAST} people:\n{few}")
    table["age_years_from"] = table["age_years_from"].astype("Int64")
    table["total"] = np.round(table["total"]).astype("int64")
    return table.assign(source=SOURCE)[["kind", *KEYS, "total", "n", "source"]]


def main(arguments: list[str]) -> int:
    return keep(OUT, lambda folder: totals(weighted(folder)), arguments, __doc__)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
