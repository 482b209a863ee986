"""A list of clients judged at once: a row each, for whoever visits them."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.client.client import Client
from sizing.client.conditions import condition_keys
from sizing.client.doubts import doubtful
from sizing.client.how import HOW, MASS, TAKEN, reading
from sizing.client.loads_allowances import is_far, load_table_of, never_less, over_load
from sizing.client.measuring import MOST, why_cautious
from sizing.client.outcomes import Edges, broken_by, edges_of, fitting
from sizing.client.posterior import bodies_of
from sizing.errors import DoubtfulValues, InputProblems, caught_warnings, warn
from sizing.measures import MEASURES, plain, to_standard_units
from sizing.measures.tables import CLIENTS, ROW, say, take
from sizing.people.own import client_rows
from sizing.words.client import listed, records, sure_word
from sizing.words.numbers import in_100

#: So many times fewer draws than for one alone: a thousand clients take seconds, and
#: a chance is another by 1 in 100 on average, 3 at most (60 invented clients of two
#: to five measures, run once).
FEWER = 2
COLUMNS = ["row", "reference", "fits", "chance", "how_sure", "measure", "check"]


def read_clients(path: str | Path) -> pd.DataFrame:
    file = Path(path)
    table = client_rows(file, CLIENTS)
    bare = {c: CLIENTS.without_unit(c) for c in table.columns}
    units = {c: f"{c} ({unit})" for c, unit in bare.items() if unit}
    attrs = table.attrs
    table = table.rename(columns=units)
    table.attrs = attrs
    taken = take(table, CLIENTS, note=False, collect=True)
    rows = pd.Index(taken.rows[1:], name=ROW)
    unusual: dict[int, list[str]] = {}
    with taken.told(), caught_warnings() as caught:
        standard = to_standard_units(taken.frame.set_axis(rows), file=file.name)
    for item in caught:
        if isinstance(item.message, DoubtfulValues):
            for one in item.message.problems:
                at = taken.rows[(one.row or 2) - 1]
                words = f"{plain(str(one.column))} {one.value:g}: {one.what}"
                unusual.setdefault(at, []).append(words)
        else:
            warn(item.message, item.category)
    if units:
        named = ", ".join(f"{c!r} in {bare[c]}" for c in units)
        say(file.name, f"no unit in the heading, so read as the kit's: {named}")
    say(file.name, taken.read())
    standard = standard.reset_index(drop=True)
    standard.insert(0, "row", taken.rows[1:])
    doubts = ["; ".join(unusual.get(row, [])) for row in taken.rows[1:]]
    return standard.assign(doubts=doubts)


def judge_clients(
    chart: SizeChart, clients: pd.DataFrame, *, seed: int = 1
) -> pd.DataFrame:
    """Judge a list of clients against one chart.

    One row per client: ``row``, ``reference``; ``fits`` (sizes that probably fit,
    parted by " and ", "" for none); ``chance`` (of the likeliest size, 0-1; empty where
    it is not judged); ``how_sure`` (in words); ``measure`` (what the chart limits and
    was not taken); ``check`` (what looks wrong or comes near a limit). The figures are
    those of ``check_client`` from 2,048 draws, and bounded as there.

    >>> from sizing.charts import demo_chart
    >>> clients = pd.DataFrame({"sex": ["female"], "age_years": [74.0],
    ...     "body_mass_kg": [68.0], "hip_circumference_cm": [101.0],
    ...     "shoulder_height_sitting_cm": [58.0],
    ...     "buttock_popliteal_length_cm": [46.0]})
    >>> judge_clients(demo_chart(), clients)["fits"].tolist()
    ['adult 2 and adult 1']
    """
    edges = edges_of(chart, load_table_of(chart, None)[1])
    rows = [_judged(record, edges, seed) for record in records(clients)]
    return pd.DataFrame(rows, columns=COLUMNS)


def _judged(record: dict[Any, Any], edges: Edges, seed: int) -> dict[str, Any]:
    client = _client(record)
    out: dict[str, Any] = {
        "row": record.get("row", ""),
        "reference": record.get("reference", ""),
        "fits": "",
        "chance": np.nan,
        "how_sure": "Nothing is known of this client.",
    }
    if not client.readings and client.sex is None and client.age_years is None:
        return out | {"measure": listed([plain(m) for m in edges.measures])}
    over = over_load(client, edges.load)
    bodies = bodies_of(client, seed=seed, fewer=FEWER)
    hung = never_less(client, bodies)
    found = fitting(bodies.values, edges, over=over, hung_kg=hung)
    chance = bodies.weight @ found.may
    none = 1.0 - float(bodies.weight @ found.may.any(axis=1))
    taken = {m for m, one in client.known.items() if one.how in TAKEN}
    missing = [m for m in edges.measures if m not in taken]
    mass, stature = bodies.quantile([0.5])[0, :2]
    if missing and why_cautious(client, mass / (stature / 100) ** 2):
        chance, none = np.minimum(chance, MOST), min(none, MOST)
    waits = np.any([*edges.unknown(bodies.values).values(), over & False], axis=0)
    outside = broken_by(client.readings, edges)[0]
    broken = outside != ""
    fits = (chance >= 0.5) & ~broken & ~waits
    sizes = np.array(edges.sizes, dtype=object)
    order = np.argsort(-chance, kind="stable")
    named = [str(sizes[i]) for i in order if fits[i]]
    out["fits"] = " and ".join(named)
    if named:
        out["chance"] = float(min(chance[fits]))
        out["how_sure"] = f"{sure_word(out['chance'])}: {in_100(out['chance'])}"
    elif over.all():
        out["how_sure"] = "Over the load limit of every size"
    elif (waits & (chance >= 0.05)).any():
        out["how_sure"] = "Not judged before what is missing is measured"
    elif none >= 0.5:
        out["chance"] = float(chance.max())
        out["how_sure"] = f"{sure_word(none)}: no size fits {in_100(none)}"
    else:
        out["chance"] = float(chance.max())
        rivals = [str(sizes[i]) for i in order if chance[i] >= 0.05 and not broken[i]]
        out["how_sure"] = f"Not settled: {listed(rivals, 'or') if rivals else 'none'}"
    if MASS not in taken and MASS not in missing:
        missing = [MASS, *missing]
    out["measure"] = ", ".join(plain(m) for m in missing)
    checks = [str(record.get("doubts") or "")]
    checks += [f"{plain(str(d.column))}: {d.what}" for d in doubtful(client.unchanged)]
    if client.conditions:
        told = "; ".join(client.condition_labels)
        checks.append(f"a competent person must judge: {told}")
    mass = client.known.get(MASS)
    if mass is not None:
        near = np.flatnonzero(fits & ~is_far(edges.load / 10, mass.value, mass.sd))
        checks += [f"weight near the load limit of {sizes[i]}" for i in near]
    checks += [
        f"{plain(outside[i])} outside the edge of {sizes[i]} although it would fit"
        for i in np.flatnonzero(broken & (chance >= 0.5))
    ]
    return out | {"check": "; ".join(filter(None, checks))}


def _client(record: dict[Any, Any]) -> Client:
    text = str(record.get("condition") or "").replace("nan", "")
    conditions, wrong = condition_keys([w for w in text.split(";") if w.strip()])
    if wrong:
        at = record.get("row")
        here = [replace(one, row=at, column="condition") for one in wrong]
        raise InputProblems(here, about="the clients")
    sex, age = record.get("sex"), record.get("age_years")
    sex = sex if isinstance(sex, str) else None
    readings = tuple(
        reading(m, float(record[m]), "scale" if m == MASS else HOW[0], sex=sex)
        for m in MEASURES
        if pd.notna(record.get(m))
    )
    years = None if age is None or pd.isna(age) else float(age)
    return Client(sex, years, readings, conditions=conditions)
