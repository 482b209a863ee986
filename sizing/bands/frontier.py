"""What other widths and numbers cover, and how far edges move with other people."""

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.bands.axis import WIDEST, Width, check_widths
from sizing.bands.cells import Floats
from sizing.bands.fit import check_splits, half_splits
from sizing.bands.fitter import Fitter
from sizing.errors import check_number, check_replicates, check_seed
from sizing.people.people import People, layout
from sizing.stats.formulas import bootstrap_weights, replicate_counts, student


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
    sizes : iterable of int
        Numbers of sizes.
    scales : sequence of float
        What the widths are multiplied by.
    splits, seed : int
        Half-splits for the held-out figures.
    **settings
        Constraints as in ``fit_bands``.

    Returns
    -------
    DataFrame
        One row per number of sizes and scale: sizes, scale, ``<measure>_width``
        for each measure (in its unit), estimate (the best share of the people
        given), held_out, low, high (mean share of held-out persons, with its
        95 % interval), method, n.

    Raises
    ------
    SizingError
        As ``fit_bands``, or if a scale is not positive.

    Examples
    --------
    >>> from sizing.people import load_people
    >>> people = load_people("bariatric", draws=1)
    >>> found = frontier(people, widths={"hip_circumference_cm": 25}, sizes=[1, 2],
    ...     scales=[1], splits=2)
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
            low, high = held.interval()
            rows.append(
                {"sizes": count, "scale": scale}
                | {f"{measure}_width": width for measure, width in wide.items()}
                | {"estimate": fitter.value(fitter.fit()), "held_out": held.mean()}
                | {"low": low, "high": high, "method": method, "n": people.n}
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

    All widths are scaled together. The answer is found to 0.1 (cm, or kg) of
    the first measure's width; coverage never falls as widths grow, so halving
    the range finds it.

    One row per number of sizes and target: sizes, target, scale, ``<measure>_width``
    (NaN where ``most`` does not suffice), estimate (the share reached), method, n.
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
    estimate: npt.ArrayLike, drawn: npt.ArrayLike, df: int, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Return percentile intervals, made wider where there are few units.

    Percentiles are taken so that a further sample would fall below with just that
    chance (position p(n + 1) among n samples): with 40 samples, the least and the
    greatest for 95 %. Each end lies as far from the estimate as the percentile
    does, times Student's quantile over the normal one: with few units to draw
    from, the samples differ less than surveys do.
    """
    tail = (1 - level) / 2
    wider = float(student(df, level) / student(np.inf, level))
    low, high = np.quantile(
        np.asarray(drawn, dtype=float), [tail, 1 - tail], axis=0, method="weibull"
    )
    middle = np.asarray(estimate, dtype=float)
    return middle - wider * (middle - low), middle + wider * (high - middle)


def edge_stability(
    people: People,
    *,
    widths: Mapping[str, Width],
    sizes: int,
    replicates: int = 40,
    level: float = 0.95,
    seed: int = 1,
    **settings: Any,
) -> pd.DataFrame:
    """Refit to bootstrap samples of the persons and tell where the edges fall.

    Sampling units are resampled where the people have a design; a person brings all her
    draws and her weight.

    One row per size, measure and end: size (1, 2, ...), measure, end (low or high),
    estimate (the edge fitted to all, in the measure's unit), low, high (percentile
    interval; see ``sizing.bands.frontier.interval``), spread (standard deviation),
    method, n.

    Edges are whole steps of the grid, so that an interval is at least as coarse.
    """
    check_replicates(replicates)
    check_number("the level of the intervals", level, above=0, below=1)
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
    low, high = interval(estimate, edges, samples.df, level)
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
