"""What each size holds and bears, and how likely it is to fit, or none is."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import OUTCOME_WORDS, OUTCOMES, SizeChart
from sizing.client.client import Client
from sizing.client.posterior import Bodies
from sizing.client.readings import ESTIMATED, MASS, TAKEN, Reading
from sizing.errors import Problem, SizingError
from sizing.measures import MEASURES, NO_HIGH, NO_LOW, to_tenths
from sizing.resources import source_table, texts
from sizing.stats.formulas import LEVEL, Floats, score_interval, student

_WRONG = texts("client").wrong
Mask = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
#: An allowance of more than this either way is a slip; and what a load limit may be
#: (our choice, no source).
_MOST_CM, _LEAST_LOAD, _MOST_LOAD = 40.0, 20.0, 1000.0
#: Parts that every lift hangs from besides the sling: without a limit entered they
#: are named as not entered.
PARTS = ("hoist", "spreader bar")
#: Within so many typical errors of a weighing, or this share of the limit, the
#: weight is too near it to be relied on (our choice, no source).
_ERRORS, _NEAR = 2.0, 0.05
SLING = "sling, size "


# What lies between body and sling, and what bears the person


def _within(value: Any, least: float, most: float) -> bool:
    number = isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
    return number and least <= float(value) <= most


def allowance_table(chosen: Mapping[str, float] | None = None) -> pd.DataFrame:
    """Return every allowance, what practice suggests and what is in use (cm)."""
    table, chosen = source_table("allowances.csv"), chosen or {}
    for key, value in chosen.items():
        if key not in set(table["key"]) or not _within(value, -_MOST_CM, _MOST_CM):
            told = {"keys": ", ".join(table["key"]), "most": _MOST_CM}
            at = None, None, key, value
            raise SizingError(str(Problem.of(_WRONG["allowance"], *at, **told)))
    table.insert(4, "used_cm", [float(chosen.get(key, 0.0)) for key in table["key"]])
    return table


def suggested_allowances() -> dict[str, float]:
    """Return those for a chart of the fabric's own (cm; common practice, no source)."""
    suggested = source_table("allowances.csv").set_index("key")["suggested_cm"]
    return {str(key): float(value) for key, value in suggested.items()}


def in_body_terms(chart: SizeChart, allowances: pd.DataFrame) -> SizeChart:
    """Return the chart with its edges less the allowances: body, not fabric."""
    frame = chart.frame.copy()
    for measure, used in zip(allowances["measure"], allowances["used_cm"], strict=True):
        for column in (f"{measure}_low", f"{measure}_high"):
            if used and column in frame:
                frame[column] = frame[column] - used
    return replace(chart, frame=frame)


def check_loads(loads: Mapping[str, float]) -> None:
    for part, value in loads.items():
        if not _within(value, _LEAST_LOAD, _MOST_LOAD):
            ends = {"least": _LEAST_LOAD, "most": _MOST_LOAD}
            raise SizingError.of(_WRONG["load"], value, part=part, **ends)


def load_table_of(
    chart: SizeChart, loads: Mapping[str, float] | None
) -> tuple[pd.DataFrame, Ints]:
    """Return the parts' load limits, and the lowest with each size in 0.1 kg."""
    check_loads(loads or {})
    entered = {part: float(value) for part, value in (loads or {}).items()}
    own, lowest = chart.load_limits(), min(entered.values(), default=np.inf)
    load = own if np.isinf(lowest) else np.minimum(own, int(to_tenths([lowest])[0]))
    # The limit entered of the sling in hand holds where the chart states none.
    sling = [limit for part, limit in entered.items() if "sling" in part.lower()]
    bare = min(sling, default=np.nan)
    named = "\n".join(entered).lower()
    rows = [*entered.items(), *((part, np.nan) for part in PARTS if part not in named)]
    rows += [
        (f"{SLING}{size}", limit / 10 if limit < NO_HIGH else bare)
        for size, limit in zip(chart.sizes, own, strict=True)
    ]
    table = pd.DataFrame(rows, columns=["part", "load_limit_kg"])
    table["lowest"] = table["load_limit_kg"] == table["load_limit_kg"].min()
    return table, load


def over_load(client: Client, load: Ints) -> Mask:
    """Return the sizes whose lowest load limit the stated body mass exceeds."""
    stated = client.known[MASS].value if MASS in client.known else 0.0
    return np.asarray(to_tenths([stated])[0] > load)


def never_less(client: Client, bodies: Bodies) -> Floats:
    """Return draws of body mass for a load limit, none below what was guessed."""
    mass = bodies.values[:, 0]
    one = client.known.get(MASS)
    if one is None or one.how in TAKEN or one.sd == 0:
        return mass
    middle = bodies.quantile([0.5])[0, 0]
    moved: Floats = np.maximum(mass * max(1.0, one.value / middle), one.value)
    return moved


def is_far(limit: Floats, mass: float, error: float) -> Mask:
    """Return which load limits are far enough from a weight; those not known are."""
    near = np.maximum(_ERRORS * error, _NEAR * limit)
    return np.asarray(~(np.abs(mass - limit) <= near))


def in_use(
    loads: pd.DataFrame,
    margins: pd.DataFrame,
    sizes: pd.DataFrame,
    in_play: Collection[str],
    least: float,
) -> pd.DataFrame:
    """Of the slings: sizes in play, the first two, those only a load rules out."""
    fit = margins[margins["measure"] != MASS].groupby("size")["chance"].min()
    over = set(sizes.loc[sizes["over_load"], "size"])
    wanted = {*in_play, *sizes["size"].head(2), *(over & set(fit.index[fit >= least]))}
    slings = loads["part"].str.startswith(SLING)
    return loads[~slings | loads["part"].isin([f"{SLING}{size}" for size in wanted])]


# Which sizes fit


@dataclass(frozen=True)
class Edges:
    """A chart's edges by measure; ``load``: the lowest limit of all parts, 0.1 kg."""

    sizes: tuple[str, ...]
    low: dict[str, Ints]
    high: dict[str, Ints]
    load: Ints

    @property
    def measures(self) -> tuple[str, ...]:
        return tuple(self.low)

    def spans(self) -> tuple[Floats, Floats]:
        """Return low and high edges, cm or kg, measures x sizes, NaN: no limit."""
        low, high = (np.stack(list(ends.values())) for ends in (self.low, self.high))
        return (
            np.where(low == NO_LOW, np.nan, low / 10),
            np.where(high == NO_HIGH, np.nan, high / 10),
        )

    def bands(self, measure: str) -> pd.DataFrame:
        """Return where each size lies in a measure: size, low, high; NaN: no limit."""
        none = np.full(len(self.sizes), np.nan)
        spans = zip(self.measures, *self.spans(), strict=True)
        low, high = next((two for name, *two in spans if name == measure), (none, none))
        if measure == MASS:
            high = np.fmin(high, np.where(self.load == NO_HIGH, np.nan, self.load / 10))
        return pd.DataFrame({"size": self.sizes, "low": low, "high": high})

    def unknown(self, values: Floats) -> dict[str, Mask]:
        """Return which sizes limit a measure of which nothing is known."""
        found = {}
        for j in np.flatnonzero(~np.isfinite(values).any(axis=0)):
            name, limits = MEASURES[j], np.zeros(len(self.sizes), dtype=bool)
            if name in self.low:
                limits |= (self.low[name] > NO_LOW) | (self.high[name] < NO_HIGH)
            if name == MASS:
                limits |= self.load < NO_HIGH
            if limits.any():
                found[name] = limits
        return found


def edges_of(chart: SizeChart, load: Ints) -> Edges:
    """Read a chart's edges once; reading them again and again costs most."""
    found = {name: chart.edges(name) for name in chart.measures}
    low, high = ({name: ends[i] for name, ends in found.items()} for i in (0, 1))
    return Edges(chart.sizes, low, high, load)


@dataclass(frozen=True)
class Fitting:
    """Which draws fit which size (n x sizes); ``outcome``: place in ``OUTCOMES``.

    ``may``: no measure that is known rules it out; ``within`` leaves the load out.
    """

    within: dict[str, Mask]
    bears: Mask
    fits: Mask
    may: Mask
    outcome: Ints


def fitting(
    values: Floats, chart: Edges, *, over: Mask, hung_kg: Floats | None = None
) -> Fitting:
    """Outcomes are those of ``sizing.charts.assign``; a test holds the two together."""
    n, k = len(values), len(chart.sizes)
    unknown = chart.unknown(values)
    open_ones = np.any([np.zeros(k, dtype=bool), *unknown.values()], axis=0)
    within = {name: np.ones((n, k), dtype=bool) for name in chart.measures}
    beyond, below = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    for name in set(chart.measures) - set(unknown):
        low, high = chart.low[name], chart.high[name]
        x = to_tenths(values[:, MEASURES.index(name)])
        within[name] = (x[:, None] >= low) & (x[:, None] <= high)
        beyond |= x > high.max()
        below |= x < low.min()
    holding = np.all([np.ones((n, k), dtype=bool), *within.values()], axis=0)
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
    """Return what is read outside an edge by over one error, and how far (cm, kg)."""
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
    """Return weighted shares of draws with Wilson's score interval, by column.

    On ``p (1 - p) / variance`` draws by builds; for none or all, Kish's number.
    """
    p, variance = bodies.share(flags)
    p = np.clip(p, 0.0, 1.0)
    inside = (variance > 1e-12) & (p > 0) & (p < 1)
    own = p * (1 - p) / np.where(inside, variance, 1.0)
    number = np.where(inside, own, bodies.effective)
    low, high = score_interval(p, number, student(np.inf))
    method = (
        f"{100 * LEVEL:.0f} % Monte Carlo interval; measuring error, spread between "
        "people and the model's coefficients are in the chance"
    )
    ends = {"estimate": p, "low": low, "high": high}
    return {**ends, "method": method, "n": len(bodies.weight)}


def outcome_table(bodies: Bodies, found: Fitting) -> pd.DataFrame:
    """In the order of ``OUTCOMES``; ``not measured`` is left out where it cannot be."""
    flags = found.outcome[:, None] == np.arange(len(OUTCOMES))
    words = [OUTCOME_WORDS[name] for name in OUTCOMES]
    shares = chances(bodies, flags)
    table = pd.DataFrame({"outcome": OUTCOMES, "words": words, **shares})
    can_be = (found.may & ~found.fits).any()
    return table if can_be else table[table["outcome"] != "not_measured"]
