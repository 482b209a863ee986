"""How far the fitted edges move when other people are drawn."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.bands.axis import Width
from sizing.bands.cells import Floats
from sizing.bands.fitter import Fitter
from sizing.errors import check_number, check_replicates, check_seed
from sizing.people.layout import layout
from sizing.people.people import People
from sizing.stats.intervals import student
from sizing.stats.shares import replicate_counts
from sizing.stats.weighted import bootstrap_weights

PERSONS, UNITS = "persons", "sampling units (Rao, Wu and Yue's rescaling)"


@dataclass(frozen=True)
class Samples:
    """Bootstrap samples of some people."""

    times: Floats
    drawn: str
    df: int


def draw_samples(
    people: People, *, replicates: int, rng: np.random.Generator
) -> Samples:
    """Draw bootstrap samples of the people."""
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

    Parameters
    ----------
    people, widths, sizes, **settings
        See ``fit_bands``.
    replicates : int
        Bootstrap samples of persons, drawn with replacement (of sampling units,
        where the people have ``stratum`` and ``unit``; see
        ``sizing.stats.weighted``); a person brings all her draws and
        her weight.
    level : float
        Of the interval.
    seed : int
        Of the bootstrap.

    Returns
    -------
    DataFrame
        One row per size, measure and end: size (1, 2, ...), measure, end (low
        or high), estimate (the edge fitted to all, in the measure's unit), low,
        high (percentile interval; see ``sizing.bands.stability.interval``),
        spread (standard deviation), method, n.

    Raises
    ------
    SizingError
        As ``fit_bands``; or with fewer than two replicates.

    Notes
    -----
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
    rows = []
    for end, name in enumerate(("low", "high")):
        edges = np.stack([boxes[end] for boxes in found]) / 10
        low, high = interval(whole[end] / 10, edges, samples.df, level)
        spread = edges.std(axis=0, ddof=1)
        for k in range(sizes):
            for d, measure in enumerate(measured.measures):
                rows.append(
                    {
                        "size": k + 1,
                        "measure": measure,
                        "end": name,
                        "estimate": whole[end][k, d] / 10,
                        "low": low[k, d],
                        "high": high[k, d],
                        "spread": spread[k, d],
                        "method": f"{replicates} bootstrap samples of {samples.drawn}",
                        "n": measured.persons,
                    }
                )
    return pd.DataFrame(rows)
