"""One table of ratios: what the kit does beside what a general library would take.

Run from the project's root:

    python tests/benchmarks/bench_all.py [--quick] [--only WORD] [--write FILE]

Each row times the kit's own way and a named library's (pandas, numpy, scipy, HiGHS,
samplics, kmedoids, kmeans1d) on the same input in this one run, and says whether the
two agree: the same, or no worse where that is what must hold. What a person waits for
and no library does stands beside the seconds asked for. Seconds are of the processor,
best of several rounds; where a library is timed on a part of the rows, its time is
scaled up and the row says so. ``--quick`` takes smaller inputs (about a quarter of a
minute). Exits with 1 where two ways that should agree do not.
"""

import argparse
import io
import sys
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import kmeans1d
import kmedoids
import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import multivariate_normal
from unordered_boxes import incidence, most

from data_sources.prediction import predict_measures
from sizing import measures
from sizing.bands import partition_bands
from sizing.bands.fitter import Fitter
from sizing.bands.measured import covered
from sizing.charts import SizeChart, demo_chart
from sizing.charts import fits as core
from sizing.client import check_client, client_from
from sizing.client.chart_bands import bands_of, density
from sizing.client.nudge import nudge, nudge_layout, with_edge
from sizing.coverage import estimate_coverage
from sizing.measures import NO_HIGH
from sizing.pages.own_chart import bands_svg
from sizing.people import load_people, people_from
from sizing.people.body import draw_measures
from sizing.people.people import People
from sizing.stock import Served, Use, offer_from
from sizing.stock.days import draw_days, group_from
from sizing.stock.programme import programme_from
from sizing.stock.service import flow_shortage
from sizing.surveys import read_embedded

Floats = npt.NDArray[np.float64]
SITTING, HIP = "shoulder_height_sitting_cm", "hip_circumference_cm"
THIGH = "buttock_popliteal_length_cm"
MEASURES = [SITTING, HIP, THIGH]
WIDTHS = {SITTING: 10.0, HIP: 20.0, THIGH: 8.0}
SIZES = 4


@dataclass(frozen=True)
class Row:
    """One comparison: seconds of both ways and what each found."""

    job: str
    rows: int
    ours: float
    library: str
    theirs: float
    agree: bool
    note: str = ""


def seconds(work: Callable[[], object], rounds: int = 3) -> tuple[float, object]:
    """Return the least processor seconds of several rounds, and the result."""
    times, result = [], None
    for _ in range(rounds):
        start = time.process_time()
        result = work()
        times.append(time.process_time() - start)
    return min(times), result


def caseload(rows: int) -> pd.DataFrame:
    """Return made-up people with three measures."""
    rng = np.random.default_rng(1)
    return pd.DataFrame(
        {
            "sex": np.where(rng.random(rows) < 0.5, "female", "male"),
            SITTING: rng.normal(58, 3, rows).round(1),
            HIP: rng.normal(100, 8, rows).round(1),
            THIGH: rng.normal(48, 2, rows).round(1),
        }
    )


def loading(quick: bool) -> Iterator[Row]:
    """A caseload at the gate, beside pandas reading the same rows from text."""
    rows = 100_000 if quick else 1_000_000
    frame = caseload(rows)
    text = frame.to_csv(index=False)
    theirs, read = seconds(lambda: pd.read_csv(io.StringIO(text)), 2)
    ours, people = seconds(lambda: people_from(frame), 2)
    agree = np.allclose(read[MEASURES], people.frame[MEASURES])  # type: ignore[index,attr-defined]
    note = "checks, names, doubts; pandas only parses"
    yield Row(
        "a caseload at the gate", rows, ours, "pandas.read_csv", theirs, agree, note
    )


def drawing(quick: bool) -> Iterator[Row]:
    """All measures drawn from build, beside one multivariate normal a person."""
    people = read_embedded().frame.dropna(subset=["body_mass_kg", "stature_cm"])
    adults = people[people["age_years"] >= 20].reset_index(drop=True)
    draws, part = 5, 200 if quick else 1000
    ours, drawn = seconds(lambda: draw_measures(adults, draws=draws, seed=1)[0], 2)
    said = predict_measures(adults.iloc[:part])
    rng = np.random.default_rng(1)

    def one_by_one() -> Floats:
        return np.array(
            [
                rng.multivariate_normal(mean, cov, draws, method="svd")
                for mean, cov in zip(said.mean, said.covariance, strict=True)
            ]
        )

    theirs, naive = seconds(one_by_one, 2)
    mine = drawn[drawn["person"].isin(adults["person"].iloc[:part])]  # type: ignore[index]
    mine = mine[list(measures.MEASURES)].to_numpy(dtype=float)
    gap = np.log(mine).mean(axis=0) - naive.mean(axis=(0, 1))  # type: ignore[attr-defined]
    error = naive.std(axis=(0, 1)) * np.sqrt(2 / part)  # type: ignore[attr-defined]
    yield Row(
        "all measures drawn, 5 draws",
        len(adults),
        ours,
        "numpy multivariate_normal",
        theirs * len(adults) / part,
        bool((np.abs(gap) <= 4 * np.maximum(error, 1e-9)).all()),
        f"numpy timed on {part} people, scaled up; moments given to it",
    )


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


def fitting(quick: bool) -> Iterator[Row]:
    """Which people fit which sizes, beside pandas comparisons."""
    rows = 10**6 if quick else 10**7
    chart = demo_chart()
    columns = made_up_columns(chart, rows)
    frame = pd.DataFrame(columns)
    core.size_masks(columns, chart)  # compiles, where there is a compiler
    ours, masks = seconds(lambda: core.size_masks(columns, chart), 5)
    theirs, fits = seconds(lambda: plain_pandas(frame, chart), 3)
    bits = fits.to_numpy() @ (1 << np.arange(len(chart.sizes)))  # type: ignore[attr-defined]
    reading, _ = seconds(lambda: [c.max() for c in columns.values()], 5)
    yield Row(
        "who fits which size",
        rows,
        ours,
        "pandas comparisons",
        theirs,
        bool(np.array_equal(np.asarray(masks), bits)),
        f"{ours / reading:.1f} times reading the columns once",
    )


def covering(quick: bool) -> Iterator[Row]:
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
    covered = fits.any(axis=1).astype(float)

    def taylor() -> Floats:
        errors = []
        for domain in (None, frame["sex"].to_numpy()):
            oracle = TaylorEstimator(PopParam.mean)
            oracle.estimate(
                y=covered,
                samp_weight=np.asarray(people.weight, dtype=float),
                stratum=frame["stratum"].to_numpy(),
                psu=frame["unit"].to_numpy(),
                domain=domain,
            )
            found = oracle.stderror
            errors += list(found.values()) if isinstance(found, dict) else [found]
        return np.array(errors, dtype=float)

    theirs, errors = seconds(taylor, 1 if quick else 2)
    table = found.table.query("outcome == 'covered'")  # type: ignore[attr-defined]
    yield Row(
        "coverage with intervals, by sex",
        len(frame),
        ours,
        "samplics TaylorEstimator",
        theirs,
        bool(np.allclose(table["standard_error"], errors, rtol=1e-6)),
        "ours: all outcomes and sizes; samplics: covered alone, outcomes given",
    )


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
    """Return a share that no boxes can exceed, whether or not HiGHS came to an end."""
    fitter = fitter_of(people, 2)
    measured = fitter.measured
    holds, weight = incidence(fitter.axes, measured.values, measured.counted)
    return most(holds, weight, SIZES, time_limit_s=seconds) / weight.sum()


def banding(quick: bool) -> Iterator[Row]:
    """The best chart, beside k-medoids, HiGHS and one-dimensional k-means."""
    people = load_people("adults", draws=1)
    people = replace(people, weight=pd.Series(np.ones(len(people.frame))))
    rows = len(people.frame)
    ours, share = seconds(lambda: fit_all(people, 3), 5)
    theirs, rival = seconds(lambda: medoid_boxes(people), 1)
    yield Row(
        "bands of three measures, exact at 1 cm",
        rows,
        ours,
        "kmedoids FasterPAM",
        theirs,
        bool(share >= rival),  # type: ignore[operator]
        f"coverage {share:.4f} against {rival:.4f}",
    )
    limit = 20.0 if quick else 60.0
    ours, share = seconds(lambda: fit_all(people, 2), 5)
    theirs, best = seconds(lambda: unordered(people, limit), 1)
    yield Row(
        "bands of two measures, exact at 1 cm",
        rows,
        ours,
        "HiGHS, unordered boxes",
        theirs,
        # Unordered boxes hold at least as many.
        not best < share - 1e-9,  # type: ignore[operator]
        f"HiGHS stopped after {limit:g} s at the latest",
    )
    rng = np.random.default_rng(1)
    for n in (10**4, 10**5 if quick else 10**6):
        x = np.round(rng.normal(100, 12, n), 1)
        ours, cuts = seconds(lambda x=x: partition_bands(x, 4), 7)
        theirs, means = seconds(lambda x=x: kmeans1d.cluster(x, 4), 3)
        label = np.array(means.clusters)  # type: ignore[attr-defined]
        same = cuts.table["low"].tolist() == [x[label == k].min() for k in range(4)]  # type: ignore[attr-defined]
        yield Row(
            "bands of one measure", n, ours, "kmeans1d", theirs, same, "same cuts"
        )


def one_client(quick: bool) -> Iterator[Row]:
    """One client judged, beside plain draws by scipy."""
    # Of an age that the surveys measured: for the old ours is wider, and says so.
    known = {
        "sex": "female",
        "age_years": 44,
        "body_mass_kg": 61,
        "stature_cm": 158,
        HIP: 101,
    }
    chart, client = demo_chart(), client_from(known)
    ours, answer = seconds(lambda: check_client(chart, client), 10)
    said = predict_measures(pd.DataFrame([{**known, "person": 1}]))
    free = [measures.MEASURES.index(name) for name in (SITTING, THIGH)]
    normal = multivariate_normal(
        said.mean[0][free], said.covariance[0][np.ix_(free, free)], seed=1
    )
    draws = 200_000

    def plain() -> Floats:
        drawn = np.exp(normal.rvs(draws))
        frame = pd.DataFrame(drawn, columns=[SITTING, THIGH])
        frame = frame.assign(
            **{k: known[k] for k in known if k.endswith(("_cm", "_kg"))}
        )
        return core.fits_matrix(core.tenths(frame, chart), chart).mean(axis=0)

    theirs, shares = seconds(plain, 3)
    table = answer.sizes.set_index("size").loc[list(chart.sizes)]  # type: ignore[attr-defined]
    gap = np.abs(table["estimate"].to_numpy() - shares).max()  # type: ignore[operator]
    yield Row(
        "one client judged",
        1,
        ours,
        "scipy, 200,000 plain draws",
        theirs,
        # Ours knows that each reading has an error, which plain draws leave out: no
        # more than 5 points apart (a bound of our own, no source).
        bool(gap < 0.05),
        f"ours with measuring errors; chances differ by {gap:.3f} at most",
    )


def stock(quick: bool) -> Iterator[Row]:
    """Who waits on each day, beside one flow a day (scipy)."""
    clients, days = (300, 300) if quick else (1000, 1000)
    prices = pd.DataFrame({"size": demo_chart().sizes, "price": 1.0})
    offer = offer_from([demo_chart()], prices=prices)
    sizes = len(demo_chart().sizes)
    group = group_from(Served(load_people("everyone"), clients), offer)
    drawn = draw_days([group], Use(), sizes=sizes, days=days, seed=(1, 0))
    needs = programme_from(offer, drawn, 0).needs
    fits = ((needs.masks[:, None] >> np.arange(sizes)) & 1).astype(bool)
    each = needs.counts @ (fits / np.maximum(fits.sum(axis=1, keepdims=True), 1))
    free = np.ceil(np.quantile(each, 0.8, axis=0)).astype(int)
    ours, found = seconds(lambda: needs.shortage(free), 5)
    part = min(days, 200)

    def flows() -> list[int]:
        return [
            flow_shortage(needs.counts[i : i + 1], fits, free[None])[0][0]
            for i in range(part)
        ]

    theirs, waiting = seconds(flows, 1)
    yield Row(
        "who waits, day by day",
        days,
        ours,
        "scipy maximum_flow",
        theirs * days / part,
        bool(np.array_equal(np.array(waiting), found.waiting[:part])),  # type: ignore[attr-defined]
        f"scipy timed on {part} days, scaled up",
    )


def waiting(quick: bool) -> Iterator[Row]:
    """A named population loaded, and an edge moved, told and drawn."""
    chart, people = demo_chart(), load_people("adults")
    place, spread = nudge_layout(people, chart), density(people, HIP)
    highs = iter(np.arange(100.0, 200.0))

    def moved() -> None:
        edge = with_edge(chart, "adult 2", HIP, "high", next(highs))
        nudge(people, chart, edge, place).summary()
        bands_svg(bands_of(edge, spread, HIP, before=chart), label=HIP)

    rows, jobs = len(people.frame), {"an edge moved, told and drawn": (moved, 0.3)}
    if not quick:
        load = partial(load_people, "everyone", draws=5, seed=3)
        jobs["the named population 'everyone', 5 draws"] = (load, 4.0)
    for name, (work, asked) in jobs.items():
        ours, _ = seconds(work)
        yield Row(name, rows, ours, "asked for", asked, True)


JOBS = {
    "loading": loading,
    "drawing": drawing,
    "fitting": fitting,
    "covering": covering,
    "banding": banding,
    "client": one_client,
    "stock": stock,
    "waiting": waiting,
}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=list(JOBS))
    parser.add_argument("--write", type=Path)
    args = parser.parse_args()
    found = []
    for name, job in JOBS.items():
        if args.only in (None, name):
            found += list(job(args.quick))
            print(f"{name} done", file=sys.stderr)
    table = pd.DataFrame(found)
    table.insert(5, "ratio", (table["theirs"] / table["ours"]).round(2))
    table = table.rename(columns={"ours": "ours_s", "theirs": "theirs_s"})
    print(table.to_string(index=False, float_format="{:.4g}".format))
    if args.write:
        table.to_csv(args.write, index=False, lineterminator="\n")
    return int(not table["agree"].all())


if __name__ == "__main__":
    sys.exit(main())
