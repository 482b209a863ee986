"""How often a client's chances come true, for people whom the model never saw.

Run from the project's root, with the folder of surveys in SIZING_SURVEYS:

    python -m tests.benchmarks.bench_chances [--write FILE]

Soldiers and children: one half fits the model, the other is asked about invented
charts; of sizes said to fit with about such a chance, how many did. The old: how
often intervals held the thigh, by shape. All are people of the surveys that the model
knows, and it has no bias of them: none is counted here (of others,
``model_checks.csv``). ``data_sources/client_calibration.csv`` is
the table that ships. Takes some minutes.
"""

import argparse
import os
import sys
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from tests.client.test_calibration import (
    HELD_OUT,
    ask,
    held_by_shape,
    promised,
    without_bias,
)

Row = tuple[str, str, float, float, int]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", type=Path)
    args = parser.parse_args()
    folder = Path(os.environ["SIZING_SURVEYS"])
    rows: list[Row] = []
    for who, held_out in HELD_OUT.items():
        for people in held_out(folder):
            for what, row in promised(ask(who, people)).iterrows():
                what = "size named first" if what == "first" else f"sizes at {what}"
                rows.append((who, what, row["said"], row["found"], int(row["n"])))
    with pytest.MonkeyPatch.context() as patch:
        without_bias(patch)
        held = held_by_shape(folder)
    for sex, part in [("all", held), *held.groupby("sex")]:
        for level in (0.95, 0.90, 0.50):
            what = f"{level:.0%} interval of the thigh by shape, {sex}"
            rows.append(("75 and over", what, level, part[level].mean(), len(part)))
    table = pd.DataFrame(rows, columns=["who", "what", "said", "found", "n"])
    table = table.assign(date=date.today().isoformat()).round(3)
    print(table.to_string(index=False))
    if args.write:
        table.to_csv(args.write, index=False, lineterminator="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
