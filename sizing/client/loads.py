"""What bears the person: the parts' load limits, and how near the weight comes."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import SizeChart
from sizing.client.client import Client
from sizing.client.how import MASS, TAKEN
from sizing.client.judged import IN_PLAY, JudgedClient
from sizing.client.posterior import Bodies
from sizing.errors import Problem, SizingError
from sizing.measures import to_tenths
from sizing.measures.edges import NO_HIGH
from sizing.measures.written import Say, written
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

    Parameters
    ----------
    client : Client
    bodies : Bodies

    Returns
    -------
    ndarray, shape (n,)
    """
    mass = bodies.values[:, 0]
    one = client.known.get(MASS)
    if one is None or one.how in TAKEN or one.sd == 0:
        return mass
    middle = bodies.quantile([0.5])[0, 0]
    moved: Floats = np.maximum(mass * max(1.0, one.value / middle), one.value)
    return moved


def load_lines(answer: JudgedClient, *, say: Say = written) -> list[str]:
    """Say where the weight is too near a load limit to be relied on.

    Near is within two typical errors of how it was weighed, or within 5 % of the
    limit, whichever is larger, on either side.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> from sizing.client import check_client
    >>> found = check_client(demo_chart(), {"sex": "female", "age_years": 74,
    ...     "body_mass_kg": 68}, loads={"hoist": 70, "spreader bar": 200})
    >>> print(load_lines(found)[0])
    Weigh again before any lift: body mass, 68 kg, is too near a load limit to rely \
on: hoist (70 kg). The load decides, whatever else fits.
    """
    one = answer.client.known.get(MASS)
    row = answer.measures.iloc[0]
    mass = float(row["estimate"]) if one is None else one.value
    error = float(row["high"] - row["estimate"]) / 1.645 if one is None else one.sd
    parts = _in_use(answer)
    limit = parts["load_limit_kg"]
    near = (mass - limit).abs() <= np.maximum(_ERRORS * error, _NEAR * limit)
    if not near.any():
        return []
    named = ", ".join(
        f"{part['part']} ({say(part['load_limit_kg'], 'load_limit_kg', to='tenth')})"
        for _, part in parts[near].iterrows()
    )
    again = "again " if one is not None and one.how in TAKEN else ""
    how = "" if again else "predicted to be " if one is None else f"{one.how} as "
    return [
        f"Weigh {again}before any lift: body mass, {how}{say(mass, MASS, to='tenth')}, "
        f"is too near a load limit to rely on: {named}. The load decides, whatever "
        "else fits."
    ]


def not_entered(answer: JudgedClient) -> list[str]:
    """Return the parts in use whose load limit was not entered."""
    parts = _in_use(answer)
    return list(parts.loc[parts["load_limit_kg"].isna(), "part"])


def not_entered_lines(answer: JudgedClient) -> list[str]:
    """Say which load limits are not in the sum."""
    names = not_entered(answer)
    if not names:
        return []
    return [
        f"Load limit not entered: {'; '.join(names)}. Read it from the label before "
        "any lift; the lowest of all parts counts."
    ]


def _in_use(answer: JudgedClient) -> pd.DataFrame:
    """Return the parts, of the slings only sizes that the body may hang in.

    Those in play, the first two, and those that only their load limit rules out.
    """
    other = answer.margins[answer.margins["measure"] != MASS]
    fit = other.groupby("size")["chance"].min()
    sizes = {*answer.in_play, *answer.sizes["size"].head(2)}
    over = set(answer.sizes.loc[answer.sizes["over_load"], "size"])
    sizes |= over & set(fit.index[fit >= IN_PLAY])
    parts = answer.loads["part"]
    slings = parts.str.startswith(_SLING)
    return answer.loads[~slings | parts.isin([f"{_SLING}{size}" for size in sizes])]
