"""Small stocks to plan, made of numbers, for the tests of planning."""

from functools import cache

import numpy as np
import pandas as pd

from sizing.charts import chart_from
from sizing.people import People, people_from
from sizing.stock import Use, offer_from
from sizing.stock.days import draw_days, group_from
from sizing.stock.programme import Programme
from sizing.stock.service import Needs


def chart_of(low, high, names=None, **columns):
    """Return a chart of sizes from so many to so many cm of stature."""
    ends = {"stature_cm_low": low, "stature_cm_high": high}
    sizes = {"size": names or [f"size {i}" for i in range(len(low))]}
    return chart_from(pd.DataFrame(sizes | ends | columns), warn=False)


def offer_of(prices, **columns):
    """Return sizes at these prices, with other columns of an offer if wanted."""
    low = 100 + 20 * np.arange(len(prices))
    return offer_from(chart_of(low, low + 25, price=prices, **columns))


def programme_of(counts, masks, prices, *, spares=0, **columns):
    """Return what is planned against: needs by day and set of sizes, and prices."""
    counts, masks = np.asarray(counts), np.asarray(masks)
    return Programme(
        offer_of(prices, **columns), Needs(counts, masks, len(prices)), spares
    )


def some_programme(seed, *, days=30, masks=(1, 3, 6, 4, 7), spares=0, **columns):
    """Return three sizes that overlap, at prices of which no two differ alike."""
    rng = np.random.default_rng(seed)
    counts = rng.poisson(rng.uniform(0.3, 1.2, len(masks)), (days, len(masks)))
    prices = np.round(rng.uniform(50, 150, 3), 2)
    return programme_of(counts, masks, prices, spares=spares, **columns)


def orders(most):
    """Return every order of up to so many packs of each size, one per row."""
    grid = np.meshgrid(*(np.arange(m + 1) for m in most), indexing="ij")
    return np.stack([one.ravel() for one in grid], axis=1)


def unit(size, sizes):
    """Return one pack of a size and none of the others."""
    return np.eye(sizes, dtype=np.int64)[size]


def tall_and_short(**columns):
    """Return a chart of two sizes that overlap, with prices."""
    columns = {"price": [100.0, 120.0], **columns}
    return chart_of([140, 165], [170, 190], ["short", "tall"], **columns)


def drawn(served, use=None, *, days, seed=(1, 1), weight=None):
    """Return two sizes, one group to be served with them, and days drawn of it."""
    offer = offer_from(tall_and_short())
    group = group_from(served, offer, weight)
    days = draw_days([group], use or Use(), sizes=2, days=days, seed=seed)
    return offer, group, days


def people_of(*statures, **columns):
    """Return people of these statures, each once."""
    return people_from(pd.DataFrame({"stature_cm": statures, **columns}))


@cache
def four_hundred() -> People:
    """Return invented adults, enough to draw clients from."""
    rng = np.random.default_rng(7)
    stature, mass = rng.normal(167, 9, 400).round(1), rng.normal(75, 15, 400).round(1)
    return people_of(*stature, body_mass_kg=mass, age_years=rng.integers(20, 80, 400))
