"""What lies between body and sling, and what bears the person."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart
from sizing.client.client import Client
from sizing.client.how import MASS, TAKEN
from sizing.client.posterior import Bodies
from sizing.errors import SizingError
from sizing.measures import NO_HIGH, to_tenths
from sizing.resources import source_table
from sizing.stats.formulas import Floats

#: More than this either way is a slip (our choice, no source).
_MOST_CM = 40.0
_LEAST_LOAD, _MOST_LOAD = 20.0, 1000.0
#: Parts that every lift hangs from besides the sling: without a limit entered they
#: are named as not entered.
PARTS = ("hoist", "spreader bar")
#: Within so many typical errors of a weighing, or this share of the limit, the
#: weight is too near it to be relied on (our choice, no source).
_ERRORS, _NEAR = 2.0, 0.05
_SLING = "sling, size "


@cache
def _allowances() -> pd.DataFrame:
    return source_table("allowances.csv")


def _within(value: Any, least: float, most: float) -> bool:
    number = isinstance(value, (int, float, np.number)) and not isinstance(value, bool)
    return number and least <= float(value) <= most


def allowance_table(chosen: Mapping[str, float] | None = None) -> pd.DataFrame:
    """Return every allowance, what practice suggests and what is in use.

    A chart that states body measures needs none, and that is the default. One
    that states the fabric's own lengths is compared with body + allowance.

    Returned: ``key, measure, label, suggested_cm, used_cm, meaning, source``.

    >>> table = allowance_table({"leg_stop": -5}).set_index("key")
    >>> table["used_cm"].tolist()
    [0.0, 0.0, -5.0]
    """
    table = _allowances().copy()
    chosen = dict(chosen or {})
    for key, value in chosen.items():
        if key not in set(table["key"]) or not _within(value, -_MOST_CM, _MOST_CM):
            raise SizingError(
                "this allowance cannot be used",
                allowed=f"{', '.join(table['key'])}, each from -{_MOST_CM:g} to "
                f"{_MOST_CM:g} cm",
                action="correct it, or leave it out",
                column=key,
                value=value,
            )
    table.insert(4, "used_cm", [float(chosen.get(key, 0.0)) for key in table["key"]])
    return table


def suggested_allowances() -> dict[str, float]:
    """Return what practice suggests for a chart of the fabric's own measures.

    Common practice, no source.

    >>> suggested_allowances()["leg_stop"]
    -5.0
    """
    suggested = _allowances().set_index("key")["suggested_cm"].astype(float)
    return {str(key): float(value) for key, value in suggested.items()}


def in_body_terms(chart: SizeChart, allowances: pd.DataFrame) -> SizeChart:
    """Return the chart with its edges moved from fabric to body measures.

    ``low <= body + allowance <= high`` is ``low - allowance <= body <= high -
    allowance``.
    """
    frame = chart.frame.copy()
    for measure, used in zip(allowances["measure"], allowances["used_cm"], strict=True):
        for column in (f"{measure}_low", f"{measure}_high"):
            if used and column in frame:
                frame[column] = frame[column] - used
    return replace(chart, frame=frame)


def check_loads(loads: Mapping[str, float]) -> None:
    for part, value in loads.items():
        if not _within(value, _LEAST_LOAD, _MOST_LOAD):
            raise SizingError(
                f"the load limit of the {part} cannot be right",
                allowed=f"{_LEAST_LOAD:g} to {_MOST_LOAD:g} kg",
                action="read it from the part's own label",
                value=value,
            )


def load_table_of(
    chart: SizeChart, loads: Mapping[str, float] | None
) -> tuple[pd.DataFrame, npt.NDArray[np.int64]]:
    """Return the parts' load limits, and the lowest with each size in 0.1 kg."""
    entered = dict(loads or {})
    check_loads(entered)
    rows = [(part, float(value)) for part, value in entered.items()]
    rows += [
        (part, np.nan)
        for part in PARTS
        if not any(part in name.lower() for name in entered)
    ]
    own = chart.load_limits()
    lowest = min(entered.values(), default=np.inf)
    load = own if np.isinf(lowest) else np.minimum(own, int(to_tenths([lowest])[0]))
    # The limit entered of the sling in hand holds where the chart states none.
    sling = [limit for part, limit in rows if "sling" in part.lower()]
    bare = min(sling, default=np.nan)
    rows += [
        (f"{_SLING}{size}", limit / 10 if limit < NO_HIGH else bare)
        for size, limit in zip(chart.sizes, own, strict=True)
    ]
    table = pd.DataFrame(rows, columns=["part", "load_limit_kg"])
    table["lowest"] = table["load_limit_kg"] == table["load_limit_kg"].min()
    return table, load


def over_load(client: Client, load: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Return the sizes whose lowest load limit the stated body mass exceeds."""
    if MASS not in client.known:
        return np.zeros(len(load), dtype=bool)
    return np.asarray(to_tenths([client.known[MASS].value])[0] > load)


def never_less(client: Client, bodies: Bodies) -> Floats:
    """Return the body mass of each draw as it counts against a load limit.

    What was guessed or reported is never taken as less, however light such people
    usually are: the draws are moved up to where it is their median, and none of
    them is below it.
    """
    mass = bodies.values[:, 0]
    one = client.known.get(MASS)
    if one is None or one.how in TAKEN or one.sd == 0:
        return mass
    middle = bodies.quantile([0.5])[0, 0]
    moved: Floats = np.maximum(mass * max(1.0, one.value / middle), one.value)
    return moved


def is_far(limit: Floats, mass: float, error: float) -> npt.NDArray[np.bool_]:
    """Return which load limits are far enough from a weight; those not known are.

    Near is within two typical errors of how it was weighed, or within 5 % of the
    limit, whichever is larger, on either side.
    """
    out = np.abs(mass - limit) <= np.maximum(_ERRORS * error, _NEAR * limit)
    return np.asarray(~out)


def too_near(parts: pd.DataFrame, mass: float, error: float) -> pd.DataFrame:
    limit = parts["load_limit_kg"].to_numpy(dtype=float)
    return parts[~is_far(limit, mass, error)]


def in_use(
    loads: pd.DataFrame,
    margins: pd.DataFrame,
    sizes: pd.DataFrame,
    in_play: Collection[str],
    least: float,
) -> pd.DataFrame:
    """Of the slings: sizes in play, the first two, those only a load rules out."""
    fit = margins[margins["measure"] != MASS].groupby("size")["chance"].min()
    wanted = {*in_play, *sizes["size"].head(2)}
    over = set(sizes.loc[sizes["over_load"], "size"])
    wanted |= over & set(fit.index[fit >= least])
    slings = loads["part"].str.startswith(_SLING)
    return loads[~slings | loads["part"].isin([f"{_SLING}{size}" for size in wanted])]
