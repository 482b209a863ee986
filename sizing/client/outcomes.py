"""How likely each size is to fit, and each way of fitting none."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import OUTCOME_WORDS, OUTCOMES, SizeChart
from sizing.client.how import ESTIMATED, Reading
from sizing.client.posterior import Bodies
from sizing.measures import MEASURES, NO_HIGH, NO_LOW, to_tenths
from sizing.stats.formulas import LEVEL, Floats, score_interval, student

Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Edges:
    """``load`` is the lowest load limit of all parts with each size, in 0.1 kg."""

    sizes: tuple[str, ...]
    low: dict[str, npt.NDArray[np.int64]]
    high: dict[str, npt.NDArray[np.int64]]
    load: npt.NDArray[np.int64]

    @property
    def measures(self) -> tuple[str, ...]:
        return tuple(self.low)

    def without(self, measures: Collection[str]) -> "Edges":
        """Return the edges of the other measures; the load limit goes with the mass."""
        low, high = (
            {name: edge for name, edge in ends.items() if name not in measures}
            for ends in (self.low, self.high)
        )
        free = np.full_like(self.load, NO_HIGH)
        load = free if MEASURES[0] in measures else self.load
        return Edges(self.sizes, low, high, load)

    def bands(self, measure: str) -> pd.DataFrame:
        """Return where each size lies in a measure: size, low, high; NaN: no limit."""
        none = np.full_like(self.load, NO_LOW), np.full_like(self.load, NO_HIGH)
        low, high = (
            ends.get(measure, free)
            for ends, free in zip((self.low, self.high), none, strict=True)
        )
        high = np.minimum(high, self.load) if measure == MEASURES[0] else high
        return pd.DataFrame(
            {
                "size": self.sizes,
                "low": np.where(low == NO_LOW, np.nan, low / 10),
                "high": np.where(high == NO_HIGH, np.nan, high / 10),
            }
        )

    def unknown(self, values: Floats) -> dict[str, Mask]:
        """Return which sizes limit a measure of which nothing is known."""
        found = {}
        for j, name in enumerate(MEASURES):
            if np.isfinite(values[:, j]).any():
                continue
            limits = np.zeros(len(self.sizes), dtype=bool)
            if name in self.low:
                limits |= (self.low[name] > NO_LOW) | (self.high[name] < NO_HIGH)
            if j == 0:
                limits |= self.load < NO_HIGH
            if limits.any():
                found[name] = limits
        return found


def edges_of(chart: SizeChart, load: npt.NDArray[np.int64]) -> Edges:
    """Read a chart's edges once; reading them again and again costs most."""
    found = {name: chart.edges(name) for name in chart.measures}
    return Edges(
        chart.sizes,
        {name: low for name, (low, _) in found.items()},
        {name: high for name, (_, high) in found.items()},
        load,
    )


@dataclass(frozen=True)
class Fitting:
    """Which draws fit which size, shape (n, sizes).

    ``within`` says it of each limited measure, the load limit apart; ``bears`` of the
    body mass and all the size hangs from; ``fits`` of what is known to fit; ``may`` of
    what nothing known rules out (more than ``fits`` only where a limited measure was
    neither read nor predicted). ``outcome`` is each draw's position in ``OUTCOMES``.
    """

    within: dict[str, Mask]
    bears: Mask
    fits: Mask
    may: Mask
    outcome: npt.NDArray[np.int64]


def fitting(
    values: Floats, chart: Edges, *, over: Mask, hung_kg: Floats | None = None
) -> Fitting:
    """Outcomes are those of ``sizing.charts.assign``; a test holds the two together."""
    n, k = len(values), len(chart.sizes)
    within: dict[str, Mask] = {}
    unknown = chart.unknown(values)
    open_ones = np.any([np.zeros(k, dtype=bool), *unknown.values()], axis=0)
    holding = np.ones((n, k), dtype=bool)
    beyond, below = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    for name in chart.measures:
        low, high = chart.low[name], chart.high[name]
        x = to_tenths(values[:, MEASURES.index(name)])
        if name in unknown:
            within[name] = np.ones((n, k), dtype=bool)
            continue
        within[name] = (x[:, None] >= low) & (x[:, None] <= high)
        holding &= within[name]
        beyond |= x > high.max()
        below |= x < low.min()
    mass = to_tenths(values[:, 0] if hung_kg is None else hung_kg)
    bears = (mass[:, None] <= chart.load) & ~over
    may = holding & bears
    fits = may & ~open_ones
    over_all = ~bears.any(axis=1) & bool((chart.load < NO_HIGH).any())
    count = fits.sum(axis=1)
    cases = {
        "one": count == 1,
        "choice": count > 1,
        "not_measured": may.any(axis=1),
        "over_load": over_all | holding.any(axis=1),
        "beyond_largest": beyond,
        "below_smallest": below,
    }
    codes = [OUTCOMES.index(name) for name in cases]
    outcome = np.select(list(cases.values()), codes, OUTCOMES.index("between"))
    return Fitting(within, bears, fits, may, outcome)


def broken_by(
    readings: Sequence[Reading], chart: Edges
) -> tuple[npt.NDArray[np.object_], Floats]:
    k = len(chart.sizes)
    which, by, worst = np.full(k, "", dtype=object), np.zeros(k), np.ones(k)
    for one in readings:
        if one.measure not in chart.measures or one.how == ESTIMATED:
            continue
        read = float(to_tenths([np.exp(one.log_value)])[0])
        low, high = chart.low[one.measure], chart.high[one.measure]
        out = np.maximum(low - read, read - high) / 10
        errors = out / max(one.sd, 1e-9)
        more = errors > worst
        which[more], by[more], worst[more] = one.measure, out[more], errors[more]
    return which, by


def chances(bodies: Bodies, flags: Mask) -> dict[str, Any]:
    """Return weighted shares of draws with their Monte Carlo interval, by column.

    Wilson's score interval on the effective number ``p (1 - p) / variance``, the
    variance by builds; where no draw or every draw is counted, on Kish's number of
    builds.
    """
    p, variance = bodies.share(flags)
    p = np.clip(p, 0.0, 1.0)
    inside = (variance > 1e-12) & (p > 0) & (p < 1)
    own = p * (1 - p) / np.where(inside, variance, 1.0)
    number = np.where(inside, own, bodies.effective)
    low, high = score_interval(p, number, student(np.inf))
    return {
        "estimate": p,
        "low": low,
        "high": high,
        "method": f"{100 * LEVEL:.0f} % Monte Carlo interval; measuring error, "
        "spread between people and the model's coefficients are in the chance",
        "n": len(bodies.weight),
    }


def outcome_table(bodies: Bodies, found: Fitting) -> pd.DataFrame:
    """In the order of ``OUTCOMES``; ``not measured`` is left out where it cannot be."""
    flags = found.outcome[:, None] == np.arange(len(OUTCOMES))
    words = [OUTCOME_WORDS[name] for name in OUTCOMES]
    table = pd.DataFrame(
        {"outcome": OUTCOMES, "words": words, **chances(bodies, flags)}
    )
    can_be = (found.may & ~found.fits).any()
    return table if can_be else table[table["outcome"] != "not_measured"]
