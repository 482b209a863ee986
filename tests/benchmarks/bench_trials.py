"""How often the intervals of learned edges hold the truth, and how wide they are.

Run with ``python -m tests.benchmarks.bench_trials``; every other simulation has six
services that judge differently. Asked for: 87 to 93 % at each number of trials; a
typical error of 1.2 cm from 100 trials; 2,000 trials fitted in 5 s.
"""

import argparse
import time
import warnings

import numpy as np
import pandas as pd

from sizing.trials import learn_chart, read_trials
from tests.trials.simulated import chart, simulated


def one(count: int, seed: int) -> pd.DataFrame:
    trials, truth = simulated(count, seed, services=6 * (seed % 2))
    found = learn_chart(read_trials(trials, chart()), seed=seed)
    return found.edges.merge(truth).assign(services=seed % 2 > 0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=100)
    runs = parser.parse_args().runs
    warnings.simplefilter("ignore")
    for count in (50, 100, 200, 400):
        rows = pd.concat([one(count, 1000 * count + run) for run in range(runs)])
        known = rows[rows["estimate"].notna()]
        held = known["true"].between(known["low"], known["high"])
        off = known["estimate"] - known["true"]
        wide = (known["high"] - known["low"]) / 2
        alone = off[~known["services"]]
        print(
            f"{count} trials: {len(known)} of {len(rows)} edges known; intervals hold "
            f"{held.mean():.1%}; typical error {np.sqrt((off**2).mean()):.2f} cm "
            f"(one service {np.sqrt((alone**2).mean()):.2f}), half a usual one "
            f"{off.abs().median():.2f}; interval to {wide.mean():.1f} cm either way",
            flush=True,
        )
    trials = read_trials(simulated(2000, 1, services=6)[0], chart())
    start, processor = time.perf_counter(), time.process_time()
    learn_chart(trials)
    print(
        f"2,000 trials: {time.perf_counter() - start:.1f} s, of the processor "
        f"{time.process_time() - processor:.1f} s"
    )


if __name__ == "__main__":
    main()
