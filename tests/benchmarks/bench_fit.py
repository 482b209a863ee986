"""Time who-fits-what against plain pandas and against reading the columns.

Run from the project's root:  python tests/benchmarks/bench_fit.py [rows]
Prints the best of several rounds and their ratios, all from this one run.
"""

import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from sizing.charts import SizeChart, demo_chart
from sizing.charts import fits as core


def best(work: Callable[[], object], rounds: int = 5) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def made_up_columns(chart: SizeChart, rows: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(1)
    columns = {}
    for measure in core.limits(chart):
        low, high = chart.edges(measure)
        columns[measure] = rng.integers(
            low.min() - 20, high.max() + 20, rows, dtype=np.int16
        )
    return columns


def plain_pandas(frame: pd.DataFrame, chart: SizeChart) -> pd.DataFrame:
    edges = {measure: chart.edges(measure) for measure in chart.measures}
    load = chart.load_limits()
    fits = {}
    for i, size in enumerate(chart.sizes):
        held = frame["body_mass_kg"] <= load[i]
        for measure, (low, high) in edges.items():
            held &= frame[measure].between(low[i], high[i])
        fits[size] = held
    return pd.DataFrame(fits)


def main(rows: int) -> None:
    chart = demo_chart()
    columns = made_up_columns(chart, rows)
    frame = pd.DataFrame(columns)
    same = core.fits_matrix(columns, chart) == plain_pandas(frame, chart).to_numpy()
    if not same.all():
        raise SystemExit("the two ways disagree")

    found = {
        "reading the columns once": best(lambda: [c.max() for c in columns.values()]),
        "plain pandas": best(lambda: plain_pandas(frame, chart), 3),
    }
    found["masks, numpy"] = best(lambda: core.size_masks(columns, chart))

    reading, pandas_time = found["reading the columns once"], found["plain pandas"]
    print(f"{rows:,} rows, {len(chart.sizes)} sizes, {len(columns)} measures")
    for name, seconds in found.items():
        print(
            f"{name:26s}{1000 * seconds:9.1f} ms"
            f"{pandas_time / seconds:8.1f} x faster than pandas"
            f"{seconds / reading:8.1f} x reading"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000)
