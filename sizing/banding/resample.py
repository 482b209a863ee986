"""Draw the persons of a survey again, as its design drew them."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import stats

from sizing.banding.counts import Floats
from sizing.coverage.layout import layout
from sizing.population.people import People
from sizing.survey import bootstrap_weights

PERSONS, UNITS = "persons", "sampling units (Rao, Wu and Yue's rescaling)"


@dataclass(frozen=True)
class Samples:
    """Bootstrap samples of some people.

    Attributes
    ----------
    times : ndarray of float, shape (samples, persons)
        By what each person's weight is multiplied; persons in the order in which
        the rows first name them.
    drawn : str
        What was drawn: ``PERSONS`` or ``UNITS``.
    df : int
        Degrees of freedom: persons less 1, or units less strata.
    """

    times: Floats
    drawn: str
    df: int


def draw_samples(
    people: People, *, replicates: int, rng: np.random.Generator
) -> Samples:
    """Draw bootstrap samples of the people.

    Parameters
    ----------
    people : People
        With ``stratum`` and ``unit``, sampling units are drawn, stratum by
        stratum; without, persons.
    replicates : int
        How many samples.
    rng : numpy.random.Generator
    """
    person, named = pd.factorize(people.frame["person"])
    n = len(named)
    place = layout(people)
    if place.unit is None or place.stratum is None:
        found = [
            np.bincount(rng.integers(0, n, n), minlength=n) for _ in range(replicates)
        ]
        return Samples(np.array(found, dtype=float), PERSONS, max(n - 1, 1))
    # The layout has persons in the order of their numbers.
    times = np.empty((replicates, n))
    times[:, person[place.rows[0]]] = bootstrap_weights(
        None,
        n=n,
        replicates=replicates,
        rng=rng,
        stratum=place.stratum[place.unit],
        unit=place.unit,
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

    Parameters
    ----------
    estimate : array-like
        What was found for the people as they are.
    drawn : array-like, shape (samples, ...)
        What was found for each sample.
    df : int
        Degrees of freedom.
    level : float
        Of the interval.
    """
    tail = (1 - level) / 2
    wider = float(stats.t.isf(tail, df) / stats.norm.isf(tail))
    low, high = np.quantile(
        np.asarray(drawn, dtype=float), [tail, 1 - tail], axis=0, method="weibull"
    )
    middle = np.asarray(estimate, dtype=float)
    return middle - wider * (middle - low), middle + wider * (high - middle)
