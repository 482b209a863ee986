"""How far the fitted edges move when other people are drawn."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from sizing.banding.axis import Width
from sizing.banding.fitter import Fitter
from sizing.banding.resample import draw_samples, interval
from sizing.banding.settings import check_request
from sizing.errors import check_number, check_replicates, check_seed
from sizing.population.people import People


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
        ``sizing.survey.bootstrap_weights``); a person brings all her draws and
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
        high (percentile interval; see ``sizing.banding.resample.interval``),
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
    fitter = Fitter(check_request(people, widths=widths, sizes=sizes, **settings))
    bodies = fitter.bodies
    rng = np.random.default_rng(seed)
    whole = fitter.fit()
    samples = draw_samples(people, replicates=replicates, rng=rng)
    of_row = pd.factorize(people.frame["person"])[0][bodies.row]
    found = [fitter.fit(bodies.weight * times[of_row]) for times in samples.times]
    rows = []
    for end, name in enumerate(("low", "high")):
        edges = np.stack([boxes[end] for boxes in found]) / 10
        low, high = interval(whole[end] / 10, edges, samples.df, level)
        spread = edges.std(axis=0, ddof=1)
        for k in range(sizes):
            for d, measure in enumerate(bodies.measures):
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
                        "n": bodies.persons,
                    }
                )
    return pd.DataFrame(rows)
