"""Other widths, numbers and people; one measure cut so that nobody is left out."""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.bands.cells import WIDEST, Floats, Ints, Width, check_widths
from sizing.bands.fit import check_splits, half_splits
from sizing.bands.fitter import Fitter
from sizing.errors import SizingError, check_number, check_replicates, check_seed
from sizing.measures import to_tenths
from sizing.people.people import People, layout
from sizing.stats.formulas import LEVEL, bootstrap_weights, replicate_counts, student


def frontier(
    people: People,
    *,
    widths: Mapping[str, float],
    sizes: Iterable[int] = (2, 3, 4, 5),
    scales: Sequence[float] = (0.6, 0.8, 1.0, 1.2, 1.4),
    splits: int = 4,
    seed: int = 1,
    **settings: Any,
) -> pd.DataFrame:
    """Tell the best coverage for each number of sizes and each band width.

    Parameters
    ----------
    people : People
        The people to fit to.
    widths : mapping of measure to float
        The widths that a scale of 1 stands for; all are scaled together.
    sizes, scales : sequence of int, sequence of float
        Numbers of sizes, and what the widths are multiplied by.
    splits, seed : int
        As in ``fit_bands``.
    **settings
        Further settings of ``fit_bands``.

    Returns
    -------
    DataFrame
        One row per number of sizes and scale: sizes, scale, ``<measure>_width`` for
        each measure (in its unit), estimate (the best share of the people given),
        held_out, low, high (mean share of held-out persons, 95 % interval), method, n.

    Raises
    ------
    SizingError
        As ``fit_bands``, or if a scale is not positive.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people, widths = load_people("bariatric", draws=1), {"hip_circumference_cm": 25}
    >>> found = frontier(people, widths=widths, sizes=[1, 2], scales=[1], splits=2)
    >>> found["estimate"].is_monotonic_increasing
    True
    """
    check_splits(splits, seed)
    rows, method = [], f"exact optimum; {splits} half-splits by person"
    for count in sizes:
        for scale in scales:
            wide = _scaled(widths, scale)
            fitter = Fitter.of(people, widths=wide, sizes=count, **settings)
            held = half_splits(fitter, splits=splits, seed=seed)
            told = dict(zip(("held_out", "low", "high"), held.told(), strict=True))
            rows.append(
                {"sizes": count, "scale": scale}
                | {f"{measure}_width": width for measure, width in wide.items()}
                | {"estimate": fitter.value(fitter.fit()), **told}
                | {"method": method, "n": people.n}
            )
    return pd.DataFrame(rows)


def width_needed(
    people: People,
    *,
    widths: Mapping[str, float],
    sizes: Iterable[int] = (2, 3, 4, 5),
    targets: Sequence[float] = (0.90, 0.95, 0.99),
    most: float = 4.0,
    **settings: Any,
) -> pd.DataFrame:
    """Tell how wide the bands must be for the best chart to reach a coverage.

    sizes, target, scale (of all widths), ``<measure>_width`` (NaN where ``most`` does
    not suffice), to 0.1 of the first; estimate (the share reached), method, n.
    """
    targets = list(targets)
    for target in targets:
        check_number("the target", target, above=0, most=1)
    check_number("the largest scale", most, above=0)
    sizes, method = list(sizes), "exact optimum, people given"
    for count in sizes:
        check_widths(widths, count)
    first = next(iter(widths.values()))
    # Bands wider than ``WIDEST`` are tried no more than they can be asked for.
    widest = WIDEST / max(widths.values())
    largest = int(min(np.ceil(most * first * 10), widest * first * 10))
    rows = []
    for count in sizes:

        @cache
        def share(width: int, count: int = count) -> float:
            """Return the best share by the first measure's width in tenths."""
            wide = _scaled(widths, width / (10 * first))
            fitter = Fitter.of(people, widths=wide, sizes=count, **settings)
            return fitter.value(fitter.fit())

        for target in targets:
            enough = target - 1e-12
            high, scale = largest, float("nan")
            if share(largest) >= enough:
                high = bisect_left(range(largest), enough, lo=1, key=share)
                scale = high / (10 * first)
            wide = {m: scale * w for m, w in widths.items()}
            rows.append(
                {"sizes": count, "target": target, "scale": scale}
                | {f"{measure}_width": width for measure, width in wide.items()}
                | {"estimate": share(high), "method": method, "n": people.n}
            )
    return pd.DataFrame(rows)


def _scaled(widths: Mapping[str, float], scale: float) -> dict[str, float]:
    check_number("the scale", scale, above=0)
    return {
        measure: max(round(width * scale, 6), 0.1) for measure, width in widths.items()
    }


PERSONS, UNITS = "persons", "sampling units (Rao, Wu and Yue's rescaling)"


class Samples(NamedTuple):
    """Bootstrap samples: how often each person is drawn, what is drawn, and df."""

    times: Floats
    drawn: str
    df: int


def draw_samples(
    people: People, *, replicates: int, rng: np.random.Generator
) -> Samples:
    person, named = pd.factorize(people.frame["person"])
    n = len(named)
    place = layout(people)
    if place.unit is None or place.stratum is None:
        return Samples(replicate_counts(n, replicates, rng), PERSONS, max(n - 1, 1))
    # The layout has persons in the order of their numbers.
    times = np.empty((replicates, n))
    times[:, person[place.rows[0]]] = bootstrap_weights(
        place.unit, place.stratum, replicates=replicates, rng=rng
    ).T
    df = len(place.stratum) - len(np.unique(place.stratum))
    return Samples(times, UNITS, df)


def interval(
    estimate: npt.ArrayLike, drawn: npt.ArrayLike, df: int
) -> tuple[Floats, Floats]:
    """Return percentile intervals, made wider where there are few units.

    Percentiles at position p(n + 1) among n samples; their distance from the estimate
    times Student's quantile over the normal one: samples of few differ too little.
    """
    tails = (1 - LEVEL) / 2, (1 + LEVEL) / 2
    wider = float(student(df) / student(np.inf))
    low, high = np.quantile(np.asarray(drawn), tails, axis=0, method="weibull")
    middle = np.asarray(estimate, dtype=float)
    return middle - wider * (middle - low), middle + wider * (high - middle)


def edge_stability(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    replicates: int = 40,
    seed: int = 1,
    **settings: Any,
) -> pd.DataFrame:
    """Refit to bootstrap samples of persons, or sampling units: where the edges fall.

    size (1, 2, ...), measure, end (low or high), estimate (the edge fitted to all, in
    the measure's unit), low, high (``interval``), spread (SD), method, n.
    """
    check_replicates(replicates)
    check_seed(seed)
    fitter = Fitter.of(people, widths=widths, sizes=sizes, **settings)
    measured = fitter.measured
    rng = np.random.default_rng(seed)
    whole = fitter.fit()
    samples = draw_samples(people, replicates=replicates, rng=rng)
    of_row = pd.factorize(people.frame["person"])[0][measured.row]
    found = [fitter.fit(measured.weight * times[of_row]) for times in samples.times]
    edges = np.array([boxes[:2] for boxes in found]) / 10
    estimate = np.array(whole[:2]) / 10
    low, high = interval(estimate, edges, samples.df)
    places = [
        (k + 1, measure, end)
        for end in ("low", "high")
        for k in range(sizes)
        for measure in measured.measures
    ]
    return pd.DataFrame(places, columns=["size", "measure", "end"]).assign(
        estimate=estimate.ravel(),
        low=low.ravel(),
        high=high.ravel(),
        spread=edges.std(axis=0, ddof=1).ravel(),
        method=f"{replicates} bootstrap samples of {samples.drawn}",
        n=measured.persons,
    )


#: Values counted at a time.
_BLOCK = 1 << 15
#: Stops between two that are done already, plus one; measured.
FAN = 12


def partition_bands(
    values: npt.ArrayLike, bands: int, *, weights: npt.ArrayLike | None = None
) -> pd.DataFrame:
    """Cut values into bands with the least squared distance to their centres, exactly.

    A row a band: band, low, high, centre (mean), share (of weight). By a dynamic
    programme over whole tenths: the best start of a band never falls as its stop grows
    (Wang and Song, The R Journal 2011;3(2):29-33, from memory); of equals the lowest.
    """
    count = _count(np.asarray(values, dtype=float).ravel(), weights)
    at = np.flatnonzero(count)
    check_number(
        f"the number of bands for {len(at)} distinct values",
        bands,
        least=1,
        most=len(at),
        whole=True,
    )
    mass, x = count[at], at.astype(float)
    # Sums from the middle outwards lose less to rounding.
    x = x - np.average(x, weights=mass)
    sums = [np.concatenate([[0.0], np.cumsum(mass * x**p)]) for p in range(2)]
    stops = _cuts(sums, int(bands))
    starts = np.concatenate([[0], stops[:-1]])
    value = at / 10
    total = sums[0][stops] - sums[0][starts]
    centre = np.add.reduceat(mass * value, starts) / total
    return pd.DataFrame(
        {
            "band": np.arange(1, bands + 1),
            "low": value[starts],
            "high": value[stops - 1],
            "centre": centre,
            "share": total / sums[0][-1],
        }
    )


def _count(values: Floats, weights: npt.ArrayLike | None) -> Floats:
    weight = None if weights is None else np.asarray(weights, dtype=float).ravel()
    if weight is not None and (
        len(weight) != len(values) or not (np.isfinite(weight) & (weight >= 0)).all()
    ):
        raise SizingError(
            "the weights make no sense",
            allowed="0 or more, one per value",
            action="correct what was given",
            value="weights",
        )
    count = np.zeros(0)
    # Blocks that stay in the processor's cache are counted twice as fast.
    for start in range(0, len(values), _BLOCK):
        stop = start + _BLOCK
        tenths = to_tenths(values[start:stop])
        known = tenths >= 0
        part = None if weight is None else weight[start:stop]
        if not known.all():
            tenths = tenths[known]
            part = None if part is None else part[known]
        if not len(tenths):
            continue
        new = np.bincount(tenths, weights=part, minlength=len(count)).astype(float)
        new[: len(count)] += count
        count = new
    return count


def _cuts(sums: list[Floats], bands: int) -> Ints:
    """Return where each band stops: the most saved, (sum of values)^2 / weight."""
    mass, first = sums
    n = len(mass) - 1
    best = np.full(n + 1, -np.inf)
    best[1:] = first[1:] ** 2 / mass[1:]
    choice = []
    for band in range(1, bands - 1):
        best, chosen = _row(mass, first, best, band)
        choice.append(chosen)
    stops = [n]
    if bands > 1:
        i = np.arange(bands - 1, n)
        saved = best[i] + (first[n] - first[i]) ** 2 / (mass[n] - mass[i])
        stops.append(int(i[int(np.argmax(saved))]))
    for chosen in reversed(choice):
        stops.append(int(chosen[stops[-1]]))
    return np.array(stops[::-1])


def _row(mass: Floats, first: Floats, best: Floats, band: int) -> tuple[Floats, Ints]:
    """Return the next row of the programme: every stop's best start, coarse to fine."""
    n = len(mass) - 1
    new = np.full(n + 1, -np.inf)
    chosen = np.zeros(n + 1, dtype=np.int64)
    span = FAN ** int(np.log(max(n - band, 2)) / np.log(FAN))
    stop = np.arange(band + 1, n + 1, span)
    low, high = np.full(len(stop), band), stop - 1
    while True:
        length = high - low + 1
        offset = np.cumsum(length) - length
        block = np.repeat(np.arange(len(stop)), length)
        start = np.arange(len(block)) - (offset - low)[block]
        saved = first[stop][block]
        saved -= first[start]
        saved *= saved
        weight = mass[stop][block]
        weight -= mass[start]
        saved /= weight
        saved += best[start]
        most = np.maximum.reduceat(saved, offset)
        new[stop] = most
        # The first start that reaches the maximum.
        hit = np.flatnonzero(saved == most[block])[::-1]
        chosen[stop[block[hit]]] = start[hit]
        if span == 1:
            return new, chosen
        done = np.arange(band + 1, n + 1, span)
        at = chosen[done]
        span //= FAN
        between = np.arange(len(range(band + 1, n + 1, span)))
        between = between[between % FAN > 0]
        stop = band + 1 + between * span
        low = at[between // FAN]
        high = np.minimum(np.append(at[1:], n - 1)[between // FAN], stop - 1)
