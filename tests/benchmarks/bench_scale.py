"""Count the coverage of very many people in chunks, and by Dask's processes.

Run from the project's root:

    python tests/benchmarks/bench_scale.py [people] [--dask] [--kill]

Prints seconds, people a second and the most memory in use. ``--dask`` counts the
same people again by worker processes on this machine; ``--kill`` ends one of them
meanwhile. Exits with 1 if any count differs. Up to ten million people are also
counted in one pass.
"""

import argparse
import os
import resource
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from sizing.charts import demo_chart
from sizing.charts.fits import limits
from sizing.coverage import coverage_by_dask, coverage_in_chunks, resampled
from sizing.people import load_people

BY = ["sex", "age_band"]
ONE_PASS = 10_000_000


class Deadly(Sequence):
    """Chunks of which one ends its worker process, the first time it is made."""

    def __init__(self, chunks: Sequence, mark: Path) -> None:
        self.chunks, self.mark = chunks, mark

    def __len__(self) -> int:
        return len(self.chunks)

    def __getitem__(self, place: int) -> pd.DataFrame:
        if place == len(self) // 2 and not self.mark.exists():
            self.mark.touch()
            os._exit(1)
        return self.chunks[place]


def same(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    keys = ["by", "level", "outcome"]
    return one.set_index(keys)["people"].equals(other.set_index(keys)["people"])


def most_memory() -> str:
    kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return f"at most {kib / 1024:.0f} MB in this process"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("people", nargs="?", type=int, default=100_000_000)
    parser.add_argument("--dask", action="store_true")
    parser.add_argument("--kill", action="store_true")
    args = parser.parse_args()
    chart = demo_chart()
    columns = [*limits(chart), *BY]
    chunks = resampled(load_people("everyone"), args.people, columns=columns)

    start = time.perf_counter()
    found = coverage_in_chunks(chunks, chart, by=BY)
    spent = time.perf_counter() - start
    rate = args.people / spent
    print(
        f"{args.people:,} people in {len(chunks)} chunks: {spent:.1f} s, {rate:,.0f}/s"
    )
    print(f"making them included; {most_memory()}")
    print(found.summary().splitlines()[0])
    agree = True
    if args.dask or args.kill:
        given: Sequence = chunks
        with tempfile.TemporaryDirectory() as folder:
            if args.kill:
                given = Deadly(chunks, Path(folder) / "ended")
            start = time.perf_counter()
            shared = coverage_by_dask(given, chart, by=BY)
            spent = time.perf_counter() - start
            killed = args.kill and Path(folder, "ended").exists()
        agree &= same(found.table, shared.table)
        lost = ", one killed meanwhile" if killed else ""
        print(
            f"by {os.cpu_count()} worker processes{lost}: {spent:.1f} s; same: {agree}"
        )
    if args.people <= ONE_PASS:
        whole = coverage_in_chunks([pd.concat(list(chunks))], chart, by=BY)
        agree &= same(found.table, whole.table)
        print(f"in one pass: same: {agree}; {most_memory()}")
    return 0 if agree else 1


if __name__ == "__main__":
    sys.exit(main())
