"""Draw the persons of a survey again, as its design drew them."""

import numpy as np
import pandas as pd

from sizing.banding.counts import Floats
from sizing.coverage.layout import layout
from sizing.population.people import People
from sizing.survey import bootstrap_weights

PERSONS, UNITS = "persons", "sampling units (Rao, Wu and Yue's rescaling)"


def person_times(
    people: People, *, replicates: int, rng: np.random.Generator
) -> tuple[Floats, str]:
    """Return by what each person's weight is multiplied, sample by sample.

    Parameters
    ----------
    people : People
        With ``stratum`` and ``unit``, sampling units are drawn, stratum by
        stratum; without, persons.
    replicates : int
        How many samples.
    rng : numpy.random.Generator

    Returns
    -------
    times : ndarray of float, shape (replicates, persons)
        Persons in the order in which the rows first name them.
    drawn : str
        What was drawn: ``PERSONS`` or ``UNITS``.
    """
    person, named = pd.factorize(people.frame["person"])
    n = len(named)
    place = layout(people)
    if place.unit is None or place.stratum is None:
        found = [
            np.bincount(rng.integers(0, n, n), minlength=n) for _ in range(replicates)
        ]
        return np.array(found, dtype=float), PERSONS
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
    return times, UNITS
