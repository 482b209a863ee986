"""One client against one chart: chances, margins, and what to measure next."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.chart import SizeChart
from sizing.client.allowances import allowance_table, in_body_terms
from sizing.client.answer import ClientAnswer
from sizing.client.client import ABOUT, Client, client_from
from sizing.client.doubts import doubtful
from sizing.client.growth import GROWN, outgrows
from sizing.client.how import MASS, TAKEN, how_measured
from sizing.client.next_measure import next_measures
from sizing.client.outcomes import (
    Fitting,
    chance_table,
    fitting,
    outcome_table,
)
from sizing.client.posterior import Bodies, draw_bodies
from sizing.client.stature import equations
from sizing.errors import InputProblems, Problem, SizingError
from sizing.fit import DIRECTIONS
from sizing.fit.nearest import nearest, yardsticks
from sizing.measures import EVIDENCE, MEASURES, SEATED_AND_GIRTHS, SEXES, to_tenths
from sizing.measures.edges import NO_HIGH, NO_LOW
from sizing.population import limits
from sizing.population.model_evidence import evidence_levels
from sizing.population.model_terms import Floats

#: Share of such bodies inside the interval of a measure.
LEVEL = 0.90
_LEAST_LOAD, _MOST_LOAD = 20.0, 1000.0


def check_client(
    chart: SizeChart,
    client: Client | Mapping[str, Any],
    *,
    how: Mapping[str, str] | str | None = None,
    loads: Mapping[str, float] | None = None,
    allowances: Mapping[str, float] | None = None,
    confirmed: bool = False,
    seed: int = 1,
) -> ClientAnswer:
    """Say how likely each size is to fit one client, and what would settle it.

    Parameters
    ----------
    chart : SizeChart
    client : Client or mapping
        From ``client_from``, or what it takes.
    how : mapping or str, optional
        As for ``client_from``; only with a mapping.
    loads : mapping, optional
        Safe working load in kg of each further part, such as ``{"hoist": 200,
        "spreader bar": 250}``. The chart's own load limits count besides.
    allowances : mapping, optional
        Between body and fabric, as for ``allowance_table``; 0 if not given.
    confirmed : bool
        What looks wrong was measured again and is right.
    seed : int
        Of the draws; the same entries and seed give the same answer.

    Returns
    -------
    ClientAnswer
        ``sizes``: size, group; estimate, low, high, method, n (chance that
        every measure fits and the load is borne); load_limit_kg (lowest of all
        parts); over_load; deciding_measure (the one likeliest to fail),
        margin (its distance to the nearer edge by the likeliest body, cm or
        kg, below 0 outside). Likeliest first, then by size of the margin.

        ``margins``: size, measure, low_edge, high_edge (as on the chart),
        allowance, estimate (body + allowance), low, high (90 %), margin_low,
        margin_high, margin, chance (that this measure alone fits), decides.

        ``measures``: measure, label, evidence (measured, predicted,
        extrapolated, unsupported), how, reading, error_sd, estimate, low, high
        (90 % of what it may truly be), method, n.

        ``outcomes``: chance of each outcome of ``sizing.fit.assign``.
        ``next_measure``: see ``next_measures``. ``loads``: part, load_limit_kg,
        lowest. ``allowances``: see ``allowance_table``. ``growth``: see
        ``outgrows``, for a child and the likeliest size; else empty.

    Raises
    ------
    InputProblems
        If entries are wrong, or look wrong and are not confirmed: before any
        size is named.
    SizingError
        If a load or an allowance cannot be used.

    Notes
    -----
    4,096 joint draws of the body given the readings (``draw_bodies``), evenly
    spread (scrambled Sobol points, Owen 1997, from memory). A measure with its
    error is narrowed by what the rest of the body says. Body mass over the
    lowest load limit, as stated, rules a size out whatever the error.

    Examples
    --------
    >>> from sizing.chart import demo_chart
    >>> found = check_client(demo_chart(), {"sex": "female", "age_years": 74,
    ...     "body_mass_kg": 68, "stature_cm": 160, "hip_circumference_cm": 101,
    ...     "shoulder_height_sitting_cm": 56, "buttock_popliteal_length_cm": 46})
    >>> found.status, found.first["size"]
    ('fits', 'adult 2')
    """
    if not isinstance(client, Client):
        client = client_from(client, how=how, confirmed=confirmed)
    elif how is not None:
        raise SizingError("'how' goes with entries, not with a ready client.")
    if not client.readings and client.sex is None and client.age_years is None:
        raise InputProblems(
            [Problem("nothing is known of the client", action="enter what is known")],
            about=ABOUT,
        )
    doubts = (*client.unusual, *doubtful(client, seed=seed))
    if doubts and not confirmed:
        raise InputProblems(doubts, about=ABOUT)
    allowed = allowance_table(allowances)
    body_chart = in_body_terms(chart, allowed)
    load_table, load = _loads(chart, loads)
    over = _over(client, load)
    bodies = draw_bodies(client.sex, client.age_years, client.readings, seed=seed)
    found = fitting(bodies.values, body_chart, load, over=over)
    low, middle, high = bodies.quantile([(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2])
    margins = _margins(chart, body_chart, bodies, found, load, (low, middle, high))
    sizes = _sizes(chart, bodies, found, load, over, margins)
    measures = _measures(client, bodies, (low, middle, high))
    growth = pd.DataFrame()
    if client.age_years is not None and client.age_years < GROWN:
        growth = outgrows(bodies, body_chart, str(sizes["size"].iloc[0]), seed=seed)
    return ClientAnswer(
        chart=chart,
        client=client,
        sizes=sizes,
        margins=margins,
        measures=measures,
        outcomes=outcome_table(bodies, found),
        next_measure=next_measures(client, bodies, found),
        loads=load_table,
        allowances=allowed,
        growth=growth,
        nearest=_nearest(middle, body_chart, over),
        notes=tuple(_notes(client, chart)),
        doubts=tuple(str(doubt) for doubt in doubts),
        limits=_limits(client),
        sources=_sources(client),
        bodies=bodies,
    )


def _loads(
    chart: SizeChart, loads: Mapping[str, float] | None
) -> tuple[pd.DataFrame, npt.NDArray[np.int64]]:
    """Return the parts' load limits, and the lowest with each size in 0.1 kg."""
    rows = []
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
    own = chart.load_limits()
    lowest = min((row["load_limit_kg"] for row in rows), default=np.inf)
    load = own if np.isinf(lowest) else np.minimum(own, int(to_tenths([lowest])[0]))
    for size, limit in zip(chart.sizes, own, strict=True):
        known = limit < NO_HIGH
        rows.append(
            {
                "part": f"sling, size {size}",
                "load_limit_kg": limit / 10 if known else np.nan,
            }
        )
    table = pd.DataFrame(rows)
    table["lowest"] = table["load_limit_kg"] == table["load_limit_kg"].min()
    return table, load


def _over(client: Client, load: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Return the sizes whose lowest load limit the stated body mass exceeds."""
    if MASS not in client.known:
        return np.zeros(len(load), dtype=bool)
    return np.asarray(to_tenths([client.known[MASS].value])[0] > load)


def _margins(
    chart: SizeChart,
    body_chart: SizeChart,
    bodies: Bodies,
    found: Fitting,
    load: npt.NDArray[np.int64],
    quantiles: tuple[Floats, Floats, Floats],
) -> pd.DataFrame:
    """Return each measure's distance to the edges of each size."""
    units = yardsticks(body_chart)
    parts = []
    for name in chart.measures:
        j = MEASURES.index(name)
        shown = _open(chart.edges(name))
        low, high = _open(body_chart.edges(name))
        x = quantiles[1][j]
        shift = float(np.nanmax([*(shown[0] - low), *(shown[1] - high), -np.inf]))
        shift = shift if np.isfinite(shift) else 0.0
        margin = np.fmin(x - low, high - x)
        parts.append(
            pd.DataFrame(
                {
                    "size": chart.sizes,
                    "measure": name,
                    "low_edge": shown[0],
                    "high_edge": shown[1],
                    "allowance": shift,
                    "estimate": x + shift,
                    "low": quantiles[0][j] + shift,
                    "high": quantiles[2][j] + shift,
                    "margin_low": x - low,
                    "margin_high": high - x,
                    "margin": margin,
                    "chance": bodies.weight @ found.within[name],
                    "yardstick": 10 * margin / units[name],
                }
            )
        )
    table = pd.concat(parts, ignore_index=True)
    # The likeliest to fail decides; of equals the one with the least room.
    order = table.sort_values(["chance", "yardstick"], kind="stable")
    decides = order.groupby("size", sort=False).head(1).index
    table["decides"] = table.index.isin(decides)
    rank = {size: i for i, size in enumerate(chart.sizes)}
    key = table["size"].map(rank)
    return (
        table.drop(columns="yardstick")
        .iloc[np.argsort(key.to_numpy(), kind="stable")]
        .reset_index(drop=True)
    )


def _open(
    edges: tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]],
) -> tuple[Floats, Floats]:
    """Return edges in cm or kg, NaN where there is no limit."""
    low, high = edges
    return (
        np.where(low == NO_LOW, np.nan, low / 10),
        np.where(high == NO_HIGH, np.nan, high / 10),
    )


def _sizes(
    chart: SizeChart,
    bodies: Bodies,
    found: Fitting,
    load: npt.NDArray[np.int64],
    over: npt.NDArray[np.bool_],
    margins: pd.DataFrame,
) -> pd.DataFrame:
    table = chance_table(bodies, found.fits)
    table.insert(0, "size", chart.sizes)
    table.insert(1, "group", chart.frame["group"].to_numpy())
    table["load_limit_kg"] = np.where(load == NO_HIGH, np.nan, load / 10)
    table["over_load"] = over
    deciding = margins[margins["decides"]].set_index("size")
    table["deciding_measure"] = table["size"].map(deciding["measure"])
    table["margin"] = table["size"].map(deciding["margin"])
    heavy = table["over_load"]
    table.loc[heavy, "deciding_measure"] = MASS
    table.loc[heavy, ["low", "high"]] = 0.0
    order = table.assign(rounded=table["estimate"].round(3)).sort_values(
        ["rounded", "margin"], ascending=False, kind="stable"
    )
    return order.drop(columns="rounded").reset_index(drop=True)


def _measures(
    client: Client, bodies: Bodies, quantiles: tuple[Floats, Floats, Floats]
) -> pd.DataFrame:
    """Return every measure with its interval, marked measured or predicted."""
    from sizing.measures import vocabulary

    known = client.known
    mass, stature = (np.array([quantiles[1][j]]) for j in (0, 1))
    order = np.argsort(bodies.age_years)
    middle = np.searchsorted(np.cumsum(bodies.weight[order]), 0.5)
    age = bodies.age_years[order[middle : middle + 1]]
    sexes = SEXES if client.sex is None else (client.sex,)
    level = np.max(
        [
            evidence_levels(
                np.array([sex], dtype=object), mass, stature, age, SEATED_AND_GIRTHS
            )[0]
            for sex in sexes
        ],
        axis=0,
    )
    words = ["predicted", "predicted", *(EVIDENCE[i] for i in level)]
    labels = dict(zip(*vocabulary()[["name", "label"]].to_numpy().T, strict=True))
    rows = []
    for j, name in enumerate(MEASURES):
        one = known.get(name)
        taken = one is not None and one.how in (*TAKEN, "exact")
        rows.append(
            {
                "measure": name,
                "label": labels[name],
                "evidence": EVIDENCE[0] if taken else words[j],
                "how": one.how if one else "",
                "reading": one.value if one else np.nan,
                "error_sd": one.sd if one else np.nan,
                "estimate": quantiles[1][j],
                "low": quantiles[0][j],
                "high": quantiles[2][j],
                "method": f"median and {100 * LEVEL:.0f} % interval of joint draws",
                "n": len(bodies.weight),
            }
        )
    return pd.DataFrame(rows)


def _nearest(
    middle: Floats, chart: SizeChart, over: npt.NDArray[np.bool_]
) -> dict[str, Any]:
    """Return what the likeliest body misses of the nearest size."""
    values = {
        name: to_tenths([middle[MEASURES.index(name)]]) for name in yardsticks(chart)
    }
    size, measure, direction, miss = nearest(
        values, chart, over_load=np.array([bool(over.all())])
    )
    if miss[0] <= 0:
        return {}
    return {
        "size": chart.sizes[int(size[0])],
        "measure": list(values)[int(measure[0])],
        "direction": DIRECTIONS[int(direction[0])],
        "miss": float(miss[0]),
    }


def _notes(client: Client, chart: SizeChart) -> list[str]:
    """Return what to know of these entries."""
    known = client.known
    unused = [m for m in known if m not in chart.measures and m != MASS]
    missing = [m for m in chart.measures if m not in known]
    notes = []
    if MASS not in known:
        notes.append(
            "Body mass was not measured: weigh before any lift, and compare with the "
            "lowest load limit of all parts."
        )
    elif known[MASS].how in ("reported", "guessed"):
        notes.append(
            f"Body mass was {known[MASS].how}, not weighed: weigh before any lift."
        )
    if known and not set(known) & set(chart.measures):
        notes.append(
            "The chart limits none of the measures that were taken: every figure it "
            "is compared with is predicted. Take one the chart limits: "
            f"{', '.join(_plain(m) for m in chart.measures)}."
        )
    elif unused:
        notes.append(
            f"The chart does not limit {', '.join(_plain(m) for m in unused)}; these "
            "serve to predict what was not measured."
        )
    if missing:
        notes.append(
            f"Predicted, not measured: {', '.join(_plain(m) for m in missing)}."
        )
    if (chart.load_limits() == NO_HIGH).any():
        notes.append(
            "The chart states no load limit for some size: read the sling's own label."
        )
    if client.sex is None:
        notes.append("Sex was not stated: both are mixed, so intervals are wider.")
    if client.age_years is None:
        notes.append("Age was not stated: all ages are mixed, so intervals are wider.")
    if client.stature is not None:
        notes.append(client.stature.summary())
    return notes


def _plain(measure: str) -> str:
    return measure.rsplit("_", 1)[0].replace("_", " ")


def _limits(client: Client) -> tuple[str, ...]:
    age = client.age_years
    span = (2.0, 80.0) if age is None else (age, age)
    return (*limits.model_limits(*span), limits.AT_HOME, limits.NO_POSTURE)


def _sources(client: Client) -> tuple[str, ...]:
    found = [*limits.MODEL_SOURCES]
    found += [f"{one.measure}: {one.source}" for one in client.readings]
    return tuple(dict.fromkeys(found))


__all__ = ["check_client", "equations", "how_measured"]
