"""The stock plan beside a naive simulation and one integer programme of HiGHS.

Run from the project's root, where it takes about two minutes:

    python -m tests.benchmarks.bench_stock [--days 60] [--limit 60]

Three services of the invented scenario, on the invented chart. Days: clients drawn one
by one, and slings handed out each day by scipy's matching, beside the kit's counting by
sets of sizes; both ways must find a like share of days on which nobody waits (within
four standard errors). Order: the whole programme given to scipy's milp at once (a
binary a day, a flow from each kind of client to each size), stopped after ``--limit``
seconds, beside the kit's search on the same days; the kit's order must cost no more
than what HiGHS found, and HiGHS must prove no bound above it. Shell: seconds of the
processor, and by the clock, of ``sizing stock --people care_home_us=N``, beside those
asked for. Exits with 1 where two ways that should agree do not.
"""

import argparse
import os
import subprocess
import sys
import time

import numpy as np
import pandas as pd
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse.csgraph import maximum_bipartite_matching

from sizing.charts import demo_chart, fits_matrix
from sizing.stock import Use, demo_scenario, offer_from, serves_from
from sizing.stock.cheapest import least_cost
from sizing.stock.days import draw_days, group_from
from sizing.stock.programme import Programme, programme_from
from sizing.stock.service import sizes_in

TARGET = 0.95
#: Seconds asked for from the shell, by the number of clients.
ASKED = {100: 3.0, 1000: 5.0, 100_000: 10.0}


def drawn(days: int, seed: int = 1) -> Programme:
    serves, prices = demo_scenario()
    offer = offer_from(demo_chart(), prices)
    groups = [group_from(one, offer) for one in serves_from(serves)]
    made = draw_days(groups, Use(), sizes=len(offer.keys), days=days, seed=(seed, 0))
    return programme_from(offer, made, 0)


def naive(stock: np.ndarray, days: int) -> float:
    """Return the share of days on which nobody waits, client by client."""
    rng, nobody = np.random.default_rng(2), 0
    chart, slings = demo_chart(), np.repeat(np.arange(len(stock)), stock)
    groups = []
    for one in serves_from(demo_scenario()[0]):
        weight = one.people.weight.to_numpy() / one.people.weight.sum()
        groups.append((fits_matrix(one.people.frame, chart), weight, one.present))
    for _ in range(days):
        clients = np.vstack(
            [fits[rng.choice(len(p), size=n, p=p)] for fits, p, n in groups]
        )
        clients = clients[clients.any(axis=1)]
        graph = sparse.csr_array(clients[:, slings])
        given = maximum_bipartite_matching(graph, perm_type="column")
        nobody += bool((given >= 0).all())
    return nobody / days


def whole(programme: Programme, limit: float) -> tuple[float, float]:
    """Return what one programme of all days costs, and what it proves."""
    counts, price = programme.needs.counts, programme.pack_price
    fits = sizes_in(programme.needs.masks, len(price)).astype(bool)
    kind, size = np.nonzero(fits)
    days, flows = len(counts), len(kind)
    first = len(price) + days
    columns = first + days * flows
    rows, tails, values, low = [], [], [], []

    def row(entries: list[tuple[int, float]], least: float) -> None:
        rows.extend([len(low)] * len(entries))
        tails.extend(column for column, _ in entries)
        values.extend(value for _, value in entries)
        low.append(least)

    for day in range(days):
        flow = first + day * flows + np.arange(flows)
        late = len(price) + day
        for one in np.flatnonzero(counts[day]):
            need = float(counts[day, one])
            row([*((int(f), 1.0) for f in flow[kind == one]), (late, need)], need)
        for j in range(len(price)):
            held = (j, float(programme.pack[j]))
            taken = [(int(f), -1.0) for f in flow[size == j]]
            row([held, *taken], -float(programme.owned[j]))
    allowed = programme.allowed(TARGET)
    row([(len(price) + day, -1.0) for day in range(days)], -float(allowed))
    high = np.full(columns, np.inf)
    high[: len(price)], high[len(price) : first] = programme.most_packs, 1
    found = milp(
        np.concatenate([price, np.zeros(columns - len(price))]),
        integrality=np.arange(columns) < first,
        bounds=Bounds(0.0, high),
        constraints=LinearConstraint(
            sparse.csr_array((values, (rows, tails)), shape=(len(low), columns)), low
        ),
        options={"time_limit": limit},
    )
    return (np.inf if found.x is None else found.fun), found.mip_dual_bound


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--limit", type=float, default=60.0)
    args = parser.parse_args()
    start = time.process_time()
    programme = drawn(args.days)
    order = least_cost(programme, TARGET)
    assert order is not None
    ours, start = time.process_time() - start, time.process_time()
    cost, bound = whole(programme, args.limit)
    theirs = time.process_time() - start
    agree = order.cost <= cost + 1e-3 and bound <= order.cost + 1e-3
    note = f"cost {order.cost:,.0f}, proved {order.bound:,.0f}; HiGHS {cost:,.0f}, "
    found = [("the order", ours, "HiGHS at once", theirs, agree, f"{note}{bound:,.0f}")]
    stock, number = programme.stock(order.packs), 1000
    start = time.process_time()
    waiting = drawn(10_000, seed=2).needs.shortage(stock).waiting
    ours, start = time.process_time() - start, time.process_time()
    plain, share = naive(stock, number), float((waiting == 0).mean())
    theirs = (time.process_time() - start) * 10_000 / number
    near = abs(plain - share) <= 4 * np.sqrt(share * (1 - share) / number)
    note = f"nobody waits on {share:.1%} of days, plainly {plain:.1%}; scaled up"
    found.append(("10,000 days", ours, "client by client", theirs, bool(near), note))
    for clients, asked in ASKED.items():
        words = ["stock", "--people", f"care_home_us={clients}", "--json"]
        before, start = os.times().children_user, time.perf_counter()
        subprocess.run([sys.executable, "-m", "sizing", *words], capture_output=True)
        wall, used = time.perf_counter() - start, os.times().children_user - before
        note = f"{wall:.1f} s by the clock"
        found.append((f"{clients:,} clients", used, "asked for", asked, True, note))
    columns = ["job", "ours_s", "beside", "theirs_s", "agree", "note"]
    table = pd.DataFrame(found, columns=columns)
    table.insert(4, "ratio", (table["theirs_s"] / table["ours_s"]).round(1))
    print(table.to_string(index=False, float_format="{:.3g}".format))
    return int(not table["agree"].all())


if __name__ == "__main__":
    sys.exit(main())
