"""Count the coverage of very many people in chunks.

Run from the project's root:

    python tests/benchmarks/bench_scale.py [people]

Prints seconds, people a second and the most memory in use. Up to ten million people
are also counted in one pass; exits with 1 if any count differs.
"""

import argparse
import resource
import sys
import time

import pandas as pd
from resampled import resampled

from sizing.charts import demo_chart
from sizing.charts.fits import limits
from sizing.coverage import coverage_in_chunks
from sizing.people import load_people

BY = ["sex", "age_band"]
ONE_PASS = 10_000_000


def same(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    keys = ["by", "level", "outcome"]
    return one.set_index(keys)["people"].equals(other.set_index(keys)["people"])


def most_memory() -> str:
    kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return f"at most {kib / 1024:.0f} MB in this process"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("people", nargs="?", type=int, default=100_000_000)
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
    everyone = found.iloc[0]
    ends = " to ".join(f"{100 * everyone[end]:.2f}" for end in ("low", "high"))
    print(f"{100 * everyone['estimate']:.2f} % covered ({ends})")
    agree = True
    if args.people <= ONE_PASS:
        whole = coverage_in_chunks([pd.concat(list(chunks))], chart, by=BY)
        agree &= same(found, whole)
        print(f"in one pass: same: {agree}; {most_memory()}")
    return 0 if agree else 1


if __name__ == "__main__":
    sys.exit(main())
