"""Time banding against k-medoids, HiGHS and kmeans1d, and by number of people.

Run from the project's root:  python tests/benchmarks/bench_banding.py
Prints processor seconds (best of several rounds) and their ratios, all from
this one run, on the kit's own adults (one draw each). The two-measure programme
of HiGHS is stopped after a time limit; the ratio is then a lower bound. With the
folder of survey files in SIZING_SURVEYS the exact fits on ANSUR II follow.
"""

import os
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import kmeans1d
import kmedoids
import numpy as np
import pandas as pd

from sizing.bands import fit_bands, partition_bands
from sizing.bands.fitter import Fitter
from sizing.bands.measured import covered
from sizing.bands.search import best_chart
from sizing.measures.edges import NO_HIGH
from sizing.people import load_people
from sizing.people.people import People

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from unordered_boxes import choose, incidence

from tests.bands.test_cases import soldiers

WIDTHS = {
    "shoulder_height_sitting_cm": 10.0,
    "hip_circumference_cm": 20.0,
    "buttock_popliteal_length_cm": 8.0,
}
SIZES = 4


def best(work: Callable[[], object], rounds: int = 5) -> float:
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def fitter_of(people: People, measures: int) -> Fitter:
    widths = dict(list(WIDTHS.items())[:measures])
    return Fitter.of(people, widths=widths, sizes=SIZES)


def fit_all(people: People, measures: int) -> float:
    """Fit from the people on, counting included; return the share."""
    fitter = fitter_of(people, measures)
    return fitter.value(fitter.fit())


def medoid_boxes(people: People) -> float:
    """Centre boxes on k-medoids (FasterPAM) of the measures over their widths."""
    fitter = fitter_of(people, 3)
    x = fitter.measured.values
    wide = np.array([round(10 * w) for w in WIDTHS.values()])
    scaled = (x / wide).astype(np.float32)
    distance = np.zeros((len(x), len(x)), dtype=np.float32)
    for d in range(3):
        np.maximum(
            distance, np.abs(scaled[:, d, None] - scaled[None, :, d]), out=distance
        )
    found = kmedoids.fasterpam(distance, SIZES, random_state=1, n_cpu=1)
    low = x[found.medoids.astype(int)] - wide // 2
    weight = fitter.measured.weight
    limits = np.full(SIZES, NO_HIGH)
    inside = covered(fitter.measured, low, low + wide, limits)
    return float(weight @ inside / weight.sum())


def unordered(people: People, seconds: float) -> float:
    fitter = fitter_of(people, 2)
    measured = fitter.measured
    holds, weight, _ = incidence(fitter.axes, measured.values, measured.counted)
    return choose(holds, weight, SIZES, time_limit_s=seconds)[0] / weight.sum()


def search_seconds(people: People, rows: int) -> float:
    """Time the search alone, after the people have been counted into cells."""
    rng = np.random.default_rng(1)
    take = rng.integers(0, len(people.frame), rows)
    frame = people.frame.iloc[take].reset_index(drop=True)
    frame = frame[[*WIDTHS]].assign(person=np.arange(rows), draw=0)
    many = replace(people, frame=frame, weight=pd.Series(np.ones(rows)))
    fitter = fitter_of(many, 3)
    task = fitter.tasks(fitter.measured.weight)[0]
    start = np.zeros((SIZES, 3), dtype=np.int64)
    return best(lambda: best_chart(task, start), 3)


def on_survey(folder: Path) -> None:
    """Tell time, memory and certificate on ANSUR II, one row per soldier."""
    people = soldiers(folder)
    four = {**WIDTHS, "body_mass_kg": 40.0}
    for name, widths, settings in (
        ("three measures at 1 mm", WIDTHS, {"step_cm": 0.1}),
        ("four at 1 cm and 1 kg, to within a point", four, {"tolerance": 0.01}),
    ):
        start = time.process_time()
        fit = fit_bands(people, widths=widths, sizes=SIZES, splits=0, **settings)
        seconds = time.process_time() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(
            f"{name}: share {fit.share:.4f}, bound {fit.upper_bound:.4f}, "
            f"{seconds:.1f} s, memory at most {peak:.1f} GB (Linux)"
        )


def main() -> None:
    people = load_people("adults", draws=1)
    equal = replace(people, weight=pd.Series(np.ones(len(people.frame))))
    rows: list[tuple[str, float, float, str]] = []

    ours, theirs = fit_all(equal, 3), medoid_boxes(equal)
    rows.append(
        (
            "three measures against FasterPAM",
            best(lambda: fit_all(equal, 3)),
            best(lambda: medoid_boxes(equal), 2),
            f"coverage {ours:.4f} against {theirs:.4f}",
        )
    )
    limit = 60.0
    rows.append(
        (
            "two measures against HiGHS, unordered",
            best(lambda: fit_all(equal, 2)),
            best(lambda: unordered(equal, limit), 1),
            f"HiGHS stopped after {limit:g} s at the latest",
        )
    )
    rng = np.random.default_rng(1)
    for n in (10**4, 10**6):
        x = np.round(rng.normal(100, 12, n), 1)
        cuts = partition_bands(x, SIZES).table["low"].tolist()
        label = np.array(kmeans1d.cluster(x, SIZES).clusters)
        same = cuts == [x[label == k].min() for k in range(SIZES)]
        rows.append(
            (
                f"one measure against kmeans1d, n = {n}",
                best(lambda x=x: partition_bands(x, SIZES), 9),
                best(lambda x=x: kmeans1d.cluster(x, SIZES), 3),
                f"same cuts: {same}",
            )
        )
    for name, us, them, note in rows:
        print(f"{name}: {us:.5f} s, {them:.4f} s, ratio {them / us:.1f} ({note})")
    few, many = (search_seconds(people, n) for n in (10**4, 10**7))
    print(f"search after counting, 10^4 and 10^7 people: {few:.3f} s, {many:.3f} s")
    print(f"ratio {many / few:.2f}")
    if "SIZING_SURVEYS" in os.environ:
        on_survey(Path(os.environ["SIZING_SURVEYS"]))


if __name__ == "__main__":
    main()
