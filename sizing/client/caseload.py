"""A list of clients judged at once: a row each, for whoever visits them."""

from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from sizing.charts import SizeChart
from sizing.client import outcomes
from sizing.client.client import Client
from sizing.client.measuring import MOST, doubtful, why_cautious
from sizing.client.posterior import bodies_of
from sizing.client.readings import HOW, MASS, TAKEN, condition_keys, reading
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
    rows = taken.rows[1:]
    unusual: dict[int, list[str]] = defaultdict(list)
    with taken.told(), caught_warnings() as caught:
        frame = taken.frame.set_axis(pd.Index(rows, name=ROW))
        standard = to_standard_units(frame, file=file.name)
    for item in caught:
        if isinstance(item.message, DoubtfulValues):
            for one in item.message.problems:
                words = f"{plain(str(one.column))} {one.value:g}: {one.what}"
                unusual[taken.rows[(one.row or 2) - 1]].append(words)
        else:
            warn(item.message, item.category)
    if named := ", ".join(f"{c!r} in {bare[c]}" for c in units):
        say(file.name, f"no unit in the heading, so read as the kit's: {named}")
    say(file.name, taken.read())
    standard = standard.reset_index(drop=True)
    standard.insert(0, "row", rows)
    return standard.assign(doubts=["; ".join(unusual[row]) for row in rows])


def judge_clients(
    chart: SizeChart, clients: pd.DataFrame, *, seed: int = 1
) -> pd.DataFrame:
    """Judge a list of clients against one chart, a row each; see ``check_client``."""
    edges = outcomes.edges_of(chart, outcomes.load_table_of(chart, None)[1])
    rows = [_judged(record, edges, seed) for record in records(clients)]
    return pd.DataFrame(rows, columns=COLUMNS)


def _judged(record: dict[Any, Any], edges: outcomes.Edges, seed: int) -> dict[str, Any]:
    client = _client(record)
    out: dict[str, Any] = dict.fromkeys(COLUMNS, "") | {"chance": np.nan}
    out |= {name: record[name] for name in ("row", "reference") if name in record}
    if not client.readings and client.sex is None and client.age_years is None:
        out["measure"] = listed([plain(m) for m in edges.measures])
        return out | {"how_sure": "Nothing is known of this client"}
    over = outcomes.over_load(client, edges.load)
    bodies = bodies_of(client, seed=seed, fewer=FEWER)
    hung = outcomes.never_less(client, bodies)
    found = outcomes.fitting(bodies.values, edges, over=over, hung_kg=hung)
    chance = bodies.weight @ found.may
    none = 1.0 - float(bodies.weight @ found.may.any(axis=1))
    taken = {m for m, one in client.known.items() if one.how in TAKEN}
    missing = [m for m in edges.measures if m not in taken]
    mass, stature = bodies.quantile([0.5])[0, :2]
    if missing and why_cautious(client, mass / (stature / 100) ** 2):
        chance, none = np.minimum(chance, MOST), min(none, MOST)
    waits = np.any([*edges.unknown(bodies.values).values(), over & False], axis=0)
    outside = outcomes.broken_by(client.readings, edges)[0]
    broken = outside != ""
    fits = (chance >= 0.5) & ~broken & ~waits
    order = np.argsort(-chance, kind="stable")
    named = [edges.sizes[i] for i in order if fits[i]]
    out["fits"] = " and ".join(named)
    if named:
        out["chance"] = float(min(chance[fits]))
        out["how_sure"] = f"{sure_word(out['chance'])}: {in_100(out['chance'])}"
    elif over.all():
        out["how_sure"] = "Over the load limit of every size"
    elif (waits & (chance >= 0.05)).any():
        out["how_sure"] = "Not judged before what is missing is measured"
    else:
        out["chance"] = float(chance.max())
        play = [edges.sizes[i] for i in order if chance[i] >= 0.05 and not broken[i]]
        out["how_sure"] = f"Not settled: {listed(play, 'or') if play else 'none'}"
        if none >= 0.5:
            out["how_sure"] = f"{sure_word(none)}: no size fits {in_100(none)}"
    if MASS not in {*taken, *missing}:
        missing = [MASS, *missing]
    out["measure"] = ", ".join(plain(m) for m in missing)
    checks = [str(record.get("doubts") or "")]
    checks += [f"{plain(str(d.column))}: {d.what}" for d in doubtful(client.unchanged)]
    if client.conditions:
        told = "; ".join(client.condition_labels)
        checks.append(f"a competent person must judge: {told}")
    if one := client.known.get(MASS):
        near = fits & ~outcomes.is_far(edges.load / 10, one.value, one.sd)
        told = "weight near the load limit of"
        checks += [f"{told} {edges.sizes[i]}" for i in np.flatnonzero(near)]
    told = "{} outside the edge of {} although it would fit"
    for i in np.flatnonzero(broken & (chance >= 0.5)):
        checks.append(told.format(plain(outside[i]), edges.sizes[i]))
    return out | {"check": "; ".join(filter(None, checks))}


def _client(record: dict[Any, Any]) -> Client:
    known = {k: v for k, v in record.items() if v is not None and not pd.isna(v)}
    conditions, wrong = condition_keys(str(known.get("condition", "")).split(";"))
    if wrong:
        here = [replace(one, row=record.get("row")) for one in wrong]
        raise InputProblems(here, about="the clients")
    sex, age = known.get("sex"), known.get("age_years")
    readings = tuple(
        reading(m, float(known[m]), "scale" if m == MASS else HOW[0], sex=sex)
        for m in MEASURES
        if m in known
    )
    age = None if age is None else float(age)
    return Client(sex, age, readings, conditions=conditions)
