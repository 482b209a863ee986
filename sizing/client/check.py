"""One client against one chart: chances, margins, and what to measure next."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from sizing.charts import DIRECTIONS, SizeChart
from sizing.charts.fits import nearest, yardsticks
from sizing.client.answer import ClientAnswer
from sizing.client.client import ABOUT, Client, client_from
from sizing.client.conditions import condition_keys
from sizing.client.doubts import doubtful
from sizing.client.growth import GROWN, outgrows
from sizing.client.how import ESTIMATED, MASS, TAKEN
from sizing.client.judged import IN_PLAY, evidence_limits, sources
from sizing.client.loads_allowances import (
    allowance_table,
    in_body_terms,
    load_table_of,
    never_less,
    over_load,
)
from sizing.client.measuring import (
    LEVEL,
    bounded,
    measures_frame,
    next_measures,
    not_taken,
    why_cautious,
)
from sizing.client.outcomes import (
    Edges,
    broken_by,
    chances,
    edges_of,
    fitting,
    outcome_table,
)
from sizing.client.posterior import bodies_of
from sizing.errors import InputProblems, Problem, SizingError, check_seed
from sizing.measures import MEASURES, NO_HIGH, NO_LOW, to_tenths
from sizing.stats.formulas import Floats

#: From this chance of no fit on it is said what the nearest size lacks.
_NONE_FITS = 0.05
#: Within so many cm or kg of an edge it is said what one more or less would change
#: (our choice, no source).
_NEAR_EDGE = 2.0


def check_client(
    chart: SizeChart,
    client: Client | Mapping[str, Any],
    *,
    how: Mapping[str, str] | str | None = None,
    loads: Mapping[str, float] | None = None,
    allowances: Mapping[str, float] | None = None,
    confirmed: bool = False,
    conditions: str | Iterable[str] = (),
    seed: int = 1,
) -> ClientAnswer:
    """Say how likely each size is to fit one client, and what would settle it.

    Parameters
    ----------
    chart : SizeChart
        The size chart, in cm and kg.
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
    conditions : str or sequence of str
        Keys or labels of ``conditions_table``, besides those of the client. What
        they change is neither predicted nor predicts: not taken, it leaves every
        size that limits it unjudged.
    seed : int
        Of the draws; the same entries and seed give the same answer.

    Returns
    -------
    ClientAnswer
        ``sizes``: size, group; estimate, low, high, method, n (chance that
        every measure fits and the load is borne); not_judged (measures the size
        limits that are unknown, separated by semicolons: ``estimate`` is then
        empty, and ``high`` the chance of the rest); load_limit_kg (lowest of all
        parts); over_load; deciding_measure (the one likeliest to fail),
        margin (its distance to the nearer edge by the likeliest body, cm or
        kg, below 0 outside), broken_by (a measure read outside an edge by more
        than its error, or ""), broken_by_how_much (cm or kg). Likeliest first,
        then by size of the margin; those that a reading breaks last.

        ``margins``: size, measure, low_edge, high_edge (as on the chart),
        allowance, estimate (body + allowance), low, high (90 %), margin_low,
        margin_high, margin, chance (that this measure alone fits), decides, evidence
        (as in ``measures``), reading (as read, + allowance).

        ``measures``: measure, label, evidence (measured, predicted,
        extrapolated, unsupported; missing where a condition forbids to predict),
        how, reading, error_sd, estimate, low, high
        (90 % of what it may truly be), method, n.

        ``outcomes``: chance of each outcome of ``sizing.charts.assign``.
        ``next_measure``: see ``next_measures``. ``loads``: part, load_limit_kg
        (empty: not entered), lowest. ``allowances``: see ``allowance_table``.
        ``growth``: see ``outgrows``, for a child and the likeliest size; else empty.

        ``borderline``: of each measure that decides a size in play and was read within
        2 cm (kg) of its edge: measure, change (+1, -1; cm or kg), fits (sizes that
        then probably fit), estimate (chance of the likeliest), same (whether the
        same sizes fit now).

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
    error is narrowed by what the rest of the body says, and moved by its error at
    most; a confirmed one not at all. Body mass over the
    lowest load limit, as stated, rules a size out whatever the error.

    Examples
    --------
    >>> from sizing.charts import demo_chart
    >>> found = check_client(demo_chart(), {"sex": "female", "age_years": 74,
    ...     "body_mass_kg": 68, "stature_cm": 160, "hip_circumference_cm": 101,
    ...     "shoulder_height_sitting_cm": 56, "buttock_popliteal_length_cm": 46})
    >>> found.status, found.first["size"]
    ('fits', 'adult 2')
    """
    check_seed(seed)
    if not isinstance(client, Client):
        client = client_from(
            client, how=how, confirmed=confirmed, conditions=conditions
        )
    elif how is not None:
        raise SizingError("'how' goes with entries, not with a ready client.")
    else:
        more = [conditions] if isinstance(conditions, str) else conditions
        stated, wrong = condition_keys([*client.conditions, *more])
        if wrong:
            raise InputProblems(wrong, about=ABOUT)
        client = replace(client, conditions=stated)
    if not client.readings and client.sex is None and client.age_years is None:
        what = "nothing is known of the client"
        raise InputProblems([Problem(what, action="enter what is known")], about=ABOUT)
    doubts = (*client.unusual, *doubtful(client.unchanged, seed=seed))
    if doubts and not confirmed:
        raise InputProblems(doubts, about=ABOUT)
    allowed = allowance_table(allowances)
    load_table, load = load_table_of(chart, loads)
    shown = edges_of(chart, load)
    moved = (allowed["used_cm"] != 0).any()
    body_chart = in_body_terms(chart, allowed) if moved else chart
    edges = edges_of(body_chart, load) if moved else shown

    def judge(one: Client) -> _Judged:
        return _Judged(chart, one, shown, edges, seed, confirmed)

    now = judge(client)
    bodies, found, sizes, margins = now.bodies, now.found, now.sizes, now.margins
    growth, away = pd.DataFrame(), client.touched
    child = client.age_years is not None and client.age_years < GROWN
    # Growth follows body mass and stature: nothing is said where they do not count.
    if child and not set(away) & set(MEASURES[:2]):
        first = str(sizes["size"].iloc[0])
        growth = outgrows(bodies, edges.without(away), first, seed=seed)
    near = {}
    if bodies.weight @ ~found.may.any(axis=1) >= _NONE_FITS:
        near = _nearest(now.quantiles[1], body_chart, now.over)
    measures = measures_frame(client, bodies, now.quantiles)
    each = measures.set_index("measure")
    margins["evidence"] = margins["measure"].map(each["evidence"])
    # An estimated stature is no reading of it.
    read = each["reading"].where(each["how"] != ESTIMATED)
    margins["reading"] = margins["measure"].map(read) + margins["allowance"]
    frames = {
        "sizes": sizes,
        "margins": margins,
        "measures": measures,
        "outcomes": outcome_table(bodies, found),
        "next_measure": next_measures(client, bodies, found),
        "loads": load_table,
        "allowances": allowed,
        "growth": growth,
        "borderline": _borderline(client, now, judge),
    }
    limiting = not_taken(client, margins)
    mass, stature = now.quantiles[1, :2]
    cautious = why_cautious(client, mass / (stature / 100) ** 2) if limiting else ""
    return ClientAnswer(
        chart=chart,
        client=client,
        **(bounded(frames) if cautious else frames),
        nearest=near,
        doubts=doubts,
        limits=evidence_limits(client),
        sources=sources(client),
        bodies=bodies,
        limiting=limiting,
        cautious=cautious,
    )


class _Judged:
    def __init__(
        self,
        chart: SizeChart,
        client: Client,
        shown: Edges,
        edges: Edges,
        seed: int,
        confirmed: bool,
    ) -> None:
        self.edges = edges
        self.over = over_load(client, edges.load)
        self.bodies = bodies_of(client, seed=seed, confirmed=confirmed)
        hung = never_less(client, self.bodies)
        values = self.bodies.values
        self.found = fitting(values, edges, over=self.over, hung_kg=hung)
        ends = [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2]
        self.quantiles = self.bodies.quantile(ends)
        self.unknown = edges.unknown(values)
        self.margins = self._margins(shown)
        self.sizes = self._sizes(chart, *broken_by(client.readings, edges))

    @property
    def fits(self) -> str:
        table = self.sizes
        good = (table["estimate"] >= 0.5) & (table["broken_by"] == "")
        return " and ".join(table.loc[good, "size"])

    def _margins(self, shown: Edges) -> pd.DataFrame:
        edges, weight = self.edges, self.bodies.weight
        k, m = len(edges.sizes), len(edges.measures)
        place = [MEASURES.index(name) for name in edges.measures]
        (low, high), seen = _open(edges), _open(shown)
        shift = np.fmax(seen[0] - low, seen[1] - high)
        shift = np.where(np.isfinite(shift), shift, 0.0).max(axis=1, keepdims=True)
        q = self.quantiles[:, place, None]
        margin = np.fmin(q[1] - low, high - q[1])
        chance = np.stack([weight @ self.found.within[n] for n in edges.measures])
        nobody = np.full(k, False)
        waits = np.stack([self.unknown.get(n, nobody) for n in edges.measures])
        chance[waits] = np.nan
        before = np.where(weight @ self.found.may > 0, -1.0, np.inf)
        # What is unknown decides, else the likeliest to fail; of equals the one with
        # the least room. Where the rest rules a size out, what is unknown no longer
        # matters.
        room = margin
        if (high > low).any(axis=1).all():
            width = np.where(high > low, high - low, np.nan)
            room = margin / np.nanmedian(width, axis=1)[:, None]
        likeliest = np.where(np.isnan(chance), before, chance.round(6))
        order = np.lexsort((np.nan_to_num(room, nan=np.inf), likeliest), axis=0)
        decides = np.zeros((m, k), dtype=bool)
        decides[order[0], np.arange(k)] = True
        columns = {
            "low_edge": seen[0],
            "high_edge": seen[1],
            "allowance": shift,
            "estimate": q[1] + shift,
            "low": q[0] + shift,
            "high": q[2] + shift,
            "margin_low": q[1] - low,
            "margin_high": high - q[1],
            "margin": margin,
            "chance": chance,
            "decides": decides,
        }
        each = {
            name: np.broadcast_to(v, (m, k)).T.ravel() for name, v in columns.items()
        }
        names = list(product(edges.sizes, edges.measures))
        return pd.DataFrame(names, columns=["size", "measure"]).assign(**each)

    def _sizes(
        self, chart: SizeChart, broken: npt.NDArray[np.object_], by: Floats
    ) -> pd.DataFrame:
        """Return the sizes, likeliest first; of equals the one with most room.

        A size that limits what is unknown has no chance of its own: it comes in the
        order of the chance of the rest, after any size that probably fits. Those of
        which a reading breaks an edge come last, however likely.
        """
        made = chances(self.bodies, self.found.may)
        waits = [
            [n for n, limits in self.unknown.items() if limits[i] and chance > 0]
            for i, chance in enumerate(made["estimate"])
        ]
        waiting = np.array([bool(names) for names in waits])
        each = self.margins[self.margins["decides"]]
        deciding = np.where(waiting, [(*n, "")[0] for n in waits], each["measure"])
        load = self.edges.load
        table = pd.DataFrame(
            {
                "size": np.array(chart.sizes, dtype=object),
                "group": chart.frame["group"].to_numpy(dtype=object),
                "estimate": np.where(waiting, np.nan, made["estimate"]),
                # A size ruled out by its load limit is so for certain.
                "low": np.where(self.over | waiting, 0.0, made["low"]),
                "high": np.where(self.over, 0.0, made["high"]),
                "method": made["method"],
                "n": made["n"],
                "not_judged": np.array([";".join(n) for n in waits], dtype=object),
                "load_limit_kg": np.where(load == NO_HIGH, np.nan, load / 10),
                "over_load": self.over,
                "deciding_measure": np.where(self.over, MASS, deciding),
                "margin": np.where(waiting, np.nan, each["margin"]),
                "broken_by": broken,
                "broken_by_how_much": by,
            }
        )
        behind = waiting | (made["estimate"] < 0.5)
        margin = -np.nan_to_num(table["margin"])
        keys = margin, -made["estimate"].round(3), behind, broken != ""
        return table.iloc[np.lexsort(keys)].reset_index(drop=True)


def _borderline(
    client: Client, now: _Judged, judge: Callable[[Client], _Judged]
) -> pd.DataFrame:
    likely = now.sizes["estimate"].fillna(0) >= IN_PLAY
    near = likely & (now.sizes["margin"].abs() <= _NEAR_EDGE)
    rows = []
    for name in dict.fromkeys(now.sizes.loc[near, "deciding_measure"]):
        one = client.known.get(name)
        if one is None or one.how not in (*TAKEN, "exact"):
            continue
        for change in (1.0, -1.0):
            other = replace(one, value=one.value + change)
            taken = tuple(other if r is one else r for r in client.readings)
            then = judge(replace(client, readings=taken))
            chance = float(then.sizes["estimate"].iloc[0])
            rows.append((name, change, then.fits, chance, then.fits == now.fits))
    columns = ["measure", "change", "fits", "estimate", "same"]
    return pd.DataFrame(rows, columns=columns)


def _open(edges: Edges) -> tuple[Floats, Floats]:
    """Return edges in cm or kg, measures x sizes, NaN where there is no limit."""
    low = np.stack(list(edges.low.values()))
    high = np.stack(list(edges.high.values()))
    return (
        np.where(low == NO_LOW, np.nan, low / 10),
        np.where(high == NO_HIGH, np.nan, high / 10),
    )


def _nearest(
    middle: Floats, chart: SizeChart, over: npt.NDArray[np.bool_]
) -> dict[str, Any]:
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
