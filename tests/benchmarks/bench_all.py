"""One table of ratios: what the kit does beside what a general library would take.

Run from the project's root:

    python -m tests.benchmarks.bench_all [--quick] [--only WORD] [--write FILE]

Each row times the kit's own way and a named library's on the same input, and says
whether the two agree: the same, or no worse where that is what must hold. What no
library does stands beside the seconds asked for. Seconds are of the processor, best of
several rounds. ``--quick`` takes smaller inputs (about half a minute). Exits with 1
where two ways that should agree do not.
"""

import argparse
import io
import sys
import warnings
from dataclasses import replace
from functools import partial, reduce
from pathlib import Path

import kmeans1d
import kmedoids
import numpy as np
import pandas as pd
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.stats import multivariate_normal

from data_sources.prediction import predict_measures
from sizing import measures
from sizing.bands import partition_bands
from sizing.bands.cells import Breaks, cell_numbers
from sizing.bands.fitter import Fitter
from sizing.bands.goal import covered
from sizing.charts import demo_chart
from sizing.charts import fits as core
from sizing.client import check_client, client_from
from sizing.client.nudge import bands_of, density, nudge, nudge_layout, with_edge
from sizing.coverage import estimate_coverage
from sizing.measures import NO_HIGH
from sizing.pages.own_chart import bands_svg
from sizing.people import load_people, people_from
from sizing.people.body import draw_measures
from sizing.surveys import read_embedded
from tests.benchmarks.bench_stock import seconds, stock

SITTING, HIP = "shoulder_height_sitting_cm", "hip_circumference_cm"
THIGH = "buttock_popliteal_length_cm"
MEASURES = [SITTING, HIP, THIGH]
WIDTHS = {SITTING: 10.0, HIP: 20.0, THIGH: 8.0}
SIZES = 4


def loading(quick):
    """A caseload at the gate, beside pandas reading the same rows from text."""
    rows, rng = 100_000 if quick else 1_000_000, np.random.default_rng(1)
    normals = zip(MEASURES, (58, 100, 48), (3, 8, 2), strict=True)
    frame = pd.DataFrame({m: rng.normal(a, b, rows).round(1) for m, a, b in normals})
    frame["sex"] = np.where(rng.random(rows) < 0.5, "female", "male")
    text = frame.to_csv(index=False)
    theirs, read = seconds(lambda: pd.read_csv(io.StringIO(text)), 2)
    ours, people = seconds(lambda: people_from(frame), 2)
    agree = np.allclose(read[MEASURES], people.frame[MEASURES])
    note = "checks, names, doubts; pandas only parses"
    yield "a caseload at the gate", rows, ours, "pandas.read_csv", theirs, agree, note


def drawing(quick):
    """All measures drawn from build, beside one multivariate normal a person."""
    people = read_embedded().frame.dropna(subset=["body_mass_kg", "stature_cm"])
    adults = people[people["age_years"] >= 20].reset_index(drop=True)
    draws, part = 5, 200 if quick else 1000
    ours, drawn = seconds(lambda: draw_measures(adults, draws=draws, seed=1)[0], 2)
    said, rng = predict_measures(adults.iloc[:part]), np.random.default_rng(1)

    def one_by_one():
        each = zip(said.mean, said.covariance, strict=True)
        normal = partial(rng.multivariate_normal, size=draws, method="svd")
        return np.array([normal(mean, covariance) for mean, covariance in each])

    theirs, naive = seconds(one_by_one, 2)
    mine = drawn[drawn["person"].isin(adults["person"].iloc[:part])]
    mine = mine[list(measures.MEASURES)].to_numpy(dtype=float)
    gap = np.log(mine).mean(axis=0) - naive.mean(axis=(0, 1))
    error = np.maximum(naive.std(axis=(0, 1)) * np.sqrt(2 / part), 1e-9)
    agree = (np.abs(gap) <= 4 * error).all()
    note = f"numpy timed on {part} people, scaled up; moments given to it"
    theirs *= len(adults) / part
    job, beside = "all measures drawn, 5 draws", "numpy multivariate_normal"
    yield job, len(adults), ours, beside, theirs, agree, note


def fitting(quick):
    """Which people fit which sizes, beside pandas comparisons."""
    rows, chart = 10**6 if quick else 10**7, demo_chart()
    columns, rng = {}, np.random.default_rng(1)
    for name in core.limits(chart):
        low, high = chart.edges(name)
        ends = low.min() - 20, high.max() + 20
        columns[name] = rng.integers(*ends, rows, dtype=np.int16)
    frame = pd.DataFrame(columns)
    edges = {name: chart.edges(name) for name in chart.measures}

    def plain_pandas():
        fits = {}
        for i, size in enumerate(chart.sizes):
            held = frame["body_mass_kg"] <= chart.load_limits()[i]
            for name, (low, high) in edges.items():
                held &= frame[name].between(low[i], high[i])
            fits[size] = held
        return pd.DataFrame(fits)

    ours, masks = seconds(lambda: core.size_masks(columns, chart), 5)
    theirs, fits = seconds(plain_pandas, 3)
    bits = fits.to_numpy() @ (1 << np.arange(len(chart.sizes)))
    reading, _ = seconds(lambda: [c.max() for c in columns.values()], 5)
    agree = np.array_equal(np.asarray(masks), bits)
    note = f"{ours / reading:.1f} times reading the columns once"
    yield "who fits which size", rows, ours, "pandas comparisons", theirs, agree, note


def covering(quick):
    """Coverage with intervals by the survey's design, beside samplics."""
    warnings.filterwarnings("ignore", message=".*samplics.*")
    from samplics import PopParam
    from samplics.estimation import TaylorEstimator

    # One draw taken as given: what a Taylor estimator can be given.
    people, chart = load_people("adults", draws=1), demo_chart()
    # The embedded people carry no design; an invented one costs as much time.
    place = np.arange(len(people.frame))
    frame = people.frame.assign(stratum=place % 15, unit=place // 15 % 2)
    people = replace(people, frame=frame, drawn=None)
    ours, found = seconds(lambda: estimate_coverage(people, chart, by="sex"), 2)
    fits = core.fits_matrix(core.tenths(people.frame, chart), chart)
    given = {"y": fits.any(axis=1).astype(float)}
    given["samp_weight"] = np.asarray(people.weight, dtype=float)
    given |= {"stratum": frame["stratum"].to_numpy(), "psu": frame["unit"].to_numpy()}

    def taylor():
        errors = []
        for domain in (None, frame["sex"].to_numpy()):
            oracle = TaylorEstimator(PopParam.mean)
            oracle.estimate(**given, domain=domain)
            error = oracle.stderror
            errors += list(error.values()) if isinstance(error, dict) else [error]
        return np.array(errors, dtype=float)

    theirs, errors = seconds(taylor, 1 if quick else 2)
    table = found.table.query("outcome == 'covered'")
    agree = np.allclose(table["standard_error"], errors, rtol=1e-6)
    job, beside = "coverage with intervals, by sex", "samplics TaylorEstimator"
    note = "ours: all outcomes and sizes; samplics: covered alone, outcomes given"
    yield job, len(frame), ours, beside, theirs, agree, note


def fitter_of(people, measures):
    widths = dict(list(WIDTHS.items())[:measures])
    return Fitter.of(people, widths=widths, sizes=SIZES)


def fit_all(people, measures):
    """Fit from the people on, counting included; return the share."""
    fitter = fitter_of(people, measures)
    return fitter.value(fitter.fit())


def medoid_boxes(people):
    """Centre boxes on k-medoids (FasterPAM) of the measures over their widths."""
    measured = fitter_of(people, 3).measured
    wide = np.array([round(10 * w) for w in WIDTHS.values()])
    scaled = (measured.values / wide).astype(np.float32)
    distance = np.zeros((len(scaled),) * 2, dtype=np.float32)
    for axis in scaled.T:
        np.maximum(distance, np.abs(axis[:, None] - axis), out=distance)
    found = kmedoids.fasterpam(distance, SIZES, random_state=1, n_cpu=1)
    low = measured.values[found.medoids.astype(int)] - wide // 2
    inside = covered(measured, (low, low + wide, np.full(SIZES, NO_HIGH)))
    return float(measured.weight @ inside / measured.weight.sum())


def unordered(people, limit_s):
    """Return a share that no boxes can exceed, ordered or not, by HiGHS.

    On the same grid: largest sum_c w_c z_c with z_c <= sum of y_b over boxes b that
    hold c, sum_b y_b <= K, y binary, 0 <= z_c <= 1; one z per cell that people are in.
    """
    fitter = fitter_of(people, 2)
    measured = fitter.measured
    breaks = [Breaks.of(axis) for axis in fitter.axes]
    kept, place = np.unique(cell_numbers(measured.values, breaks), return_inverse=True)
    weight = np.bincount(place, weights=measured.counted).astype(float)
    each = np.unravel_index(kept, [len(b.cuts) + 1 for b in breaks])
    inside = [
        (cell[:, None] > b.low[0]) & (cell[:, None] <= b.high[0])
        for cell, b in zip(each, breaks, strict=True)
    ]
    held = reduce(
        lambda a, b: (a[:, :, None] & b[:, None, :]).reshape(len(kept), -1), inside
    )
    holds = sparse.csr_matrix(held[:, held.any(axis=0)].astype(float))
    cells, boxes = holds.shape
    is_box = np.arange(boxes + cells) < boxes
    within = sparse.hstack([-holds, sparse.identity(cells)], format="csr")
    found = milp(
        np.concatenate([np.zeros(boxes), -weight]),
        constraints=[
            LinearConstraint(within, -np.inf, np.zeros(cells)),
            LinearConstraint(is_box.astype(float), -np.inf, SIZES),
        ],
        integrality=is_box,
        bounds=Bounds(0, 1),
        options={"time_limit": limit_s, "mip_rel_gap": 1e-9},
    )
    bound = found.mip_dual_bound
    return np.nan if bound is None else -bound / weight.sum()


def banding(quick):
    """The best chart, beside k-medoids, HiGHS and one-dimensional k-means."""
    people = load_people("adults", draws=1)
    people = replace(people, weight=pd.Series(np.ones(len(people.frame))))
    rows = len(people.frame)
    ours, share = seconds(lambda: fit_all(people, 3), 5)
    theirs, rival = seconds(lambda: medoid_boxes(people), 1)
    job, beside = "bands of three measures, exact at 1 cm", "kmedoids FasterPAM"
    note = f"coverage {share:.4f} against {rival:.4f}"
    yield job, rows, ours, beside, theirs, share >= rival, note
    limit = 20.0 if quick else 60.0
    ours, share = seconds(lambda: fit_all(people, 2), 5)
    theirs, best = seconds(lambda: unordered(people, limit), 1)
    job, beside = "bands of two measures, exact at 1 cm", "HiGHS, unordered boxes"
    note = f"HiGHS stopped after {limit:g} s at the latest"
    # Unordered boxes hold at least as many.
    yield job, rows, ours, beside, theirs, not best < share - 1e-9, note
    rng = np.random.default_rng(1)
    for n in (10**4, 10**5 if quick else 10**6):
        x = np.round(rng.normal(100, 12, n), 1)
        ours, cuts = seconds(lambda x=x: partition_bands(x, 4), 7)
        theirs, means = seconds(lambda x=x: kmeans1d.cluster(x, 4), 3)
        label = np.array(means.clusters)
        same = cuts["low"].tolist() == [x[label == k].min() for k in range(4)]
        yield "bands of one measure", n, ours, "kmeans1d", theirs, same, "same cuts"


def one_client(quick):
    """One client judged, beside plain draws by scipy."""
    # Of an age that the surveys measured: for the old ours is wider, and says so.
    body = {"body_mass_kg": 61, "stature_cm": 158, HIP: 101}
    known, chart = {"sex": "female", "age_years": 44, **body}, demo_chart()
    ours, answer = seconds(lambda: check_client(chart, client_from(known)), 10)
    said = predict_measures(pd.DataFrame([{**known, "person": 1}]))
    free = [measures.MEASURES.index(name) for name in (SITTING, THIGH)]
    moments = said.mean[0][free], said.covariance[0][np.ix_(free, free)]
    normal = multivariate_normal(*moments, seed=1)

    def plain():
        drawn = np.exp(normal.rvs(200_000))
        frame = pd.DataFrame(drawn, columns=[SITTING, THIGH]).assign(**body)
        return core.fits_matrix(core.tenths(frame, chart), chart).mean(axis=0)

    theirs, shares = seconds(plain, 3)
    table = answer.sizes.set_index("size").loc[list(chart.sizes)]
    gap = np.abs(table["estimate"].to_numpy() - shares).max()
    note = f"ours with measuring errors; chances differ by {gap:.3f} at most"
    # Ours knows that each reading has an error, which plain draws leave out: no
    # more than 5 points apart (a bound of our own, no source).
    job, beside = "one client judged", "scipy, 200,000 plain draws"
    yield job, 1, ours, beside, theirs, gap < 0.05, note


def waiting(quick):
    """A named population loaded, and an edge moved, told and drawn."""
    chart, people = demo_chart(), load_people("adults")
    place, spread = nudge_layout(people, chart), density(people, HIP)
    highs = iter(np.arange(100.0, 200.0))

    def moved():
        edge = with_edge(chart, "adult 2", HIP, "high", next(highs))
        nudge(people, chart, edge, place).summary()
        bands_svg(bands_of(edge, spread, HIP, before=chart), label=HIP)

    rows, jobs = len(people.frame), {"an edge moved, told and drawn": (moved, 0.3)}
    if not quick:
        load = partial(load_people, "everyone", draws=5, seed=3)
        jobs["the named population 'everyone', 5 draws"] = (load, 4.0)
    for name, (work, asked) in jobs.items():
        ours, _ = seconds(work)
        yield name, rows, ours, "asked for", asked, True, ""


JOBS = {"loading": loading, "drawing": drawing, "fitting": fitting}
JOBS |= {"covering": covering, "banding": banding, "client": one_client}
JOBS |= {"stock": stock, "waiting": waiting}
COLUMNS = ["job", "rows", "ours_s", "library", "theirs_s", "agree", "note"]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=list(JOBS))
    parser.add_argument("--write", type=Path)
    args = parser.parse_args()
    found = []
    for name in [args.only] if args.only else JOBS:
        found += JOBS[name](args.quick)
        print(f"{name} done", file=sys.stderr)
    table = pd.DataFrame(found, columns=COLUMNS)
    table.insert(5, "ratio", (table["theirs_s"] / table["ours_s"]).round(2))
    print(table.to_string(index=False, float_format="{:.4g}".format))
    if args.write:
        table.to_csv(args.write, index=False, lineterminator="\n")
    return int(not table["agree"].all())


if __name__ == "__main__":
    sys.exit(main())
