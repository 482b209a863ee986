"""The stock plan beside a naive simulation, flows a day and one programme of HiGHS.

Part of ``bench_all.py`` (``--only stock``): about three minutes. Both ways must find a
like share of days on which nobody waits (within four standard errors); the kit's order
must cost no more than what HiGHS found, and HiGHS must prove no bound above it.
"""

import os
import subprocess
import sys
import time

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse.csgraph import maximum_bipartite_matching

from sizing.charts import demo_chart, fits_matrix
from sizing.people import load_people
from sizing.stock import Served, Use, demo_scenario, offer_from, serves_from
from sizing.stock.cheapest import least_cost
from sizing.stock.days import draw_days, group_from
from sizing.stock.programme import programme_from
from sizing.stock.service import flow_shortage, sizes_in

TARGET = 0.95
#: Seconds asked for from the shell, by the number of clients.
ASKED = {100: 3.0, 1000: 5.0, 100_000: 10.0}


def seconds(work, rounds=3):
    """Return the least processor seconds of several rounds, and the result."""
    times, result = [], None
    for _ in range(rounds):
        start = time.process_time()
        result = work()
        times.append(time.process_time() - start)
    return min(times), result


def drawn(days, seed=1, serves=None):
    scenario, prices = demo_scenario()
    offer = offer_from(demo_chart(), prices)
    groups = [group_from(one, offer) for one in serves or serves_from(scenario)]
    made = draw_days(groups, Use(), sizes=len(offer.keys), days=days, seed=(seed, 0))
    return programme_from(offer, made, 0)


def naive(stock, days):
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


def whole(programme, limit_s):
    """Return what one programme of all days costs, and what it proves.

    Columns: packs bought, days on which somebody waits, flows of each day. Rows: each
    kind's clients are served unless the day is one of those, each size's slings
    suffice, and of those days there are no more than are allowed.
    """
    counts, price = programme.needs.counts, programme.pack_price
    kind, size = np.nonzero(sizes_in(programme.needs.masks, len(price)))
    days, kinds = counts.shape
    flows, each = np.arange(len(kind)), np.ones(len(kind))
    of_kind = sparse.csr_array((each, (kind, flows)), shape=(kinds, len(kind)))
    of_size = sparse.csr_array((each, (size, flows)), shape=(len(price), len(kind)))
    daily, flat = sparse.identity(days), counts.ravel().astype(float)
    late = sparse.csr_array(
        (flat, (np.arange(days * kinds), np.repeat(np.arange(days), kinds)))
    )
    packs = sparse.kron(np.ones((days, 1)), sparse.diags(programme.pack.astype(float)))
    parts = [
        [None, late, sparse.kron(daily, of_kind)],
        [packs, None, -sparse.kron(daily, of_size)],
        [None, -np.ones((1, days)), None],
    ]
    least = [flat, -np.tile(programme.owned, days), [-programme.allowed(TARGET)]]
    first, columns = len(price) + days, len(price) + days * (1 + len(kind))
    high = np.concatenate([programme.most_packs, np.ones(days)])
    found = milp(
        np.concatenate([price, np.zeros(columns - len(price))]),
        integrality=np.arange(columns) < first,
        bounds=Bounds(0.0, np.concatenate([high, np.full(columns - first, np.inf)])),
        constraints=LinearConstraint(
            sparse.block_array(parts, format="csr"), np.concatenate(least)
        ),
        options={"time_limit": limit_s},
    )
    return (np.inf if found.x is None else found.fun), found.mip_dual_bound


def stock(quick):
    clients, days = (300, 300) if quick else (1000, 1000)
    needs = drawn(days, serves=[Served(load_people("everyone"), clients)]).needs
    fits = sizes_in(needs.masks, len(demo_chart().sizes)).astype(bool)
    each = needs.counts @ (fits / np.maximum(fits.sum(axis=1, keepdims=True), 1))
    free = np.ceil(np.quantile(each, 0.8, axis=0)).astype(int)
    ours, found = seconds(lambda: needs.shortage(free), 5)
    part = needs.counts[: min(days, 200), None]
    theirs, waiting = seconds(
        lambda: [flow_shortage(day, fits, free[None])[0][0] for day in part], 1
    )
    agree = np.array_equal(waiting, found.waiting[: len(part)])
    note, theirs = f"timed on {len(part)} days, scaled up", theirs * days / len(part)
    yield "who waits, day by day", days, ours, "scipy flows", theirs, agree, note

    days, limit_s = (10, 20.0) if quick else (60, 60.0)
    programme = drawn(days)
    ours, order = seconds(lambda: least_cost(drawn(days), TARGET), 1)
    theirs, (cost, bound) = seconds(lambda: whole(programme, limit_s), 1)
    agree = order.cost <= cost + 1e-3 and bound <= order.cost + 1e-3
    note = f"cost {order.cost:,.0f}, proved {order.bound:,.0f}; HiGHS {cost:,.0f}, "
    note += f"{bound:,.0f}"
    yield "the order of some days", days, ours, "HiGHS at once", theirs, agree, note
    if quick:
        return

    slings, days, number = programme.stock(order.packs), 10_000, 1000
    ours, found = seconds(lambda: drawn(days, seed=2).needs.shortage(slings), 1)
    theirs, plain = seconds(lambda: naive(slings, number), 1)
    share, theirs = float((found.waiting == 0).mean()), theirs * days / number
    agree = abs(plain - share) <= 4 * np.sqrt(share * (1 - share) / number)
    note = f"nobody waits on {share:.1%} of days, plainly {plain:.1%}; scaled up"
    yield "days with that order", days, ours, "client by client", theirs, agree, note
    for clients, asked in ASKED.items():
        words = ["stock", "--people", f"care_home_us={clients}", "--json"]
        before, start = os.times().children_user, time.perf_counter()
        subprocess.run([sys.executable, "-m", "sizing", *words], capture_output=True)
        wall, used = time.perf_counter() - start, os.times().children_user - before
        note = f"{wall:.1f} s by the clock"
        yield "a plan from the shell", clients, used, "asked for", asked, True, note
