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
from sizing.client import measuring, outcomes
from sizing.client.change import outgrows
from sizing.client.client import ABOUT, GROWN, Client, client_from
from sizing.client.judged import IN_PLAY, ClientAnswer, evidence_limits, sources
from sizing.client.outcomes import Edges
from sizing.client.posterior import bodies_of
from sizing.client.readings import ESTIMATED, MASS, TAKEN, condition_keys
from sizing.errors import InputProblems, Problem, SizingError, check_seed
from sizing.measures import MEASURES, NO_HIGH, to_tenths
from sizing.stats.formulas import Floats

#: From this chance of no fit on it is said what the nearest size lacks; and within so
#: many cm or kg of an edge what one more or less would change (our choice, no source).
_NONE_FITS, _NEAR_EDGE = 0.05, 2.0


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
        What is known, each value named with its unit, or from ``client_from``.
    how : mapping or str, optional
        How each was measured, or one way for all; only with a mapping.
    loads : mapping, optional
        Safe working load in kg of each further part, such as ``{"hoist": 200,
        "spreader bar": 250}``. The chart's own load limits count besides.
    allowances : mapping, optional
        Between body and fabric, in cm, by the keys of ``allowance_table``; else 0.
    confirmed : bool
        What looks wrong was measured again and is right.
    conditions : str or sequence of str
        Keys or labels of ``conditions_table``, besides those of the client. What they
        change predicts nothing: not taken, it leaves sizes that limit it unjudged.
    seed : int
        Of the draws; the same entries and seed give the same answer.

    Returns
    -------
    ClientAnswer
        ``sizes``, the likeliest first, those a reading breaks last: estimate, low, high
        (chance that all fits and is borne; Monte Carlo 95 %), not_judged (limited and
        unknown: ``high`` is the chance of the rest), deciding_measure (likeliest to
        fail), margin (to its nearer edge, cm or kg, below 0 outside), broken_by.
        ``margins``, by size and measure: edges, allowance, what body + allowance may be
        (90 %), chance of it alone. ``measures``: evidence, reading, error_sd and what
        the body may be. ``borderline``: what 1 cm or kg more or less would change.
        ``outcomes``, ``next_measure``, ``loads``, ``allowances``, a child's ``growth``.

    Raises
    ------
    InputProblems
        If entries are wrong, or look wrong and are not confirmed: before any
        size is named.
    SizingError
        If a load or an allowance cannot be used.

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
    doubts = (*client.unusual, *measuring.doubtful(client.unchanged, seed=seed))
    if doubts and not confirmed:
        raise InputProblems(doubts, about=ABOUT)
    allowed = outcomes.allowance_table(allowances)
    load_table, load = outcomes.load_table_of(chart, loads)
    body_chart = outcomes.in_body_terms(chart, allowed)
    shown, edges = (outcomes.edges_of(one, load) for one in (chart, body_chart))
    how_drawn: dict[str, Any] = {"seed": seed, "confirmed": confirmed}

    def judge(one: Client) -> _Judged:
        return _Judged(chart, one, shown=shown, edges=edges, **how_drawn)

    now = judge(client)
    bodies, found, sizes, margins = now.bodies, now.found, now.sizes, now.margins
    growth, away = pd.DataFrame(), client.touched
    child = client.age_years is not None and client.age_years < GROWN
    # Growth follows body mass and stature: nothing is said where they do not count.
    if child and not set(away) & set(MEASURES[:2]):
        first = str(sizes["size"].iloc[0])
        growth = outgrows(bodies, edges, first, seed=seed)
        growth = growth[~growth["measure"].isin(away)].reset_index(drop=True)
    near = {}
    if bodies.weight @ ~found.may.any(axis=1) >= _NONE_FITS:
        near = _nearest(now.quantiles[1], body_chart, now.over)
    measures = measuring.measures_frame(client, bodies, now.quantiles)
    each = measures.set_index("measure")
    margins["evidence"] = margins["measure"].map(each["evidence"])
    # An estimated stature is no reading of it.
    read = each["reading"].where(each["how"] != ESTIMATED)
    margins["reading"] = margins["measure"].map(read) + margins["allowance"]
    frames = {
        "sizes": sizes,
        "margins": margins,
        "measures": measures,
        "outcomes": outcomes.outcome_table(bodies, found),
        "next_measure": measuring.next_measures(client, bodies, found),
        "loads": load_table,
        "allowances": allowed,
        "growth": growth,
        "borderline": _borderline(client, now, judge),
    }
    limiting, cautious = measuring.not_taken(client, margins), ""
    if limiting:
        mass, stature = now.quantiles[1, :2]
        cautious = measuring.why_cautious(client, mass / (stature / 100) ** 2)
    return ClientAnswer(
        chart=chart,
        client=client,
        **(measuring.bounded(frames) if cautious else frames),
        nearest=near,
        doubts=doubts,
        limits=evidence_limits(client),
        sources=sources(client),
        bodies=bodies,
        limiting=limiting,
        cautious=cautious,
    )


class _Judged:
    """One client's draws against a chart as shown and as ``edges`` of the body."""

    def __init__(
        self,
        chart: SizeChart,
        client: Client,
        *,
        shown: Edges,
        edges: Edges,
        **how: Any,
    ) -> None:
        self.edges = edges
        self.over = outcomes.over_load(client, edges.load)
        self.bodies = bodies_of(client, **how)
        hung, values = outcomes.never_less(client, self.bodies), self.bodies.values
        self.found = outcomes.fitting(values, edges, over=self.over, hung_kg=hung)
        level = measuring.LEVEL
        self.quantiles = self.bodies.quantile([(1 - level) / 2, 0.5, (1 + level) / 2])
        self.unknown = edges.unknown(values)
        self.margins = self._margins(shown)
        self.sizes = self._sizes(chart, *outcomes.broken_by(client.readings, edges))

    @property
    def fits(self) -> str:
        table = self.sizes
        good = (table["estimate"] >= 0.5) & (table["broken_by"] == "")
        return " and ".join(table.loc[good, "size"])

    def _margins(self, shown: Edges) -> pd.DataFrame:
        edges, weight = self.edges, self.bodies.weight
        k, m = len(edges.sizes), len(edges.measures)
        (low, high), seen = edges.spans(), shown.spans()
        shift = np.nan_to_num(np.fmax(seen[0] - low, seen[1] - high))
        shift = shift.max(axis=1, keepdims=True)
        place = [MEASURES.index(name) for name in edges.measures]
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
        """Return the sizes, likeliest first, the unknown behind, broken ones last."""
        made = outcomes.chances(self.bodies, self.found.may)
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
