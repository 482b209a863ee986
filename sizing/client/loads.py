"""What bears the person: the parts' load limits, and how near the weight comes."""

from collections.abc import Collection, Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart
from sizing.client.client import Client
from sizing.client.how import MASS, TAKEN
from sizing.client.posterior import Bodies
from sizing.errors import Problem, SizingError
from sizing.measures import to_tenths
from sizing.measures.edges import NO_HIGH
from sizing.people.body.terms import Floats

_LEAST_LOAD, _MOST_LOAD = 20.0, 1000.0
#: Parts that every lift hangs from besides the sling: without a limit entered they
#: are named as not entered.
PARTS = ("hoist", "spreader bar")
#: Within so many typical errors of a weighing, or this share of the limit, the
#: weight is too near it to be relied on (our choice, no source).
_ERRORS, _NEAR = 2.0, 0.05
_SLING = "sling, size "


def load_table_of(
    chart: SizeChart, loads: Mapping[str, float] | None
) -> tuple[pd.DataFrame, npt.NDArray[np.int64]]:
    """Return the parts' load limits, and the lowest with each size in 0.1 kg."""
    rows: list[dict[str, Any]] = []
    for part, value in dict(loads or {}).items():
        number = isinstance(value, (int, float, np.number)) and not isinstance(
            value, bool
        )
        if not number or not _LEAST_LOAD <= float(value) <= _MOST_LOAD:
            raise SizingError(
                str(
                    Problem(
                        f"the load limit of the {part} cannot be right",
                        f"{_LEAST_LOAD:g} to {_MOST_LOAD:g} kg",
                        "read it from the part's own label",
                        value=value,
                    )
                )
            )
        rows.append({"part": part, "load_limit_kg": float(value)})
    told = [row["part"].lower() for row in rows]
    rows += [
        {"part": part, "load_limit_kg": np.nan}
        for part in PARTS
        if not any(part in name for name in told)
    ]
    own = chart.load_limits()
    lowest = float(np.nanmin([row["load_limit_kg"] for row in rows] + [np.inf]))
    load = own if np.isinf(lowest) else np.minimum(own, int(to_tenths([lowest])[0]))
    # The limit entered of the sling in hand holds where the chart states none.
    sling = [r["load_limit_kg"] for r in rows if "sling" in r["part"].lower()]
    bare = min(sling, default=np.nan)
    rows += [
        {
            "part": f"{_SLING}{size}",
            "load_limit_kg": limit / 10 if limit < NO_HIGH else bare,
        }
        for size, limit in zip(chart.sizes, own, strict=True)
    ]
    table = pd.DataFrame(rows)
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


def too_near(parts: pd.DataFrame, mass: float, error: float) -> pd.DataFrame:
    """Return the parts whose load limit a weight is too near to be relied on.

    Near is within two typical errors of how it was weighed, or within 5 % of the
    limit, whichever is larger, on either side.
    """
    limit = parts["load_limit_kg"].to_numpy(dtype=float)
    return parts[~is_far(limit, mass, error)]


def is_far(limit: Floats, mass: float, error: float) -> npt.NDArray[np.bool_]:
    """Return which load limits are far enough; those not known are."""
    out = np.abs(mass - limit) <= np.maximum(_ERRORS * error, _NEAR * limit)
    return np.asarray(~out)


def in_use(
    loads: pd.DataFrame,
    margins: pd.DataFrame,
    sizes: pd.DataFrame,
    in_play: Collection[str],
    least: float,
) -> pd.DataFrame:
    """Return the parts in use, of the slings only sizes that the body may hang in.

    Those in play, the first two, and those that only their load limit rules out.
    """
    fit = margins[margins["measure"] != MASS].groupby("size")["chance"].min()
    wanted = {*in_play, *sizes["size"].head(2)}
    over = set(sizes.loc[sizes["over_load"], "size"])
    wanted |= over & set(fit.index[fit >= least])
    slings = loads["part"].str.startswith(_SLING)
    return loads[~slings | loads["part"].isin([f"{_SLING}{size}" for size in wanted])]
