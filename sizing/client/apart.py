"""A client with a stated condition: what it changes is neither predicted nor predicts.

The model knows nobody with such a body. A measure that the condition changes is
held against the edges by its own reading and error alone; not taken, it is unknown.
"""

from dataclasses import replace

import numpy as np
from scipy.special import ndtri

from sizing.client.client import Client
from sizing.client.conditions import touched
from sizing.client.posterior import DRAWS, Bodies, draw_bodies
from sizing.measures import MEASURES


def unchanged(client: Client) -> Client:
    """Return the client without the readings that a stated condition changes."""
    away = touched(client.conditions)
    rest = tuple(one for one in client.readings if one.measure not in away)
    return replace(client, readings=rest)


def bodies_of(
    client: Client, *, seed: int = 1, confirmed: bool = False, draws: int = DRAWS
) -> Bodies:
    """Draw what a client's measures may be; NaN where a condition forbids it."""
    readings = unchanged(client).readings
    bodies = draw_bodies(
        client.sex,
        client.age_years,
        readings,
        seed=seed,
        draws=draws,
        confirmed=confirmed,
    )
    values = bodies.values.copy()
    rng = np.random.default_rng([seed, 3])
    for name in touched(client.conditions):
        column = values[:, MEASURES.index(name)]
        column[:] = np.nan
        one = client.known.get(name)
        if one is not None:
            # Even over the weights, in an order that no other measure shares.
            order = rng.permutation(len(column))
            weight = bodies.weight[order]
            even = ndtri((np.cumsum(weight) - weight / 2).clip(1e-9, 1 - 1e-9))
            column[order] = np.exp(one.log_value + one.log_sd * even)
    return replace(bodies, values=values)
